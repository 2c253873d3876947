package synth

import (
	"fmt"
	"slices"
	"time"
)

// File is one file of a data set, its name below the data folder.
type File struct {
	Name string
	Data []byte
}

// RidgeWireOuting is what happened on the two outings of the demonstration trial.
func RidgeWireOuting() Outing {
	return Outing{
		Late: map[int]time.Duration{1: 4 * time.Minute, 2: 2*time.Minute + 30*time.Second},
		Pauses: []Pause{
			{Session: 2, AfterBlock: 5, Length: 12 * time.Minute, Note: "rain shower, everybody under the tarpaulin"},
		},
		LateSwitches: []LateSwitch{{Session: 2, Band: "20m", Block: 2, Position: 2, By: 40 * time.Second}},
		Drops: []Drop{
			{Session: 1, Band: "10m", Block: 6, Position: 2, Note: "supply plug came loose, nothing sent in this dwell"},
		},
		Unlogged: []int{9, 22, 37, 50, 51},
		ClockS:   0.2, PowerW: 4,
	}
}

// RidgeWireFiles makes the data of the demonstration trial from its planned dwells, which are sorted by start.
// The files are sorted by name; same dwells, same bytes.
func RidgeWireFiles(planned []Dwell) ([]File, error) {
	p, outing := RidgeWire(), RidgeWireOuting()
	carried, log := outing.Carry(planned)
	t := trip{Params: p, stations: Stations(p), dwells: carried, decodes: Decodes(p, carried)}
	first, second, err := t.reports()
	if err != nil {
		return nil, fmt.Errorf("writing the reports: %w", err)
	}
	switches, err := switchLog(log)
	if err != nil {
		return nil, err
	}
	return []File{
		{"log/switches.csv", switches},
		{"spots/log.adi", t.ownLog()},
		{"spots/reports-1.csv.gz", first},
		{"spots/reports-2.csv.gz", second},
		{"sweeps/high-readings.csv", readings(highMatch)},
		{"sweeps/low-readings.csv", readings(lowMatch)},
	}, nil
}

// trip is a trial that was carried out, with all that was decoded.
type trip struct {
	Params
	stations []Station
	dwells   []Dwell
	decodes  []Spot
}

func (t trip) band(name string) Band {
	return t.Bands[slices.IndexFunc(t.Bands, func(b Band) bool { return b.Name == name })]
}
