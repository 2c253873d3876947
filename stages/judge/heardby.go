package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fairlobe/stages/internal/contrast"
)

// A heard_by claim compares the shares of stations that heard each arm, in percentage points. A decode is a decode: no
// report is cut, however weak.
//
// Who counts in a block must not depend on which dwell was which arm's: it is who by the background was listening in
// either dwell, or heard either arm. Where the background shows nobody in a block, those that heard either arm anywhere
// in the session on that band stand for them: too few, so both shares look greater than they are.

// HeardBy is what a heard_by claim adds. Its sizes are in percentage points; those in dB are null.
type HeardBy struct {
	SmallestPoints float64  `json:"smallest_difference_points"`
	EstimatePoints *float64 `json:"estimate_points"`
	IntervalPoints *Range   `json:"interval_points"`
	RunningPoints  *Range   `json:"running_interval_points"`
	// SharesPercent are the shares that heard the first and the second arm, by the weights of the estimate.
	SharesPercent *[2]float64 `json:"shares_percent"`
	// BlocksKnown counts the blocks in which the background tells who was listening.
	BlocksKnown int `json:"blocks_with_background"`
	// BlocksSaturated counts the blocks in which over 90 % heard both arms: they say little of the arms.
	BlocksSaturated int `json:"blocks_saturated"`
}

// BeyondPoints is the second interval of a heard_by claim.
type BeyondPoints struct {
	IntervalPoints *Range `json:"interval_points"`
}

// SessionPoints is the estimate of one session of a heard_by claim.
type SessionPoints struct {
	EstimatePoints *float64 `json:"estimate_points"`
	IntervalPoints *Range   `json:"interval_points"`
}

// standIns says who counts where it is not known who was listening.
const standIns = "those that heard either arm in the session stand for them, so both shares look greater than they are"

// mostSaturated is the share of blocks that may be saturated without a word.
const mostSaturated = 0.5

// audience is who counts in each block of a heard_by claim, and what came of it.
type audience struct {
	result     contrast.HeardBy // the arm that stands first in the experiment file minus the other
	known      int              // blocks in which the background shows somebody
	receptions int
	sessions   []SessionEntry
	disagree   bool // the sessions' intervals do not overlap
}

// listener is a station that the background shows listening in a dwell.
type listener struct {
	session, number int64
	band, arm       string
	station         int
}

// blockKey names a block of a band.
type blockKey struct{ session, number int64 }

func (b block) key() blockKey     { return blockKey{b.session, b.number} }
func (r reception) key() blockKey { return blockKey{r.session, r.number} }

func (c *court) hearHeardBy(e *Entry) error {
	a, err := c.audienceOf(e)
	if err != nil {
		return err
	}
	e.audience = a
	c.warnOfAudience(e, a)
	h := a.result
	if c.turned(e) {
		h = h.Negated()
	}
	e.Stations, e.Regions, e.Receptions = h.Stations, h.Beyond.Regions, a.receptions
	e.HeardBy.BlocksKnown, e.HeardBy.BlocksSaturated = a.known, h.Saturated
	if h.Estimated {
		e.HeardBy.EstimatePoints = round4(h.EstimatePoints)
		e.HeardBy.SharesPercent = &[2]float64{*round4(100 * h.FirstShare), *round4(100 * h.SecondShare)}
	}
	switch {
	case !c.tested(e):
		e.HeardBy.IntervalPoints = outwardPoints(h.Interval)
		e.sessionPoints(a, c.turned(e), true)
	case c.unfinished(e):
		e.PRunning, e.HeardBy.RunningPoints = roundP(h.Running.P), outwardPoints(h.Running.Interval)
		e.sessionPoints(a, c.turned(e), false)
	case c.refusedHeardBy(e, h):
		e.sessionPoints(a, c.turned(e), false)
	default:
		c.testHeardBy(e, h)
		e.sessionPoints(a, c.turned(e), true)
	}
	return nil
}

func (c *court) refusedHeardBy(e *Entry, h contrast.HeardBy) bool {
	r := h.Refusal(alpha, c.familyOf(e))
	if r.Code != "" {
		e.conclude(Refused, r.Code, r.Text)
	}
	return r.Code != ""
}

