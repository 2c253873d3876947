package judge

import (
	"fmt"
	"slices"
	"strings"

	"fairlobe/stages/internal/contrast"
)

// A repeat claim asks whether an arm comes out the same when it is put up again. What the receivers report in one outing
// can't be held against what they report in another, for the paths are others then; so an arm is held against what it
// was compared with in the same blocks: the other arms of the claim, or, if it names one alone, all others of the
// experiment. The difference is estimated erection by erection of that arm, and their spread beyond the noise of the
// blocks is what putting up again costs. It holds what else changed from one erection to the next: where the other arms
// were put up again at the same times theirs, too, and always other stations and other paths. So it is an upper
// estimate of what the arm alone does.
//
// The claim holds if the standard deviation between erections is shown to be below the smallest difference that matters
// (the upper end of its 95 % interval is), fails if it is shown to be above (the lower end is), and is undecided
// otherwise, and below 3 erections.
const fewestErections = 3

// Repeat is what a repeat claim adds.
type Repeat struct {
	Repeated []RepeatedArm `json:"repeated"`
}

// RepeatedArm is how one arm came out, erection by erection.
type RepeatedArm struct {
	Arm       string          `json:"arm"`
	Against   []string        `json:"against"`
	Erections []ErectionEntry `json:"erections"`
	// SpreadDB is the standard deviation between erections, beyond the noise of the blocks.
	SpreadDB *float64 `json:"spread_db"`
	SpreadIn *Range   `json:"spread_interval_db"`
}

// ErectionEntry is the difference over the blocks of one erection, the arm minus what it is held against.
type ErectionEntry struct {
	Erection   int      `json:"erection"`
	Blocks     int      `json:"blocks"`
	EstimateDB *float64 `json:"estimate_db"`
}

// repeated is one arm of a repeat claim with what it is held against, in the canonical order where that is one arm.
type repeated struct {
	arm    string
	others []string
	first  string // the minuend of the calculation
	turned bool   // that is not the arm
}

// against says what an arm of a claim is held against.
func (c *court) against(claim Claim, arm string) repeated {
	r := repeated{arm: arm, first: arm}
	for _, other := range c.Arms {
		if other != arm && (len(claim.Arms) == 1 || slices.Contains(claim.Arms, other)) {
			r.others = append(r.others, other)
		}
	}
	if len(r.others) == 1 {
		r.first, _, r.turned = c.canonical([]string{arm, r.others[0]})
	}
	return r
}

// trialOver gives the comparison over some blocks.
func (c *court) trialOver(e *Entry, r repeated, blocks []block) (*contrast.Trial, []reception, error) {
	all := inBlocks(c.selectReceptions(e, append([]string{r.arm}, r.others...)...), blocks)
	trial, err := c.trialOf(all, blocks, r.first, nil)
	return trial, all, err
}

func (r repeated) turn(level contrast.Level) contrast.Level {
	if r.turned {
		return level.Negated()
	}
	return level
}

func (c *court) hearRepeat(e *Entry) error {
	if len(c.Arms) < 2 {
		e.conclude(Refused, "no_comparison", "there is one arm only: from one outing to the next the paths change more than the arm; add an arm that both outings have, and send with both in random blocks")
		return nil
	}
	blocks := c.blocksOf(e.Band, 0)
	main := c.against(e.claim, e.Arms[0])
	trial, all, err := c.trialOver(e, main, blocks)
	if err != nil {
		return err
	}
	level := main.turn(trial.Level())
	t := &contest{trial: trial, level: level, stations: level.Stations, regions: len(level.Beyond.Shares), receptions: len(all)}
	t.weigh(all, append([]string{main.arm}, main.others...)...)
	t.usualGapMs, t.spacingMs = gaps(all)
	e.count(t)
	c.warnings(e, t)
	if level.Sized && len(e.Arms) < 3 {
		e.EstimateDB = round4(level.EstimateDB)
	}
	refusal := level.Refusal(alpha, 1)
	switch {
	case !c.tested(e):
		e.describeRepeat(level)
		return c.erections(e, blocks, false)
	case c.unfinished(e):
		return nil
	case refusal.Code != "":
		e.conclude(Refused, refusal.Code, refusal.Text)
		return nil
	case c.open():
		e.conclude(Undecided, "open_trial", "in an open trial the interval of the spread does not hold, since one may stop when it looks good: plan a fixed number of blocks")
		return c.erections(e, blocks, false)
	}
	e.describeRepeat(level)
	return c.erections(e, blocks, true)
}

func (e *Entry) describeRepeat(level contrast.Level) {
	if e.EstimateDB != nil {
		e.IntervalDB = outward(level.Interval)
	}
}

// erections fills in the erections of each arm of the claim, and their spread if it may be shown.
func (c *court) erections(e *Entry, blocks []block, spreads bool) error {
	for i, arm := range e.Arms {
		r := c.against(e.claim, arm)
		entry := RepeatedArm{Arm: arm, Against: r.others, Erections: []ErectionEntry{}}
		var known []erected
		for _, group := range c.byErection(blocks, arm) {
			found, ok, err := c.erectedIn(e, r, group)
			if err != nil {
				return err
			}
			one := ErectionEntry{Erection: int(c.erectionOf(group[0], arm)), Blocks: len(group)}
			if ok {
				one.EstimateDB = round4(found.estimateDB)
			}
			if ok && len(group) > 1 {
				known = append(known, found)
			}
			entry.Erections = append(entry.Erections, one)
		}
		if spreads && len(known) >= fewestErections {
			s := spreadOf(known)
			entry.SpreadDB = round4(s.sd)
			entry.SpreadIn = outward(contrast.Interval{LowDB: s.low, HighDB: s.high})
			if i == 0 && len(e.Arms) < 3 {
				e.DesignIn = designOf(estimatesOf(known), e.IntervalDB)
			}
		}
		e.Repeat.Repeated = append(e.Repeat.Repeated, entry)
	}
	return nil
}

