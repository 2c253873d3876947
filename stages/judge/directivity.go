package judge

import (
	"fmt"
	"math"

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

// gatesOf is lobe without what the fit gives.
func (t *contest) gatesOf(shape contrast.Shape) *contrast.Directivity {
	if d, ok := t.lobes[shape]; ok {
		return d
	}
	if d, ok := t.gates[shape]; ok {
		return d
	}
	d := t.flat.Gates(shape)
	t.gates[shape] = &d
	return &d
}

// gate1 is the p of gate 1 that the verdict rests on: in an open trial that which holds however often one looks.
func (c *court) gate1(d *contrast.Directivity) float64 {
	if c.open() {
		return d.RunningP
	}
	return d.Gate1
}

func (c *court) hearDirectivity(e *Entry, t *contest) {
	d := *t.lobe(shapeOf(e.claim.Shape))
	if c.turned(e) {
		d = d.Negated()
	}
	e.Stations, e.Regions, e.Receptions = d.Stations, d.Regions, t.inLobe
	e.fillSectors(&d)
	if e.claim.Predicted {
		e.warn("axis_not_predicted", `toward_deg = "predicted" needs a calculated pattern, which this version does not make: name the axis in degrees`)
	}
	switch {
	case !c.tested(e):
		e.fillLobe(&d, true)
		c.fillFrontToBack(e, t, true)
	case c.unfinished(e):
		e.PRunning = roundP(d.RunningP)
		c.fillFrontToBack(e, t, false)
	case c.refusedLobe(e, &d):
		c.fillFrontToBack(e, t, false)
	default:
		c.testLobe(e, t, &d)
		// the region of the lobe and the front-to-back interval hold for a fixed number of blocks only
		e.fillLobe(&d, !c.open())
		c.fillFrontToBack(e, t, !c.open())
	}
}

func (c *court) refusedLobe(e *Entry, d *contrast.Directivity) bool {
	r := d.Refusal(alpha, c.family)
	if r.Code != "" {
		e.conclude(Refused, r.Code, r.Text)
	}
	return r.Code != ""
}

func (c *court) testLobe(e *Entry, t *contest, d *contrast.Directivity) {
	e.fits = d.Fits()
	e.PRunning = roundP(d.RunningP)
	e.Directivity.PGate1, e.Directivity.PGate2 = roundP(c.gate1(d)), roundP(d.Gate2)
	if d.Gate2Testable {
		p := max(c.gate1(d), d.Gate2)
		if d.Tangle.Tangled {
			p = max(p, d.Tangle.Gate1, d.Tangle.Gate2)
		}
		e.P, e.rawP = roundP(p), &p
	}
	e.naiveLobe(t.bearings)
	if d.Tangle.Tangled && c.gate1(d) <= alpha {
		e.warn("distance_tangled", fmt.Sprintf("far and near stations lie in different directions (correlation %.2f), so distance may pass for direction; with the distance taken out, gate 1 has p = %.2g and gate 2 p = %.2g, and the lobe must pass these, too",
			math.Abs(d.Tangle.Correlation), *roundP(d.Tangle.Gate1), *roundP(d.Tangle.Gate2)))
	}
}

// nearestKm is the distance that nearer stations count as where its logarithm is taken: distances are rounded to 10 km.
const nearestKm = 10

// distanceExplains tells whether both gates would pass but for the distance of the stations.
func (c *court) distanceExplains(e *Entry, d *contrast.Directivity) bool {
	return d.Tangle.Tangled && d.Gate2Testable && max(c.gate1(d), d.Gate2) <= alpha && *e.rawP > alpha
}

func (e *Entry) fillSectors(d *contrast.Directivity) {
	for _, s := range d.Sectors {
		entry := SectorEntry{FromDeg: s.FromDeg, ToDeg: s.ToDeg, Stations: s.Stations}
		if s.Estimated {
			entry.EstimateDB = round4(s.EstimateDB)
		}
		e.Directivity.Sectors = append(e.Directivity.Sectors, entry)
	}
	if d.Stations > 0 && d.Sized {
		e.EstimateDB = round4(d.EstimateDB)
	}
}

// fillLobe shows the fitted lobe without its direction, which is shown only when the verdict is "different". An
// amplitude is never shown without its interval: it is a length, and so never small by chance.
func (e *Entry) fillLobe(d *contrast.Directivity, intervals bool) {
	if len(d.Lobes) == 0 {
		return
	}
	l := d.Lobes[0]
	e.Directivity.Lobe = &LobeEntry{Harmonic: l.Harmonic}
	if !intervals {
		return
	}
	e.Directivity.Lobe.AmplitudeDB, e.Directivity.Lobe.AmplitudeIn = round4(l.AmplitudeDB), outward(contrast.Interval{LowDB: l.LowDB, HighDB: l.HighDB})
	e.Directivity.Lobe.SwingHighDB = swing(d.Lobes)
	e.shownLobe = d
}

// swing is the sum of the upper ends of the lobes' amplitudes, as they are shown; null if one has none.
func swing(lobes []contrast.Lobe) *float64 {
	hundredths := 0.0
	for _, l := range lobes {
		high := step(l.HighDB, math.Ceil)
		if high == nil {
			return nil
		}
		hundredths += math.Round(*high * 100)
	}
	sum := hundredths / 100
	return &sum
}

// fillFrontToBack shows the contrast along the axis named beforehand. Two opposite lobes have no front and back: what the
// stations' places leave of such a contrast would mislead.
func (c *court) fillFrontToBack(e *Entry, t *contest, intervals bool) {
	if e.claim.TowardDeg == nil || shapeOf(e.claim.Shape) == contrast.TwoSided {
		return
	}
	f := t.flat.FrontToBack(*e.claim.TowardDeg * math.Pi / 180)
	if c.turned(e) {
		f = f.Negated()
	}
	e.Directivity.FrontToBack = &FrontToBackEntry{AxisDeg: *e.claim.TowardDeg}
	if f.Estimated {
		e.Directivity.FrontToBack.EstimateDB = round4(f.EstimateDB)
	}
	if f.Estimated && intervals {
		e.Directivity.FrontToBack.IntervalDB = outward(f.Interval)
	}
}

func (c *court) decideDirectivity(e *Entry) {
	d := e.heard.lobe(shapeOf(e.claim.Shape))
	differ := c.gate1(d) <= alpha
	small := e.Lobe != nil && e.Lobe.SwingHighDB != nil && *e.Lobe.SwingHighDB < c.SmallestDB
	few, loud := d.Stations < FewestForFlatLobe, e.heard.compressed(e.Arms)
	switch {
	case tells(c.lossOn(e.Band)):
		e.conclude(Undecided, "losses", lossWords(c.lossOn(e.Band))+": the loss itself may be the effect")
	case e.PAdjusted != nil && *e.PAdjusted <= alpha:
		c.concludeLobe(e, d)
	case small && !few && !loud:
		c.concludeNoLobe(e)
	case e.rawP != nil && *e.rawP <= alpha:
		e.conclude(Undecided, "would_pass_alone", c.passesAlone())
	case c.distanceExplains(e, d):
		e.conclude(Undecided, "distance_tangled", fmt.Sprintf("no lobe shown: the %s differ, and their distance explains it as well as their direction does", e.who()))
	case differ && !d.Gate2Testable:
		e.conclude(Undecided, "receivers_differ", fmt.Sprintf("no lobe shown: %s differ, azimuth not shown, and there are too few regions to tell", e.who()))
	case differ:
		e.conclude(Undecided, "receivers_differ", fmt.Sprintf("no lobe shown: %s differ, azimuth not shown", e.who()))
	case small && few:
		e.conclude(Undecided, "few_to_rule_out", fmt.Sprintf("no lobe shown, but %d %s are too few to rule one out: %d are needed", d.Stations, e.who(), FewestForFlatLobe))
	case small:
		e.conclude(Undecided, "compressed", "no lobe shown, but many reports are so strong that they hide differences: use less power")
	default:
		e.conclude(Undecided, "undecided", c.lobeLeft(e))
	}
}

// lobeLeft says how great a lobe the data leave room for.
func (c *court) lobeLeft(e *Entry) string {
	if e.Lobe == nil || e.Lobe.SwingHighDB == nil {
		return "no lobe shown, and none of a size that matters is ruled out"
	}
	high := *e.Lobe.SwingHighDB
	if high > c.SmallestDB {
		return fmt.Sprintf("no lobe shown, but one of up to %.2f dB is not ruled out, more than the %g dB that matter", high, c.SmallestDB)
	}
	return fmt.Sprintf("no lobe shown, but one of up to %.2f dB is not ruled out, and that matters", high)
}

func (c *court) passesAlone() string {
	return fmt.Sprintf("a lobe would pass alone, not among the %d questions asked", c.family)
}

// concludeNoLobe: the data leave no room for a lobe that matters.
func (c *court) concludeNoLobe(e *Entry) {
	begin := "no lobe shown"
	if e.rawP != nil && *e.rawP <= alpha {
		begin = c.passesAlone()
	}
	e.conclude(Same, "practically_the_same", fmt.Sprintf("%s; one of the shape asked for (%s) is at most %.2f dB, less than the %g dB that matter, %s",
		begin, e.claim.Shape, *e.Lobe.SwingHighDB, c.SmallestDB, e.overHeard()))
}

// overHeard says what the region of a lobe speaks of: these receivers, not the antenna.
func (e *Entry) overHeard() string {
	return fmt.Sprintf("over the %s heard (%d%s)", e.who(), e.Stations, e.within(", "))
}

// concludeLobe adds what is shown only of a lobe that is there: its direction and the all-round value. The plain estimate
// weighs the directions by where the stations are, so it is not what is told of a lobe.
func (c *court) concludeLobe(e *Entry, d *contrast.Directivity) {
	n := *d
	if c.turned(e) {
		n = n.Negated()
	}
	e.AllRound = round4(n.AllRoundDB)
	where := " in a direction that the data leave open"
	if len(n.Lobes) > 0 && n.Lobes[0].DirectionKnown {
		where = e.fillDirection(n.Lobes[0], !c.open())
	}
	e.conclude(Different, "different", fmt.Sprintf("%s gains most against %s%s%s, %s", e.Arms[0], e.Arms[1], where, e.lobeSize(), e.overHeard()))
}

// lobeSize gives the amplitude in words. Where its interval reaches down to 0 the figure would only mislead.
func (e *Entry) lobeSize() string {
	l := e.Directivity.Lobe
	switch {
	case l == nil || l.AmplitudeDB == nil:
		return ""
	case !excludesZero(l.AmplitudeIn):
		return ", the size is open"
	}
	return fmt.Sprintf(", %.2f dB (%s) above the all-round value", *l.AmplitudeDB, span(l.AmplitudeIn))
}

// fillDirection gives the direction in words too.
func (e *Entry) fillDirection(l contrast.Lobe, interval bool) string {
	circle := 360 / float64(l.Harmonic)
	toward := *round4(math.Mod(*round4(l.TowardDeg), circle))
	e.Directivity.Lobe.TowardDeg = &toward
	if interval {
		e.Directivity.Lobe.TowardIn = &[2]float64{math.Floor(l.FromDeg), math.Mod(math.Ceil(l.ToDeg), circle)}
	}
	whole := math.Mod(math.Round(toward), circle)
	if l.Harmonic == 2 {
		return fmt.Sprintf(" in the directions %.0f and %.0f degrees", whole, whole+180)
	}
	return fmt.Sprintf(" toward %.0f degrees", whole)
}
