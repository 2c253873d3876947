package trials

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// family is a kind of difficulty in which nothing may be found, or only what is there.
type family struct {
	name     string
	scenario string
	truth    []string
	blocks   int
}

// families are those in which the judge must not be misled. They have few stations and blocks, for speed; the strength
// of an exact test does not rest on either. Where there is a difference strong reports must not lag, and where half of
// it lies below the threshold every decode must be passed on: both pull a difference towards 0, and are faults of the
// reports and not of the judge.
func families() []family {
	constant := []string{"high +3 dB"}
	return []family{
		{"usual, one report in 5 min", "usual", nil, 8},
		{"clustered receivers", "clustered", nil, 8},
		{"turning opening", "turning", nil, 8},
		{"slow fading", "slow-fading", nil, 8},
		{"heavy censoring", "weak", nil, 8},
		{"6 blocks", "usual", nil, 6},
		{"12 blocks", "usual", nil, 12},
		{"receivers and regions differ", "regional", nil, 8},
		{"constant difference", "no-lag", constant, 8},
		{"constant difference, half of it below the threshold", "half-heard", constant, 8},
		{"unequal activity", "unequal", nil, 8},
		{"noise steps", "noise-steps", nil, 8},
		{"everything", "everything", nil, 8},
	}
}

// stationsInTests are fewer than in the scenarios, which have 60.
const stationsInTests = 24

func (f family) settings(t *testing.T, kind string, n int) Settings {
	t.Helper()
	s := settings(t, kind, f.truth...)
	s.Scenario, s.Blocks, s.Trials, s.Stations = f.scenario, f.blocks, n, stationsInTests
	return s
}

func named(t *testing.T, name string) family {
	t.Helper()
	for _, f := range families() {
		if f.name == name {
			return f
		}
	}
	require.Fail(t, "no family", name)
	return family{}
}

// mostBiasDB is the most that the mean of the estimates may be off, which few trials can't tell.
const mostBiasDB, fewestForBias = 0.1, 100

// leastCoverage and leastLobeCoverage are the least shares that intervals of 95 % may hold the truth with; those of lobes
// are projections of a region found on a grid.
const leastCoverage, leastLobeCoverage = 0.935, 0.90

// size gives the number of trials: fewer where tests must be short, with bounds that are the wider.
func size(many, few int) int {
	if testing.Short() {
		return few
	}
	return many
}

// A level is declared different where it is not no more often than a trial in twenty, and its intervals hold the truth.
func TestLevelInEveryFamily(t *testing.T) {
	for _, f := range families() {
		t.Run(f.name, func(t *testing.T) {
			requireRight(t, reported(t, f.settings(t, "level", size(400, 15))))
		})
	}
}

// The share of listeners that heard is held the same way, where it is in most danger: few are heard, or they come and go.
func TestHeardByInSomeFamilies(t *testing.T) {
	for _, name := range []string{"heavy censoring", "unequal activity", "receivers and regions differ"} {
		t.Run(name, func(t *testing.T) {
			requireRight(t, reported(t, named(t, name).settings(t, "heard_by", size(120, 5))))
		})
	}
}

// Six questions asked at once give a false answer to any of them in no more than a trial in twenty.
func TestSixQuestionsWithNothingToFind(t *testing.T) {
	s := settingsOf(t, "testdata/six-claims.toml")
	s.Trials, s.Blocks, s.Stations, s.Scenario = size(60, 3), 10, 20, "slow-fading"
	r := reported(t, s)
	require.Len(t, r.Results, 6)
	require.NotNil(t, r.AnyFalse)
	requireRight(t, r)
}

// Directivity costs much more, so its families are few and its trials too. The shape any needs 12 blocks.
func TestDirectivityInSomeFamilies(t *testing.T) {
	for name, n := range map[string]int{
		"clustered receivers": size(30, 2), "constant difference": size(30, 0), "receivers and regions differ": size(30, 0), "12 blocks": size(5, 0),
	} {
		t.Run(name, func(t *testing.T) {
			if n == 0 {
				t.Skip("only the first of the families is short enough")
			}
			requireRight(t, reported(t, named(t, name).settings(t, "directivity", n)))
		})
	}
}

// A lobe is found where there is one, its size, direction and front-to-back difference lie in their intervals.
func TestLobeIsFoundWhereItIs(t *testing.T) {
	s := family{"", "no-lag", []string{"high lobe 4 dB toward 300"}, 8}.settings(t, "directivity", size(20, 2))
	s.Stations = 60
	r := reported(t, s)
	requireRight(t, r)
	one := r.Results[0]
	require.Nil(t, one.FalseAlarms)
	low, _ := likely(one.Power.Different.Of, 0.9)
	require.GreaterOrEqual(t, one.Power.Different.Count, low)
	require.Equal(t, "two lobes", r.Results[1].Claim)
	require.NotNil(t, r.Results[1].Power, "the claim of another shape has something to find, too")
}

// Who looks after every block and stops when it looks good is still wrong no more often than a trial in twenty.
func TestLookingAfterEveryBlock(t *testing.T) {
	s := named(t, "slow fading").settings(t, "level", size(60, 6))
	s.Blocks, s.LookEachBlock = 12, true
	requireRight(t, reported(t, s))
}

func reported(t *testing.T, s Settings) *Report {
	t.Helper()
	sc, all := simulated(t, s)
	return sc.count(all)
}

func requireRight(t *testing.T, r *Report) {
	t.Helper()
	faults := wrong(r)
	for _, line := range r.Words() {
		t.Log(line)
	}
	require.Empty(t, faults)
}

