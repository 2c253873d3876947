package rehearsal

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strconv"
	"time"

	"fairlobe/datasets/world"
	"fairlobe/experiments"
)

// report is one reception report, before it is written in the form of a source.
type report struct {
	slot                  time.Time // start of the slot
	transmitter, receiver string
	txLocator, rxLocator  string // "" where it is not told
	band                  string
	hz                    int64
	snrDB                 int
	powerW                float64 // of the transmitter; 0: not told
	spoiled               string  // how the row is made unusable; "" for a good one
	note                  string
}

// order sorts by time, then by what tells reports of one slot apart.
func (r report) order(o report) int {
	return cmp.Or(r.slot.Compare(o.slot), cmp.Compare(r.band, o.band), cmp.Compare(r.receiver, o.receiver), cmp.Compare(r.transmitter, o.transmitter))
}

// scene is a trial that was carried out in the invented world.
type scene struct {
	exp     *experiments.Experiment
	numbers map[string]int // stations by call
	seed    uint64
	trial   world.Trial
	out     *world.Outcome
	mishaps bool
}

// band gives the world's band of that name.
func (s *scene) band(name string) world.Band {
	i := slices.IndexFunc(s.trial.Bands, func(b world.Band) bool { return b.Name == name })
	return s.trial.Bands[i]
}

// reception makes a report of a reception.
func (s *scene) reception(r world.Reception) report {
	far, d := s.out.Stations[r.Station], s.trial.Dwells[r.Dwell]
	own := s.exp.Station
	out := report{slot: r.Slot, band: d.Band, snrDB: r.SNR, hz: s.band(d.Band).Hz}
	if !r.Sent {
		out.transmitter, out.txLocator, out.receiver, out.rxLocator = far.Call, far.Locator, own.Call, own.Locator
		return out
	}
	out.transmitter, out.txLocator, out.receiver, out.rxLocator = own.Call, own.Locator, far.Call, far.Locator
	out.hz += far.OffsetHz
	out.powerW, _ = s.exp.Number(d.Arm, "power_w")
	if s.mishaps && len(own.Also) > 0 && r.Station%spelledOtherwise == spelledOtherwise-1 {
		out.transmitter = own.Also[0]
	}
	return out
}

// One receiver in so many writes the own call in another of its spellings.
const spelledOtherwise = 50

// background makes a report of another transmitter.
func (s *scene) background(h world.Heard) report {
	from, to := s.out.Stations[h.Transmitter], s.out.Stations[h.Receiver]
	return report{slot: h.Slot, transmitter: from.Call, txLocator: from.Locator, receiver: to.Call, rxLocator: to.Locator,
		band: h.Band, hz: s.band(h.Band).Hz + to.OffsetHz, snrDB: h.SNR}
}

// passed are the reports that the network handed on: of the own station, and if wanted those by it.
func (s *scene) passed(heard bool) []report {
	var out []report
	for _, r := range s.out.Receptions {
		if r.Passed && (r.Sent || heard) {
			out = append(out, s.reception(r))
		}
	}
	return out
}

// contactsPerDwell is how many contacts the operator makes in a dwell.
const contactsPerDwell = 2

// contacts are the reports in the operator's own log: in each dwell a few stations that heard us and that we heard,
// each with the report they gave, at our slot, and the one we gave, at theirs. Nobody looks at how strong they are.
func (s *scene) contacts() []report {
	random := stream(s.seed, "files/own log")
	byDwell := make([][]world.Reception, len(s.trial.Dwells))
	for _, r := range s.out.Receptions {
		if d := s.trial.Dwells[r.Dwell]; !r.Slot.Before(d.Settle) && !r.Slot.Before(d.Connected) {
			byDwell[r.Dwell] = append(byDwell[r.Dwell], r)
		}
	}
	var out []report
	for _, receptions := range byDwell {
		pairs := exchanges(receptions)
		for _, i := range random.Perm(len(pairs))[:min(contactsPerDwell, len(pairs))] {
			for _, r := range pairs[i] {
				out = append(out, s.reception(r))
			}
		}
	}
	return out
}