func (c *court) testHeardBy(e *Entry, h contrast.HeardBy) {
	e.PRunning, e.HeardBy.RunningPoints = roundP(h.Running.P), outwardPoints(h.Running.Interval)
	p, interval := h.P, h.Interval
	if c.open() {
		p, interval = h.Running.P, h.Running.Interval
	}
	e.P, e.rawP, e.HeardBy.IntervalPoints = roundP(p), &p, outwardPoints(interval)
	if i := e.HeardBy.IntervalPoints; i != nil {
		excluded := excludesZero(i)
		e.ZeroExcluded = &excluded
	}
	if !c.open() { // the second test holds for a fixed number of blocks only
		e.Beyond = &BeyondEntry{P: roundP(h.Beyond.P), Regions: round4(h.Beyond.EffectiveRegions), BeyondPoints: &BeyondPoints{outwardPoints(h.Beyond.Interval)}}
	}
}

func outwardPoints(r contrast.PointRange) *Range {
	return outward(contrast.Interval{LowDB: r.Low, HighDB: r.High, Empty: r.Empty})
}

// audienceOf finds who counts in each block of a comparison, and compares, all sessions together and each by itself.
func (c *court) audienceOf(e *Entry) (*audience, error) {
	first, second, _ := c.canonical(e.Arms)
	blocks := c.blocksOf(e.Band, 0)
	all := inBlocks(c.selectReceptions(e, first, second), blocks)
	a := &audience{receptions: len(all)}
	listening := c.listeningOn(e, first, second)
	var err error
	if a.result, a.known, err = c.compareHeard(all, listening, blocks, first); err != nil {
		return nil, err
	}
	numbers := sessionsOf(blocks)
	if len(numbers) < 2 {
		return a, nil
	}
	low, high := math.Inf(-1), math.Inf(1)
	for _, n := range numbers {
		own := c.blocksOf(e.Band, n)
		h, _, err := c.compareHeard(all, listening, own, first)
		if err != nil {
			return nil, err
		}
		s := SessionEntry{Session: int(n), Blocks: len(own), SessionPoints: &SessionPoints{}}
		interval := h.Interval
		if c.open() {
			interval = h.Running.Interval
		}
		if h.Estimated {
			s.EstimatePoints = round4(h.EstimatePoints)
		}
		if h.Estimated && len(own) >= contrast.FewestBlocks(alpha, 1) {
			s.IntervalPoints = outwardPoints(interval)
			low, high = max(low, interval.Low), min(high, interval.High)
		}
		a.sessions = append(a.sessions, s)
	}
	a.disagree = low > high
	return a, nil
}

// listeningOn gives who was listening in the dwells of either arm. Of what is received the background tells nothing: it
// shows who was listening, not who was sending.
func (c *court) listeningOn(e *Entry, first, second string) map[blockKey][]int {
	out := map[blockKey][]int{}
	if e.claim.Direction != "sent" {
		return out
	}
	for _, l := range c.listening {
		if l.band == e.Band && (l.arm == first || l.arm == second) && c.counts(e, l.station) {
			k := blockKey{l.session, l.number}
			out[k] = append(out[k], l.station)
		}
	}
	return out
}

// compareHeard compares the shares over some blocks; known counts those in which the background shows somebody.
func (c *court) compareHeard(all []reception, listening map[blockKey][]int, blocks []block, first string) (h contrast.HeardBy, known int, err error) {
	heard := map[blockKey]map[int]*contrast.Presence{}
	inSession := map[int64][]int{}
	index := map[blockKey]int{}
	for i, b := range blocks {
		index[b.key()], heard[b.key()] = i, map[int]*contrast.Presence{}
	}
	for _, r := range all {
		some, ok := heard[r.key()]
		if !ok {
			continue
		}
		inSession[r.session] = append(inSession[r.session], r.station)
		p := some[r.station]
		if p == nil {
			p = &contrast.Presence{Block: index[r.key()], Station: r.station}
			some[r.station] = p
		}
		p.First, p.Second = p.First || r.arm == first, p.Second || r.arm != first
	}
	var presences []contrast.Presence
	for i, b := range blocks {
		there := listening[b.key()]
		if len(there) > 0 {
			known++
		} else {
			there = inSession[b.session]
		}
		for _, s := range there {
			if heard[b.key()][s] == nil {
				heard[b.key()][s] = &contrast.Presence{Block: i, Station: s}
			}
		}
		for _, p := range heard[b.key()] {
			presences = append(presences, *p)
		}
	}
	slices.SortFunc(presences, func(x, y contrast.Presence) int {
		return cmp.Or(cmp.Compare(x.Block, y.Block), cmp.Compare(x.Station, y.Station))
	})
	h, err = contrast.NewHeardBy(c.farEnds(nil), presences, contrast.Params{Blocks: len(blocks), Seed: c.Seed})
	return h, known, err
}

