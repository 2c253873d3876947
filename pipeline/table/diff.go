package table

import (
	"fmt"

	"github.com/apache/arrow/go/v15/arrow"
)

// Diff names the first difference between two tables in words: a column of the schema, the number
// of rows, or the first other value, columns before rows. It is empty if [Digest] is the same for both.
func Diff(was, now arrow.Record) string {
	if was.NumCols() != now.NumCols() {
		return fmt.Sprintf("%d columns, now %d", was.NumCols(), now.NumCols())
	}
	for i, f := range was.Schema().Fields() {
		g := now.Schema().Field(i)
		if f.Name != g.Name || !arrow.TypeEqual(f.Type, g.Type) || f.Nullable != g.Nullable {
			return fmt.Sprintf("column %q (%s, may be null %t), now %q (%s, may be null %t)", f.Name, f.Type, f.Nullable, g.Name, g.Type, g.Nullable)
		}
	}
	if was.NumRows() != now.NumRows() {
		return fmt.Sprintf("%d rows, now %d", was.NumRows(), now.NumRows())
	}
	for i, f := range was.Schema().Fields() {
		if d := diffColumn(was.Column(i), now.Column(i)); d != "" {
			return fmt.Sprintf("column %q, %s", f.Name, d)
		}
	}
	return ""
}

func diffColumn(was, now arrow.Array) string {
	for row := range was.Len() {
		a, b := cellText(was, row), cellText(now, row)
		if was.IsNull(row) != now.IsNull(row) || a != b {
			return fmt.Sprintf("row %d: %s, now %s", row, nullOr(was, row, a), nullOr(now, row, b))
		}
	}
	return ""
}

func nullOr(col arrow.Array, row int, text string) string {
	if col.IsNull(row) {
		return "null"
	}
	return fmt.Sprintf("%q", text)
}
