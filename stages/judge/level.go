package judge

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/stages/internal/account"
	"fairlobe/stages/internal/contrast"
)

// Limits of the rules.
const (
	fewestRegions     = 5    // effective regions for reach "beyond"
	fewStations       = 8    // below this the verdict speaks of these receivers only
	fewestSectors     = 3    // likewise, 45-degree sectors with a station
	mostStrong        = 0.2  // share of an arm's receptions above the strong end
	mostOneRegion     = 0.4  // share of one region
	mostOneStation    = 0.2  // share of one station
	mostLost          = 0.25 // share of blocks lost
	planPower         = 0.8
	fewestForFlatLobe = 12 // stations for "practically the same" of a lobe
)

// hearLevel fills in the numbers of a comparison of all directions together.
func (c *court) hearLevel(e *Entry, t *contest) error {
	level := t.level
	if _, _, turned := c.canonical(e.Arms); turned {
		level = level.Negated()
	}
	e.count(t)
	e.naive(t)
	c.warnings(e, t)
	if level.Estimated {
		e.EstimateDB = round4(level.EstimateDB)
		e.Beyond = &BeyondEntry{IntervalDB: outward(level.Beyond.Interval), P: roundP(level.Beyond.P), Regions: round4(level.Beyond.EffectiveRegions)}
		e.PRunning, e.RunningDB = roundP(level.Running.P), outward(level.Running.Interval)
		e.sessions(t, c)
	}
	if !c.tested(e) {
		e.IntervalDB, e.PRunning, e.RunningDB, e.Beyond = outward(level.Interval), nil, nil, nil
		return nil
	}
	if c.unfinished(e) {
		return nil
	}
	if r := level.Refusal(alpha, c.familyOf(e)); r.Code != "" {
		e.PRunning, e.RunningDB, e.Beyond = nil, nil, nil
		e.conclude(Refused, r.Code, r.Text)
		return nil
	}
	p, interval := level.P, level.Interval
	if c.open() {
		p, interval = level.Running.P, level.Running.Interval
	}
	e.P, e.rawP, e.IntervalDB = roundP(p), &p, outward(interval)
	if zero := e.excludesZero(); e.IntervalDB != nil {
		e.ZeroExcluded = &zero
	}
	return c.lookForDirection(e, t)
}

