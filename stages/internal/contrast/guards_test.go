package contrast

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// By hand: the cut gives way below 0.02/0.1 = 0.2 dB; the ceiling below 0.02/(0.5 * share), so 0.4 dB where it takes a tenth.
func TestGuardsNear(t *testing.T) {
	for _, c := range []struct {
		name            string
		decoded, offset float64
		lagging         float64
		want            guards
	}{
		{"no difference", -21, 0, 0.1, guards{-21, math.Inf(1)}},
		{"just below 0.2 dB", -21, 0.199, 0.1, guards{-21, math.Inf(1)}},
		{"B the stronger", -21, -0.199, 0.1, guards{-21, math.Inf(1)}},
		{"just above 0.2 dB", -21, 0.201, 0.1, guards{-18, math.Inf(1)}},
		{"just above 0.4 dB", -21, -0.401, 0.1, guards{-18, 5}},
		{"nearly all reports lag", -21, 0.06, 0.7, guards{-21, 5}},
		{"no report lags", -21, 9, 0, guards{-18, math.Inf(1)}},
		{"decoding level not said", 0, 0, 0.1, guards{-18, math.Inf(1)}},
	} {
		t.Run(c.name, func(t *testing.T) {
			trial := Trial{params: Params{CutDB: -18, DecodedDB: c.decoded, CeilingDB: 5}, lagging: c.lagging}
			require.Equal(t, c.want, trial.guardsNear(c.offset))
			require.Equal(t, guards{-18, 5}, trial.guards())
		})
	}
}

// Eight blocks in which one station hears A at -19 and B at -20, another A at +9 and B at +7, and one both at 0. The test of no
// difference takes them all: (1 + 2 + 0)/3 dB in every block. The estimate leaves out the first two, of which it can't say by
// how much they differ, and finds nothing; against it the test does not stand.
func TestNoDifferenceNeedsNoGuards(t *testing.T) {
	const blocks = 8
	var reports []Report
	for b := range blocks {
		for s, level := range [][2]float64{{-19, -20}, {9, 7}, {0, 0}} {
			reports = append(reports, Report{b, s, true, 0, level[0]}, Report{b, s, false, 1, level[1]})
		}
	}
	p := Params{Blocks: blocks, CutDB: -18, DecodedDB: -21, CeilingDB: 5, Seed: 1}
	trial := must(t, make([]Station, 3), reports, p)
	require.Equal(t, 0.5, trial.lagging, "of two stations above the cut one lags")
	c := trial.newComparison()
	c.test(0)
	requireDelta(t, []float64{1, 1, 1, 1, 1, 1, 1, 1}, c.dbar, 1e-12)
	requireDelta(t, []float64{3, 3, 3, 3, 3, 3, 3, 3}, c.m, 0)
	require.Equal(t, 2.0/256, trial.PAt(0), "all blocks on one side: the identity and its negative")
	c.at(0)
	requireDelta(t, []float64{1, 1, 1, 1, 1, 1, 1, 1}, c.m, 0)

	l := trial.Level()
	require.InDelta(t, 0, l.EstimateDB, rootTol)
	require.Equal(t, 1.0, l.P)
	require.Equal(t, 1.0, l.Running.P)
	require.Equal(t, 1, l.Stations, "with weight between the guards")
	require.Equal(t, 8.0, l.SumM)

	p.DecodedDB = p.CutDB
	c = must(t, make([]Station, 3), reports, p).newComparison()
	c.test(0)
	requireDelta(t, []float64{1, 1, 1, 1, 1, 1, 1, 1}, c.dbar, 1e-12)
	requireDelta(t, []float64{2, 2, 2, 2, 2, 2, 2, 2}, c.m, 0)
}

// Beyond the guards A is the stronger, between them B: the greater p counts, and the interval is that between them.
func TestTheTestDoesNotContradictTheEstimate(t *testing.T) {
	const blocks = 8
	var reports []Report
	for b := range blocks {
		for s, level := range [][2]float64{{19, 9}, {0, 1 + float64(b%2)}} {
			reports = append(reports, Report{b, s, true, 0, level[0]}, Report{b, s, false, 1, level[1]})
		}
	}
	trial := must(t, make([]Station, 2), reports, Params{Blocks: blocks, CutDB: -18, CeilingDB: 5, Seed: 1})
	require.Equal(t, 2.0/256, trial.PAt(0))
	l := trial.Level()
	require.InDelta(t, -1.5, l.EstimateDB, rootTol)
	require.Equal(t, 2.0/256, l.P, "-1 and -2 in turn, all on one side")
	require.Negative(t, l.Interval.HighDB)
	require.InDelta(t, -1.5, sum(l.MeanDB)/blocks, 1e-12)
}

// Where the test rules out no difference, the interval does not reach over to the other sign, though p rises there again.
func TestIntervalKeepsToItsSide(t *testing.T) {
	p := func(d float64) float64 {
		if math.Abs(d) < 0.2 || d < -1 || d > 3 {
			return 0.01
		}
		return 0.5
	}
	const step = intervalWidthDB / float64(1<<intervalHalvings)
	got := invert(p, 1)
	require.InDelta(t, 0.2, got.LowDB, step)
	require.InDelta(t, 3, got.HighDB, step)
	got = invert(func(d float64) float64 { return p(-d) }, -1)
	require.InDelta(t, -3, got.LowDB, step)
	require.InDelta(t, -0.2, got.HighDB, step)
	// Not ruled out: it may.
	got = invert(func(d float64) float64 { return 0.5 * one64(d > -1 && d < 3) }, 1)
	require.InDelta(t, -1, got.LowDB, step)
}

func one64(yes bool) float64 { return float64(one(yes)) }

