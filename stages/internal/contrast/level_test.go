package contrast

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The rule of section "Model" of the package, by hand; cut at -18.
func TestRecensored(t *testing.T) {
	cases := []struct {
		name      string
		armA      []float64
		armB      []float64
		offset    float64
		wantD, wA float64
	}{
		{"neither heard", nil, nil, 0, 0, 0},
		{"both only below the cut", []float64{-19}, []float64{-18.5, -18}, 0, 0, 0},
		{"both heard: means", []float64{-10, -12}, []float64{-14}, 0, 3, 1},
		{"a report below the cut is left out", []float64{-10, -19}, []float64{-14}, 0, 4, 1},
		{"one heard: against the cut", []float64{-15}, nil, 0, 3, 0.5},
		{"one heard, B", nil, []float64{-13}, 0, -5, 0.5},
		{"six is not above six", []float64{-12}, nil, 0, 6, 0.5},
		{"lone strong report", []float64{-11.9}, nil, 0, 1.2, 0.1},
		{"lone strong report of B", []float64{-40}, []float64{5}, 0, -1.2, 0.1},
		{"clipped", []float64{10}, []float64{-10}, 0, 15, 1},
		{"clipped below", []float64{-10}, []float64{10}, 0, -15, 1},
		{"positive offset moves A down", []float64{-10}, []float64{-14}, 3, 1, 1},
		{"positive offset takes A below the cut", []float64{-16}, []float64{-16}, 3, -2, 0.5},
		{"negative offset raises the cut", []float64{-16}, []float64{-16}, -3, 2, 0.5},
		{"negative offset, both kept", []float64{-16}, []float64{-14}, -3, 1, 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d, a, _ := recensored(c.armA, c.armB, c.offset, guards{-18, math.Inf(1)})
			require.InDelta(t, c.wantD, d, 1e-12)
			require.Equal(t, c.wA, a)
		})
	}
}

// The same with a ceiling of +5, by hand.
func TestRecensoredBelowACeiling(t *testing.T) {
	cases := []struct {
		name      string
		armA      []float64
		armB      []float64
		offset    float64
		cut       float64
		wantD, wA float64
	}{
		{"below it nothing changes", []float64{4}, []float64{1, -1}, 0, -18, 4, 1},
		{"what is above counts as the ceiling", []float64{9}, []float64{1}, 0, -18, 4, 0.5},
		{"half of an arm's reports above", []float64{9, 3}, []float64{1}, 0, -18, 3, 0.75},
		{"at the ceiling is not below it", []float64{5}, []float64{1}, 0, -18, 4, 0.5},
		{"both arms above: nothing to compare", []float64{12}, []float64{7}, 0, -18, 0, 0},
		{"a positive offset lowers it for both", []float64{9}, []float64{4}, 3, -18, 0, 0},
		{"a positive offset, one arm below", []float64{9}, []float64{1}, 3, -18, 1, 0.5},
		{"a negative offset leaves it", []float64{1}, []float64{9}, -3, -18, -1, 0.5},
		{"lone report far above", []float64{9}, nil, 0, -18, 1.2, 0.1},
		{"never less than 12 dB above the cut", []float64{9}, []float64{3}, 0, -4, 5, 0.5},
		{"one heard, above a ceiling 12 dB from the cut", []float64{9}, nil, 4, -4, 1.2, 0.1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d, a, _ := recensored(c.armA, c.armB, c.offset, guards{c.cut, 5})
			require.InDelta(t, c.wantD, d, 1e-12)
			require.Equal(t, c.wA, a)
		})
	}
}

