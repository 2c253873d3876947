package table_test

import (
	"math"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
)

type kind string

func TestBuilderTakesGoValues(t *testing.T) {
	mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
	defer mem.AssertSize(t, 0)
	b := table.NewBuilderIn(mem, wide())
	defer b.Release()
	var noText *string
	seven := 7
	b.Append(uint16(9), true, int64(math.MinInt32), float32(0.5), kind("k"), noon.In(time.FixedZone("x", 3600)), nil, &seven, &seven, 2.5, noText, &noon)
	b.Append(1, false, 1, 1.0, "bad \xff byte", noon.Add(999*time.Nanosecond), true, nil, nil, nil, "y", nil)
	assert.Equal(t, 2, b.Len())
	rec := b.Record()
	defer rec.Release()
	assert.Zero(t, b.Len())

	r := table.NewReader(rec)
	assert.Equal(t, 2, r.Len())
	require.True(t, r.Next())
	assert.Equal(t, 0, r.Row())
	assert.Equal(t, int64(9), r.Int("id"))
	assert.Equal(t, int64(math.MinInt32), r.Int("small"))
	assert.Equal(t, 0.5, r.Float("level"))
	assert.Equal(t, "k", r.Str("name"))
	assert.Equal(t, noon, r.Time("at"))
	assert.Nil(t, r.BoolOrNil("ok_n"))
	assert.Nil(t, r.StrOrNil("name_n"))
	assert.Equal(t, int64(7), *r.IntOrNil("small_n"))
	assert.Equal(t, 2.5, *r.FloatOrNil("level_n"))
	assert.Equal(t, noon, *r.TimeOrNil("at_n"))
	require.True(t, r.Next())
	assert.False(t, r.Bool("ok"))
	assert.Equal(t, "bad \uFFFD byte", r.Str("name"))
	assert.Equal(t, noon, r.Time("at"), "cut to whole microseconds")
	assert.True(t, *r.BoolOrNil("ok_n"))
	assert.True(t, r.Null("at_n"))
	assert.Nil(t, r.TimeOrNil("at_n"))
	assert.False(t, r.Next())
	r.Seek(0)
	assert.Equal(t, int64(9), r.Int("id"))

	assert.Equal(t, int64(9), table.Ints(rec, "id").Value(0))
	assert.Equal(t, int32(1), table.Ints32(rec, "small").Value(1))
	assert.True(t, table.Bools(rec, "ok").Value(0))
	assert.Equal(t, "y", table.Strings(rec, "name_n").Value(1))
	assert.Equal(t, arrow.Timestamp(noon.UnixMicro()), table.Times(rec, "at").Value(0))
}

func TestMistakesInTheProgramPanic(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{{Name: "n", Type: arrow.PrimitiveTypes.Int32}, {Name: "x", Type: arrow.PrimitiveTypes.Float64, Nullable: true}}, nil)
	one := func() *table.Reader {
		b := table.NewBuilder(schema)
		b.Append(1, nil)
		r := table.NewReader(b.Record())
		r.Next()
		return r
	}
	b := table.NewBuilder(schema)
	b.Append(1, nil)
	rec := b.Record()
	for _, tt := range []struct {
		want string
		do   func()
	}{
		{"table: row 0 has 1 values for 2 columns", func() { table.NewBuilder(schema).Append(1) }},
		{`table: column "n", row 0: null, but may not be`, func() { table.NewBuilder(schema).Append(nil, nil) }},
		{`table: column "n", row 0: value 2147483648 of type int64, wanted an int32`, func() { table.NewBuilder(schema).Append(1<<31, nil) }},
		{`table: column "x", row 0: value 1 of type int64, wanted float64`, func() { table.NewBuilder(schema).Append(1, 1) }},
		{`table: column "x", row 0: value [] of type []int, wanted float64`, func() { table.NewBuilder(schema).Append(1, []int{}) }},
		{`table: column "x" is null in row 0`, func() { one().Float("x") }},
		{`table: column "n" has type int32`, func() { one().Str("n") }},
		{`table: no column "q"`, func() { one().Str("q") }},
		{`table: no such column: "q"`, func() { table.Floats(rec, "q") }},
		{`table: column "n" has type int32`, func() { table.Ints(rec, "n") }},
		{`table: column "d" has type date32, which tables here can't hold`, func() {
			table.NewBuilder(arrow.NewSchema([]arrow.Field{{Name: "d", Type: arrow.FixedWidthTypes.Date32}}, nil))
		}},
	} {
		assert.PanicsWithValue(t, tt.want, tt.do)
	}
}

func TestDiffNamesTheFirstDifference(t *testing.T) {
	f := arrow.Field{Name: "x", Type: arrow.PrimitiveTypes.Float64, Nullable: true}
	make1 := func(f arrow.Field, values ...any) arrow.Record {
		b := table.NewBuilder(arrow.NewSchema([]arrow.Field{f}, nil))
		for _, v := range values {
			b.Append(v)
		}
		return b.Record()
	}
	was := make1(f, 1.0, 2.0, nil)
	for _, tt := range []struct {
		now  arrow.Record
		want string
	}{
		{make1(f, 1.0, 2.0, nil), ""},
		{make1(f, 1.0, 2.5, nil), `column "x", row 1: "2", now "2.5"`},
		{make1(f, 1.0, 2.0, 0.0), `column "x", row 2: null, now "0"`},
		{make1(f, 1.0), "3 rows, now 1"},
		{make1(arrow.Field{Name: "y", Type: f.Type, Nullable: true}, 1.0), `column "x" (float64, may be null true), now "y" (float64, may be null true)`},
		{wideTable(t, 1), "1 columns, now 12"},
	} {
		assert.Equal(t, tt.want, table.Diff(was, tt.now))
	}
	zero, negative := make1(f, 0.0), make1(f, math.Copysign(0, -1))
	assert.Equal(t, `column "x", row 0: "0", now "-0"`, table.Diff(zero, negative))
}

func BenchmarkBuilder(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		wideTable(b, 10_000)
	}
	b.ReportMetric(10_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkReader(b *testing.B) {
	rec := wideTable(b, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		sum := 0.0
		for r := table.NewReader(rec); r.Next(); {
			sum += r.Float("level")
			sum += float64(len(r.Str("name")))
		}
		if sum == 0 {
			b.Fatal("nothing was read")
		}
	}
	b.ReportMetric(10_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
