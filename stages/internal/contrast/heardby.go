package contrast

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/stages/internal/signflip"
)

const (
	// pointsPerUnit: ten percentage points take the place of one decibel, so that the bets of the running evidence and the
	// steps of the search have sizes that suit a share. No p value depends on it.
	pointsPerUnit = 10
	// heardUnits is the difference of a station that heard one arm only: 100 points.
	heardUnits = 100 / pointsPerUnit
	// saturatedShare is the share of a block's stations that heard both arms above which the block is saturated.
	saturatedShare = 0.9
)

// Presence is a station that counts in a block, and which arms it heard there: any report is enough.
//
// For the test to be exact, who counts in a block may not depend on which of its dwells was which arm's. A rule that
// treats both dwells alike is safe: "was listening in either", "heard either".
type Presence struct {
	Block, Station int
	First, Second  bool // heard arm A, heard arm B
}

// PointRange is a set of differences of two shares, in percentage points.
type PointRange struct {
	// Low and High are not rounded; -Inf or +Inf where there is no bound between -100 and 100.
	Low, High float64
	// Empty: the test rules out every difference; both ends are then infinite.
	Empty bool
}

func (r PointRange) negated() PointRange {
	r.Low, r.High = -r.High, -r.Low
	return r
}

// HeardBy is the difference between the shares of stations that hear arm A and arm B.
//
//	D(b,r) = 100 points if r heard A only in block b, -100 if B only, 0 if both or none;  a(b,r) = 1
//	m(b), Dbar(b), w(b) = m/(m+10), g(b) = w(b) Dbar(b)    as in Level
//
// The p value is the sign-flip p of |sum g|: exact for "each station would have heard the same in each dwell, whichever
// arm was on". The estimate is sum g / sum w. The interval holds all d that the test does not rule out with
// w(b) (Dbar(b) - d) in place of g(b): it is exact if the block differences scatter evenly to both sides about d, which a
// share near 0 or 100 % does not quite do. The second interval is that of Beyond, with these D.
//
// A block in which all hear both arms, or none, has a difference of 0: it says little of the arms.
type HeardBy struct {
	// Estimated is false if no station counts in any block.
	Estimated      bool
	EstimatePoints float64
	Interval       PointRange
	P              float64 // exact two-sided p of no difference, before any adjustment

	// FirstShare and SecondShare are the shares that heard each arm, 0 to 1, with the weights of the estimate; NaN if
	// not estimated.
	FirstShare, SecondShare float64

	Blocks    int // of the trial
	Used      int // blocks in which a station counts
	Saturated int // of these, those in which over 90 % heard both arms
	Stations  int // that count in some block
	Hearing   int // of these, those that heard an arm at all
	Sectors   int // 45-degree sectors that hold a station that counts
	Hearings  int // cases of a station in a block that heard an arm

	Beyond  PointsBeyond
	Running PointsRunning

	SigmaPoints float64 // standard deviation of one block's difference; NaN below two blocks
}

// PointsBeyond is Beyond in percentage points.
type PointsBeyond struct {
	Interval                      PointRange
	P                             float64
	EffectiveRegions              float64
	Regions                       int // with a station that counts
	LargestRegion, LargestStation float64
}

// PointsRunning is Running in percentage points.
type PointsRunning struct {
	P        float64
	Interval PointRange
}

// NewHeardBy compares the shares of stations that heard each arm. The order of the presences does not matter; CutDB is
// not used. It gives an error if one names a block or a station that is not there, or if two are the same.
func NewHeardBy(stations []Station, presences []Presence, params Params) (HeardBy, error) {
	sorted := slices.Clone(presences)
	slices.SortFunc(sorted, func(a, b Presence) int {
		return cmp.Or(cmp.Compare(a.Block, b.Block), cmp.Compare(a.Station, b.Station))
	})
	for i, p := range sorted {
		switch {
		case p.Block < 0 || p.Block >= params.Blocks:
			return HeardBy{}, fmt.Errorf("counting who heard: block %d of %d", p.Block, params.Blocks)
		case p.Station < 0 || p.Station >= len(stations):
			return HeardBy{}, fmt.Errorf("counting who heard: station %d of %d", p.Station, len(stations))
		case i > 0 && sorted[i-1].Block == p.Block && sorted[i-1].Station == p.Station:
			return HeardBy{}, fmt.Errorf("counting who heard: station %d stands twice in block %d", p.Station, p.Block)
		}
	}
	t := &Trial{params: params, stations: stations, plan: signflip.NewPlan(params.Blocks, params.Seed)}
	for _, p := range sorted {
		t.cells = append(t.cells, cell{block: p.Block, station: p.Station})
	}
	return t.heardBy(sorted), nil
}

func (t *Trial) heardBy(all []Presence) HeardBy {
	nan := math.NaN()
	h := HeardBy{Blocks: t.params.Blocks, EstimatePoints: nan, FirstShare: nan, SecondShare: nan, SigmaPoints: nan, Interval: nothingKnown(),
		Beyond: PointsBeyond{Interval: nothingKnown(), P: 1, EffectiveRegions: nan}, Running: PointsRunning{Interval: nothingKnown()}}
	c := t.heardComparison(all)
	h.P = t.plan.Abs(c.g)
	h.Running.P = anytimeP(evidence(c.g))
	h.count(all, c)
	total := sum(c.w)
	if total == 0 {
		return h
	}
	h.Estimated = true
	estimate := sum(c.g) / total
	h.EstimatePoints = pointsPerUnit * estimate
	h.FirstShare = c.share(all, func(p Presence) bool { return p.First })
	h.SecondShare = c.share(all, func(p Presence) bool { return p.Second })
	h.Interval = points(invert(func(d float64) float64 { return t.plan.Abs(c.shifted(d)) }, estimate))
	h.Running.Interval = points(invert(func(d float64) float64 { return anytimeP(evidence(c.shifted(d))) }, estimate))
	h.Beyond = c.beyondHeard(estimate, total)
	h.SigmaPoints = pointsPerUnit * c.blockSpread(estimate, total)
	return h
}

