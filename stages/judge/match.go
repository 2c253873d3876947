package judge

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// widestGap is the share of a band that may lie between two readings, or between a reading and the edge, before it is
// said that the readings leave a gap.
const widestGap = 0.25

// rounding is how far a bound of a reading may be off through the arithmetic alone: 1.99 + 0.01 is not to exceed 2.
const rounding = 1e-9

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
			continue
		}
		for _, sweep := range some {
			e.Match.Sweeps = append(e.Match.Sweeps, worstOf(sweep))
			for _, r := range sweep {
				switch limit := e.claim.SWRAtMost + rounding; {
				case r.low == nil || *r.low > limit:
					over = cmp.Or(over, worstWords(sweep))
				case r.high == nil || *r.high > limit:
					doubtful = cmp.Or(doubtful, r.words())
				}
			}
		}
		e.warnOfGaps(arm, some, from, to)
	}
	e.concludeMatch(c.unmeasured(e, missing), over, doubtful)
}

// wrongUnit is the ratio of frequencies from which a unit that was mistaken is the likely cause.
const wrongUnit = 100

// unmeasured says which arms have no readings inside the limits, and where their readings lie, if there are any; "" if no
// arm is missing.
func (c *court) unmeasured(e *Entry, missing []string) string {
	if len(missing) == 0 {
		return ""
	}
	text := fmt.Sprintf("there are no readings of %s from %g to %g MHz", strings.Join(missing, ", "), e.Match.FromMHz, e.Match.ToMHz)
	elsewhere := ""
	for _, arm := range missing {
		low, high, measured := c.rangeOf(arm)
		if !measured {
			continue
		}
		those, mend := "they", "measure there too"
		if len(missing) > 1 {
			those = "those of " + arm
		}
		if high*wrongUnit < e.Match.FromMHz || low > wrongUnit*e.Match.ToMHz {
			mend = "check the unit"
		}
		elsewhere += fmt.Sprintf("; %s lie at %.6g to %.6g MHz: %s", those, low, high, mend)
	}
	return text + cmp.Or(elsewhere, ": measure there")
}

// rangeOf gives the lowest and highest frequency of all readings of an arm.
func (c *court) rangeOf(arm string) (low, high float64, measured bool) {
	for _, r := range c.readings {
		switch {
		case r.arm != arm:
		case !measured:
			low, high, measured = r.mhz, r.mhz, true
		default:
			low, high = min(low, r.mhz), max(high, r.mhz)
		}
	}
	return low, high, measured
}

func (e *Entry) concludeMatch(missing, over, doubtful string) {
	limit := e.claim.SWRAtMost
	switch {
	case over != "":
		e.conclude(Fails, "fails", fmt.Sprintf("%s, above the limit of %g", over, limit))
	case missing != "":
		e.conclude(Refused, "no_readings", missing)
	case doubtful != "":
		e.conclude(Undecided, "rounding", fmt.Sprintf("%s as it was shown: the true value may lie on either side of the limit of %g", doubtful, limit))
	case e.warned("gap_in_readings"):
		e.conclude(Holds, "holds", fmt.Sprintf("every reading from %g to %g MHz is at most %g, with its rounding, but there are gaps between them", e.Match.FromMHz, e.Match.ToMHz, limit))
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

func (r reading) words() string {
	if r.swr == nil {
		return fmt.Sprintf("the SWR of %s at %g MHz is beyond measure", r.arm, r.mhz)
	}
	return fmt.Sprintf("the SWR of %s is %g at %g MHz", r.arm, *round4(*r.swr), r.mhz)
}

func worstWords(sweep []reading) string { return highest(sweep).words() }

func highest(sweep []reading) reading {
	return slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.swr, b.swr) })
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

// worstOf gives the highest reading of a sweep, and the least and greatest value that the highest SWR can have. A null
// SWR is one without bound: a return loss of 0.
func worstOf(sweep []reading) SweepEntry {
	worst := highest(sweep)
	low := slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.low, b.low) }).low
	high := slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.high, b.high) }).high
	at := worst.mhz
	s := SweepEntry{Arm: worst.arm, Sweep: worst.sweep, Plane: worst.plane, Readings: len(sweep), FrequencyMHz: &at, SWRInterval: &Range{}}
	for _, v := range []struct {
		from *float64
		to   **float64
	}{{worst.swr, &s.HighestSWR}, {low, &s.SWRInterval[0]}, {high, &s.SWRInterval[1]}} {
		if v.from != nil {
			*v.to = round4(*v.from)
		}
	}
	return s
}

// warnOfGaps looks at the readings of all sweeps of an arm together.
func (e *Entry) warnOfGaps(arm string, sweeps [][]reading, from, to float64) {
	at := []float64{to}
	for _, sweep := range sweeps {
		for _, r := range sweep {
			at = append(at, r.mhz)
		}
	}
	slices.Sort(at)
	last := from
	for _, next := range at {
		if next-last > widestGap*(to-from) {
			e.warn("gap_in_readings", fmt.Sprintf("%s: no reading between %g and %g MHz", arm, last, next))
		}
		last = next
	}
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
