package judge

import (
	"fmt"
	"math"

	"fairlobe/stages/internal/contrast"
)

// Limits of the rules.
const (
	fewestRegions = 5 // effective regions for reach "beyond"
	fewStations   = 8 // below this the verdict speaks of these receivers only
	fewestSectors = 3 // likewise, 45-degree sectors with a station
	// FewestForFlatLobe is the least number of stations for "practically the same" of a lobe.
	FewestForFlatLobe = 12
	planPower         = 0.8
)

// hearLevel fills in the numbers of a comparison of all directions together.
func (c *court) hearLevel(e *Entry, t *contest) {
	level := t.level
	if c.turned(e) {
		level = level.Negated()
	}
	e.negative = level.EstimateDB < 0
	if level.Sized {
		e.EstimateDB = round4(level.EstimateDB)
	}
	switch {
	case !c.tested(e):
		c.describe(e, t, level)
	case c.unfinished(e):
		c.watch(e, t, level)
	case c.refusedLevel(e, level):
		e.sessions(t, c.turned(e), false)
	default:
		c.test(e, t, level)
	}
}

// describe shows what was seen where nothing may be tested.
func (c *court) describe(e *Entry, t *contest, level contrast.Level) {
	if level.Estimated {
		e.IntervalDB = outward(level.Interval)
	}
	e.sessions(t, c.turned(e), true)
}

// watch shows, of a trial under way, only what holds however often one looks.
func (c *court) watch(e *Entry, t *contest, level contrast.Level) {
	if level.Estimated {
		e.PRunning, e.RunningDB = roundP(level.Running.P), outward(level.Running.Interval)
	}
	e.sessions(t, c.turned(e), false)
}

func (c *court) refusedLevel(e *Entry, level contrast.Level) bool {
	r := level.Refusal(alpha, c.familyOf(e))
	if r.Code != "" {
		e.conclude(Refused, r.Code, r.Text)
	}
	return r.Code != ""
}

func (c *court) test(e *Entry, t *contest, level contrast.Level) {
	e.PRunning, e.RunningDB = roundP(level.Running.P), outward(level.Running.Interval)
	p, interval := level.P, level.Interval
	if c.open() {
		p, interval = level.Running.P, level.Running.Interval
	}
	e.P, e.rawP, e.IntervalDB = roundP(p), &p, outward(interval)
	if e.IntervalDB != nil {
		excluded := excludesZero(e.IntervalDB)
		e.ZeroExcluded = &excluded
	}
	if !c.open() { // the second test holds for a fixed number of blocks only
		e.Beyond = &BeyondEntry{IntervalDB: outward(level.Beyond.Interval), P: roundP(level.Beyond.P), Regions: round4(level.Beyond.EffectiveRegions)}
	}
	e.naiveLevel(t)
	e.sessions(t, c.turned(e), true)
	c.lookForDirection(e, t)
}

func (e *Entry) count(t *contest) {
	e.Stations, e.Regions, e.Receptions = t.stations, t.regions, t.receptions
}

// familyOf gives the number of questions that the claim is one of.
func (c *court) familyOf(e *Entry) int {
	if e.inFamily {
		return c.family
	}
	return 1
}

// turned tells whether the claim asks for the difference the other way round.
func (c *court) turned(e *Entry) bool {
	_, _, turned := c.canonical(e.Arms)
	return turned
}

// open tells whether the verdict rests on the numbers that hold however often one looks.
func (c *court) open() bool { return c.Stopping == "open" || c.trial.EndedEarly }

// unfinished concludes a trial of a fixed number of blocks that is not over yet.
func (c *court) unfinished(e *Entry) bool {
	if c.open() || c.complete() {
		return false
	}
	e.conclude(Undecided, "unfinished", fmt.Sprintf("%d of %d blocks are in; a trial of a fixed number of blocks is judged when it is over", e.Blocks, e.BlocksPlanned))
	return true
}

// lookForDirection adds the all-round value if the difference is not the same in all directions.
func (c *court) lookForDirection(e *Entry, t *contest) {
	for _, shape := range c.shapesOn(e, t) {
		if d := t.gatesOf(shape); !d.Testable || c.gate1(d) > alpha {
			continue
		}
		allRound := t.lobe(shape).AllRoundDB
		if c.turned(e) {
			allRound = -allRound
		}
		e.depends, e.AllRound = true, round4(allRound)
		return
	}
}