// heardComparison is the comparison with the differences of stations that heard one arm only.
func (t *Trial) heardComparison(all []Presence) *comparison {
	c := t.newComparison()
	for i, p := range all {
		c.a[i] = 1
		switch {
		case p.First && !p.Second:
			c.d[i] = heardUnits
		case p.Second && !p.First:
			c.d[i] = -heardUnits
		}
		c.m[p.Block]++
		c.dbar[p.Block] += c.d[i]
	}
	for b, m := range c.m {
		if m > 0 {
			c.dbar[b] /= m
			c.w[b] = m / (m + sharedParts)
			c.g[b] = float64(c.w[b] * c.dbar[b])
		}
	}
	return c
}

// sameUnits is how far apart two differences of shares are one: far less than one station of a million, and more than
// the arithmetic may be off. Without it blocks that all have one difference would rule out that very difference.
const sameUnits = 1e-9

// shifted gives the block numbers less a difference that is the same in all blocks with stations.
func (c *comparison) shifted(d float64) []float64 {
	out := make([]float64, len(c.g))
	for b := range out {
		if apart := c.dbar[b] - d; math.Abs(apart) > sameUnits {
			out[b] = float64(c.w[b] * apart)
		}
	}
	return out
}

// count sets what is only counted.
func (h *HeardBy) count(all []Presence, c *comparison) {
	h.Stations, h.Sectors = c.heard()
	hearing := map[int]bool{}
	both := make([]int, h.Blocks)
	for _, p := range all {
		if p.First || p.Second {
			hearing[p.Station] = true
			h.Hearings++
		}
		if p.First && p.Second {
			both[p.Block]++
		}
	}
	h.Hearing = len(hearing)
	for b, m := range c.m {
		if m > 0 {
			h.Used++
			if float64(both[b]) > float64(saturatedShare*m) {
				h.Saturated++
			}
		}
	}
}

// share is the weighted mean over the blocks of the share of stations for which heard is true.
func (c *comparison) share(all []Presence, heard func(Presence) bool) float64 {
	n := make([]float64, len(c.m))
	for _, p := range all {
		if heard(p) {
			n[p.Block]++
		}
	}
	above := 0.0
	for b, m := range c.m {
		if m > 0 {
			above += float64(c.w[b] * (n[b] / m))
		}
	}
	return above / sum(c.w)
}

// beyondHeard is beyond with the differences as they stand.
func (c *comparison) beyondHeard(estimate, total float64) PointsBeyond {
	var out Beyond
	out.shares(c, total)
	se := calibration * math.Sqrt(c.twoWayVariance(out.Shares, total)) / total
	df := math.Max(math.Min(float64(c.trial.params.Blocks), out.EffectiveRegions)-1, 1)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	half := t.Quantile(1-Alpha/2) * se
	p := 1.0
	if se > 0 {
		p = math.Min(1, 2*t.Survival(math.Abs(estimate)/se))
	} else if estimate != 0 {
		p = 0
	}
	return PointsBeyond{
		Interval: points(Interval{LowDB: estimate - half, HighDB: estimate + half}), P: p, EffectiveRegions: out.EffectiveRegions,
		Regions: len(out.Shares), LargestRegion: out.LargestRegion, LargestStation: out.LargestStation,
	}
}

// blockSpread is sigma_D of the planning formulas; nothing is attenuated by censoring here.
func (c *comparison) blockSpread(estimate, total float64) float64 {
	blocks := float64(c.trial.params.Blocks)
	if blocks < 2 {
		return math.NaN()
	}
	squares := 0.0
	for _, g := range c.shifted(estimate) {
		squares += float64(g * g)
	}
	return math.Sqrt(blocks*blocks/(blocks-1)*squares) / total
}

func nothingKnown() PointRange { return PointRange{Low: math.Inf(-1), High: math.Inf(1)} }

// points turns an interval in tens of points into one in points; an end outside of -100..100 is no bound.
func points(i Interval) PointRange {
	r := PointRange{Low: pointsPerUnit * i.LowDB, High: pointsPerUnit * i.HighDB, Empty: i.Empty}
	if r.Low < -100 {
		r.Low = math.Inf(-1)
	}
	if r.High > 100 {
		r.High = math.Inf(1)
	}
	return r
}

// Refusal gives the reason why the shares may carry no p value, or no refusal; family is the number of declared
// questions. The limits are those of a level.
func (h HeardBy) Refusal(alpha float64, family int) Refusal {
	switch {
	case h.Hearings < fewestHeardWeight:
		return Refusal{TooFewReports, fmt.Sprintf(
			"too few reports: in all blocks together stations heard an arm %d times, the method needs %d", h.Hearings, fewestHeardWeight)}
	case h.Hearing < fewestStations:
		return Refusal{TooFewStations, fmt.Sprintf(
			"too few stations: %d heard an arm, the method needs %d", h.Hearing, fewestStations)}
	}
	return refuseBlocks(h.Blocks, alpha, family)
}

// Negated is the same with the arms exchanged.
func (h HeardBy) Negated() HeardBy {
	h.EstimatePoints = 0 - h.EstimatePoints
	h.FirstShare, h.SecondShare = h.SecondShare, h.FirstShare
	h.Interval = h.Interval.negated()
	h.Beyond.Interval = h.Beyond.Interval.negated()
	h.Running.Interval = h.Running.Interval.negated()
	return h
}
