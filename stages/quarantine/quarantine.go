// Package quarantine gathers the rows that readers refused into one table.
package quarantine

import (
	"cmp"
	"context"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
)

// Table is the name of the stage's output.
const Table = "quarantine"

type entry struct {
	file          string
	line          int64
	column, value *string
	reason        string
}

// Stage makes the stage; needs are the names of the tables of refused rows.
func Stage(needs []string) pipeline.Stage {
	return pipeline.Stage{
		Name: "quarantine", Version: 1, Needs: needs,
		Makes: []pipeline.Output{{Name: Table, Schema: datasets.Quarantine()}},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			var all []entry
			for _, name := range needs {
				for r := table.NewReader(in.Table(name)); r.Next(); {
					all = append(all, entry{r.Str("file"), r.Int("line"), r.StrOrNil("column"), r.StrOrNil("value"), r.Str("reason")})
				}
			}
			slices.SortFunc(all, entry.compare)
			b := table.NewBuilder(datasets.Quarantine())
			for _, e := range all {
				b.Append(e.file, e.line, e.column, e.value, e.reason)
			}
			return &pipeline.Result{Tables: map[string]arrow.Record{Table: b.Record()}}, nil
		},
	}
}

func (e entry) compare(o entry) int {
	return cmp.Or(cmp.Compare(e.file, o.file), cmp.Compare(e.line, o.line), compareNullFirst(e.column, o.column),
		cmp.Compare(e.reason, o.reason), compareNullFirst(e.value, o.value))
}

func compareNullFirst(a, b *string) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return -1
	case b == nil:
		return 1
	}
	return cmp.Compare(*a, *b)
}
