package judge

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// widestGap is the share of a band that may lie between two readings, or between a reading and the edge, before it is
// said that the readings leave a gap.
const widestGap = 0.25

// rounding is how far a bound of a reading may be off through the arithmetic alone: 1.99 + 0.01 is not to exceed 2.
const rounding = 1e-9

// atRadio is the plane at the radio's end of the feedline.
const atRadio = "radio"

// measurement is one sweep inside the limits of frequency, in order of frequency.
type measurement struct {
	// judged are the readings that the verdict rests on: those at the feedpoint, measured there or calculated, or, if there
	// are none, those at the radio.
	judged []reading
	// radio are the readings at the radio beside those; nil if there are none.
	radio []reading
}

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
	e.Match = &Match{SWRAtMost: e.claim.SWRAtMost, FromMHz: from, ToMHz: to, Sweeps: []SweepEntry{}, Repeatability: []RepeatedSweeps{}}
	var missing []string
	over, doubtful, impossible := "", "", ""
	planes := map[string]bool{}
	for _, arm := range e.Arms {
		some := c.sweepsOf(arm, from, to)
		if r := repeatability(arm, some); r != nil {
			e.Match.Repeatability = append(e.Match.Repeatability, *r)
		}
		if len(some) == 0 {
			missing = append(missing, arm)
			continue
		}
		for _, sweep := range some {
			e.Match.Sweeps = append(e.Match.Sweeps, worstOf(sweep))
			e.warnOfLineLoss(sweep.judged)
			for _, r := range sweep.judged {
				planes[r.where()] = true
				switch limit := e.claim.SWRAtMost; {
				case r.beyond(limit):
					over = cmp.Or(over, sweep.over(limit))
				case r.swr == nil:
					impossible = cmp.Or(impossible, r.words())
				case r.high == nil || *r.high > limit+rounding:
					doubtful = cmp.Or(doubtful, r.words())
				}
			}
		}
		e.warnOfGaps(arm, some, from, to)
	}
	e.concludeMatch(strings.Join(slices.Sorted(maps.Keys(planes)), " or "), c.unmeasured(e, missing), over, impossible, doubtful)
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

// concludeMatch sets the verdict; planes says where the readings were taken.
func (e *Entry) concludeMatch(planes, missing, over, impossible, doubtful string) {
	limit := e.claim.SWRAtMost
	all := fmt.Sprintf("%s, every reading from %g to %g MHz is at most %g, with its rounding", planes, e.Match.FromMHz, e.Match.ToMHz, limit)
	switch {
	case over != "":
		e.conclude(Fails, "fails", over)
	case missing != "":
		e.conclude(Refused, "no_readings", missing)
	case impossible != "":
		e.conclude(Undecided, "impossible_reading", impossible+", for more would be reflected than arrives: calibrate the analyser, check the declared feedline, and measure again")
	case doubtful != "":
		e.conclude(Undecided, "rounding", fmt.Sprintf("%s as it was shown: the true value may lie on either side of the limit of %g", doubtful, limit))
	case e.warned("gap_in_readings"):
		e.conclude(Holds, "holds", all+", but there are gaps between them")
	default:
		e.conclude(Holds, "holds", all)
	}
	e.warn("match_is_not_efficiency", "SWR says how much power is taken, not how much is radiated: a dummy load has a perfect match")
	for _, s := range e.Match.Sweeps {
		if s.Plane == atRadio {
			e.warn("measured_at_radio", "measured at the radio: loss of the feedline makes the SWR look better than it is at the antenna; measure at the feedpoint, or declare length and loss of the feedline")
		}
	}
}

// where names the plane of a reading. At the radio a lossy line hides SWR, so every sentence about SWR says it.
func (r reading) where() string {
	switch {
	case r.plane == atRadio:
		return "at the radio"
	case r.measured:
		return "at the feedpoint"
	}
	return "at the feedpoint, feedline removed"
}

// beyond tells whether every SWR that the reading allows is above the limit.
func (r reading) beyond(limit float64) bool { return r.low == nil || *r.low > limit+rounding }

