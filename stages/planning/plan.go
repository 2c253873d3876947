package planning

import (
	"cmp"
	"math"
	"slices"

	"fairlobe/experiments"
	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/judge"
	"fairlobe/stages/schedule"
)

// The limits below which the formulas promise nothing.
const (
	manyBlocks   = 12
	manyStations = 30
)

// Input is what a plan is made from.
type Input struct {
	Experiment *experiments.Experiment
	// Planned are the dwells as scheduled, sorted by start.
	Planned []schedule.Dwell
	// Pilot is a former run; nil: none.
	Pilot *Pilot
	// Stations is how many are expected to hear the trial; 0: those of the former run, or 50.
	Stations int
}

// Plan is what the schedule can find, and what it takes.
type Plan struct {
	in        Input
	summary   schedule.Summary
	Questions []Question
	// Family is the number of questions that are corrected together: claims times bands.
	Family int
	// Alpha is the level of each of them at the first step of the correction.
	Alpha float64
	// Smallest is the least p value that the band with the fewest blocks can give.
	Smallest float64
}

// Question is one claim on the bands on which the same figures hold.
type Question struct {
	Claim experiments.Claim
	Bands []string
	// Blocks is the number as scheduled, on the band that has the fewest of them.
	Blocks   int
	Stations int
	// Smallest is the difference that matters, in the unit of Sigma.
	Smallest float64
	Sigma    Assumed
	Alpha    float64
	// Different and Same are nil where the claim has no such answer, or no formula tells.
	Different, Same *Need
	// Recipe has the blocks for "different" that drawing the former run's blocks again gives; nil without.
	Recipe *Recipe
	// Simulated is set by Simulate; nil before.
	Simulated *Simulated
	// Note says in words what is needed where blocks are not the measure.
	Note string

	different, same func(sigma, size float64, blocks int) float64
}

// Need is what one answer asks for.
type Need struct {
	// Now is the power of the schedule as it is, 0 to 1.
	Now float64
	// At80 and At90 are the blocks for a power of 80 and 90 %, math.MaxInt32 if out of reach.
	At80, At90 int
	// Size90 is the least difference that the schedule finds in 9 of 10 trials, +Inf if none.
	Size90 float64
}

// New makes the plan.
func New(in Input) *Plan {
	p := &Plan{in: in, summary: schedule.Summarise(in.Planned, in.Experiment.Fixed.Slot.Milliseconds(), in.Experiment.Fixed.Sends)}
	for _, c := range in.Experiment.Claims {
		if judge.InFamily(c.Kind) {
			p.Family += len(p.bandsOf(c))
		}
	}
	p.Alpha = contrast.Alpha / float64(max(1, p.Family))
	p.Smallest = 1
	for i, b := range p.summary.Bands {
		if least := smallestP(b.Blocks); i == 0 || least > p.Smallest {
			p.Smallest = least
		}
	}
	for _, c := range in.Experiment.Claims {
		p.ask(c)
	}
	return p
}

// bandsOf gives the bands that a claim speaks of and that are scheduled.
func (p *Plan) bandsOf(c experiments.Claim) []string {
	var out []string
	for _, b := range p.summary.Bands {
		if len(c.Bands) == 0 || slices.Contains(c.Bands, b.Band) {
			out = append(out, b.Band)
		}
	}
	return out
}

// bandNames are those of the schedule, in the order in which they begin.
func (p *Plan) bandNames() []string {
	var out []string
	for _, b := range p.summary.Bands {
		out = append(out, b.Band)
	}
	return out
}

func (p *Plan) blocksOn(band string) int {
	for _, b := range p.summary.Bands {
		if b.Band == band {
			return b.Blocks
		}
	}
	return 0
}

// ask adds the questions of a claim, one for all bands on which nothing differs.
func (p *Plan) ask(c experiments.Claim) {
	from := len(p.Questions)
	for _, band := range p.bandsOf(c) {
		q := p.question(c, band)
		alike := slices.IndexFunc(p.Questions[from:], func(o Question) bool {
			return o.Blocks == q.Blocks && o.Sigma == q.Sigma && o.Stations == q.Stations && o.Recipe == nil && q.Recipe == nil
		})
		if alike >= 0 {
			p.Questions[from+alike].Bands = append(p.Questions[from+alike].Bands, band)
			continue
		}
		p.Questions = append(p.Questions, q)
	}
}

