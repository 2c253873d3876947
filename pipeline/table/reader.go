package table

import (
	"fmt"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
)

// Reader walks over the rows of a table.
//
//	for r := table.NewReader(rec); r.Next(); {
//		total += r.Float("weight_kg")
//	}
//
// A column that isn't there, a column of another type, and a null where a plain value was asked for
// are mistakes in the program: the methods panic and name the column and the row. For columns that
// may be null ask with the methods that end in OrNil, or with Null first. The record must live as
// long as the reader. A Reader is for one goroutine.
type Reader struct {
	rec  arrow.Record
	cols map[string]arrow.Array
	row  int
}

// NewReader stands before the first row.
func NewReader(rec arrow.Record) *Reader {
	cols := make(map[string]arrow.Array, rec.NumCols())
	for i, f := range rec.Schema().Fields() {
		cols[f.Name] = rec.Column(i)
	}
	return &Reader{rec: rec, cols: cols, row: -1}
}

// Next goes to the next row and tells whether there is one.
func (r *Reader) Next() bool {
	r.row++
	return r.row < int(r.rec.NumRows())
}

// Row gives the row number, from 0.
func (r *Reader) Row() int { return r.row }

// Seek goes to the row with the given number, from 0.
func (r *Reader) Seek(row int) { r.row = row }

// Len gives the number of rows.
func (r *Reader) Len() int { return int(r.rec.NumRows()) }

// Null tells whether the value is null.
func (r *Reader) Null(col string) bool { return r.column(col).IsNull(r.row) }

// Str gives the text of a utf8 column.
func (r *Reader) Str(col string) string { return cell[*array.String](r, col).Value(r.row) }

// Bool gives the value of a bool column.
func (r *Reader) Bool(col string) bool { return cell[*array.Boolean](r, col).Value(r.row) }

// Float gives the value of a float64 column.
func (r *Reader) Float(col string) float64 { return cell[*array.Float64](r, col).Value(r.row) }

// Int gives the value of an int64 or int32 column.
func (r *Reader) Int(col string) int64 {
	if _, narrow := r.column(col).(*array.Int32); narrow {
		return int64(cell[*array.Int32](r, col).Value(r.row))
	}
	return cell[*array.Int64](r, col).Value(r.row)
}

// Time gives the value of a timestamp column, in UTC.
func (r *Reader) Time(col string) time.Time {
	return time.UnixMicro(int64(cell[*array.Timestamp](r, col).Value(r.row))).UTC()
}

// StrOrNil gives the text, or nil for null.
func (r *Reader) StrOrNil(col string) *string { return orNil(r, col, r.Str) }

// BoolOrNil gives the value, or nil for null.
func (r *Reader) BoolOrNil(col string) *bool { return orNil(r, col, r.Bool) }

// FloatOrNil gives the value, or nil for null.
func (r *Reader) FloatOrNil(col string) *float64 { return orNil(r, col, r.Float) }

// IntOrNil gives the value, or nil for null.
func (r *Reader) IntOrNil(col string) *int64 { return orNil(r, col, r.Int) }

// TimeOrNil gives the value, or nil for null.
func (r *Reader) TimeOrNil(col string) *time.Time { return orNil(r, col, r.Time) }

func (r *Reader) column(name string) arrow.Array {
	c, ok := r.cols[name]
	if !ok {
		panic(fmt.Sprintf("table: no column %q", name))
	}
	return c
}

// cell gives the column if the current row has a value of the wanted type in it.
func cell[A arrow.Array](r *Reader, col string) A {
	c := r.column(col)
	typed, ok := c.(A)
	if !ok {
		panic(fmt.Sprintf("table: column %q has type %s", col, c.DataType()))
	}
	if c.IsNull(r.row) {
		panic(fmt.Sprintf("table: column %q is null in row %d", col, r.row))
	}
	return typed
}

func orNil[V any](r *Reader, col string, value func(string) V) *V {
	if r.Null(col) {
		return nil
	}
	v := value(col)
	return &v
}

// Strings gives a utf8 column. Like its sisters it panics if there is no such column of that type.
func Strings(rec arrow.Record, name string) *array.String { return typed[*array.String](rec, name) }

// Bools gives a bool column.
func Bools(rec arrow.Record, name string) *array.Boolean { return typed[*array.Boolean](rec, name) }

// Ints gives an int64 column.
func Ints(rec arrow.Record, name string) *array.Int64 { return typed[*array.Int64](rec, name) }

// Ints32 gives an int32 column.
func Ints32(rec arrow.Record, name string) *array.Int32 { return typed[*array.Int32](rec, name) }

// Floats gives a float64 column.
func Floats(rec arrow.Record, name string) *array.Float64 { return typed[*array.Float64](rec, name) }

// Times gives a timestamp column: microseconds, UTC.
func Times(rec arrow.Record, name string) *array.Timestamp {
	return typed[*array.Timestamp](rec, name)
}

func typed[A arrow.Array](rec arrow.Record, name string) A {
	i, err := columnIndex(rec.Schema(), name)
	if err != nil {
		panic("table: " + err.Error())
	}
	c, ok := rec.Column(i).(A)
	if !ok {
		panic(fmt.Sprintf("table: column %q has type %s", name, rec.Column(i).DataType()))
	}
	return c
}
