package table

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
)

// WriteCSV writes the table as RFC 4180 text in UTF-8: a header line, commas, line feeds. Times are
// RFC 3339 with Z; numbers the shortest text that reads back as the same number; booleans true and
// false. Null is an empty cell, an empty text is "" in quotes.
func WriteCSV(w io.Writer, rec arrow.Record) error {
	out := bufio.NewWriter(w)
	cells := make([]string, rec.NumCols())
	for i, f := range rec.Schema().Fields() {
		cells[i] = quoteCSV(f.Name)
	}
	writeLine(out, cells)
	for row := range int(rec.NumRows()) {
		for i, col := range rec.Columns() {
			cells[i] = csvCell(col, row)
		}
		writeLine(out, cells)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing a table as CSV: %w", err)
	}
	return nil
}

// writeLine leaves errors to the Flush at the end: bufio keeps the first one.
func writeLine(out *bufio.Writer, cells []string) {
	out.WriteString(strings.Join(cells, ","))
	out.WriteByte('\n')
}

func csvCell(col arrow.Array, row int) string {
	if col.IsNull(row) {
		return ""
	}
	text := cellText(col, row)
	if _, ok := col.(*array.String); ok {
		return quoteCSV(text)
	}
	return text
}

func quoteCSV(s string) string {
	if s != "" && !strings.ContainsAny(s, ",\"\r\n") && s == strings.TrimSpace(s) {
		return s
	}
	return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
}

// cellText gives the value as text; null is the empty text.
func cellText(col arrow.Array, row int) string {
	if col.IsNull(row) {
		return ""
	}
	switch c := col.(type) {
	case *array.Boolean:
		return strconv.FormatBool(c.Value(row))
	case *array.Int32:
		return strconv.FormatInt(int64(c.Value(row)), 10)
	case *array.Int64:
		return strconv.FormatInt(c.Value(row), 10)
	case *array.Float64:
		return floatText(c.Value(row))
	case *array.String:
		return c.Value(row)
	case *array.Timestamp:
		return time.UnixMicro(int64(c.Value(row))).UTC().Format(time.RFC3339Nano)
	}
	panic("table: text of a column of type " + col.DataType().String())
}

// floatText has no exponent within the limits that ECMAScript uses for numbers (ECMA-262,
// Number::toString): people read 0.00001 and 1000000 more easily than 1e-05 and 1e+06.
func floatText(v float64) string {
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		return strconv.FormatFloat(v, 'e', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
