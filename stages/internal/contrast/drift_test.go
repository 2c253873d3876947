package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const dwellS = 240

// dwellTimes are those of dwells of 4 min without a gap; the order of the arms is read from the reports.
func dwellTimes(blocks, slots int, reports []Report) []Times {
	when := make([]Times, blocks)
	for b := range when {
		when[b] = Times{FirstS: float64(2*b) * dwellS, SecondS: float64(2*b+1) * dwellS}
	}
	for _, r := range reports {
		own := float64(r.Slot/int64(slots)) * dwellS
		other := float64(2*r.Block)*dwellS + float64(2*r.Block+1)*dwellS - own
		if r.First {
			when[r.Block] = Times{FirstS: own, SecondS: other}
		} else {
			when[r.Block] = Times{FirstS: other, SecondS: own}
		}
	}
	return when
}

// By hand: the band rises by 0.5 dB from dwell to dwell, nothing else differs. Twenty stations, each with weight 1 in every
// block, take 400/500 of that off, at the ends too; a look back only knows nothing of the first block's.
func TestSteadyDrift(t *testing.T) {
	const stations, blocks, slots = 20, 9, 2
	firstIsB := map[int]bool{1: true, 2: true, 5: true, 8: true}
	var reports []Report
	for b := range blocks {
		for dwell := range 2 {
			for s := range stations {
				for k := range slots {
					n := 2*b + dwell
					reports = append(reports, Report{b, s, (dwell == 0) != firstIsB[b], int64(n*slots + k), -10 + 0.5*float64(n) + float64(s%3)})
				}
			}
		}
	}
	p := Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}
	plain := must(t, make([]Station, stations), reports, p).newComparison()
	p.When = dwellTimes(blocks, slots, reports)
	timed := must(t, make([]Station, stations), reports, p)
	for name, c := range map[string]*comparison{"both sides": timed.newComparison(), "past only": timed.newPastComparison()} {
		plain.at(0)
		c.at(0)
		for b := range blocks {
			if b == 0 && c.slopes[0].block > 0 {
				continue // nothing is before it
			}
			sign := -1.0
			if firstIsB[b] {
				sign = 1
			}
			require.InDelta(t, sign*0.5, plain.dbar[b], 1e-9)
			require.InDelta(t, sign*0.5/5, c.dbar[b], 1e-9, "%s, block %d", name, b)
		}
	}
}

// swapBlock exchanges the arms of one block, in the reports and on the clock.
func swapBlock(block int, reports []Report, when []Times) ([]Report, []Times) {
	out, times := append([]Report(nil), reports...), append([]Times(nil), when...)
	for i, r := range out {
		if r.Block == block {
			out[i].First = !r.First
		}
	}
	times[block] = Times{FirstS: when[block].SecondS, SecondS: when[block].FirstS}
	return out, times
}

// What the tests rest on: at the truth, exchanging the arms of a block negates its differences and touches no other.
func TestSwappedBlock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, seed := drawnField(t), rapid.Uint64().Draw(t, "seed")
		f.waveDB = rapid.Float64Range(0, 3).Draw(t, "wave")
		stations, reports := f.draw(seed)
		p := Params{
			Blocks: f.blocks, CutDB: -18, DecodedDB: rapid.Float64Range(-24, -15).Draw(t, "decoded"), CeilingDB: rapid.Float64Range(-9, 9).Draw(t, "ceiling"),
			Seed: seed, When: dwellTimes(f.blocks, f.slots, reports)}
		block := rapid.IntRange(0, f.blocks-1).Draw(t, "block")
		past, guarded := rapid.Bool().Draw(t, "past"), rapid.Bool().Draw(t, "guarded")
		comparison := func(reports []Report, p Params) *comparison {
			trial := must(t, stations, reports, p)
			c := trial.newComparison()
			if past {
				c = trial.newPastComparison()
			}
			if guarded {
				c.at(0)
			} else {
				c.test(0)
			}
			return c
		}
		want := comparison(reports, p)
		reports, p.When = swapBlock(block, reports, p.When)
		got := comparison(reports, p)
		for b := range f.blocks {
			sign := 1.0
			if b == block {
				sign = -1
			}
			require.InDelta(t, sign*want.dbar[b], got.dbar[b], 1e-9)
			require.InDelta(t, want.m[b], got.m[b], 1e-9)
		}
	})
}

