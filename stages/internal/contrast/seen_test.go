package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The blocks of the worked case are those of its table.
func TestSeenOfTheWorkedCase(t *testing.T) {
	w, trial := readWorked(t)
	const tol = 1e-12 // plain sums
	for b, seen := range trial.Seen().Blocks {
		require.InDelta(t, w.Expected.Dbar[b], seen.DifferenceDB, tol)
		require.InDelta(t, w.Expected.W[b], seen.W, tol)
	}
}

// One station by hand, cut at -18: heard on both arms (-10 and -13); on the first alone, 4 dB above the cut; on the
// second alone, 8 dB above it: a lone strong report; below the cut.
func TestSeenByHand(t *testing.T) {
	stations := make([]Station, 2)
	reports := []Report{{0, 1, true, 0, -10}, {0, 1, false, 1, -13}, {1, 1, true, 2, -14}, {2, 1, false, 3, -10}, {3, 1, true, 4, -18.5}}
	seen := must(t, stations, reports, Params{Blocks: 5, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).Seen()
	const tol = 1e-12
	require.Len(t, seen.Stations, 1)
	s := seen.Stations[0]
	require.Equal(t, [2]int{1, 3}, [2]int{s.Station, s.Blocks})
	require.InDelta(t, 1+0.5+0.1, s.Weight, tol)
	require.InDelta(t, (3+4-1.2)/1.6, s.DifferenceDB, tol)
	for b, want := range []struct{ difference, m float64 }{{3, 1}, {8, 0.5}, {-12, 0.1}} {
		require.InDelta(t, want.difference, seen.Blocks[b].DifferenceDB, tol)
		require.InDelta(t, want.m, seen.Blocks[b].M, tol)
		require.InDelta(t, want.m/(want.m+10), seen.Blocks[b].W, tol)
		require.Equal(t, 1, seen.Blocks[b].Stations)
	}
	for _, b := range seen.Blocks[3:] {
		require.True(t, math.IsNaN(b.DifferenceDB))
		require.Equal(t, [3]float64{0, 0, 0}, [3]float64{b.M, b.W, float64(b.Stations)})
	}
}

// Blocks and stations are sums over the same cells, and the blocks balance at the estimate.
func TestSeenAgreesWithTheEstimate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, seed := drawnField(t), rapid.Uint64().Draw(t, "seed")
		stations, reports := f.draw(seed)
		for i := range stations {
			stations[i].HasAzimuth = i%3 != 0
		}
		trial := must(t, stations, reports, Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed})
		for _, part := range []*Trial{trial, trial.Located()} {
			requireOneSum(t, part.Seen())
		}
		level := trial.Level()
		if !level.Estimated || math.Abs(level.EstimateDB) > 29 {
			return
		}
		c := trial.newComparison() // the sum may jump over 0 at the estimate, where a report comes to lie below the cut
		require.GreaterOrEqual(t, c.sumG(level.EstimateDB-rootTol), 0.0)
		require.LessOrEqual(t, c.sumG(level.EstimateDB+rootTol), 0.0)
	})
}

func requireOneSum(t require.TestingT, seen Seen) {
	var byBlock, byStation, m, weight float64
	cells := 0
	for _, b := range seen.Blocks {
		if b.M > 0 {
			byBlock += b.M * b.DifferenceDB
		}
		m += b.M
		cells += b.Stations
	}
	for _, s := range seen.Stations {
		byStation += s.Weight * s.DifferenceDB
		weight += s.Weight
		cells -= s.Blocks
		require.LessOrEqual(t, math.Abs(s.DifferenceDB), clipDB+1e-9)
	}
	require.InDelta(t, byBlock, byStation, 1e-9)
	require.InDelta(t, m, weight, 1e-9)
	require.Zero(t, cells)
}

// With nothing censored, the weighted mean of the blocks is the estimate.
func TestSeenBlocksMeanIsTheEstimate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count, blocks := rapid.IntRange(1, 12).Draw(t, "stations"), rapid.IntRange(1, 8).Draw(t, "blocks")
		var reports []Report
		for b := range blocks {
			for s := range count {
				if rapid.IntRange(0, 3).Draw(t, "absent") == 0 {
					continue
				}
				// 40 dB above the cut, and less than 15 dB apart
				y := rapid.Float64Range(20, 26).Draw(t, "A")
				reports = append(reports, Report{b, s, true, 0, y}, Report{b, s, false, 1, rapid.Float64Range(20, 26).Draw(t, "B")})
			}
		}
		trial := must(t, make([]Station, count), reports, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1})
		level := trial.Level()
		if !level.Estimated {
			return
		}
		var sum, weight float64
		for _, b := range trial.Seen().Blocks {
			if b.W > 0 {
				sum += b.W * b.DifferenceDB
				weight += b.W
			}
		}
		require.InDelta(t, sum/weight, level.EstimateDB, rootTol)
	})
}

func TestSeenNegated(t *testing.T) {
	f := field{stations: 9, blocks: 6, slots: 2, meanDB: -15, effect: constant(2)}
	stations, reports := f.draw(2)
	p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 2}
	want, got := must(t, stations, reports, p).Seen().Negated(), must(t, stations, swapArms(reports), p).Seen()
	require.Len(t, got.Stations, len(want.Stations))
	for i, s := range want.Stations {
		require.InDelta(t, s.DifferenceDB, got.Stations[i].DifferenceDB, 1e-9)
		require.Equal(t, s.Weight, got.Stations[i].Weight)
	}
	for i, b := range want.Blocks {
		require.InDelta(t, b.DifferenceDB, got.Blocks[i].DifferenceDB, 1e-9)
		require.Equal(t, b.Stations, got.Blocks[i].Stations)
	}
}
