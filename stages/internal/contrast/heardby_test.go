package contrast

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// everywhere gives n stations, each in a region of its own, one in each 45-degree sector in turn.
func everywhere(n int) []Station {
	out := make([]Station, n)
	for i := range out {
		out[i] = Station{AzimuthRad: float64(i%8) * math.Pi / 4, HasAzimuth: true, Region: i}
	}
	return out
}

func heardBy(t require.TestingT, stations []Station, all []Presence, blocks int) HeardBy {
	h, err := NewHeardBy(stations, all, Params{Blocks: blocks, Seed: 5})
	require.NoError(t, err)
	return h
}

// patternsOf turns words into presences: for each block and station B both arms, F the first, S the second, "-" none, and
// a blank for a station that does not count.
func patternsOf(words ...string) []Presence {
	var out []Presence
	for b, word := range words {
		for s, letter := range word {
			if letter != ' ' {
				out = append(out, Presence{b, s, letter == 'B' || letter == 'F', letter == 'B' || letter == 'S'})
			}
		}
	}
	return out
}

// Three blocks by hand. Means: (1-0)/2 = 50 points of 2 stations, (2-1)/5 = 20 points of 5, 0 of 1; weights m/(m+10): 1/6,
// 1/3, 1/11. Estimate (50/6 + 20/3)/(1/6 + 1/3 + 1/11) = 15/(13/22) = 25.3846 points.
func TestHeardByByHand(t *testing.T) {
	h := heardBy(t, everywhere(5), patternsOf("FB", "FFSB-", "  B"), 3)
	require.True(t, h.Estimated)
	require.InDelta(t, 15.0/(13.0/22), h.EstimatePoints, 1e-12)
	// the first arm: 2/2, 3/5, 1/1; the second: 1/2, 2/5, 1/1
	require.InDelta(t, (1.0/6+0.6/3+1.0/11)/(13.0/22), h.FirstShare, 1e-12)
	require.InDelta(t, (0.5/6+0.4/3+1.0/11)/(13.0/22), h.SecondShare, 1e-12)
	require.Equal(t, [7]int{3, 3, 1, 5, 4, 5, 7}, [7]int{h.Blocks, h.Used, h.Saturated, h.Stations, h.Hearing, h.Sectors, h.Hearings})
	require.Equal(t, 4.0/8, h.P, "g is 50/6, 20/3, 0: the vectors ++ and -- reach the sum, with either sign of the third")
	require.Equal(t, TooFewReports, h.Refusal(Alpha, 1).Code)
}

// plainP counts the sign vectors by the plainest code, w (d - shift) for each block.
func plainP(means, weights []float64, shift float64) float64 {
	observed, count := 0.0, 0
	for v := range 1 << len(means) {
		total := 0.0
		for b, d := range means {
			g := weights[b] * (d - shift)
			if v>>b&1 == 1 {
				g = -g
			}
			total += g
		}
		if v == 0 {
			observed = math.Abs(total)
		}
		if math.Abs(total) >= observed-1e-9*observed {
			count++
		}
	}
	return float64(count) / float64(int(1)<<len(means))
}

// plainMeans gives the block means in points and their weights.
func plainMeans(all []Presence, blocks int) (means, weights []float64) {
	for b := range blocks {
		sum, m := 0.0, 0.0
		for _, p := range all {
			if p.Block != b {
				continue
			}
			m++
			if p.First {
				sum += 100
			}
			if p.Second {
				sum -= 100
			}
		}
		if m == 0 {
			means, weights = append(means, 0), append(weights, 0)
			continue
		}
		means, weights = append(means, sum/m), append(weights, m/(m+10))
	}
	return means, weights
}

// randomPresences is a trial of unequal stations; the first arm is heard with a chance of gain more.
func randomPresences(seed uint64, stations, blocks int, gain float64) []Presence {
	r := rand.New(rand.NewPCG(seed, 1))
	var out []Presence
	for b := range blocks {
		for s := range stations {
			if r.Float64() < 0.3+0.6*float64(s%3)/2 {
				chance := 0.2 + 0.5*float64(s%4)/3
				out = append(out, Presence{b, s, r.Float64() < chance+gain, r.Float64() < chance})
			}
		}
	}
	return out
}

