package planning

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/datasets/rehearsal"
	"fairlobe/experiments"
	"fairlobe/pipeline/table"
	"fairlobe/stages"
	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/trials"
)

// What a plan promises is held against trials of another seed through the real stages, whose verdicts are counted. The
// tests run few trials and log a table; enough of them to quote:
//
//	go test ./stages/planning -run Promise -v -promises 400 -timeout 2h
var promises = flag.Int("promises", fewPromises, "how many trials a promise is held against")

// fewPromises are the trials of a usual test, which leaves out the designs whose plans take long to make.
const fewPromises = 12

// mostBelowPromise is how far the true power may lie below a promise.
const mostBelowPromise = 0.04

// design is one plan: noise from a long former run in the same world, a claim, and what is true.
type design struct {
	name, scenario string
	stations       int
	smallestDB     float64
	claims         []experiments.Claim // the first one is asked about; the others are for the family
	truth          []string
	verdict        string
	slow           bool
}

func levelClaim(bands ...string) experiments.Claim {
	return experiments.Claim{Name: "level", Kind: "level", Arms: []string{"high", "low"}, Compares: true, Direction: "sent", Bands: bands}
}

func lobeClaim(shape string, bands ...string) experiments.Claim {
	c := levelClaim(bands...)
	c.Name, c.Kind, c.Shape = "lobe", "directivity", shape
	return c
}

func designs() []design {
	family := []experiments.Claim{levelClaim("20m"), lobeClaim("one-sided", "20m")}
	alone := []experiments.Claim{levelClaim("20m")}
	return []design{
		{"usual, 2 questions", "usual", 50, 1, family, []string{"high +1 dB"}, "different", false},
		{"usual, alone", "usual", 50, 0.75, alone, []string{"high +0.75 dB"}, "different", true},
		{"half heard, 2 questions", "half-heard", 50, 1.5, family, []string{"high +1.5 dB"}, "different", false},
		{"turning opening, alone", "turning", 50, 1.5, alone, []string{"high +1.5 dB"}, "different", true},
		{"quiet, short, 2 questions", "quiet", 50, 0.5, family, []string{"high +0.5 dB"}, "different", false},
		{"usual, 20 stations, alone", "usual", 20, 1.5, alone, []string{"high +1.5 dB"}, "different", true},
		{"usual, the same", "usual", 50, 1, alone, nil, "practically the same", false},
		{"usual, lobe", "usual", 50, 2, []experiments.Claim{lobeClaim("one-sided", "20m")}, []string{"high lobe 2 dB toward 0"}, "different", false},
	}
}

// experiment is the demonstration with the claims of the design on one band.
func (d design) experiment(t *testing.T) *experiments.Experiment {
	t.Helper()
	exp, list := experiments.Load("../../experiments/ridge-wire.toml")
	require.NoError(t, list.Err())
	exp.SmallestDB, exp.Claims = d.smallestDB, d.claims
	exp.Schedule.Bands = []string{"20m"}
	return exp
}

// pilotBlocks make a former run so long that it knows its noise.
const pilotBlocks = 100

func (d design) settings(t *testing.T, exp *experiments.Experiment, statements []string, seed uint64, blocks int) trials.Settings {
	t.Helper()
	truth, err := rehearsal.ParseTruth(exp, exp.Schedule.Bands, statements)
	require.NoError(t, err)
	return trials.Settings{Experiment: exp, Truth: truth, Scenario: d.scenario, Stations: d.stations, Seed: seed, Trials: *promises, Blocks: blocks}
}

// plan is what design would say after a former run in the same world.
func (d design) plan(t *testing.T) (*Plan, *Question) {
	t.Helper()
	exp := d.experiment(t)
	tables, err := trials.Tables(context.Background(), d.settings(t, exp, nil, 7, pilotBlocks), 0)
	require.NoError(t, err)
	planned, err := stages.Schedule(exp)
	require.NoError(t, err)
	p := New(Input{Experiment: exp, Planned: planned, Pilot: NewPilot("a long run", tables, exp), Stations: d.stations})
	q := &p.Questions[0]
	require.True(t, q.Sigma.Measured)
	if q.Claim.Kind == "directivity" || q.Stations < manyStations {
		how := Simulation{Trials: *promises, Seed: 17, Scenario: d.scenario, Search: true}
		q.Simulated = &Simulated{}
		q.Simulated.At80, err = p.search(context.Background(), q, how, q.Different.At80, usualPower)
		require.NoError(t, err)
		q.Simulated.At90, err = p.search(context.Background(), q, how, max(q.Different.At90, q.Simulated.At80), highPower)
		require.NoError(t, err)
	}
	return p, q
}