// warnOfAudience warns of what stands against a verdict on shares.
func (c *court) warnOfAudience(e *Entry, a *audience) {
	h := a.result
	first, second, _ := c.canonical(e.Arms)
	all := inBlocks(c.selectReceptions(e, first, second), c.blocksOf(e.Band, 0))
	t := &contest{stations: h.Stations, level: contrast.Level{Sectors: h.Sectors,
		Beyond: contrast.Beyond{LargestRegion: h.Beyond.LargestRegion, LargestStation: h.Beyond.LargestStation}}}
	t.usualGapMs, t.spacingMs = gaps(all)
	c.warnings(e, t)
	switch {
	case h.Blocks == 0 || a.known == h.Blocks:
	case e.claim.Direction != "sent":
		e.warn("listening_unknown", "who was sending in a block is not known: the stations that were heard on either arm in the session stand for them")
	case a.known == 0:
		e.warn("listening_unknown", "no background tells who was listening: "+standIns)
	default:
		e.warn("listening_unknown", fmt.Sprintf("in %d of %d blocks no background tells who was listening: %s", h.Blocks-a.known, h.Blocks, standIns))
	}
	if float64(h.Saturated) > mostSaturated*float64(h.Used) {
		e.warn("saturated", fmt.Sprintf("in %d of %d blocks over 90 %% of the stations heard both arms: such blocks say little of the arms, and a claim of kind level says more", h.Saturated, h.Used))
	}
}

// sessionPoints copies the estimates by session, as sessions does.
func (e *Entry) sessionPoints(a *audience, turned, intervals bool) {
	for _, s := range a.sessions {
		p := *s.SessionPoints
		if !intervals {
			p.IntervalPoints = nil
		}
		if turned {
			p.EstimatePoints, p.IntervalPoints = negated(p.EstimatePoints), turnedRange(p.IntervalPoints)
		}
		s.SessionPoints = &p
		e.Sessions = append(e.Sessions, s)
	}
	if a.disagree && intervals {
		e.warn("sessions_differ", "the intervals of single sessions do not overlap: something changed between them")
	}
}

func (c *court) decideHeardBy(e *Entry) {
	h := e.HeardBy
	i := h.IntervalPoints
	switch {
	case tells(c.lossOn(e.Band)):
		e.conclude(Undecided, "losses", lossWords(c.lossOn(e.Band))+": the loss itself may be the effect")
	case inside(i, h.SmallestPoints) && e.audience.disagree:
		e.conclude(Undecided, "sessions_differ", fmt.Sprintf("on average the difference is small (%s), but the sessions contradict each other", pointSpan(i)))
	case inside(i, h.SmallestPoints):
		c.concludeSameShare(e)
	case e.PAdjusted != nil && *e.PAdjusted <= alpha:
		c.concludeOtherShare(e)
	case i == nil:
		e.conclude(Undecided, "no_one_difference", "no one difference of shares fits all blocks: it changed during the trial")
	case *e.rawP <= alpha || excludesZero(i):
		e.conclude(Undecided, "would_pass_alone", fmt.Sprintf("the difference of shares (%s) would pass alone, not among the %d questions asked", pointSpan(i), c.family)+c.planHeardBy(e))
	default:
		e.conclude(Undecided, "undecided", allowed(pointSpan(i), i, "difference of shares", "differences")+c.planHeardBy(e))
	}
}

func (c *court) concludeSameShare(e *Entry) {
	h := e.HeardBy
	if e.Beyond != nil && inside(e.Beyond.IntervalPoints, h.SmallestPoints) {
		e.widen()
	}
	if !excludesZero(h.IntervalPoints) {
		e.conclude(Same, "practically_the_same", fmt.Sprintf("%s, any difference is smaller than %g percentage points (%s)%s%s", e.audienceWords(), h.SmallestPoints, pointSpan(h.IntervalPoints), e.alsoBeyond(), e.littleSaid()))
		return
	}
	better, _, i, _ := e.rankedShares()
	e.conclude(Same, "practically_the_same", fmt.Sprintf("%s, a difference of %.2f to %.2f percentage points is there, in favour of %s%s; you said that less than %g does not matter%s",
		e.audienceWords(), *i[0], *i[1], better, e.alsoBeyond(), h.SmallestPoints, e.littleSaid()))
}