// question is one claim on one band.
func (p *Plan) question(c experiments.Claim, band string) Question {
	q := Question{Claim: c, Bands: []string{band}, Blocks: p.blocksOn(band), Stations: p.stations(), Smallest: p.in.Experiment.SmallestDB, Alpha: contrast.Alpha}
	if judge.InFamily(c.Kind) {
		q.Alpha = p.Alpha
	}
	if q.Note = p.noteOn(c, q.Alpha); q.Note != "" {
		return q
	}
	q.Sigma = assumedDB(q.Stations)
	figures, measured := p.in.Pilot.figures(c, band)
	if measured {
		q.Sigma = figures.sigma()
		q.Stations = cmp.Or(p.in.Stations, figures.Stations)
	}
	p.choose(&q, figures, measured)
	q.need()
	if measured && q.different != nil && c.Kind == "level" && q.Different.At80 < manyBlocks {
		q.Recipe = figures.recipe(q.Smallest, q.Alpha, p.in.Experiment.Seed)
	}
	return q
}

// stations is how many are expected.
func (p *Plan) stations() int {
	return cmp.Or(p.in.Stations, usualStations)
}

// usualStations is how many the invented world has as a rule.
const usualStations = 50

// alikeAround is the share of trials of two arms alike in which the data show no dependence on azimuth, which would
// forbid "practically the same".
const alikeAround = 1 - contrast.Alpha

// choose settles which formulas hold for the kind of claim.
func (p *Plan) choose(q *Question, figures Figures, measured bool) {
	alpha := q.Alpha
	tell := func(sigma, size float64, n int) float64 { return PowerToTell(size, sigma, n, alpha) }
	same := func(sigma, size float64, n int) float64 { return float64(alikeAround * PowerForSame(size, sigma, n)) }
	switch q.Claim.Kind {
	case "level":
		q.different, q.same = tell, same
	case "heard_by":
		q.different = tell
		q.same = func(sigma, size float64, n int) float64 { return PowerForSame(size, sigma, n) }
		q.Smallest, q.Sigma = q.Claim.SmallestPoints, assumedPoints()
	case "null":
		q.same = same
	case "known_step":
		q.Smallest = math.Abs(*q.Claim.StepDB)
		q.different = func(sigma, size float64, n int) float64 { return PowerForStep(size, sigma, n) }
	case "directivity":
		columns := 2.0
		if q.Claim.Shape == "any" {
			columns = 4
		}
		q.Sigma = q.Sigma.lobe(q.Stations)
		if measured {
			if lobe, ok := figures.lobe(q.Claim.Shape); ok {
				q.Sigma = lobe
			}
		}
		q.different = func(sigma, size float64, n int) float64 { return PowerForLobe(size, sigma, n, alpha, columns) }
	}
}

// need fills in what either answer asks for.
func (q *Question) need() {
	if q.different != nil {
		q.Different = q.needOf(q.different, leastFor(q.Alpha))
	}
	if q.same != nil {
		q.Same = q.needOf(q.same, contrast.FewestBlocks(q.Alpha, 1))
	}
}

// needOf: a test that can't reach its level with so few blocks finds nothing.
func (q *Question) needOf(power func(sigma, size float64, blocks int) float64, least int) *Need {
	at := func(n int) float64 { return power(q.Sigma.Value, q.Smallest, n) }
	n := &Need{At80: fewestFor(least, usualPower, at), At90: fewestFor(least, highPower, at), Size90: math.Inf(1)}
	if q.Blocks >= contrast.FewestBlocks(q.Alpha, 1) {
		n.Now = at(q.Blocks)
		n.Size90 = detectable(highPower, func(d float64) float64 { return power(q.Sigma.Value, d, q.Blocks) })
	}
	return n
}

// noteOn says what a claim needs whose measure is not the number of blocks; "" for all others.
func (p *Plan) noteOn(c experiments.Claim, alpha float64) string {
	switch {
	case c.Kind == "match":
		return "rests on sweeps and not on blocks: one sweep of each arm on each band is enough, two or more show how well they repeat."
	case c.Kind == "repeat":
		return "needs 3 erections of the arm or more, in sessions of their own, beside an arm that every session has. More blocks in one session do not replace them."
	case c.Kind == "reciprocity":
		return "rests on regions heard both ways and not on blocks: at least " + counted(contrast.FewestBlocks(alpha, 1), "region") + ", with the power of both ends known."
	case len(c.Arms) < 2:
		return "will be refused: one arm alone can't be told from path and season. Turn this wire in random blocks as a second arm, or name a control station."
	}
	return ""
}

// bySimulation tells whether the formulas promise nothing for the question, and simulation must.
func (q *Question) bySimulation() bool {
	return q.Note == "" && q.Claim.Kind != "heard_by" && (q.Claim.Kind == "directivity" || q.Blocks < manyBlocks || q.Stations < manyStations)
}