func (r reading) words() string {
	if r.swr == nil {
		return fmt.Sprintf("%s, the SWR of %s at %g MHz is beyond measure", r.where(), r.arm, r.mhz)
	}
	return fmt.Sprintf("%s, the SWR of %s is %g at %g MHz", r.where(), r.arm, *round4(*r.swr), r.mhz)
}

// over says by how much a sweep is above the limit, and whether the radio's end of the feedline shows it.
func (m measurement) over(limit float64) string {
	beyond := slices.DeleteFunc(slices.Clone(m.judged), func(r reading) bool { return !r.beyond(limit) })
	text := fmt.Sprintf("%s, above the limit of %g", highest(beyond).words(), limit)
	if len(m.radio) == 0 {
		return text
	}
	if there := highest(m.radio); there.swr != nil && *there.swr <= limit {
		text += fmt.Sprintf("; at the radio it is %g at most, since the loss of the feedline hides it", *round4(*there.swr))
	}
	return text
}

func highest(sweep []reading) reading {
	return slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.swr, b.swr) })
}

// sweepsOf gives the readings of an arm inside the limits, sweep by sweep.
func (c *court) sweepsOf(arm string, from, to float64) []measurement {
	var out []measurement
	for _, r := range c.readings {
		if r.arm != arm || r.mhz < from || r.mhz > to {
			continue
		}
		if n := len(out); n == 0 || out[n-1].judged[0].sweep != r.sweep {
			out = append(out, measurement{})
		}
		m := &out[len(out)-1]
		if r.plane == atRadio && len(m.judged) > 0 && m.judged[0].plane != atRadio {
			m.radio = append(m.radio, r)
		} else {
			m.judged = append(m.judged, r)
		}
	}
	return out
}

// worstOf gives the highest reading of a sweep, and the least and greatest value that the highest SWR can have. A null
// SWR is one without bound: a return loss of 0.
func worstOf(m measurement) SweepEntry {
	sweep := m.judged
	worst := highest(sweep)
	low := slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.low, b.low) }).low
	high := slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.high, b.high) }).high
	at := worst.mhz
	s := SweepEntry{Arm: worst.arm, Sweep: worst.sweep, Plane: worst.plane, Readings: len(sweep), FrequencyMHz: &at, SWRInterval: &Range{},
		FeedlineRemoved: worst.plane != atRadio && !worst.measured}
	for _, v := range []struct {
		from *float64
		to   **float64
	}{{worst.swr, &s.HighestSWR}, {low, &s.SWRInterval[0]}, {high, &s.SWRInterval[1]}} {
		if v.from != nil {
			*v.to = round4(*v.from)
		}
	}
	if len(m.radio) > 0 {
		if swr := highest(m.radio).swr; swr != nil {
			s.HighestSWRAtRadio = round4(*swr)
		}
	}
	return s
}

// muchLineLossDB is the loss of a feedline from which it is told.
const muchLineLossDB = 1

// warnOfLineLoss tells the greatest loss of the feedline within a sweep if it is much.
func (e *Entry) warnOfLineLoss(sweep []reading) {
	var most *reading
	for i, r := range sweep {
		if r.lineLossDB != nil && (most == nil || *r.lineLossDB > *most.lineLossDB) {
			most = &sweep[i]
		}
	}
	if most != nil && *most.lineLossDB > muchLineLossDB {
		e.warn("line_loss", fmt.Sprintf("%s: with its mismatch the feedline loses %.1f dB at %g MHz, %.0f %% of the power", most.arm, *most.lineLossDB, most.mhz, 100*(1-math.Pow(10, -*most.lineLossDB/10))))
	}
}

// warnOfGaps looks at the readings of all sweeps of an arm together.
func (e *Entry) warnOfGaps(arm string, sweeps []measurement, from, to float64) {
	at := []float64{to}
	for _, sweep := range sweeps {
		for _, r := range sweep.judged {
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
