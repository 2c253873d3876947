package trials

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/rehearsal"
	"fairlobe/datasets/world"
	"fairlobe/experiments"
	"fairlobe/pipeline/table"
	"fairlobe/stages"
	"fairlobe/stages/judge"
)

// settings are those of the experiment in testdata with claims of one kind and this truth.
func settings(t testing.TB, kind string, statements ...string) Settings {
	t.Helper()
	s := settingsOf(t, "testdata/one-band.toml", statements...)
	s.Kinds = []string{kind}
	return s
}

func settingsOf(t testing.TB, file string, statements ...string) Settings {
	t.Helper()
	exp, list := experiments.Load(file)
	require.NoError(t, list.Err())
	truth, err := rehearsal.ParseTruth(exp, exp.Schedule.Bands, statements)
	require.NoError(t, err)
	return Settings{Experiment: exp, Truth: truth, Seed: 1, Trials: 20}
}

func simulated(t testing.TB, s Settings) (*scene, [][]sample) {
	t.Helper()
	sc, err := s.prepare()
	require.NoError(t, err)
	all, err := sc.simulate(context.Background())
	require.NoError(t, err)
	return sc, all
}

// The number of jobs changes nothing, and the seed does.
func TestJobsChangeNothing(t *testing.T) {
	for _, look := range []bool{false, true} {
		s := settings(t, "level", "high +1 dB")
		s.Trials, s.Blocks, s.LookEachBlock = 8, 8, look
		texts := map[string]bool{}
		for _, jobs := range []int{1, 3} {
			s.Jobs = jobs
			r, err := Run(context.Background(), s)
			require.NoError(t, err)
			text, err := json.Marshal(r)
			require.NoError(t, err)
			texts[string(text)] = true
		}
		require.Len(t, texts, 1)
		s.Seed = 2
		r, err := Run(context.Background(), s)
		require.NoError(t, err)
		text, err := json.Marshal(r)
		require.NoError(t, err)
		require.NotContains(t, texts, string(text))
	}
}

// Each trial has its own order of arms and its own world, and the same number the same ones.
func TestTrialsAreTrialsOfTheirOwn(t *testing.T) {
	sc, err := settings(t, "level").prepare()
	require.NoError(t, err)
	var orders, calls []string
	for _, number := range []int{0, 1, 2, 0} {
		c, err := sc.carry(context.Background(), number)
		require.NoError(t, err)
		order := ""
		for _, d := range c.planned {
			order += d.Arm + " "
		}
		orders, calls = append(orders, order), append(calls, c.came.Stations[0].Call+c.came.Stations[1].Call)
	}
	require.Equal(t, orders[0], orders[3])
	require.Equal(t, calls[0], calls[3])
	require.Len(t, slices.Compact(slices.Sorted(slices.Values(orders))), 3)
	require.Len(t, slices.Compact(slices.Sorted(slices.Values(calls))), 3)
}

// The world is that of a single rehearsal of the same experiment.
func TestWorldIsThatOfARehearsal(t *testing.T) {
	exp, list := experiments.Load("../../experiments/ridge-wire.toml")
	require.NoError(t, list.Err())
	truth, err := rehearsal.ParseTruth(exp, exp.Schedule.Bands, nil)
	require.NoError(t, err)
	sc, err := Settings{Experiment: exp, Truth: truth, Scenario: "regional", Stations: 7}.prepare()
	require.NoError(t, err)
	planned, err := stages.Schedule(exp)
	require.NoError(t, err)
	var want world.Params
	_, err = rehearsal.Invent(exp, planned, rehearsal.Options{Truth: truth, Scenario: "regional", Stations: 7, Adjust: func(p *world.Params) { want = *p }})
	require.NoError(t, err)
	got := sc.params
	require.NotNil(t, got.Land)
	got.Land, want.Land = nil, nil
	require.Zero(t, got.BackgroundShare, "nobody asks who was listening")
	want.BackgroundShare = 0
	require.Equal(t, want, got)
	require.InDelta(t, 43.6458, sc.trial.LatitudeDeg, 1e-4) // MN83kp: 40+3+15/24+1/48 N
	require.InDelta(t, 76.875, sc.trial.LongitudeDeg, 1e-9) // 60+16+10/12+1/24 E
}

func TestInterruptedTrials(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	s := settings(t, "level")
	s.Trials, s.Jobs = 1000, 2
	s.Progress = func(int) { stop() }
	_, err := Run(ctx, s)
	require.ErrorIs(t, err, context.Canceled)
}