// The running evidence of the first blocks is the same whatever comes after them.
func TestPastKnowsNoFuture(t *testing.T) {
	f := field{stations: 12, blocks: 10, slots: 3, meanDB: -10, waveDB: 1, effect: constant(1)}
	stations, reports := f.draw(3)
	p := Params{Blocks: 10, CutDB: -18, CeilingDB: math.Inf(1), Seed: 3, When: dwellTimes(10, 3, reports)}
	whole := must(t, stations, reports, p).newPastComparison()
	whole.at(0)
	var early []Report
	for _, r := range reports {
		if r.Block < 6 {
			early = append(early, r)
		}
	}
	p.Blocks, p.When = 6, p.When[:6]
	part := must(t, stations, early, p).newPastComparison()
	part.at(0)
	require.Equal(t, part.g, whole.g[:6])
	require.Equal(t, part.w, whole.w[:6])
}

// A band that rises and falls: the test keeps its size, and with the times known the estimate is the better one.
func TestRisingAndFallingBand(t *testing.T) {
	const truth = 1.0
	f := field{stations: 30, blocks: 12, slots: 4, meanDB: -10, waveDB: 3}
	alarms, anytime, missed, plainSq, timedSq := 0, 0, 0, 0.0, 0.0
	n := 4 * quickTrials()
	for seed := range uint64(n) {
		f.effect = constant(0)
		stations, reports := f.draw(seed + 20000)
		p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed, When: dwellTimes(f.blocks, f.slots, reports)}
		same := must(t, stations, reports, p)
		if same.newComparison().p(0) <= Alpha {
			alarms++
		}
		if same.newPastComparison().running().P <= Alpha {
			anytime++
		}
		f.effect = constant(truth)
		stations, reports = f.draw(seed + 20000)
		p.When = dwellTimes(f.blocks, f.slots, reports)
		timed := must(t, stations, reports, p).Level()
		p.When = nil
		plain, _, ok := must(t, stations, reports, p).Estimate()
		require.True(t, ok)
		if truth < timed.Interval.LowDB || truth > timed.Interval.HighDB {
			missed++
		}
		plainSq += (plain - truth) * (plain - truth)
		timedSq += (timed.EstimateDB - truth) * (timed.EstimateDB - truth)
	}
	limit := binomialBound(n, Alpha, 0.999)
	t.Logf("of %d: false alarms %d, anytime %d, interval missed %d (bound %d); squared error with the times %.2f of that without", n, alarms, anytime, missed, limit, timedSq/plainSq)
	require.LessOrEqual(t, alarms, limit)
	require.LessOrEqual(t, anytime, limit)
	require.LessOrEqual(t, missed, limit)
	require.Less(t, timedSq, 0.85*plainSq)
}

// Strong reports follow the signal by half: the ceiling keeps the estimate and its interval right.
func TestLaggingReports(t *testing.T) {
	const truth = 3.0
	f := field{stations: 30, blocks: 10, slots: 4, meanDB: -2, lagsAbove: 6, effect: constant(truth)}
	missed, bias, without := 0, 0.0, 0.0
	n := 4 * quickTrials()
	for seed := range uint64(n) {
		stations, reports := f.draw(seed + 30000)
		p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: 5, Seed: seed}
		l := must(t, stations, reports, p).Level()
		if truth < l.Interval.LowDB || truth > l.Interval.HighDB {
			missed++
		}
		bias += (l.EstimateDB - truth) / float64(n)
		p.CeilingDB = math.Inf(1)
		plain, _, ok := must(t, stations, reports, p).Estimate()
		require.True(t, ok)
		without += (plain - truth) / float64(n)
	}
	t.Logf("bias %.3f dB, without the ceiling %.3f dB; the interval missed %d of %d", bias, without, missed, n)
	require.LessOrEqual(t, missed, binomialBound(n, Alpha, 0.999))
	require.InDelta(t, 0, bias, 0.1)
	require.Less(t, without, -0.2)
}

// A ceiling below nearly all reports would leave nothing to compare.
func TestCeilingIsLifted(t *testing.T) {
	f := field{stations: 20, blocks: 8, slots: 4, meanDB: -2, effect: constant(1)}
	for _, c := range []struct {
		meanDB float64
		lifted bool
	}{{-2, false}, {20, true}} {
		f.meanDB = c.meanDB
		stations, reports := f.draw(1)
		trial := must(t, stations, reports, Params{Blocks: f.blocks, CutDB: -18, CeilingDB: 5, Seed: 1})
		require.Equal(t, c.lifted, math.IsInf(trial.params.CeilingDB, 1))
	}
}