func TestNewRefusesWhatIsNotThere(t *testing.T) {
	stations := []Station{{}}
	for _, r := range []Report{{Block: 2}, {Block: -1}, {Station: 1}, {Station: -1}, {DitheredDB: math.NaN()}, {DitheredDB: math.Inf(1)}} {
		_, err := New(stations, []Report{r}, Params{Blocks: 2, CutDB: -18, CeilingDB: math.Inf(1)})
		require.ErrorContains(t, err, "packing report 0")
	}
	_, err := New(stations, nil, Params{Blocks: 2, When: []Times{{0, 1}}})
	require.EqualError(t, err, "packing reports: times of 1 blocks for 2")
}

func TestNoReports(t *testing.T) {
	for _, blocks := range []int{0, 1, 16} {
		trial := must(t, []Station{{HasAzimuth: true}}, nil, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1)})
		l := trial.Level()
		require.False(t, l.Estimated)
		require.Equal(t, 1.0, l.P)
		require.Len(t, l.G, blocks)
		require.Equal(t, unbounded(), l.Interval)
		require.Equal(t, TooFewReports, l.Refusal(Alpha, 1).Code)
		d := trial.Directivity(TwoSided)
		require.False(t, d.Testable)
		require.Equal(t, TooFewStations, d.Why.Code)
		require.False(t, trial.FrontToBack(0).Estimated)
	}
}

// evenTrial has n stations heard in every block at the same level in both arms, A higher by d.
func evenTrial(t *testing.T, n, blocks int, d float64) *Trial {
	stations, reports := make([]Station, n), []Report(nil)
	for i := range stations {
		stations[i] = Station{AzimuthRad: 2 * math.Pi * float64(i) / float64(n), HasAzimuth: true, Region: i}
		for b := range blocks {
			reports = append(reports, Report{b, i, true, 0, -5 + d}, Report{b, i, false, 1, -5})
		}
	}
	return must(t, stations, reports, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1})
}

func TestEvenTrial(t *testing.T) {
	l := evenTrial(t, 10, 6, 2.5).Level()
	require.InDelta(t, 2.5, l.EstimateDB, rootTol)
	require.Equal(t, 2.0/64, l.P, "all blocks on one side: the identity and its negative")
	requireDelta(t, []float64{2.5, 2.5, 2.5, 2.5, 2.5, 2.5}, l.MeanDB, 1e-12)
	requireDelta(t, []float64{0.5, 0.5, 0.5, 0.5, 0.5, 0.5}, l.W, 1e-12)
	require.Equal(t, 10, l.Stations)
	require.Equal(t, 8, l.Sectors)
	require.Equal(t, 120, l.Receptions)
	require.InDelta(t, 10, l.Beyond.EffectiveRegions, 1e-9)
	require.InDelta(t, 0.1, l.Beyond.LargestRegion, 1e-12)
	require.InDelta(t, 0.1, l.Beyond.LargestStation, 1e-12)
	require.InDelta(t, 1, l.Kappa, 1e-9, "nothing is censored")
	require.Zero(t, l.Refusal(Alpha, 1))
}

// Five blocks can't reach 5 %: no difference is ruled out.
func TestTooFewBlocksHaveNoBounds(t *testing.T) {
	l := evenTrial(t, 10, 5, 2.5).Level()
	require.Equal(t, unbounded(), l.Interval)
	require.Equal(t, 2.0/32, l.P)
	require.Equal(t, TooFewBlocks, l.Refusal(Alpha, 1).Code)
}

// An arm that is never heard bounds the difference on one side only.
func TestSilentArm(t *testing.T) {
	stations, reports := make([]Station, 12), []Report(nil)
	for i := range stations {
		stations[i].Region = i
		for b := range 8 {
			reports = append(reports, Report{b, i, true, 0, -14 + float64(i)/10})
		}
	}
	p := Params{Blocks: 8, CutDB: -18, CeilingDB: math.Inf(1)}
	l := must(t, stations, reports, p).Level()
	require.True(t, l.Estimated)
	require.Equal(t, 2.0/256, l.P)
	require.True(t, math.IsInf(l.Interval.HighDB, 1))
	require.Greater(t, l.Interval.LowDB, 3.0)
	require.Less(t, l.Interval.LowDB, 6.0)
	swapped := must(t, stations, swapArms(reports), p).Level()
	require.InDelta(t, -l.EstimateDB, swapped.EstimateDB, 1e-6)
	requireSameEnds(t, l.Interval.negated(), swapped.Interval, 1e-6)
}

