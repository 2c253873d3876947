package quarantine

import (
	"context"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
)

func text(s string) *string { return &s }

// Rows that could not be used, each with file, line and reason, in one order whatever the order of the tables.
func TestRowsOfAllReaders(t *testing.T) {
	make1 := func(rows ...[]any) arrow.Record {
		b := table.NewBuilder(datasets.Quarantine())
		for _, r := range rows {
			b.Append(r...)
		}
		return b.Record()
	}
	run := func(needs []string, tables map[string]arrow.Record) arrow.Record {
		stage := Stage(needs)
		res, err := stage.Run(context.Background(), pipeline.NewInput(context.Background(), memory.DefaultAllocator, tables, nil))
		require.NoError(t, err)
		require.NoError(t, table.Validate(res.Tables[Table], stage.Makes[0].Schema))
		require.NoError(t, table.CheckSorted(res.Tables[Table], table.SortKeys(stage.Makes[0].Schema)))
		return res.Tables[Table]
	}
	spots := make1([]any{"b.csv", 2, text("db"), text("x"), "no number"}, []any{"b.csv", 10, nil, nil, "ragged"})
	sweeps := make1([]any{"a.csv", 7, text("swr"), nil, "empty"}, []any{"b.csv", 2, nil, nil, "ragged"}, []any{"b.csv", 2, text("db"), nil, "no number"})
	got := run([]string{"x", "y"}, map[string]arrow.Record{"x": spots, "y": sweeps})
	require.Equal(t, table.Digest(got), table.Digest(run([]string{"x", "y"}, map[string]arrow.Record{"y": spots, "x": sweeps})))
	var rows []any
	for r := table.NewReader(got); r.Next(); {
		rows = append(rows, r.Str("file"), r.Int("line"), r.StrOrNil("column"), r.StrOrNil("value"), r.Str("reason"))
	}
	none := (*string)(nil)
	require.Equal(t, []any{
		"a.csv", int64(7), text("swr"), none, "empty",
		"b.csv", int64(2), none, none, "ragged",
		"b.csv", int64(2), text("db"), none, "no number",
		"b.csv", int64(2), text("db"), text("x"), "no number",
		"b.csv", int64(10), none, none, "ragged",
	}, rows)
	require.Zero(t, run(nil, nil).NumRows())
}
