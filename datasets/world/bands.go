package world

// DefaultBand gives a band's frequency and propagation by its name ("160m" to "6m"), without arms. The sizes are assumed:
// what a small station with a simple wire may expect in a middle latitude on an ordinary day. The low bands carry
// to 50 to 600 km by near-vertical paths, the middle ones have one hop's window, the high ones a skip zone.
func DefaultBand(name string) (Band, bool) {
	for _, b := range bands() {
		if b.Name == name {
			b.OpensTowardDeg, b.TurnDegPerHour, b.OpeningDB = 90, 15, 3
			return b, true
		}
	}
	return Band{}, false
}

func bands() []Band {
	return []Band{
		{Name: "160m", Hz: 1_841_200, MedianDB: -10, NearKm: 0, FarKm: 300, SkipDB: 0, FallDB: 12, PeakHour: 0, OpeningHours: 4},
		{Name: "80m", Hz: 3_575_200, MedianDB: -6, NearKm: 0, FarKm: 400, SkipDB: 0, FallDB: 10, PeakHour: 21, OpeningHours: 5},
		{Name: "60m", Hz: 5_358_200, MedianDB: -5, NearKm: 0, FarKm: 500, SkipDB: 0, FallDB: 9, PeakHour: 17, OpeningHours: 6},
		{Name: "40m", Hz: 7_075_200, MedianDB: -4, NearKm: 50, FarKm: 600, SkipDB: 2, FallDB: 8, PeakHour: 11, OpeningHours: 6},
		{Name: "30m", Hz: 10_137_200, MedianDB: -5, NearKm: 300, FarKm: 1800, SkipDB: 3, FallDB: 4, PeakHour: 14, OpeningHours: 6},
		{Name: "20m", Hz: 14_075_200, MedianDB: -6, NearKm: 700, FarKm: 3000, SkipDB: 3, FallDB: 3, PeakHour: 12, OpeningHours: 5},
		{Name: "17m", Hz: 18_101_200, MedianDB: -6, NearKm: 900, FarKm: 3500, SkipDB: 3.5, FallDB: 3, PeakHour: 12, OpeningHours: 4.5},
		{Name: "15m", Hz: 21_075_200, MedianDB: -6, NearKm: 1000, FarKm: 4000, SkipDB: 4, FallDB: 2.5, PeakHour: 12, OpeningHours: 4},
		{Name: "12m", Hz: 24_916_200, MedianDB: -6, NearKm: 1200, FarKm: 4000, SkipDB: 4, FallDB: 2.5, PeakHour: 12, OpeningHours: 3.5},
		{Name: "10m", Hz: 28_075_200, MedianDB: -6, NearKm: 1200, FarKm: 4000, SkipDB: 4, FallDB: 2.5, PeakHour: 12, OpeningHours: 3.5},
		{Name: "6m", Hz: 50_314_200, MedianDB: -8, NearKm: 700, FarKm: 2200, SkipDB: 4, FallDB: 10, PeakHour: 11, OpeningHours: 3},
	}
}
