package table

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// Builder makes a table row by row. The caller appends the rows in the order of the schema's sort
// key. A value that its column can't take is a mistake in the program: Append panics and names the
// column and the row.
type Builder struct {
	schema *arrow.Schema
	rb     *array.RecordBuilder
	put    []func(v any) error
	rows   int
}

// NewBuilder makes a builder whose memory Go's garbage collector frees.
func NewBuilder(schema *arrow.Schema) *Builder {
	return NewBuilderIn(memory.NewGoAllocator(), schema)
}

// NewBuilderIn makes a builder that allocates from mem; call Release when it has done its work.
func NewBuilderIn(mem memory.Allocator, schema *arrow.Schema) *Builder {
	if err := CheckSchema(schema); err != nil {
		panic("table: " + err.Error())
	}
	b := &Builder{schema: schema, rb: array.NewRecordBuilder(mem, schema)}
	for i := range schema.Fields() {
		b.put = append(b.put, putter(b.rb.Field(i)))
	}
	return b
}

// Append adds one row: one value for each column, in the order of the schema.
//
//	bool            bool
//	int32, int64    any Go integer that fits
//	float64         float64 or float32
//	utf8            string; bytes that are not UTF-8 become U+FFFD
//	timestamp       time.Time, cut to whole microseconds
//
// Types made from these (type Arm string) are taken too, and pointers to all of them. nil, or a nil
// pointer, is null.
func (b *Builder) Append(values ...any) {
	if len(values) != len(b.put) {
		panic(fmt.Sprintf("table: row %d has %d values for %d columns", b.rows, len(values), len(b.put)))
	}
	for i, v := range values {
		if err := b.appendValue(i, v); err != nil {
			panic(fmt.Sprintf("table: column %q, row %d: %v", b.schema.Field(i).Name, b.rows, err))
		}
	}
	b.rows++
}

func (b *Builder) appendValue(i int, v any) error {
	v = plain(v)
	if v != nil {
		return b.put[i](v)
	}
	if !b.schema.Field(i).Nullable {
		return fmt.Errorf("null, but may not be")
	}
	b.rb.Field(i).AppendNull()
	return nil
}

// Len gives the number of rows so far.
func (b *Builder) Len() int { return b.rows }

// Record gives the table and leaves the builder empty.
func (b *Builder) Record() arrow.Record {
	b.rows = 0
	return b.rb.NewRecord()
}

// Release frees the memory of rows that have not become a record.
func (b *Builder) Release() { b.rb.Release() }

func putter(to array.Builder) func(v any) error {
	switch c := to.(type) {
	case *array.BooleanBuilder:
		return put(c.Append)
	case *array.Int64Builder:
		return put(c.Append)
	case *array.Int32Builder:
		return putInt32(c)
	case *array.Float64Builder:
		return put(c.Append)
	case *array.StringBuilder:
		return put(func(s string) { c.Append(strings.ToValidUTF8(s, "\uFFFD")) })
	case *array.TimestampBuilder:
		return put(func(t time.Time) { c.Append(arrow.Timestamp(t.UnixMicro())) })
	}
	panic(fmt.Sprintf("table: no builder for type %s", to.Type()))
}

func put[V any](add func(V)) func(v any) error {
	return func(v any) error {
		typed, ok := v.(V)
		if !ok {
			return fmt.Errorf("value %v of type %T, wanted %T", v, v, typed)
		}
		add(typed)
		return nil
	}
}

func putInt32(c *array.Int32Builder) func(v any) error {
	return func(v any) error {
		n, ok := v.(int64)
		if !ok || n < math.MinInt32 || n > math.MaxInt32 {
			return fmt.Errorf("value %v of type %T, wanted an int32", v, v)
		}
		c.Append(int32(n))
		return nil
	}
}

// plain gives v as bool, int64, float64, string or time.Time; nil for a nil pointer; and v itself if it
// is none of these. The first cases are those that happen for nearly every value.
func plain(v any) any {
	switch t := v.(type) {
	case nil, bool, int64, float64, string, time.Time:
		return v
	case int:
		return int64(t)
	}
	r := reflect.ValueOf(v)
	switch {
	case r.Kind() == reflect.Pointer && r.IsNil():
		return nil
	case r.Kind() == reflect.Pointer:
		return plain(r.Elem().Interface())
	case r.Kind() == reflect.Bool:
		return r.Bool()
	case r.CanInt():
		return r.Int()
	case r.CanUint() && r.Uint() <= math.MaxInt64:
		return int64(r.Uint())
	case r.CanFloat():
		return r.Float()
	case r.Kind() == reflect.String:
		return r.String()
	}
	return v
}