func TestHeardByAgainstEnumeration(t *testing.T) {
	for seed := range uint64(6) {
		all := randomPresences(seed, 14, 9, 0.1*float64(seed%3))
		h := heardBy(t, everywhere(14), all, 9)
		means, weights := plainMeans(all, 9)
		require.Equal(t, plainP(means, weights, 0), h.P)
		// the ends err outward by at most 200 points / 2^12
		require.LessOrEqual(t, plainP(means, weights, h.Interval.Low), Alpha)
		require.Greater(t, plainP(means, weights, h.Interval.Low+0.05), Alpha)
		require.LessOrEqual(t, plainP(means, weights, h.Interval.High), Alpha)
		require.Greater(t, plainP(means, weights, h.Interval.High-0.05), Alpha)
	}
}

// If the arms do not differ, every assignment of the dwells to the arms was as likely. Over all of them, p is at most
// alpha in a share of at most alpha: to the last one, and for every alpha that p can take.
func TestHeardByIsExact(t *testing.T) {
	const blocks = 8
	base := randomPresences(3, 11, blocks, 0)
	var ps []float64
	for v := range 1 << blocks {
		all := slices.Clone(base)
		for i := range all {
			if p := &all[i]; v>>p.Block&1 == 1 {
				p.First, p.Second = p.Second, p.First
			}
		}
		ps = append(ps, heardBy(t, everywhere(11), all, blocks).P)
	}
	slices.Sort(ps)
	for i, p := range ps {
		if i+1 == len(ps) || ps[i+1] > p {
			require.LessOrEqual(t, float64(i+1)/float64(len(ps)), p)
		}
	}
	require.LessOrEqual(t, ps[0], 2.0/(1<<blocks)*4)
}

// The running evidence by its formula: the mean over the bets of the products of 1 + tanh(lambda g), g in tens of points.
func TestHeardByRunning(t *testing.T) {
	all := randomPresences(9, 20, 10, 0.3)
	means, weights := plainMeans(all, 10)
	plain := func(shift float64) float64 {
		greatest := 1.0
		for n := 1; n <= len(means); n++ {
			e := 0.0
			for _, size := range []float64{0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4} {
				for _, lambda := range []float64{size, -size} {
					product := 1.0
					for b := range n {
						product *= 1 + math.Tanh(lambda*weights[b]*(means[b]-shift)/10)
					}
					e += product / 14
				}
			}
			greatest = max(greatest, e)
		}
		return 1 / greatest
	}
	h := heardBy(t, everywhere(20), all, 10)
	require.InDelta(t, plain(0), h.Running.P, 1e-9)
	require.Less(t, h.Running.P, 0.05)
	require.LessOrEqual(t, plain(h.Running.Interval.Low), Alpha)
	require.Greater(t, plain(h.Running.Interval.Low+0.05), Alpha)
	require.LessOrEqual(t, h.Running.Interval.Low, h.Interval.Low, "what may be watched is known less finely")
}

func TestHeardBySaturatedOrSilent(t *testing.T) {
	words := slices.Repeat([]string{"BBBBBB"}, 8)
	h := heardBy(t, everywhere(6), patternsOf(words...), 8)
	require.Equal(t, [3]float64{0, 1, 1}, [3]float64{h.EstimatePoints, h.P, h.FirstShare})
	require.InDelta(t, 0, h.Interval.Low, 0.06)
	require.InDelta(t, 0, h.Interval.High, 0.06)
	require.Equal(t, 8, h.Saturated)
	require.Empty(t, h.Refusal(Alpha, 1).Code)

	silent := heardBy(t, everywhere(6), patternsOf(slices.Repeat([]string{"------"}, 8)...), 8)
	require.Equal(t, TooFewReports, silent.Refusal(Alpha, 1).Code)
	two := heardBy(t, everywhere(6), patternsOf(slices.Repeat([]string{"FS----"}, 8)...), 8)
	require.Equal(t, TooFewStations, two.Refusal(Alpha, 1).Code, "those that heard nothing do not make up for it")
	short := heardBy(t, everywhere(6), patternsOf(words[:5]...), 5)
	require.Equal(t, TooFewBlocks, short.Refusal(Alpha, 1).Code)
	require.True(t, math.IsInf(short.Interval.Low, -1), "the smallest p of 5 blocks is 1/16")

	none := heardBy(t, everywhere(3), nil, 4)
	require.False(t, none.Estimated)
	require.Equal(t, 1.0, none.P)
}