// promised gives the blocks that the plan asks for, and what that rests on.
func (d design) promised(q *Question) (at80, at90 int, by string) {
	need := q.Different
	if d.verdict == "practically the same" {
		need = q.Same
	}
	switch {
	case q.Simulated != nil:
		return q.Simulated.At80, q.Simulated.At90, "simulated"
	case d.verdict == "different" && q.Recipe != nil:
		at80, at90, by = q.Recipe.At80, need.At90, "redrawn"
		if need.At90 < manyBlocks {
			at90 = q.Recipe.At90
		}
		return at80, at90, by
	}
	return need.At80, need.At90, "formula"
}

// found counts the verdicts of trials of a seed that no plan has seen.
func (d design) found(t *testing.T, p *Plan, blocks int) int {
	t.Helper()
	s := d.settings(t, p.in.Experiment, d.truth, 29, blocks)
	report, err := trials.Run(context.Background(), s)
	require.NoError(t, err)
	return verdicts(report.Results[0], d.verdict)
}

func TestPromisesHoldInTrials(t *testing.T) {
	if testing.Short() {
		t.Skip("each design is carried out many times")
	}
	t.Logf("| design | rests on | sigma dB | promised | blocks | found | share |")
	for _, d := range designs() {
		if d.slow && *promises <= fewPromises {
			continue
		}
		p, q := d.plan(t)
		at80, at90, by := d.promised(q)
		for _, one := range []struct {
			power  float64
			blocks int
		}{{usualPower, at80}, {highPower, at90}} {
			require.Positive(t, one.blocks, d.name)
			n := d.found(t, p, one.blocks)
			row := fmt.Sprintf("| %s | %s | %.2f | %.0f %% | %d | %d of %d | %.1f %% |", d.name, by, q.Sigma.Value, 100*one.power, one.blocks, n, *promises, 100*float64(n)/float64(*promises))
			t.Log(row)
			least := leastCount(*promises, one.power-mostBelowPromise)
			assert.GreaterOrEqual(t, n, least, row)
		}
	}
}

// leastCount is the least count of n that is within the upper 99.9 % of the binomial distribution of a share.
func leastCount(n int, share float64) int {
	b := distuv.Binomial{N: float64(n), P: share}
	k := 0
	for b.CDF(float64(k)) <= 0.001 {
		k++
	}
	return k
}

// A bound that nothing can miss proves nothing.
func TestLeastCountCanBeMissed(t *testing.T) {
	require.Equal(t, 6, leastCount(16, 0.76)) // scipy.stats.binom.ppf(0.001, 16, 0.76), SciPy 1.10.1
	require.Equal(t, 277, leastCount(400, 0.76))
}

// The noise that is read from a former run's tables is that of its judge: both ask for the same number of blocks.
func TestPilotHasTheNoiseOfTheJudge(t *testing.T) {
	d := designs()[0]
	d.smallestDB, d.truth = 0.5, []string{"high +0.4 dB"}
	exp := d.experiment(t)
	compared := 0
	for number := range 4 {
		tables, err := trials.Tables(context.Background(), d.settings(t, exp, d.truth, 3, 12), number)
		require.NoError(t, err)
		r := table.NewReader(tables["verdicts"])
		require.True(t, r.Next())
		var e struct {
			Kind   string `json:"kind"`
			Needed *int   `json:"blocks_needed"`
		}
		require.NoError(t, json.Unmarshal([]byte(r.Str("detail")), &e))
		require.Equal(t, "level", e.Kind)
		if e.Needed == nil {
			continue
		}
		figures, ok := NewPilot("short", tables, exp).figures(exp.Claims[0], "20m")
		require.True(t, ok)
		require.Equal(t, *e.Needed, contrast.BlocksToTell(0.5, figures.sigma().Value, contrast.Alpha/2, usualPower))
		compared++
	}
	require.Positive(t, compared)
}
