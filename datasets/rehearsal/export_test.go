package rehearsal

import (
	"time"

	"fairlobe/datasets/world"
)

// Report is a reception as a reader should give it back.
type Report struct {
	Slot                  time.Time
	Transmitter, Receiver string
	Band                  string
	SNR                   int
}

// Passed gives what the world handed on, sent or received, by the dwells that count and are past their settling.
func (r *Rehearsal) Passed(sent bool) []Report {
	var out []Report
	for _, one := range r.scene.out.Receptions {
		if one.Passed && one.Sent == sent {
			x := r.scene.reception(one)
			out = append(out, Report{x.slot.UTC(), x.transmitter, x.receiver, x.band, x.snrDB})
		}
	}
	return out
}

// Listeners tells who reported another transmitter in which dwell, by its start.
func (r *Rehearsal) Listeners() map[string]bool {
	out := map[string]bool{}
	for _, h := range r.scene.out.Background {
		for _, d := range r.scene.trial.Dwells {
			if d.Band == h.Band && !h.Slot.Before(d.Start) && h.Slot.Before(d.End) {
				out[r.scene.out.Stations[h.Receiver].Call+" "+d.Start.Format(time.RFC3339)] = true
			}
		}
	}
	return out
}

// Dwells gives what was carried out.
func (r *Rehearsal) Dwells() []world.Dwell { return r.scene.trial.Dwells }

// HighestSWR gives the highest SWR at the feedpoint within a band, by the number of the band.
func (r *Rehearsal) HighestSWR(band int, arm string) float64 {
	return r.scene.resonances(arm)[band].highest()
}
