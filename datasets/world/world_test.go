package world

import (
	"testing"
	"time"
)

var begin = time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)

// steppe is an inland place far from any coast.
const steppeLatitude, steppeLongitude = 43.65, 76.88

// trialOf gives a trial of two arms on the bands: dwells of 6 min, half a minute of settling, 3 min between the dwells.
// The first arm comes first in odd blocks.
func trialOf(blocks int, names ...string) Trial {
	t := Trial{Seed: 7, Call: "Q1RDG", LatitudeDeg: steppeLatitude, LongitudeDeg: steppeLongitude, Slot: 15 * time.Second, Sends: "even slots"}
	for _, name := range names {
		b, _ := DefaultBand(name)
		b.Arms = map[string]Pattern{"high": {LevelDB: 2}, "low": {}}
		t.Bands = append(t.Bands, b)
	}
	at := begin
	for block := range blocks {
		for position := range 2 {
			arm := []string{"high", "low"}[(block+position)%2]
			for _, b := range t.Bands {
				t.Dwells = append(t.Dwells, Dwell{Session: 1, Band: b.Name, Block: block + 1, Position: position + 1, Arm: arm,
					Start: at, Settle: at.Add(30 * time.Second), End: at.Add(6 * time.Minute)})
				at = at.Add(7 * time.Minute)
			}
			at = at.Add(2 * time.Minute)
		}
	}
	return t
}

func BenchmarkRun(b *testing.B) {
	p, t := Default(), trialOf(16, "20m", "10m")
	p.Stations = 100
	b.ReportAllocs()
	for i := range b.N {
		t.Seed = uint64(i)
		if _, err := Run(p, t); err != nil {
			b.Fatal(err)
		}
	}
}