// exchanges pairs the receptions of a dwell by station: the first of us there, and the first of them here.
func exchanges(receptions []world.Reception) [][2]world.Reception {
	there, here := map[int]world.Reception{}, map[int]world.Reception{}
	for _, r := range receptions {
		first := here
		if r.Sent {
			first = there
		}
		if _, known := first[r.Station]; !known {
			first[r.Station] = r
		}
	}
	var out [][2]world.Reception
	for _, n := range slices.Sorted(maps.Keys(there)) {
		if answer, both := here[n]; both {
			out = append(out, [2]world.Reception{there[n], answer})
		}
	}
	return out
}

// row gives the cells of a report in a table, by the names on the left of columns.
func (r report) row(src experiments.SpotSource, fixed experiments.Fixed) row {
	out := row{
		"time":                 r.times(src, fixed.Slot),
		"transmitter":          {r.transmitter},
		"transmitter_locator":  {r.txLocator},
		"transmitter_position": position(r.txLocator),
		"receiver":             {r.receiver},
		"receiver_locator":     {r.rxLocator},
		"receiver_position":    position(r.rxLocator),
		"band":                 {r.band},
		"frequency_mhz":        {frequency(r.hz, src.Table.Columns["frequency_mhz"].Unit)},
		"snr_db":               {strconv.Itoa(r.snrDB)},
		"power_w":              {power(r.powerW, src.Table.Columns["power_w"].Unit)},
		"mode":                 {fixed.Mode},
		"slot_s":               {plainNumber(fixed.Slot.Seconds(), 3)},
	}
	r.spoil(out)
	return out
}

// times gives the cells of the time.
func (r report) times(src experiments.SpotSource, slot time.Duration) []string {
	text := stamp(src.Table.TimeLayout, stamped(r.slot, slot, src.TimeIs))
	if len(src.Table.Columns["time"].Columns) < 2 {
		return []string{text}
	}
	first, second, _ := halves(text)
	return []string{first, second}
}

func position(locator string) []string {
	if locator == "" {
		return []string{"", ""}
	}
	latitude, longitude := centre(locator)
	return []string{strconv.FormatFloat(latitude, 'f', 4, 64), strconv.FormatFloat(longitude, 'f', 4, 64)}
}

func frequency(hz int64, unit string) string {
	switch unit {
	case "Hz":
		return strconv.FormatInt(hz, 10)
	case "kHz":
		return plainNumber(float64(hz)/1e3, 3)
	}
	return plainNumber(float64(hz)/1e6, 6)
}

// power writes a power; "" where it is not told. dBm are whole, as one-way messages have them.
func power(w float64, unit string) string {
	switch {
	case w == 0:
		return ""
	case unit == "dBm":
		return strconv.Itoa(int(math.Round(10 * math.Log10(w*1000))))
	case unit == "mW":
		return plainNumber(w*1000, 3)
	}
	return plainNumber(w, 6)
}

// record gives a report as a record of a log in ADIF. A log is either the operator's own ("me"), or its records were
// written by the listeners, who give what they heard in RST_SENT.
func (r report) record(src experiments.SpotSource, fixed experiments.Fixed, own []string) record {
	mode, submode, _ := adifMode(fixed.Mode)
	at := stamped(r.slot, fixed.Slot, src.TimeIs)
	out := record{{"CALL", r.transmitter}, {"QSO_DATE", at.Format("20060102")}, {"TIME_ON", at.Format("150405")},
		{"BAND", r.band}, {"FREQ", strconv.FormatFloat(float64(r.hz)/1e6, 'f', 6, 64)}, {"MODE", mode}, {"SUBMODE", submode}}
	if src.SeenFrom == "me" && src.Role == "trial" && slices.Contains(own, r.transmitter) {
		out[0][1] = r.receiver
		return append(out, record{{"GRIDSQUARE", cut(r.rxLocator, 4)}, {"RST_RCVD", rst(r.snrDB)}, {"TX_PWR", power(r.powerW, "W")},
			{"STATION_CALLSIGN", r.transmitter}, {"MY_GRIDSQUARE", cut(r.txLocator, 8)}}...)
	}
	return append(out, record{{"GRIDSQUARE", cut(r.txLocator, 4)}, {"RST_SENT", rst(r.snrDB)}, {"RX_PWR", power(r.powerW, "W")},
		{"STATION_CALLSIGN", r.receiver}, {"MY_GRIDSQUARE", cut(r.rxLocator, 8)}}...)
}

func cut(text string, most int) string { return text[:min(len(text), most)] }
