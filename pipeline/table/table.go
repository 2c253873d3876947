// Package table is the one place that knows how a table becomes bytes and back.
//
// A table is one Arrow record whose columns are of six types: bool, int32, int64, float64, utf8
// and timestamp[us, UTC]. A schema says for each column whether it may be null, and in metadata
// its unit ("unit") and meaning ("comment"); the metadata key "sort" of the schema holds the
// columns that the rows are sorted by, with commas between.
//
//   - [Encode] and [Decode]: Apache Parquet, format version 2.6, zstd
//   - [Digest]: a SHA-256 over the logical content, the same whatever library wrote the file
//   - [Validate] and [CheckSorted]: what every table must keep
//   - [WriteCSV]: RFC 4180 text for people
//   - [Reader] and [Builder]: row by row access for code that calculates
//
// The package doesn't sort, and doesn't know what a column means.
//
// Ownership is as in Arrow: a record that a function returns is the caller's to Release; a record
// that is passed in stays the caller's.
package table

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
)

// Metadata keys.
const (
	MetaSort    = "sort"    // of a schema: the sort columns, with commas between
	MetaUnit    = "unit"    // of a field
	MetaComment = "comment" // of a field
)

// Timestamp is the one type of times: microseconds, UTC. Seconds would come back from Parquet as
// milliseconds, and nanoseconds are cut by format versions below 2.6.
var Timestamp arrow.DataType = arrow.FixedWidthTypes.Timestamp_us

// CheckSchema tells whether the package can hold tables of the schema: known types, names neither
// empty nor used twice, sort columns that exist.
func CheckSchema(schema *arrow.Schema) error {
	seen := map[string]bool{}
	for _, f := range schema.Fields() {
		if f.Name == "" || !utf8.ValidString(f.Name) {
			return fmt.Errorf("column name %q is empty or not UTF-8", f.Name)
		}
		if seen[f.Name] {
			return fmt.Errorf("column %q stands twice in the schema", f.Name)
		}
		seen[f.Name] = true
		if !known(f.Type) {
			return fmt.Errorf("column %q has type %s, which tables here can't hold", f.Name, f.Type)
		}
	}
	for _, k := range SortKeys(schema) {
		if !seen[k] {
			return fmt.Errorf("sort column %q is not in the schema", k)
		}
	}
	return nil
}

func known(t arrow.DataType) bool {
	switch t.ID() {
	case arrow.BOOL, arrow.INT32, arrow.INT64, arrow.FLOAT64, arrow.STRING:
		return true
	}
	return arrow.TypeEqual(t, Timestamp)
}

// SortKeys gives the columns that the rows of a table are sorted by: the schema's metadata "sort".
// Without it the answer is nil.
func SortKeys(schema *arrow.Schema) []string {
	md := schema.Metadata()
	i := md.FindKey(MetaSort)
	if i < 0 || md.Values()[i] == "" {
		return nil
	}
	return strings.Split(md.Values()[i], ",")
}

// Validate tells whether the record is a table of the schema: the same columns in the same order
// with the same types and nullability, no null where none may be, only UTF-8 in texts.
// Metadata is not compared.
func Validate(rec arrow.Record, schema *arrow.Schema) error {
	if err := CheckSchema(schema); err != nil {
		return err
	}
	have, want := rec.Schema().Fields(), schema.Fields()
	if len(have) != len(want) {
		return fmt.Errorf("the table has %d columns, its schema %d", len(have), len(want))
	}
	for i, w := range want {
		if err := validateColumn(rec.Column(i), have[i], w); err != nil {
			return err
		}
	}
	return nil
}

func validateColumn(col arrow.Array, have, want arrow.Field) error {
	switch {
	case have.Name != want.Name:
		return fmt.Errorf("column %q stands where the schema has %q", have.Name, want.Name)
	case !arrow.TypeEqual(have.Type, want.Type):
		return fmt.Errorf("column %q has type %s, its schema %s", have.Name, have.Type, want.Type)
	case have.Nullable != want.Nullable:
		return fmt.Errorf("column %q: may be null is %t, in its schema %t", have.Name, have.Nullable, want.Nullable)
	}
	return checkValues(col, want)
}

func checkValues(col arrow.Array, want arrow.Field) error {
	if !want.Nullable && col.NullN() > 0 {
		return fmt.Errorf("column %q is null in row %d, but may not be", want.Name, firstNull(col))
	}
	texts, ok := col.(*array.String)
	if !ok {
		return nil
	}
	for i := range texts.Len() {
		if texts.IsValid(i) && !utf8.ValidString(texts.Value(i)) {
			return fmt.Errorf("column %q is not UTF-8 in row %d: %q", want.Name, i, texts.Value(i))
		}
	}
	return nil
}

func firstNull(col arrow.Array) int {
	for i := range col.Len() {
		if col.IsNull(i) {
			return i
		}
	}
	return -1
}

// WithSchema gives the same columns under the given schema, metadata included, after [Validate].
func WithSchema(rec arrow.Record, schema *arrow.Schema) (arrow.Record, error) {
	if err := Validate(rec, schema); err != nil {
		return nil, err
	}
	return array.NewRecord(schema, rec.Columns(), rec.NumRows()), nil
}

// errNoColumn is for programmers: stage code asked for a column that its table lacks.
var errNoColumn = errors.New("no such column")

func columnIndex(schema *arrow.Schema, name string) (int, error) {
	at := schema.FieldIndices(name)
	if len(at) != 1 {
		return 0, fmt.Errorf("%w: %q", errNoColumn, name)
	}
	return at[0], nil
}