// Two arms with the same reports: no difference, exactly.
func TestSameReports(t *testing.T) {
	l := evenTrial(t, 5, 7, 0).Level()
	require.Zero(t, l.EstimateDB)
	require.Equal(t, 1.0, l.P)
	require.Equal(t, 1.0, l.Running.P)
}

// Where the test rules out the estimate, or everything, invert looks further.
func TestEmptyInterval(t *testing.T) {
	got := invert(func(float64) float64 { return 0.01 }, 3)
	require.True(t, got.Empty)
	require.True(t, math.IsInf(got.LowDB, -1) && math.IsInf(got.HighDB, 1))

	// The estimate is ruled out, 4.5..6 is not.
	got = invert(func(d float64) float64 {
		if d >= 4.5 && d <= 6 {
			return 0.5
		}
		return 0.01
	}, 3)
	require.False(t, got.Empty)
	require.InDelta(t, 4.5, got.LowDB, 2.0*intervalWidthDB/(1<<intervalHalvings))
	require.InDelta(t, 6, got.HighDB, 2.0*intervalWidthDB/(1<<intervalHalvings))
}

func TestRoot(t *testing.T) {
	require.InDelta(t, 4.2, root(func(d float64) float64 { return 4.2 - d }), rootTol)
	require.Zero(t, root(func(float64) float64 { return 0 }))
	// Zero over a stretch: the end nearer to 0, on both sides.
	flat := func(d float64) float64 { return math.Max(0, 4-d) }
	require.InDelta(t, 4, root(flat), rootTol)
	require.InDelta(t, -4, root(func(d float64) float64 { return -flat(-d) }), rootTol)
}

// The level's refusals of the method: below 6 blocks at 5 %, below 8 at 1 %, 1 + log2(m/alpha) among m.
func TestLevelRefusals(t *testing.T) {
	for _, c := range []struct {
		alpha  float64
		family int
		want   int
	}{{0.05, 0, 6}, {0.05, 1, 6}, {0.01, 1, 8}, {0.05, 2, 7}, {0.05, 4, 8}, {0.05, 10, 9}} {
		require.Equal(t, c.want, FewestBlocks(c.alpha, c.family), "%+v", c)
	}
	good := Level{Blocks: 8, Stations: 3, SumM: 10}
	require.Zero(t, good.Refusal(Alpha, 4))
	for code, l := range map[string]Level{
		TooFewBlocks:   {Blocks: 7, Stations: 3, SumM: 10},
		TooFewReports:  {Blocks: 8, Stations: 3, SumM: 9.9},
		TooFewStations: {Blocks: 8, Stations: 2, SumM: 10},
	} {
		r := l.Refusal(Alpha, 4)
		require.Equal(t, code, r.Code)
		require.NotEmpty(t, r.Text)
	}
}