// Weak signals near a soft threshold, strong ones that lag, and a difference so small that the guards give way: the test keeps
// its size and the interval holds the truth.
func TestNearNoDifference(t *testing.T) {
	n := 4 * quickTrials()
	for _, truth := range []float64{0, 0.15, 0.35} {
		f := field{stations: 30, blocks: 8, slots: 3, meanDB: -7, lagsAbove: 5, effect: constant(truth)}
		ruledOut, missed := 0, 0
		for seed := range uint64(n) {
			stations, reports := f.draw(seed + 70000)
			trial := must(t, stations, reports, Params{Blocks: f.blocks, CutDB: -18, DecodedDB: -18 - SoftDB, CeilingDB: LaggingDB, Seed: seed})
			ruledOut += one(trial.PAt(truth) <= Alpha)
			l := trial.Level()
			missed += one(truth < l.Interval.LowDB || truth > l.Interval.HighDB)
		}
		limit := binomialBound(n, Alpha, 0.999)
		t.Logf("%g dB in %d: ruled out %d, interval missed %d (bound %d)", truth, n, ruledOut, missed, limit)
		require.LessOrEqual(t, ruledOut, limit)
		require.LessOrEqual(t, missed, limit)
		require.Positive(t, ruledOut)
	}
}

// Of four stations one lags on both arms: a quarter of the weight is not below the ceiling.
func TestShareThatLags(t *testing.T) {
	var reports []Report
	for s, level := range []float64{9, 1, 2, -3} {
		reports = append(reports, Report{0, s, true, 0, level}, Report{0, s, false, 1, level - 1})
	}
	require.Equal(t, 0.25, must(t, make([]Station, 4), reports, Params{Blocks: 1, CutDB: -18, CeilingDB: 5}).lagging)
}

// Beyond the guards A is the stronger in five blocks of eight, between them B in all: the sums of the two stations and those of
// the one that is between, by hand. Of both p the greater counts, of the running ones, too; all by the plainest code.
func TestTheGreaterOfBothTests(t *testing.T) {
	beyondThem, between := []float64{-6, 10, -6, 10, -6, 10, 10, 10}, []float64{-1, -2, -1, -2, -1, -2, -1, -2}
	var reports []Report
	for b := range beyondThem {
		reports = append(reports, Report{b, 0, true, 0, 20 + beyondThem[b]}, Report{b, 0, false, 1, 20}, Report{b, 1, true, 0, between[b]}, Report{b, 1, false, 1, 0})
	}
	l := must(t, make([]Station, 2), reports, Params{Blocks: 8, CutDB: -18, CeilingDB: 5, Seed: 1}).Level()
	whole, guarded, weights := make([]float64, 8), make([]float64, 8), make([]float64, 8)
	for b := range whole {
		whole[b], guarded[b], weights[b] = (beyondThem[b]+between[b])/2, between[b], 1
	}
	require.Greater(t, plainP(whole, weights, 0), 0.05)
	require.Equal(t, 2.0/256, plainP(guarded, weights, 0))
	require.Equal(t, plainP(whole, weights, 0), l.P)
	require.InDelta(t, -1.5, l.EstimateDB, rootTol)

	running := func(means []float64, weight float64) float64 { // 1 over the greatest mean of the products
		greatest := 1.0
		for n := 1; n <= len(means); n++ {
			e := 0.0
			for _, size := range []float64{0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4} {
				for _, lambda := range []float64{size, -size} {
					product := 1.0
					for _, d := range means[:n] {
						product *= 1 + math.Tanh(lambda*weight*d)
					}
					e += product / 14
				}
			}
			greatest = max(greatest, e)
		}
		return 1 / greatest
	}
	require.Greater(t, running(whole, 2./12), running(guarded, 1./11))
	require.InDelta(t, running(whole, 2./12), l.Running.P, 1e-9)
}

// One station between the guards hears A 1 dB better or 0.6 dB worse in turn, which rules nothing out; five weak ones below the
// cut hear A 1 dB better in every block, which rules no difference out. So the interval ends above 0, and at 0.2 dB at most,
// from where the weak ones do not count.
func TestIntervalIsOfTheTestThatLooksBeyond(t *testing.T) {
	var reports []Report
	for b := range 8 {
		add := func(s int, base, d float64) {
			reports = append(reports, Report{b, s, true, 0, base + d}, Report{b, s, false, 1, base})
		}
		add(0, 0, 1-1.6*float64(b%2))
		for s := range 5 {
			add(1+s, -20, 1)
		}
	}
	l := must(t, make([]Station, 6), reports, Params{Blocks: 8, CutDB: -18, DecodedDB: -21, CeilingDB: 5, Seed: 1}).Level()
	require.Equal(t, 2.0/256, l.P)
	require.InDelta(t, 0.2, l.EstimateDB, rootTol)
	require.Positive(t, l.Interval.LowDB)
	require.LessOrEqual(t, l.Interval.LowDB, 0.21)
	require.Greater(t, l.Interval.HighDB, 0.5)
}

// What may be watched knows no later block, in the numbers of a level, too.
func TestRunningOfALevelLooksBack(t *testing.T) {
	f := field{stations: 12, blocks: 10, slots: 3, meanDB: -10, waveDB: 1, effect: constant(1)}
	stations, reports := f.draw(3)
	p := Params{Blocks: 10, CutDB: -18, DecodedDB: -21, CeilingDB: LaggingDB, Seed: 3, When: dwellTimes(10, 3, reports)}
	whole := must(t, stations, reports, p).Level()
	early := slices.DeleteFunc(slices.Clone(reports), func(r Report) bool { return r.Block >= 6 })
	p.Blocks, p.When = 6, p.When[:6]
	require.Equal(t, must(t, stations, early, p).Level().Running.E, whole.Running.E[:6])
}
