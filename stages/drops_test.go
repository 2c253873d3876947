package stages

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/judge"
)

// Five blocks of the demo are dropped a week after the first look. What would have been found without these drops is, to
// the last digit, what the demo shows.
func TestLateDropsThroughAllStages(t *testing.T) {
	plain := detailsOf(t, runDemo(t))
	exp, list := experiments.Load("../experiments/ridge-wire.toml")
	require.Empty(t, list)
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, os.DirFS(exp.DataDir)))
	exp.DataDir = dir
	log, err := os.OpenFile(filepath.Join(dir, exp.Switches), os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(t, err)
	for _, block := range []string{"2", "3", "5", "6", "8"} {
		_, err := log.WriteString("2026-09-12T05:00:00Z,2026-09-21T08:00:00Z,drop,1,," + block + ",,,rain\n")
		require.NoError(t, err)
	}
	require.NoError(t, log.Close())
	planned, err := Schedule(exp)
	require.NoError(t, err)
	data, err := Find(exp)
	require.NoError(t, err)
	firstLook := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	graph, err := pipeline.NewGraph(data.Trial(planned, Standing{State: judge.SealSame, SealedAt: planned[0].Start.Add(-time.Hour)}, firstLook)...)
	require.NoError(t, err)
	done, err := pipeline.Run(context.Background(), graph, pipeline.Options{})
	require.NoError(t, err)
	decided := 0
	for i, e := range detailsOf(t, done) {
		if e.Kind == "match" {
			continue
		}
		other, want := e.WithoutLateDrops, plain[i]
		require.NotNil(t, other)
		require.Equal(t, []any{want.Verdict, want.Reason, want.Blocks, want.EstimateDB, want.IntervalDB, want.P, want.PAdjusted},
			[]any{other.Verdict, other.Reason, other.Blocks, other.EstimateDB, other.IntervalDB, other.P, other.PAdjusted}, "%s on %s", e.Claim, e.Band)
		require.Equal(t, want.Blocks-5, e.Blocks)
		require.Equal(t, want.BlocksDropped+5, e.BlocksDropped)
		if e.ReasonCode == "late_drop_decides" {
			decided++
		}
	}
	require.Positive(t, decided)
}

func detailsOf(t *testing.T, done *pipeline.Outcome) []judge.Entry {
	t.Helper()
	rec, err := done.Table("verdicts")
	require.NoError(t, err)
	defer rec.Release()
	var out []judge.Entry
	for r := table.NewReader(rec); r.Next(); {
		var e judge.Entry
		require.NoError(t, json.Unmarshal([]byte(r.Str("detail")), &e))
		out = append(out, e)
	}
	return out
}
