package rehearsal

// band is an amateur band with its edges, MHz.
type band struct {
	name           string
	fromMHz, toMHz float64
}

// bands are those of the ADIF Band enumeration (3.1.5) that an experiment may name.
func bands() []band {
	return []band{
		{"2190m", 0.1357, 0.1378}, {"630m", 0.472, 0.479}, {"560m", 0.501, 0.504}, {"160m", 1.8, 2.0},
		{"80m", 3.5, 4.0}, {"60m", 5.06, 5.45}, {"40m", 7.0, 7.3}, {"30m", 10.1, 10.15}, {"20m", 14.0, 14.35},
		{"17m", 18.068, 18.168}, {"15m", 21.0, 21.45}, {"12m", 24.89, 24.99}, {"10m", 28.0, 29.7},
		{"8m", 40, 45}, {"6m", 50, 54}, {"5m", 54.000001, 69.9}, {"4m", 70, 71}, {"2m", 144, 148},
		{"1.25m", 222, 225}, {"70cm", 420, 450},
	}
}

// bandNamed gives the band of that name; ok is false if there is none.
func bandNamed(name string) (b band, ok bool) {
	for _, b := range bands() {
		if b.name == name {
			return b, true
		}
	}
	return band{}, false
}
