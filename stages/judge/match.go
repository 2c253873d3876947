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
	f := matchFinding{z0: map[float64]bool{}}
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
			e.Match.Sweeps = append(e.Match.Sweeps, worstOf(sweep, e.claim.SWRAtMost))
			e.warnOfLineLoss(sweep.judged)
			if sweep.judged[0].plane == atRadio {
				c.warnOfRadio(e, arm)
			}
			f.add(sweep, e.claim.SWRAtMost)
		}
		f.planes = append(f.planes, planesOf(arm, some))
		if e.warnOfGaps(arm, some, from, to) {
			f.part = cmp.Or(f.part, arm)
		}
	}
	f.missing = c.unmeasured(e, missing)
	e.concludeMatch(f)
}

// matchFinding is what the sweeps of all arms say; texts are "" where there is nothing of the kind.
type matchFinding struct {
	planes                              []armPlanes
	z0                                  map[float64]bool // impedances that the readings refer to
	over, missing, impossible, doubtful string
	part                                string // an arm of which most of the range is not measured
}

// add takes a sweep. What decides it also stands in its entry.
func (f *matchFinding) add(m measurement, limit float64) {
	for _, r := range m.judged {
		f.z0[r.z0] = true
	}
	switch r := m.deciding(limit); {
	case r.beyond(limit):
		f.over = cmp.Or(f.over, m.over(limit))
	case r.swr == nil:
		f.impossible = cmp.Or(f.impossible, r.words())
	case r.open(limit):
		f.doubtful = cmp.Or(f.doubtful, r.words())
	}
}

// deciding gives the reading that decides a sweep: the highest of those that are beyond the limit, else of those that bound
// nothing, else of those that may be beyond it, else of all.
func (m measurement) deciding(limit float64) reading {
	for _, decides := range []func(reading) bool{
		func(r reading) bool { return r.beyond(limit) },
		func(r reading) bool { return r.swr == nil },
		func(r reading) bool { return r.open(limit) },
	} {
		if some := slices.DeleteFunc(slices.Clone(m.judged), func(r reading) bool { return !decides(r) }); len(some) > 0 {
			return highest(some)
		}
	}
	return highest(m.judged)
}

// armPlanes tells where the readings of an arm were taken.
type armPlanes struct{ arm, where string }

func planesOf(arm string, sweeps []measurement) armPlanes {
	planes := map[string]bool{}
	for _, sweep := range sweeps {
		for _, r := range sweep.judged {
			planes[r.where()] = true
		}
	}
	return armPlanes{arm, strings.Join(slices.Sorted(maps.Keys(planes)), ", and ")}
}