// littleSaid ends the sentence where nearly all hear both arms: equal shares are then no proof of equal arms.
func (e *Entry) littleSaid() string {
	if !e.warned("saturated") {
		return ""
	}
	return "; nearly all of them hear both, so this says little of the arms"
}

func (c *court) concludeOtherShare(e *Entry) {
	h := e.HeardBy
	if h.IntervalPoints != nil && e.Beyond != nil && e.Beyond.P != nil && *e.Beyond.P <= alpha {
		e.widen()
	}
	better, worse, i, shares := e.rankedShares()
	size := "the size is not settled"
	if beyondLimit(i, h.SmallestPoints) {
		size = fmt.Sprintf("more than the %g that matter", h.SmallestPoints)
	}
	verb := "is heard by"
	if e.claim.Direction == "received" {
		verb = "hears"
	}
	e.conclude(Different, "different", fmt.Sprintf("%s, %s %s %.0f %% and %s %.0f %%: %.2f percentage points more (%s), %s%s",
		e.audienceWords(), better, verb, shares[0], worse, shares[1], math.Abs(*h.EstimatePoints), pointSpan(i), size, e.alsoBeyond()))
}

// rankedShares gives the arms with the one of the greater share first, and the interval and the shares in that order.
func (e *Entry) rankedShares() (better, worse string, i *Range, shares [2]float64) {
	h := e.HeardBy
	shares = *h.SharesPercent
	negative := *h.EstimatePoints < 0
	if excludesZero(h.IntervalPoints) {
		negative = h.IntervalPoints[1] != nil && *h.IntervalPoints[1] < 0
	}
	if negative {
		return e.Arms[1], e.Arms[0], turnedRange(h.IntervalPoints), [2]float64{shares[1], shares[0]}
	}
	return e.Arms[0], e.Arms[1], h.IntervalPoints, shares
}

// audienceWords says of which stations a share is one: those listening, or those that had to stand for them.
func (e *Entry) audienceWords() string {
	what := "receivers that were listening"
	switch {
	case e.claim.Direction == "received":
		what = "stations heard in the session"
	case e.HeardBy.BlocksKnown == 0:
		what = "receivers that heard either arm in the session"
	case e.HeardBy.BlocksKnown < e.Blocks:
		what = "receivers that were listening or, where that is not known, heard either arm in the session"
	}
	return fmt.Sprintf("of the %d %s%s", e.Stations, what, e.within(" "))
}

// alsoBeyond says that the difference, not the shares, holds for others, too.
func (e *Entry) alsoBeyond() string {
	if e.Reach != nil && *e.Reach == Beyond {
		return "; by their spread that holds beyond these " + e.who() + ", too"
	}
	return ""
}

// planHeardBy is plan for a difference of shares.
func (c *court) planHeardBy(e *Entry) string {
	h := e.audience.result
	if h.Blocks < 2 || math.IsNaN(h.SigmaPoints) || !boundedSomewhere(e.HeardBy.IntervalPoints) {
		return ""
	}
	points := e.HeardBy.SmallestPoints
	n := contrast.BlocksToTell(points, h.SigmaPoints*contrast.PilotFactor(h.Blocks), alpha/float64(c.familyOf(e)), planPower)
	if n == math.MaxInt32 || c.open() && n <= e.Blocks {
		return ""
	}
	e.BlocksNeeded = &n
	if c.open() {
		return fmt.Sprintf("; about %d blocks in all would find a difference of %g percentage points four times out of five", n, points)
	}
	return fmt.Sprintf("; a new trial of about %d blocks would find a difference of %g percentage points four times out of five", n, points)
}

// pointSpan writes an interval of percentage points in words.
func pointSpan(i *Range) string {
	switch {
	case i == nil:
		return "no one difference fits all blocks"
	case i[0] == nil && i[1] == nil:
		return "no bound on either side"
	case i[0] == nil:
		return signedDB(*i[1]) + " points or less"
	case i[1] == nil:
		return signedDB(*i[0]) + " points or more"
	}
	return fmt.Sprintf("%s to %s points", signedDB(*i[0]), signedDB(*i[1]))
}