// With regions of one opinion each the second interval is wider than the first, and knows the shares of regions.
func TestHeardByBeyond(t *testing.T) {
	stations := everywhere(24)
	for i := range stations {
		stations[i].Region = i % 6
	}
	var all []Presence
	r := rand.New(rand.NewPCG(4, 4))
	for b := range 12 {
		for s := range stations {
			chance := []float64{0.1, 0.3, 0.5, 0.5, 0.7, 0.9}[s%6]
			all = append(all, Presence{b, s, r.Float64() < chance, r.Float64() < 0.5})
		}
	}
	h := heardBy(t, stations, all, 12)
	require.Equal(t, 6, h.Beyond.Regions)
	require.InDelta(t, 6, h.Beyond.EffectiveRegions, 1e-9)
	require.InDelta(t, 1.0/6, h.Beyond.LargestRegion, 1e-12)
	require.InDelta(t, 1.0/24, h.Beyond.LargestStation, 1e-12)
	require.Greater(t, h.Beyond.Interval.High-h.Beyond.Interval.Low, 2*(h.Interval.High-h.Interval.Low))
}

func TestHeardByRefusesWhatIsNotThere(t *testing.T) {
	for _, bad := range [][]Presence{{{Block: 2}}, {{Block: -1}}, {{Station: 1}}, {{Station: -1}}, {{}, {First: true}}} {
		_, err := NewHeardBy([]Station{{}}, bad, Params{Blocks: 2})
		require.ErrorContains(t, err, "counting who heard")
	}
}

// Exchanging the arms turns the signs and nothing else, and the order of the presences is not looked at.
func TestHeardBySwappedAndShuffled(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		blocks := rapid.IntRange(1, 16).Draw(t, "blocks")
		all := randomPresences(rapid.Uint64().Draw(t, "seed"), 9, blocks, rapid.Float64Range(0, 0.5).Draw(t, "gain"))
		h := heardBy(t, everywhere(9), all, blocks)
		swapped := slices.Clone(all)
		for i := range swapped {
			swapped[i].First, swapped[i].Second = swapped[i].Second, swapped[i].First
		}
		rand.New(rand.NewPCG(1, 2)).Shuffle(len(swapped), func(i, j int) { swapped[i], swapped[j] = swapped[j], swapped[i] })
		o := heardBy(t, everywhere(9), swapped, blocks).Negated()
		require.Equal(t, h.P, o.P)
		require.InDelta(t, h.Running.P, o.Running.P, 1e-12) // the same bets summed in another order
		if h.Estimated {
			require.Equal(t, [3]float64{h.EstimatePoints, h.FirstShare, h.SecondShare}, [3]float64{o.EstimatePoints, o.FirstShare, o.SecondShare})
			require.InDelta(t, max(h.Interval.Low, -200), max(o.Interval.Low, -200), 1e-9)
			require.InDelta(t, h.Beyond.P, o.Beyond.P, 1e-12)
		}
	})
}

func BenchmarkHeardBy(b *testing.B) {
	all := randomPresences(1, 60, 16, 0.1)
	b.ReportAllocs()
	for b.Loop() {
		heardBy(b, everywhere(60), all, 16)
	}
}

// Where each block has the very same difference, that difference is not ruled out: with 3, 7 or 13 stations it is no round
// number of tens of points. An end errs outward by at most 200 points / 2^12.
func TestHeardByOneDifferenceInAllBlocks(t *testing.T) {
	for _, stations := range []int{2, 3, 7, 11, 13, 49} {
		var all []Presence
		for b := range 10 {
			for s := range stations {
				all = append(all, Presence{b, s, true, s > 0})
			}
		}
		h := heardBy(t, everywhere(stations), all, 10)
		want := 100 / float64(stations)
		require.InDelta(t, want, h.EstimatePoints, 1e-9)
		require.False(t, h.Interval.Empty, "%d stations", stations)
		require.InDelta(t, want, h.Interval.Low, 0.05)
		require.InDelta(t, want, h.Interval.High, 0.05)
		require.False(t, h.Running.Interval.Empty)
		require.Equal(t, 2.0/1024, h.P)
	}
}
