package judge

import (
	"fmt"
	"slices"
	"strings"
)

// widestGap is the share of a band that may lie between two readings, or between a reading and the edge, before it is
// said that the readings leave a gap.
const widestGap = 0.25

// hearMatch holds the sweeps of the arms against the limit. A displayed figure is an interval, so a verdict needs
// every value in it to be within the limit, or to be beyond it.
func (c *court) hearMatch(e *Entry, band Band) {
	from, to := band.FromMHz, band.ToMHz
	if f := e.claim.FromMHz; f != nil {
		from = *f
	}
	if f := e.claim.ToMHz; f != nil {
		to = *f
	}
	e.Match = &Match{SWRAtMost: e.claim.SWRAtMost, FromMHz: from, ToMHz: to, Sweeps: []SweepEntry{}}
	var missing []string
	over, doubtful := "", ""
	for _, arm := range e.Arms {
		some := c.sweepsOf(arm, from, to)
		if len(some) == 0 {
			missing = append(missing, arm)
		}
		for _, sweep := range some {
			s, low, high := c.worst(sweep, from, to, e)
			e.Match.Sweeps = append(e.Match.Sweeps, s)
			switch {
			case low == nil || *low > e.claim.SWRAtMost:
				over = cmpOr(over, s.words())
			case high == nil || *high > e.claim.SWRAtMost:
				doubtful = cmpOr(doubtful, s.words())
			}
		}
	}
	e.concludeMatch(missing, over, doubtful)
}

func (e *Entry) concludeMatch(missing []string, over, doubtful string) {
	limit := e.claim.SWRAtMost
	switch {
	case over != "":
		e.conclude(Fails, "fails", fmt.Sprintf("%s, above the limit of %g", over, limit))
	case len(missing) > 0:
		e.conclude(Refused, "no_readings", fmt.Sprintf("there are no readings of %s from %g to %g MHz: measure there", strings.Join(missing, ", "), e.Match.FromMHz, e.Match.ToMHz))
	case doubtful != "":
		e.conclude(Undecided, "rounding", fmt.Sprintf("%s: as far as it was read, it may lie on either side of the limit of %g", doubtful, limit))
	default:
		e.conclude(Holds, "holds", fmt.Sprintf("every reading from %g to %g MHz is at most %g, with its rounding", e.Match.FromMHz, e.Match.ToMHz, limit))
	}
	e.warn("match_is_not_efficiency", "SWR says how much power is taken, not how much is radiated: a dummy load has a perfect match")
	for _, s := range e.Match.Sweeps {
		if s.Plane == "radio" {
			e.warn("measured_at_radio", "measured at the radio: loss of the feedline makes the SWR look better than it is at the antenna")
		}
	}
}

func cmpOr(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func (s SweepEntry) words() string {
	if s.HighestSWR == nil {
		return fmt.Sprintf("the SWR of %s at %g MHz is beyond measure", s.Arm, *s.FrequencyMHz)
	}
	return fmt.Sprintf("the SWR of %s is %g at %g MHz", s.Arm, *s.HighestSWR, *s.FrequencyMHz)
}

// sweepsOf gives the readings of an arm inside the limits, sweep by sweep, each in order of frequency.
func (c *court) sweepsOf(arm string, from, to float64) [][]reading {
	var out [][]reading
	for _, r := range c.readings {
		if r.arm != arm || r.mhz < from || r.mhz > to {
			continue
		}
		if n := len(out); n > 0 && out[n-1][0].sweep == r.sweep {
			out[n-1] = append(out[n-1], r)
			continue
		}
		out = append(out, []reading{r})
	}
	return out
}

// worst gives the highest reading of a sweep, and the least and greatest value that the highest SWR can have. A null
// SWR is one without bound: a return loss of 0.
func (c *court) worst(sweep []reading, from, to float64, e *Entry) (s SweepEntry, low, high *float64) {
	worst := slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.swr, b.swr) })
	low = slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.low, b.low) }).low
	high = slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.high, b.high) }).high
	at := worst.mhz
	s = SweepEntry{Arm: worst.arm, Sweep: worst.sweep, Plane: worst.plane, Readings: len(sweep), FrequencyMHz: &at, SWRInterval: &Range{}}
	if worst.swr != nil {
		s.HighestSWR = round4(*worst.swr)
	}
	if low != nil {
		s.SWRInterval[0] = round4(*low)
	}
	if high != nil {
		s.SWRInterval[1] = round4(*high)
	}
	last := from
	for i := range len(sweep) + 1 {
		next := to
		if i < len(sweep) {
			next = sweep[i].mhz
		}
		if next-last > widestGap*(to-from) {
			e.warn("gap_in_readings", fmt.Sprintf("%s: no reading between %g and %g MHz", worst.arm, last, next))
		}
		last = next
	}
	return s, low, high
}

// compareUnbounded orders values; null is the greatest.
func compareUnbounded(a, b *float64) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return 1
	case b == nil:
		return -1
	case *a < *b:
		return -1
	case *a > *b:
		return 1
	}
	return 0
}