func TestWhatCannotBeSimulated(t *testing.T) {
	s := settings(t, "reciprocity")
	_, err := Run(context.Background(), s)
	require.ErrorContains(t, err, "none of the claims can be simulated")
	s = settings(t, "level")
	s.Scenario = "bogus"
	_, err = Run(context.Background(), s)
	require.ErrorContains(t, err, `no scenario "bogus"`)
	s = settings(t, "level")
	exp := *s.Experiment
	exp.Schedule.File = "order.csv"
	s.Experiment = &exp
	_, err = Run(context.Background(), s)
	require.ErrorContains(t, err, "can't be drawn anew")
}

func TestShared(t *testing.T) {
	three := make([]experiments.Session, 3)
	for _, c := range []struct {
		blocks int
		want   []int
	}{{7, []int{3, 2, 2}}, {6, []int{2, 2, 2}}, {2, []int{1, 1}}} {
		var got []int
		for _, s := range shared(three, c.blocks) {
			got = append(got, s.Blocks)
		}
		require.Equal(t, c.want, got)
	}
	require.Zero(t, three[0].Blocks, "the experiment itself stays as it is")
}

// Looks come after each block, and the path ends at the first "different".
func TestLooks(t *testing.T) {
	s := settings(t, "level", "high +6 dB")
	s.Trials, s.LookEachBlock = 3, true
	sc, all := simulated(t, s)
	c, err := sc.carry(context.Background(), 0)
	require.NoError(t, err)
	require.Len(t, c.looks(), 16)
	require.Equal(t, c.end(), c.looks()[15])
	for _, trial := range all {
		require.True(t, trial[0].over, "6 dB show at once")
		require.Equal(t, judge.Different, trial[0].entry.Verdict)
		require.Less(t, trial[0].entry.Blocks, 16)
		require.Equal(t, trial[0].entry.Blocks, trial[0].looks)
	}
}

func TestGoOnKeepsTheWorst(t *testing.T) {
	missed := sample{p: 0.2}
	missed.figures[difference] = held{asked: true}
	holds := sample{p: 0.6}
	holds.figures[difference] = held{asked: true, holds: true}
	none := sample{p: math.NaN()}
	var path sample
	for _, next := range []sample{none, missed, holds} {
		path.goOn(next)
	}
	require.Equal(t, 3, path.looks)
	require.Equal(t, 0.2, path.p, "the least p of the path")
	require.True(t, path.figures[difference].asked)
	require.False(t, path.figures[difference].holds, "it must hold at every look")
	path.goOn(sample{p: 0.01, different: true})
	require.True(t, path.over)
	path.goOn(sample{p: 0.9})
	require.Equal(t, 0.01, path.p, "the trial is over")
}

func TestDwellAt(t *testing.T) {
	sc, err := settings(t, "level").prepare()
	require.NoError(t, err)
	c, err := sc.carry(context.Background(), 0)
	require.NoError(t, err)
	for _, d := range c.planned {
		for _, at := range []struct {
			when time.Time
			in   bool
		}{{d.Start, false}, {d.SettleEnd, true}, {d.End.Add(-time.Second), true}, {d.End, false}} {
			got, ok := c.dwellAt("20m", at.when)
			require.Equal(t, at.in, ok)
			require.Equal(t, d, got)
		}
		_, ok := c.dwellAt("10m", d.SettleEnd)
		require.False(t, ok)
	}
	_, ok := c.dwellAt("20m", c.planned[0].Start.Add(-time.Hour))
	require.False(t, ok)
}

// A station that was listening and never heard the own station has the place that it tells, or a claim within a distance would
// not know it.
func TestListenersHaveTheirPlaces(t *testing.T) {
	s := settings(t, "heard_by")
	s.Scenario = "weak"
	sc, err := s.prepare()
	require.NoError(t, err)
	c, err := sc.carry(context.Background(), 0)
	require.NoError(t, err)
	made, err := sc.brought(context.Background(), c, time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	heard, located := map[string]bool{}, map[string]bool{}
	for r := table.NewReader(made.tables[tableSpots]); r.Next(); {
		heard[r.Str("receiver")] = true
	}
	for r := table.NewReader(made.tables["stations"]); r.Next(); {
		located[r.Str("call")] = !r.Null("latitude")
	}
	deaf := 0
	for r := table.NewReader(made.tables[tableBackground]); r.Next(); {
		call := r.Str("receiver")
		at := slices.IndexFunc(c.came.Stations, func(w world.Station) bool { return w.Call == call })
		require.Equal(t, c.came.Stations[at].Locator != "", located[call], call)
		if !heard[call] {
			deaf++
		}
	}
	require.Positive(t, deaf, "somebody must listen and hear nothing of us")
}
