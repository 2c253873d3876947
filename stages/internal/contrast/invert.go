package contrast

import (
	"math"

	"fairlobe/stages/internal/signflip"
)

const (
	intervalWidthDB  = 20
	intervalHalvings = 12
	searchPerDB      = 4 // steps of the search for a value that the test does not rule out
)

// Interval is a set of differences in dB that a test at level Alpha does not rule out.
type Interval struct {
	// LowDB and HighDB are not rounded; -Inf or +Inf where there is no bound on that side.
	LowDB, HighDB float64
	// Empty: the test rules out every difference within 20 dB of the estimate (no constant
	// difference fits the data); both ends are then infinite.
	Empty bool
}

// unbounded is the interval of nothing known.
func unbounded() Interval { return Interval{LowDB: math.Inf(-1), HighDB: math.Inf(1)} }

// negated is the interval of the negative.
func (i Interval) negated() Interval {
	i.LowDB, i.HighDB = -i.HighDB, -i.LowDB
	return i
}

// invert bisects outwards from the estimate (signflip.Interval). An estimate that is itself ruled out,
// where the balance jumps, is replaced by the nearest difference that is not. Where no difference is ruled out the interval ends
// on the estimate's side of it: p may rise again beyond, and who finds A the stronger leaves no room for B being so.
func invert(p func(d float64) float64, estimateDB float64) Interval {
	for step := range intervalWidthDB*searchPerDB + 1 {
		away := float64(step) / searchPerDB
		for _, centre := range []float64{estimateDB - away, estimateDB + away} {
			if p(centre) > Alpha {
				low, high := signflip.Interval(p, centre, intervalWidthDB, Alpha, intervalHalvings)
				if low < 0 && high > 0 && p(0) <= Alpha {
					inner, outer := signflip.Interval(p, centre, math.Abs(centre), Alpha, intervalHalvings)
					if centre > 0 {
						low = inner
					} else {
						high = outer
					}
				}
				return Interval{LowDB: low, HighDB: high}
			}
		}
	}
	i := unbounded()
	i.Empty = true
	return i
}