// designOf is the interval for the design: of the mean over all erections that there might be. It holds the interval for
// these erections, too: with few erections chance can make their spread come out small, and the design is never known
// better than what stood there.
//
// The interval of the mean is mean +- t(0.975; n-1) sqrt(V/n), V the sample variance of the n estimates, each counted alike:
// V/n is its variance without bias, whatever the numbers of blocks.
func designOf(estimates []float64, these *Range) *Range {
	if these == nil {
		return nil
	}
	mean, half := meanAndHalf(estimates)
	return outward(contrast.Interval{LowDB: min(mean-half, bound(these[0], -1)), HighDB: max(mean+half, bound(these[1], 1))})
}

// erectedIn gives what some blocks say of the arm; not ok if nothing was heard in them.
func (c *court) erectedIn(e *Entry, r repeated, blocks []block) (found erected, ok bool, err error) {
	trial, _, err := c.trialOver(e, r, blocks)
	if err != nil {
		return erected{}, false, err
	}
	db, sigma, ok := trial.Estimate()
	if r.turned {
		db = -db
	}
	return erected{len(blocks), db, sigma}, ok, nil
}

// erectionOf gives the number of an arm's putting-up in a block.
func (c *court) erectionOf(b block, arm string) int64 { return c.putUp[outing{b.session, arm}] }

// byErection groups blocks by the erection of an arm, in the order of the erections' numbers.
func (c *court) byErection(blocks []block, arm string) [][]block {
	groups := map[int64][]block{}
	var numbers []int64
	for _, b := range blocks {
		n := c.erectionOf(b, arm)
		if groups[n] == nil {
			numbers = append(numbers, n)
		}
		groups[n] = append(groups[n], b)
	}
	slices.Sort(numbers)
	var out [][]block
	for _, n := range numbers {
		out = append(out, groups[n])
	}
	return out
}

func (c *court) decideRepeat(e *Entry) {
	if tells(c.lossOn(e.Band)) {
		e.conclude(Undecided, "losses", lossWords(c.lossOn(e.Band))+": the loss itself may be the effect")
		return
	}
	l := c.SmallestDB
	var few, above, open, below []string
	for _, r := range e.Repeat.Repeated {
		switch {
		case r.SpreadIn == nil:
			few = append(few, fmt.Sprintf("%s was put up %s", r.Arm, times(len(r.Erections))))
		case r.SpreadIn[0] != nil && *r.SpreadIn[0] > l:
			above = append(above, r.words())
		case inside(r.SpreadIn, l):
			below = append(below, r.words())
		default:
			open = append(open, r.words())
		}
	}
	const told = "put up again, the standard deviation from one erection to the next is "
	switch {
	case len(above) > 0:
		e.conclude(Fails, "fails", fmt.Sprintf("%s%s: above the %g dB that matter", told, strings.Join(above, "; "), l))
	case len(few) > 0:
		e.conclude(Undecided, "few_erections", fmt.Sprintf("%s: how far erections lie apart needs at least %d erections, each with two blocks or more", strings.Join(few, "; "), fewestErections))
	case len(open) > 0:
		e.conclude(Undecided, "undecided", fmt.Sprintf("%s%s: it may be below the %g dB that matter, or above; put it up more often", told, strings.Join(open, "; "), l))
	default:
		e.conclude(Holds, "holds", fmt.Sprintf("%s%s: below the %g dB that matter", told, strings.Join(below, "; "), l))
	}
}

func (r RepeatedArm) words() string {
	return fmt.Sprintf("%.2f dB (%s) for %s against %s", *r.SpreadDB, span(r.SpreadIn), r.Arm, strings.Join(r.Against, " and "))
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// designLevel gives a level its interval for the design, if there are at least 3 groups of sessions of which no two have an
// erection in common: then the differences of the groups are independent, and their spread holds that of both arms.
func (c *court) designLevel(e *Entry) error {
	if e.Kind != "level" || e.Verdict == Refused || c.open() || e.IntervalDB == nil {
		return nil
	}
	r := c.against(Claim{Arms: e.Arms}, e.Arms[0])
	var estimates []float64
	for _, group := range c.apart(c.blocksOf(e.Band, 0), e.Arms) {
		found, ok, err := c.erectedIn(e, r, group)
		if err != nil {
			return err
		}
		if ok {
			estimates = append(estimates, found.estimateDB)
		}
	}
	if len(estimates) >= fewestErections {
		e.DesignIn = designOf(estimates, e.IntervalDB)
	}
	return nil
}

// apart parts blocks into groups so that sessions with an erection in common are in one group.
func (c *court) apart(blocks []block, arms []string) [][]block {
	var groups [][]block
	for _, b := range blocks {
		joined := []block{b}
		var rest [][]block
		for _, g := range groups {
			if slices.ContainsFunc(g, func(o block) bool { return c.sameErection(b, o, arms) }) {
				joined = append(g, joined...)
			} else {
				rest = append(rest, g)
			}
		}
		groups = append(rest, joined)
	}
	for _, g := range groups {
		slices.SortStableFunc(g, func(a, b block) int { return a.start.Compare(b.start) })
	}
	slices.SortStableFunc(groups, func(a, b []block) int { return a[0].start.Compare(b[0].start) })
	return groups
}

func (c *court) sameErection(a, b block, arms []string) bool {
	return slices.ContainsFunc(arms, func(arm string) bool { return c.erectionOf(a, arm) == c.erectionOf(b, arm) })
}

// outing names one arm in one session.
type outing struct {
	session int64
	arm     string
}
