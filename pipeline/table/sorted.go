package table

import (
	"cmp"
	"fmt"
	"strings"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
)

// CheckSorted tells whether the rows rise by the keys, the first key first; equal rows are in order.
// Null comes before every value, false before true, NaN before every number, texts by their bytes.
// The error names the first row (counted from 0) that is smaller than the row before it, with the
// values of both.
func CheckSorted(rec arrow.Record, keys []string) error {
	compare := make([]func(i, j int) int, len(keys))
	cols := make([]arrow.Array, len(keys))
	for k, name := range keys {
		i, err := columnIndex(rec.Schema(), name)
		if err != nil {
			return fmt.Errorf("checking the order of rows: %w", err)
		}
		cols[k] = rec.Column(i)
		compare[k] = comparer(cols[k])
	}
	for row := 1; row < int(rec.NumRows()); row++ {
		if compareRows(compare, row-1, row) > 0 {
			return fmt.Errorf("rows are not sorted by %s: row %d (%s) stands after row %d (%s)",
				strings.Join(keys, ", "), row, keyText(cols, row), row-1, keyText(cols, row-1))
		}
	}
	return nil
}

func compareRows(compare []func(i, j int) int, i, j int) int {
	for _, c := range compare {
		if order := c(i, j); order != 0 {
			return order
		}
	}
	return 0
}

func keyText(cols []arrow.Array, row int) string {
	texts := make([]string, len(cols))
	for k, c := range cols {
		texts[k] = cellText(c, row)
		if c.IsNull(row) {
			texts[k] = "null"
		}
	}
	return strings.Join(texts, ", ")
}

func comparer(col arrow.Array) func(i, j int) int {
	value := valueComparer(col)
	return func(i, j int) int {
		switch a, b := col.IsNull(i), col.IsNull(j); {
		case a && b:
			return 0
		case a:
			return -1
		case b:
			return 1
		}
		return value(i, j)
	}
}

func valueComparer(col arrow.Array) func(i, j int) int {
	switch c := col.(type) {
	case *array.Boolean:
		return func(i, j int) int { return boolOrder(c.Value(i)) - boolOrder(c.Value(j)) }
	case *array.Int32:
		return func(i, j int) int { return cmp.Compare(c.Value(i), c.Value(j)) }
	case *array.Int64:
		return func(i, j int) int { return cmp.Compare(c.Value(i), c.Value(j)) }
	case *array.Float64:
		return func(i, j int) int { return cmp.Compare(c.Value(i), c.Value(j)) }
	case *array.String:
		return func(i, j int) int { return cmp.Compare(c.Value(i), c.Value(j)) }
	case *array.Timestamp:
		return func(i, j int) int { return cmp.Compare(c.Value(i), c.Value(j)) }
	}
	panic("table: order of a column of type " + col.DataType().String())
}

func boolOrder(v bool) int {
	if v {
		return 1
	}
	return 0
}
