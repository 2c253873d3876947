package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairlobe/stages/internal/contrast"
)

func shapeOf(name string) contrast.Shape {
	switch name {
	case "two-sided":
		return contrast.TwoSided
	case "any":
		return contrast.Any
	}
	return contrast.OneSided
}

// lobe calculates the dependence on azimuth, once for each shape, in the canonical order of the arms.
func (t *contest) lobe(shape contrast.Shape) *contrast.Directivity {
	if d, ok := t.lobes[shape]; ok {
		return d
	}
	d := t.flat.Directivity(shape)
	t.lobes[shape] = &d
	return &d
}

// mustContest gives the contest that hear has calculated.
func (c *court) mustContest(e *Entry) *contest {
	t, err := c.contest(e)
	if err != nil {
		panic("judge: " + err.Error()) // hear has returned this error already
	}
	return t
}

func (c *court) hearDirectivity(e *Entry, t *contest) error {
	d := *t.lobe(shapeOf(e.claim.Shape))
	_, _, turned := c.canonical(e.Arms)
	if turned {
		d = d.Negated()
	}
	e.count(t)
	e.Stations, e.Regions = d.Stations, d.Regions
	c.warnings(e, t)
	e.fillDirectivity(&d)
	c.fillFrontToBack(e, t, turned)
	if !c.tested(e) {
		e.Directivity.PGate1, e.Directivity.PGate2 = nil, nil
		return nil
	}
	e.PRunning = roundP(d.RunningP)
	if c.unfinished(e) {
		e.Directivity.PGate1, e.Directivity.PGate2 = nil, nil
		return nil
	}
	if r := d.Refusal(alpha, c.family); r.Code != "" {
		e.Directivity.PGate1, e.Directivity.PGate2, e.Directivity.Lobe, e.PRunning = nil, nil, nil, nil
		e.conclude(Refused, r.Code, r.Text)
		return nil
	}
	p := d.P
	if c.open() {
		p = max(d.RunningP, d.Gate2)
	}
	if d.Gate2Testable {
		e.P, e.rawP = roundP(p), &p
	}
	return nil
}

func (e *Entry) fillDirectivity(d *contrast.Directivity) {
	out := e.Directivity
	for _, s := range d.Sectors {
		entry := SectorEntry{FromDeg: s.FromDeg, ToDeg: s.ToDeg, Stations: s.Stations}
		if s.Estimated {
			entry.EstimateDB = round4(s.EstimateDB)
		}
		out.Sectors = append(out.Sectors, entry)
	}
	if !d.Testable {
		return
	}
	e.EstimateDB = round4(d.EstimateDB)
	out.PGate1, out.PGate2 = roundP(d.Gate1), roundP(d.Gate2)
	e.AllRound = round4(d.AllRoundDB)
	if len(d.Lobes) == 0 {
		return
	}
	l := d.Lobes[0]
	out.Lobe = &LobeEntry{Harmonic: l.Harmonic, AmplitudeDB: round4(l.AmplitudeDB), AmplitudeIn: outward(contrast.Interval{LowDB: l.LowDB, HighDB: l.HighDB})}
	if l.DirectionKnown {
		out.Lobe.TowardDeg = rounded(l.TowardDeg, 10)
		out.Lobe.TowardIn = &[2]float64{math.Floor(l.FromDeg), math.Mod(math.Ceil(l.ToDeg), 360)}
	}
}

func (c *court) fillFrontToBack(e *Entry, t *contest, turned bool) {
	if e.claim.Predicted {
		e.warn("axis_not_predicted", `toward_deg = "predicted" needs a calculated pattern, which this version does not make: name the axis in degrees`)
	}
	if e.claim.TowardDeg == nil {
		return
	}
	f := t.flat.FrontToBack(*e.claim.TowardDeg * math.Pi / 180)
	if turned {
		f = f.Negated()
	}
	e.Directivity.FrontToBack = &FrontToBackEntry{AxisDeg: *e.claim.TowardDeg}
	if f.Estimated {
		e.Directivity.FrontToBack.EstimateDB, e.Directivity.FrontToBack.IntervalDB = round4(f.EstimateDB), outward(f.Interval)
	}
}

func (c *court) decideDirectivity(e *Entry) {
	t := c.mustContest(e)
	d := t.lobe(shapeOf(e.claim.Shape))
	reach := TheseReceivers
	e.Reach = &reach
	high := d.SwingHighDB
	switch {
	case tells(c.lossOn(e.Band)):
		e.conclude(Undecided, "losses", fmt.Sprintf("%.0f %% of the blocks were lost, or more with one arm than with the other: the loss itself may be the effect", 100*c.lossOn(e.Band).Share))
	case e.PAdjusted != nil && *e.PAdjusted <= alpha:
		e.concludeLobe()
	case high < c.SmallestDB && d.Stations >= fewestForFlatLobe && !t.compressed(e.Arms):
		e.conclude(Same, "practically_the_same", fmt.Sprintf("no direction differs from the all-round value by %g dB or more, over the %d receivers heard", c.SmallestDB, e.Stations))
	case d.Gate1 <= alpha && !d.Gate2Testable:
		e.conclude(Undecided, "receivers_differ", "receivers differ, azimuth not shown: there are too few regions to tell")
	case d.Gate1 <= alpha && d.Gate2 > alpha:
		e.conclude(Undecided, "receivers_differ", "receivers differ, azimuth not shown")
	case e.rawP != nil && *e.rawP <= alpha:
		e.conclude(Undecided, "would_pass_alone", fmt.Sprintf("a lobe would pass alone, not among the %d questions asked", c.family))
	default:
		e.conclude(Undecided, "undecided", "no lobe shown, and none of a size that matters is ruled out")
	}
	if e.Verdict != Different {
		if l := e.Directivity.Lobe; l != nil {
			l.TowardDeg, l.TowardIn = nil, nil
		}
		e.AllRound = nil
	}
}

func (e *Entry) concludeLobe() {
	l := e.Directivity.Lobe
	where := "in a direction that the data leave open"
	if l.TowardDeg != nil && l.Harmonic == 2 {
		where = fmt.Sprintf("along %.0f and %.0f degrees", *l.TowardDeg, math.Mod(*l.TowardDeg+180, 360))
	} else if l.TowardDeg != nil {
		where = fmt.Sprintf("toward %.0f degrees", *l.TowardDeg)
	}
	size := ""
	if l.AmplitudeDB != nil {
		size = fmt.Sprintf(" by %.1f dB (%s)", *l.AmplitudeDB, e.spanDB(l.AmplitudeIn))
	}
	e.conclude(Different, "different", fmt.Sprintf("%s against %s is favoured %s%s, over the %d receivers heard", e.Arms[0], e.Arms[1], where, size, e.Stations))
}

// finish puts the warnings in a fixed order.
func (e *Entry) finish() {
	slices.SortStableFunc(e.Warnings, func(a, b Warning) int { return strings.Compare(a.Code, b.Code) })
}