// shapesOn gives the shapes in which the band is looked at: those of the directivity claims on the same arms, or one
// lobe if there are none, or none of them can be tested.
func (c *court) shapesOn(e *Entry, t *contest) []contrast.Shape {
	first, second, _ := c.canonical(e.Arms)
	var shapes []contrast.Shape
	testable := false
	for _, claim := range c.Claims {
		if claim.Kind != "directivity" || len(claim.Arms) != 2 || claim.Direction != e.claim.Direction || !claim.on(e.Band) {
			continue
		}
		if a, b, _ := c.canonical(claim.Arms); a == first && b == second {
			shapes = append(shapes, shapeOf(claim.Shape))
			testable = testable || t.gatesOf(shapeOf(claim.Shape)).Testable
		}
	}
	if !testable {
		shapes = []contrast.Shape{contrast.OneSided}
	}
	return shapes
}

func (c *court) decideLevel(e *Entry) {
	l := c.SmallestDB
	switch {
	case tells(c.lossOn(e.Band)):
		e.conclude(Undecided, "losses", lossWords(c.lossOn(e.Band))+": the loss itself may be the effect")
	case inside(e.IntervalDB, l):
		if !c.spoiled(e) {
			c.concludeSame(e)
		}
	case e.PAdjusted != nil && *e.PAdjusted <= alpha:
		c.concludeDifferent(e)
	case e.IntervalDB == nil:
		e.conclude(Undecided, "no_one_difference", "no one difference fits all blocks: it changed during the trial, or differs between the stations")
	case *e.rawP <= alpha || excludesZero(e.IntervalDB):
		e.conclude(Undecided, "would_pass_alone", fmt.Sprintf("the difference (%s) would pass alone, not among the %d questions asked", span(e.IntervalDB), c.family)+c.plan(e))
	default:
		e.conclude(Undecided, "undecided", allowed(span(e.IntervalDB), e.IntervalDB, "difference", "differences")+c.plan(e))
	}
}

// allowed says what an interval leaves open that holds no difference and also some that matter.
func allowed(written string, i *Range, one, several string) string {
	if !boundedSomewhere(i) {
		return fmt.Sprintf("the data set no bound on either side: no %s, and also any that matters", one)
	}
	return fmt.Sprintf("the data allow %s: no %s, and also %s that matter", written, one, several)
}

// spoiled concludes where a small difference is no proof of one.
func (c *court) spoiled(e *Entry) bool {
	small := fmt.Sprintf("on average the difference is small (%s)", span(e.IntervalDB))
	switch {
	case e.depends:
		e.conclude(Undecided, "depends_on_direction", small+", but it depends on the direction")
	case e.heard.compressed(e.Arms):
		e.conclude(Undecided, "compressed", small+", but many reports are so strong that they hide differences: use less power")
	case e.heard.disagree:
		e.conclude(Undecided, "sessions_differ", small+", but the sessions contradict each other")
	default:
		return false
	}
	return true
}

// plan says how many blocks would find the smallest difference that matters, if it is there. A standard deviation
// from few blocks is uncertain, so its upper 80 % limit is taken.
func (c *court) plan(e *Entry) string {
	level := e.heard.level
	if level.Blocks < 2 || math.IsNaN(level.SigmaDB) || !boundedSomewhere(e.IntervalDB) {
		return ""
	}
	sigma := level.SigmaDB * contrast.PilotFactor(level.Blocks)
	n := contrast.BlocksToTell(c.SmallestDB, sigma, alpha/float64(c.familyOf(e)), planPower)
	if n == math.MaxInt32 || c.open() && n <= e.Blocks {
		return ""
	}
	e.BlocksNeeded = &n
	if c.open() {
		return fmt.Sprintf("; about %d blocks in all would find a difference of %g dB four times out of five", n, c.SmallestDB)
	}
	return fmt.Sprintf("; a new trial of about %d blocks would find a difference of %g dB four times out of five", n, c.SmallestDB)
}

func (c *court) concludeSame(e *Entry) {
	if e.Beyond != nil && inside(e.Beyond.IntervalDB, c.SmallestDB) {
		e.widen()
	}
	if !excludesZero(e.IntervalDB) {
		e.conclude(Same, "practically_the_same", fmt.Sprintf("any difference is smaller than %g dB (%s) %s", c.SmallestDB, span(e.IntervalDB), e.heardAt()))
		return
	}
	better, _, i := e.ranked()
	e.conclude(Same, "practically_the_same", fmt.Sprintf("a difference of %.2f to %.2f dB is there, in favour of %s, %s; you said that less than %g dB does not matter",
		*i[0], *i[1], better, e.heardAt(), c.SmallestDB))
}