func (c *court) familyOf(e *Entry) int {
	if e.inFamily {
		return c.family
	}
	return 1
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

func (e *Entry) count(t *contest) {
	e.Stations, e.Regions, e.Receptions = t.stations, t.regions, t.receptions
}

// naive gives Welch's t test over single reports (Welch 1947, Biometrika 34:28), as if reports were independent.
func (e *Entry) naive(t *contest) {
	if len(t.perArm) < 2 {
		return
	}
	a, b := t.perArm[e.Arms[0]], t.perArm[e.Arms[1]]
	if len(a) < 2 || len(b) < 2 {
		return
	}
	meanA, varA := stat.MeanVariance(a, nil)
	meanB, varB := stat.MeanVariance(b, nil)
	qa, qb := varA/float64(len(a)), varB/float64(len(b))
	if qa+qb == 0 {
		return
	}
	df := (qa + qb) * (qa + qb) / (qa*qa/float64(len(a)-1) + qb*qb/float64(len(b)-1))
	tt := math.Abs(meanA-meanB) / math.Sqrt(qa+qb)
	e.Naive = &Naive{SpotTP: roundP(2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(tt)), Misleading: true}
}

// sessions copies the estimates by session, turned round if the claim is.
func (e *Entry) sessions(t *contest, c *court) {
	_, _, turned := c.canonical(e.Arms)
	for _, s := range t.sessions {
		if turned {
			s.EstimateDB, s.IntervalDB = negated(s.EstimateDB), turnedRange(s.IntervalDB)
		}
		e.Sessions = append(e.Sessions, s)
	}
	if t.disagree {
		e.warn("sessions_differ", "the intervals of single sessions do not overlap: something changed between them")
	}
}

func negated(v *float64) *float64 {
	if v == nil {
		return nil
	}
	n := 0 - *v
	return &n
}

func turnedRange(r *Range) *Range {
	if r == nil {
		return nil
	}
	return &Range{negated(r[1]), negated(r[0])}
}

func (c *court) warnings(e *Entry, t *contest) {
	if s := t.stations; s >= 3 && s < fewStations {
		e.warn("few_stations", fmt.Sprintf("only %d stations were heard: the verdict speaks of these alone", s))
	} else if s >= 3 && t.level.Sectors < fewestSectors {
		e.warn("few_sectors", fmt.Sprintf("the stations lie in %d of eight sectors: the verdict speaks of these alone", t.level.Sectors))
	}
	if share := t.level.Beyond.LargestRegion; share > mostOneRegion {
		e.warn("one_region", fmt.Sprintf("one region holds %.0f %% of the weight", 100*share))
	}
	if share := t.level.Beyond.LargestStation; share > mostOneStation {
		e.warn("one_station", fmt.Sprintf("one station holds %.0f %% of the weight", 100*share))
	}
	for _, arm := range e.Arms {
		if share := t.strong[arm]; share > mostStrong {
			e.warn("compressed", fmt.Sprintf("%.0f %% of the reports of %s are above +10 dB, where reports lag behind the true ratio: differences look smaller than they are", 100*share, arm))
		}
	}
	if c.SpotIntervalMs > 2*c.SlotMs {
		e.warn("thinned", fmt.Sprintf("reports are passed on about every %g minutes only: a missing report is no proof of silence", float64(c.SpotIntervalMs)/60000))
	}
	if c.SharedCoin {
		e.warn("shared_coin", "one draw served all bands: each band's test is exact, but the bands share one coin")
	}
	if c.trial.OneErection {
		e.warn("one_erection", "an arm was put up only once: the verdict speaks of these erections, not of the design")
	}
	if l := c.lossOn(e.Band); tells(l) {
		e.warn("losses", fmt.Sprintf("%.0f %% of the blocks were lost: losses may depend on the arm", 100*l.Share))
	}
	for _, w := range c.trial.Warnings {
		e.warn(w.Code, w.Text)
	}
}

// lossOn gives the losses on a band.
func (c *court) lossOn(band string) account.Loss {
	for _, l := range c.trial.Losses {
		if l.Band == band {
			return l
		}
	}
	return account.Loss{Band: band, P: 1}
}

// tells is true if so many blocks were lost, or so unequally, that the loss itself may be the effect.
func tells(l account.Loss) bool { return l.Share > mostLost || l.P < alpha }

func (t *contest) compressed(arms []string) bool {
	for _, arm := range arms {
		if t.strong[arm] > mostStrong {
			return true
		}
	}
	return false
}

func (e *Entry) excludesZero() bool {
	i := e.IntervalDB
	return i != nil && (i[0] != nil && *i[0] > 0 || i[1] != nil && *i[1] < 0)
}

// inside tells whether an interval lies within the limit on both sides.
func inside(i *Range, limit float64) bool {
	return i != nil && i[0] != nil && i[1] != nil && *i[0] > -limit && *i[1] < limit
}

// beyondLimit tells whether an interval lies wholly outside the limit on one side.
func beyondLimit(i *Range, limit float64) bool {
	return i != nil && (i[0] != nil && *i[0] > limit || i[1] != nil && *i[1] < -limit)
}

// lookForDirection adds the all-round value if the difference is not the same in all directions.
func (c *court) lookForDirection(e *Entry, t *contest) error {
	d := t.lobe(c.shapeOn(e))
	if !d.Testable || d.Gate1 > alpha {
		return nil
	}
	if _, _, turned := c.canonical(e.Arms); turned {
		n := d.Negated()
		d = &n
	}
	e.AllRound = round4(d.AllRoundDB)
	return nil
}

// shapeOn gives the shape in which the band is looked at: that of a directivity claim on the same arms, or one lobe.
func (c *court) shapeOn(e *Entry) contrast.Shape {
	first, second, _ := c.canonical(e.Arms)
	for _, claim := range c.Claims {
		if claim.Kind != "directivity" || len(claim.Arms) != 2 {
			continue
		}
		if a, b, _ := c.canonical(claim.Arms); a == first && b == second {
			return shapeOf(claim.Shape)
		}
	}
	return contrast.OneSided
}

func (c *court) decideLevel(e *Entry) {
	t := c.mustContest(e)
	l := c.SmallestDB
	passes := e.PAdjusted != nil && *e.PAdjusted <= alpha
	depends := e.AllRound != nil
	reach := TheseReceivers
	e.Reach = &reach
	switch {
	case tells(c.lossOn(e.Band)):
		e.conclude(Undecided, "losses", fmt.Sprintf("%.0f %% of the blocks were lost, or more with one arm than with the other: the loss itself may be the effect", 100*c.lossOn(e.Band).Share))
	case inside(e.IntervalDB, l) && depends:
		e.conclude(Undecided, "depends_on_direction", fmt.Sprintf("on average the difference is small (%s), but it depends on the direction", e.spanDB(e.IntervalDB)))
	case inside(e.IntervalDB, l) && t.compressed(e.Arms):
		e.conclude(Undecided, "compressed", fmt.Sprintf("the difference looks small (%s), but too many reports are so strong that they hide differences: use less power", e.spanDB(e.IntervalDB)))
	case inside(e.IntervalDB, l) && t.disagree:
		e.conclude(Undecided, "sessions_differ", fmt.Sprintf("on average the difference is small (%s), but the sessions contradict each other", e.spanDB(e.IntervalDB)))
	case inside(e.IntervalDB, l):
		c.concludeSame(e)
	case passes:
		c.concludeDifferent(e, depends)
	case e.excludesZero():
		e.conclude(Undecided, "would_pass_alone", fmt.Sprintf("the difference (%s) would pass alone, not among the %d questions asked", e.spanDB(e.IntervalDB), c.family))
	default:
		e.conclude(Undecided, "undecided", fmt.Sprintf("the data allow %s: no difference, and also differences that matter", e.spanDB(e.IntervalDB)))
	}
	if e.Verdict == Undecided {
		c.plan(e, t)
	}
}

// plan says how many blocks could tell a difference that matters.
func (c *court) plan(e *Entry, t *contest) {
	n := contrast.BlocksToTell(c.SmallestDB, t.level.SigmaDB, alpha/float64(max(1, c.familyOf(e))), planPower)
	if math.IsNaN(t.level.SigmaDB) || n == math.MaxInt32 {
		return
	}
	e.BlocksNeeded = &n
	if c.open() {
		e.Reason += fmt.Sprintf("; about %d blocks in all should tell", n)
	} else {
		e.Reason += fmt.Sprintf("; a new trial of about %d blocks should tell", n)
	}
}

func (c *court) concludeSame(e *Entry) {
	b := e.Beyond
	if b != nil && inside(b.IntervalDB, c.SmallestDB) && wide(b, e) {
		*e.Reach = Beyond
	}
	reason := fmt.Sprintf("any difference is smaller than %g dB (%s) %s", c.SmallestDB, e.spanDB(e.IntervalDB), e.heardAt())
	if e.excludesZero() {
		lo, hi := math.Abs(*e.IntervalDB[0]), math.Abs(*e.IntervalDB[1])
		reason = fmt.Sprintf("a difference of %.2f to %.2f dB is there %s; you said that less than %g dB does not matter", min(lo, hi), max(lo, hi), e.heardAt(), c.SmallestDB)
	}
	e.conclude(Same, "practically_the_same", reason)
}

// wide tells whether stations, sectors and regions are many enough to speak beyond them.
func wide(b *BeyondEntry, e *Entry) bool {
	return b.Regions != nil && *b.Regions >= fewestRegions && !e.warned("few_stations") && !e.warned("few_sectors")
}

func (e *Entry) warned(code string) bool {
	for _, w := range e.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

func (c *court) concludeDifferent(e *Entry, depends bool) {
	b := e.Beyond
	if b != nil && b.P != nil && *b.P <= alpha && wide(b, e) {
		*e.Reach = Beyond
	}
	better, worse, by := e.Arms[0], e.Arms[1], 0.0
	if e.EstimateDB != nil {
		by = *e.EstimateDB
	}
	if by < 0 {
		better, worse, by = worse, better, -by
	}
	size := "; the size is not settled"
	if beyondLimit(e.IntervalDB, c.SmallestDB) {
		size = fmt.Sprintf(", by more than the %g dB that matter", c.SmallestDB)
	}
	begin := ""
	if depends {
		begin = "on average over the receivers heard, "
	}
	e.conclude(Different, "different", fmt.Sprintf("%s%s is %.1f dB stronger than %s (%s) %s%s", begin, better, by, worse, e.spanDB(e.IntervalDB), e.heardAt(), size))
}

// heardAt says of which stations a sentence speaks.
func (e *Entry) heardAt() string {
	who := "receivers"
	if e.claim.Direction == "received" {
		who = "stations"
	}
	if e.Reach != nil && *e.Reach == Beyond {
		return fmt.Sprintf("at the %d %s heard, and by their spread also beyond them", e.Stations, who)
	}
	return fmt.Sprintf("at the %d %s heard", e.Stations, who)
}

// spanDB writes an interval of first arm minus second.
func (e *Entry) spanDB(i *Range) string {
	switch {
	case i == nil || i[0] == nil && i[1] == nil:
		return "no bound on either side"
	case i[0] == nil:
		return fmt.Sprintf("up to %s dB", signedDB(*i[1]))
	case i[1] == nil:
		return fmt.Sprintf("%s dB or more", signedDB(*i[0]))
	}
	return fmt.Sprintf("%s to %s dB", signedDB(*i[0]), signedDB(*i[1]))
}

// signedDB writes a difference with a true minus sign.
func signedDB(v float64) string {
	if v < 0 {
		return fmt.Sprintf("\u2212%.2f", -v)
	}
	return fmt.Sprintf("%.2f", v)
}

// decideNull: one configuration under two names must come out practically the same.
func (c *court) decideNull(e *Entry) {
	reach := TheseReceivers
	e.Reach = &reach
	switch {
	case inside(e.IntervalDB, c.SmallestDB):
		e.conclude(Holds, "holds", fmt.Sprintf("the two names of one configuration differ by less than %g dB (%s), as they must", c.SmallestDB, e.spanDB(e.IntervalDB)))
	case e.excludesZero():
		e.conclude(Fails, "fails", fmt.Sprintf("the two names of one configuration differ (%s): something else changes with the name", e.spanDB(e.IntervalDB)))
	default:
		e.conclude(Undecided, "undecided", fmt.Sprintf("the data allow %s: more blocks are needed to test the trial", e.spanDB(e.IntervalDB)))
	}
}

// decideStep: a declared power step must show.
func (c *court) decideStep(e *Entry) {
	reach := TheseReceivers
	e.Reach = &reach
	stepDB, i := *e.claim.StepDB, e.IntervalDB
	contains := i != nil && (i[0] == nil || *i[0] <= stepDB) && (i[1] == nil || *i[1] >= stepDB)
	switch {
	case !contains:
		e.conclude(Fails, "fails", fmt.Sprintf("the declared step of %g dB is outside of what the data allow (%s)", stepDB, e.spanDB(i)))
	case e.excludesZero():
		e.conclude(Holds, "holds", fmt.Sprintf("the declared step of %g dB shows (%s)", stepDB, e.spanDB(i)))
	default:
		e.conclude(Undecided, "undecided", fmt.Sprintf("the data allow %s: the step, and also none", e.spanDB(i)))
	}
}