// Numbers by hand from the formulas of the method; normal quantiles 1.959964, 0.841621, 1.281552.
func TestPlanning(t *testing.T) {
	require.Equal(t, 20, BlocksToTell(1, 1.5, 0.05, 0.8)) // 7.8489*2.25 + 1.9207 = 19.58
	require.Equal(t, 26, BlocksToTell(1, 1.5, 0.05, 0.9)) // 10.5074*2.25 + 1.9207 = 25.56
	require.Equal(t, 20, BlocksToTell(-1, 1.5, 0.05, 0.8))
	require.Equal(t, 8, BlocksToTell(5, 1.5, 0.05, 0.8))
	require.Equal(t, 26, BlocksForSame(1, 1.5, 0.8))   // (1.959964+1.281552)^2 = 10.5074; *2.25 + 2 = 25.64
	require.Equal(t, 26, BlocksForLobe(1, 1.5, false)) // 9.63*2.25 + 4 = 25.67
	require.Equal(t, 33, BlocksForLobe(1, 1.5, true))  // 12.65*2.25 + 4 = 32.46
	require.Equal(t, math.MaxInt32, BlocksToTell(0, 1.5, 0.05, 0.8))
	require.Equal(t, math.MaxInt32, BlocksForSame(1, math.NaN(), 0.8))
	// The lower 20 % point of chi-square with 7 degrees of freedom is 3.822 in the usual tables.
	require.InDelta(t, math.Sqrt(7/3.822), PilotFactor(8), 1e-4)
}

// The evidence against the plain product of section 4 of the method.
func TestEvidenceByHand(t *testing.T) {
	g := []float64{0.4, -1.2, 2.5, 0, 800, -900}
	got := evidence(g)
	for n := range g {
		want := 0.0
		for _, lambda := range []float64{0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4} {
			for _, l := range []float64{lambda, -lambda} {
				product := 1.0
				for _, x := range g[:n+1] {
					product *= 1 + math.Tanh(l*x)
				}
				want += product / 14
			}
		}
		require.InDelta(t, want, got[n], 1e-12)
	}
}

// An arm that nowhere is heard leaves a difference without a size: the weights are those of all stations that heard the
// other one, not of the one that falls silent last.
func TestOneArmNeverHeard(t *testing.T) {
	const n, blocks = 16, 10
	stations := make([]Station, n)
	var reports []Report
	for s := range stations {
		stations[s] = Station{AzimuthRad: 2 * math.Pi * float64(s) / n, HasAzimuth: true, Region: s}
		for b := range blocks {
			reports = append(reports, Report{b, s, true, int64(b), -14 + float64(s) + float64((3*b+s)%4)})
		}
	}
	for _, strong := range []float64{0, 40} { // the second: heard at any difference that is looked at
		louder := make([]Report, len(reports))
		for i, r := range reports {
			r.DitheredDB += strong
			louder[i] = r
		}
		trial := must(t, stations, louder, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1})
		l := trial.Level()
		require.True(t, l.Estimated)
		require.False(t, l.Sized)
		require.Positive(t, l.EstimateDB)
		require.Equal(t, n, l.Stations)
		require.Less(t, l.Beyond.LargestStation, 0.2)
		require.Len(t, l.Beyond.Shares, n)
		require.Equal(t, 1.0, l.Beyond.P, "it says nothing of other stations")
		require.Equal(t, 2.0/1024, l.P)
		require.True(t, math.IsInf(l.Interval.HighDB, 1))
		d := trial.Directivity(OneSided)
		require.Equal(t, n, d.Stations)
		require.Contains(t, d.Why.Text, "16 heard one arm above the cut")
		for _, sector := range d.Sectors {
			require.False(t, sector.Estimated)
			require.Equal(t, 2, sector.Stations)
		}
		require.False(t, trial.FrontToBack(0).Estimated)
		_, _, ok := trial.Estimate()
		require.False(t, ok)
	}
	require.True(t, evenTrial(t, n, blocks, 3).Level().Sized)
}

// Stations that nobody heard change nothing: they only stand behind the others.
func TestStationsThatNeverHeard(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		trial := drawnField(rt).trial(rapid.Uint64().Draw(rt, "seed"))
		more := *trial
		more.stations = append(slices.Clone(trial.stations), Station{Region: 999}, Station{Region: 0, HasAzimuth: true})
		require.Equal(rt, fmt.Sprint(trial.Level()), fmt.Sprint(more.Level())) // as text: NaN is not NaN
		require.Equal(rt, fmt.Sprint(trial.Directivity(OneSided)), fmt.Sprint(more.Directivity(OneSided)))
	})
}