// planeWords names the plane once where the arms agree, else arm by arm.
func planeWords(all []armPlanes) string {
	var each []string
	for _, p := range all {
		each = append(each, p.arm+" "+p.where)
	}
	if !slices.ContainsFunc(all, func(p armPlanes) bool { return p.where != all[0].where }) {
		return all[0].where + ", "
	}
	return strings.Join(each, "; ") + ": "
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
		where := fmt.Sprintf("%.6g to %.6g", low, high)
		if low == high {
			where = fmt.Sprintf("%.6g", low)
		}
		elsewhere += fmt.Sprintf("; %s lie at %s MHz: %s", those, where, mend)
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

// concludeMatch sets the verdict.
func (e *Entry) concludeMatch(f matchFinding) {
	limit := e.claim.SWRAtMost
	if len(f.z0) > 1 {
		e.warn("mixed_references", "the SWR of the sweeps refers to different impedances ("+ohms(f.z0)+" ohm): figures of one are not those of another")
	}
	e.warn("match_is_not_efficiency", "SWR says how much power is taken, not how much is radiated: a dummy load has a perfect match")
	switch {
	case f.over != "":
		e.conclude(Fails, "fails", f.over)
		return
	case f.missing != "":
		e.conclude(Refused, "no_readings", f.missing)
		return
	case f.impossible != "":
		e.conclude(Undecided, "impossible_reading", f.impossible+", for more would be reflected than arrives: calibrate the analyser, check the declared feedline, and measure again")
		return
	case f.doubtful != "":
		e.conclude(Undecided, "rounding", fmt.Sprintf("%s as it was shown: the true value may lie on either side of the limit of %g", f.doubtful, limit))
		return
	}
	span := fmt.Sprintf("from %g to %g MHz", e.Match.FromMHz, e.Match.ToMHz)
	all := fmt.Sprintf("%severy reading %s is at most %g, with its rounding", planeWords(f.planes), span, limit)
	switch {
	case f.part != "":
		e.conclude(Undecided, "part_measured", fmt.Sprintf("%s, but of %s over half of that range is not measured: measure there", all, f.part))
	case e.warned("gap_in_readings"):
		e.conclude(Holds, "holds", all+", but there are gaps between them")
	default:
		e.conclude(Holds, "holds", all)
	}
}

func ohms(z0 map[float64]bool) string {
	var out []string
	for _, ohm := range slices.Sorted(maps.Keys(z0)) {
		out = append(out, fmt.Sprintf("%g", ohm))
	}
	return strings.Join(out, ", ")
}

// warnOfRadio says what readings at the radio hide, and how the feedpoint may be known.
func (c *court) warnOfRadio(e *Entry, arm string) {
	mend := "measure at the feedpoint, or declare length and loss of the feedline"
	if slices.Contains(c.LinesDeclared, arm) {
		mend = "the declared feedline can't be taken out of SWR alone that refers to another impedance than the line's: save R and X, or measure at the feedpoint"
	}
	e.warn("measured_at_radio", "measured at the radio: loss of the feedline makes the SWR look better than it is at the antenna; "+mend)
}

// usualZ0 is what SWR refers to where nothing is said of it, ohm.
const usualZ0 = 50

// where names the plane of a reading, and what its SWR refers to if it is not the usual. At the radio a lossy line hides
// SWR, so every sentence about SWR says it.
func (r reading) where() string {
	against := ""
	if r.z0 != usualZ0 {
		against = fmt.Sprintf(" (against %g ohm)", r.z0)
	}
	switch {
	case r.plane == atRadio:
		return "at the radio" + against
	case r.measured:
		return "at the feedpoint" + against
	}
	return "at the feedpoint, feedline removed" + against
}

// beyond tells whether every SWR that the reading allows is above the limit.
func (r reading) beyond(limit float64) bool { return r.low == nil || *r.low > limit+rounding }

// open tells whether the reading allows an SWR above the limit.
func (r reading) open(limit float64) bool { return r.high == nil || *r.high > limit+rounding }

func (r reading) words() string {
	if r.swr == nil {
		return fmt.Sprintf("%s, the SWR of %s at %g MHz is beyond measure", r.where(), r.arm, r.mhz)
	}
	return fmt.Sprintf("%s, the SWR of %s is %g at %g MHz", r.where(), r.arm, *round4(*r.swr), r.mhz)
}

// over says by how much a sweep is above the limit, and whether the radio's end of the feedline shows it.
func (m measurement) over(limit float64) string {
	text := fmt.Sprintf("%s, above the limit of %g", m.deciding(limit).words(), limit)
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

// worstOf gives the reading that decides a sweep, which is its highest one unless that bounds nothing, and the least and
// greatest value that the highest SWR can have. A null SWR is one without bound: a return loss of 0.
func worstOf(m measurement, limit float64) SweepEntry {
	sweep := m.judged
	worst := m.deciding(limit)
	low := slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.low, b.low) }).low
	high := slices.MaxFunc(sweep, func(a, b reading) int { return compareUnbounded(a.high, b.high) }).high
	at := worst.mhz
	s := SweepEntry{Arm: worst.arm, Sweep: worst.sweep, Plane: worst.plane, Readings: len(sweep), FrequencyMHz: &at, SWRInterval: &Range{},
		Z0Ohm: worst.z0, FeedlineRemoved: worst.plane != atRadio && !worst.measured}
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

// mostOpen is the share of the range that may lie in one gap, or away from all readings, before they say little of it.
const mostOpen = 0.5

// warnOfGaps looks at the readings of all sweeps of an arm together. It tells whether most of the range is not measured:
// over half of it lies in one gap, or farther from every reading than these usually lie apart.
func (e *Entry) warnOfGaps(arm string, sweeps []measurement, from, to float64) (most bool) {
	var at []float64
	for _, sweep := range sweeps {
		for _, r := range sweep.judged {
			at = append(at, r.mhz)
		}
	}
	slices.Sort(at)
	at = slices.Compact(at)
	apart := usualSpacing(at)
	last, away := from, 0.0
	for i, next := range append(at, to) {
		gap := next - last
		if gap > widestGap*(to-from) {
			e.warn("gap_in_readings", fmt.Sprintf("%s: no reading between %g and %g MHz", arm, last, next))
		}
		near := 2 * apart
		if i == 0 || i == len(at) { // one of the ends is an edge and no reading
			near = apart
		}
		away += max(0, gap-near)
		most = most || gap > mostOpen*(to-from)+rounding
		last = next
	}
	return most || away > mostOpen*(to-from)+rounding
}

// usualSpacing is the median distance between neighbours; 0 of fewer than two.
func usualSpacing(at []float64) float64 {
	var steps []float64
	for i := 1; i < len(at); i++ {
		steps = append(steps, at[i]-at[i-1])
	}
	return quantile(0.5, steps)
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