// wrong names what a report has too much of or too little.
func wrong(r *Report) []string {
	var out []string
	for _, result := range r.Results {
		name := result.Claim + ", " + result.Shape + " " + result.Band + ": "
		if a := result.FalseAlarms; a != nil {
			for _, p := range a.P {
				if p.Count > p.Most {
					out = append(out, name+"false alarms by p "+p.percent())
				}
			}
			if _, most := likely(a.Different.Of, 0.05); a.Different.Count > most {
				out = append(out, name+"false verdicts "+a.Different.percent())
			}
		}
		for _, c := range result.Coverage {
			least := leastCoverage
			switch c.Name {
			case meanHeard.String():
				continue // no one difference is true
			case amplitude.String(), direction.String(), frontToBack.String():
				least = leastLobeCoverage
			}
			if low, _ := likely(c.Of, least); c.Count < low {
				out = append(out, name+c.Name+" holds the truth in "+c.percent())
			}
		}
		z := distuv.UnitNormal.Quantile((1 + withinShare) / 2)
		for _, b := range result.Bias {
			if b.Name == difference.String() && b.Of >= fewestForBias && math.Abs(b.Mean) > mostBiasDB+z*b.Error {
				out = append(out, fmt.Sprintf("%s bias %.3f +- %.3f dB", name, b.Mean, b.Error))
			}
		}
	}
	if r.AnyFalse != nil && r.AnyFalse.Count > r.AnyFalse.Most {
		out = append(out, "any false verdict "+r.AnyFalse.percent())
	}
	return out
}

// The counting finds a judge whose p are three times too small, one that passes what its p does not, and intervals that
// are too narrow.
func TestCountingFindsABrokenJudge(t *testing.T) {
	s := named(t, "usual, one report in 5 min").settings(t, "level", 120)
	sc, all := simulated(t, s)
	require.Empty(t, wrong(sc.count(all)), "a sound judge passes")
	broken := func(spoil func(*sample)) []string {
		spoiled := make([][]sample, len(all))
		for n := range all {
			spoiled[n] = append([]sample(nil), all[n]...)
			for i := range spoiled[n] {
				spoil(&spoiled[n][i])
			}
		}
		return wrong(sc.count(spoiled))
	}
	require.NotEmpty(t, broken(func(s *sample) { s.p /= 4 }))
	require.NotEmpty(t, broken(func(s *sample) { s.different = s.p <= 0.2 }))
	require.NotEmpty(t, broken(func(s *sample) {
		h := s.figures[difference]
		s.figures[difference].holds = math.Abs(h.off) < h.width/4
	}))
	require.NotEmpty(t, broken(func(s *sample) { s.figures[difference].off += 0.4 }))
}

func TestAlarmsCountAMissingPAsNone(t *testing.T) {
	a := alarms([]sample{{p: math.NaN()}, {p: 0.05}, {p: 0.02, different: true}, {p: 0.01}}, levels())
	require.Equal(t, 3, a.P[0].Count)
	require.Equal(t, 1, a.P[1].Count)
	require.Equal(t, Share{Count: 1, Of: 4, Share: 0.25, Error: math.Sqrt(0.25 * 0.75 / 4)}, a.Different)
}

func TestCoveredAndBias(t *testing.T) {
	all := make([]sample, 4)
	for i, h := range []held{{true, true, 2, 0.5}, {true, false, 4, -0.5}, {true, true, math.Inf(1), math.NaN()}, {width: math.NaN(), off: math.NaN()}} {
		all[i].figures[difference] = h
	}
	c := covered(all, difference)
	require.Equal(t, 2, c.Count)
	require.Equal(t, 3, c.Of)
	require.Equal(t, 3.0, c.Width, "of those that have both ends")
	b := biasOf(all, difference)
	require.Zero(t, b.Mean)
	require.Equal(t, 2, b.Of)
	require.InDelta(t, math.Sqrt(0.5), b.SD, 1e-12)
	require.InDelta(t, 0.5, b.Error, 1e-12)
}

func TestAnyFalseCountsTrials(t *testing.T) {
	none := truth{stated: true, none: true}
	there := truth{stated: true}
	all := [][]sample{
		{{truth: none, different: true}, {truth: none, different: true}},
		{{truth: none}, {truth: there, different: true}},
	}
	a := anyFalse(all)
	require.Equal(t, 1, a.Count)
	require.Equal(t, 2, a.Of)
	require.Nil(t, anyFalse([][]sample{{{truth: there}}}))
}

func TestLikely(t *testing.T) {
	for _, c := range []struct {
		n         int
		p         float64
		low, high int
	}{ // sums of binomial probabilities by hand: 0.5^20 = 1e-6; at p = 0.95, n = 1 both outcomes are likely
		{1, 0.95, 0, 1},
		{20, 1, 20, 20},
		{20, 0, 0, 0},
		{10, 0.5, 0, 10}, // 0.5^10 = 0.00098 > 0.0005
		{11, 0.5, 1, 10}, // 0.5^11 = 0.00049 < 0.0005
	} {
		low, high := likely(c.n, c.p)
		require.Equal(t, [2]int{c.low, c.high}, [2]int{low, high}, "%d, %g", c.n, c.p)
	}
	// For many trials the bounds are the normal ones, near enough.
	low, high := likely(10_000, 0.05)
	z := distuv.UnitNormal.Quantile(1 - 0.0005)
	sd := math.Sqrt(10_000 * 0.05 * 0.95)
	require.InDelta(t, 500-z*sd, float64(low), 4)
	require.InDelta(t, 500+z*sd, float64(high), 4)
}