func (c *court) concludeDifferent(e *Entry) {
	if e.IntervalDB != nil && e.Beyond != nil && e.Beyond.P != nil && *e.Beyond.P <= alpha {
		e.widen()
	}
	better, worse, i := e.ranked()
	size := "; the size is not settled"
	if beyondLimit(i, c.SmallestDB) {
		size = fmt.Sprintf(", by more than the %g dB that matter", c.SmallestDB)
	}
	by := ""
	if e.EstimateDB != nil {
		by = fmt.Sprintf("%.2f dB ", math.Abs(*e.EstimateDB))
	} else if beyondLimit(i, c.SmallestDB) {
		size += "; by how many dB can't be said"
	} else {
		size = "; by how many dB can't be said"
	}
	text := fmt.Sprintf("%s is %sstronger than %s (%s)", better, by, worse, span(i))
	if e.depends {
		text = fmt.Sprintf("on average over %s, %s", e.theHeard(), text)
	} else {
		text += " " + e.heardAt()
	}
	e.conclude(Different, "different", text+size)
}

// widen lets the verdict speak beyond the receivers heard, if stations, sectors and regions are many enough.
func (e *Entry) widen() {
	if r := e.Beyond.Regions; !e.narrow && r != nil && *r >= fewestRegions && !e.warned("few_stations") && !e.warned("few_sectors") {
		*e.Reach = Beyond
	}
}

// ranked gives the arms with the stronger one first, and the interval of that one minus the other.
func (e *Entry) ranked() (better, worse string, i *Range) {
	negative := e.negative
	if excludesZero(e.IntervalDB) {
		negative = e.IntervalDB[1] != nil && *e.IntervalDB[1] < 0
	}
	if negative {
		return e.Arms[1], e.Arms[0], turnedRange(e.IntervalDB)
	}
	return e.Arms[0], e.Arms[1], e.IntervalDB
}

// who names the far ends: those that heard us, or that we heard.
func (e *Entry) who() string {
	if e.claim.Direction == "received" {
		return "stations"
	}
	return "receivers"
}

// heardAt says of which stations a sentence speaks.
func (e *Entry) heardAt() string { return "at " + e.theHeard() }

// theHeard names the stations that a sentence speaks of.
func (e *Entry) theHeard() string {
	who := fmt.Sprintf("the %d %s heard%s", e.Stations, e.who(), e.within(" "))
	if e.Reach != nil && *e.Reach == Beyond {
		who += ", and by their spread also beyond them"
	}
	return who
}

// within says from which distances the claim takes stations, after a separator; "" from all.
func (e *Entry) within(separator string) string {
	if w := e.claim.WithinKm; w != nil {
		if w[0] == 0 {
			return fmt.Sprintf("%sup to %g km away", separator, w[1])
		}
		return fmt.Sprintf("%sfrom %g to %g km away", separator, w[0], w[1])
	}
	return ""
}

// decideNull: one configuration under two names must come out practically the same.
func (c *court) decideNull(e *Entry) {
	switch {
	case tells(c.lossOn(e.Band)):
		e.conclude(Undecided, "losses", lossWords(c.lossOn(e.Band))+": the loss itself may be the effect")
	case inside(e.IntervalDB, c.SmallestDB):
		if !c.spoiled(e) {
			e.conclude(Holds, "holds", fmt.Sprintf("the two names of one configuration differ by less than %g dB (%s), as they must", c.SmallestDB, span(e.IntervalDB)))
		}
	case *e.rawP <= alpha || excludesZero(e.IntervalDB):
		e.conclude(Fails, "fails", fmt.Sprintf("the two names of one configuration differ (%s): something else changes with the name", span(e.IntervalDB)))
	case e.IntervalDB == nil:
		e.conclude(Undecided, "no_one_difference", "no one difference fits all blocks: it changed during the trial, or differs between the stations")
	case !boundedSomewhere(e.IntervalDB):
		e.conclude(Undecided, "undecided", "the data set no bound on either side: too wide to test the trial")
	default:
		e.conclude(Undecided, "undecided", fmt.Sprintf("the data allow %s: too wide to test the trial", span(e.IntervalDB))+c.plan(e))
	}
}

// decideStep: a declared power step must show.
func (c *court) decideStep(e *Entry) {
	stepDB, i := *e.claim.StepDB, e.IntervalDB
	switch {
	case tells(c.lossOn(e.Band)):
		e.conclude(Undecided, "losses", lossWords(c.lossOn(e.Band))+": the loss itself may be the effect")
	case i == nil:
		e.conclude(Undecided, "no_one_difference", "no one difference fits all blocks: it changed during the trial, or differs between the stations")
	case !contains(i, stepDB):
		e.conclude(Fails, "fails", fmt.Sprintf("the declared step of %g dB is outside of what the data allow (%s)", stepDB, span(i)))
	case excludesZero(i):
		e.conclude(Holds, "holds", fmt.Sprintf("the declared step of %g dB shows (%s)", stepDB, span(i)))
	case !boundedSomewhere(i):
		e.conclude(Undecided, "undecided", "the data set no bound on either side: they allow the step, and also none")
	default:
		e.conclude(Undecided, "undecided", fmt.Sprintf("the data allow %s: the step, and also none", span(i))+c.plan(e))
	}
}
