package table_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline/table"
)

func meta(pairs ...string) arrow.Metadata {
	m := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		m[pairs[i]] = pairs[i+1]
	}
	return arrow.MetadataFrom(m)
}

// wide has a column of every type, each once with nulls and once without.
func wide() *arrow.Schema {
	md := meta("sort", "id")
	return arrow.NewSchema([]arrow.Field{
		{Name: "id", Type: arrow.PrimitiveTypes.Int64},
		{Name: "ok", Type: arrow.FixedWidthTypes.Boolean},
		{Name: "small", Type: arrow.PrimitiveTypes.Int32, Metadata: meta("unit", "1", "comment", "a count")},
		{Name: "level", Type: arrow.PrimitiveTypes.Float64, Metadata: meta("unit", "m")},
		{Name: "name", Type: arrow.BinaryTypes.String},
		{Name: "at", Type: table.Timestamp},
		{Name: "ok_n", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
		{Name: "small_n", Type: arrow.PrimitiveTypes.Int32, Nullable: true},
		{Name: "big_n", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
		{Name: "level_n", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
		{Name: "name_n", Type: arrow.BinaryTypes.String, Nullable: true},
		{Name: "at_n", Type: table.Timestamp, Nullable: true},
	}, &md)
}

var noon = time.Date(2026, 5, 9, 12, 0, 0, 250000, time.UTC)

func fill(b *table.Builder, rows int) {
	for i := range rows {
		if i%3 == 0 {
			b.Append(i, i%2 == 0, int32(-i), float64(i)/7, "q"+strconv.Itoa(i), noon.Add(time.Duration(i)*time.Second), nil, nil, nil, nil, nil, nil)
			continue
		}
		b.Append(i, i%2 == 0, int32(-i), float64(i)/7, strconv.Itoa(i%10), noon.Add(-time.Duration(i)*time.Hour), i%2 == 1, i, -i, -float64(i), "", noon)
	}
}

func wideTable(t testing.TB, rows int) arrow.Record {
	t.Helper()
	b := table.NewBuilder(wide())
	fill(b, rows)
	return b.Record()
}

func TestEncodeDecodeGivesTheSameTable(t *testing.T) {
	for _, rows := range []int{0, 1, 3, 1500, 131072 + 5} {
		rec := wideTable(t, rows)
		data, err := table.Encode(rec)
		require.NoError(t, err)
		mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
		got, err := table.Decode(mem, data, wide())
		require.NoError(t, err)
		assert.True(t, array.RecordEqual(rec, got), "%d rows", rows)
		assert.Equal(t, table.Digest(rec), table.Digest(got))
		assert.True(t, got.Schema().Equal(wide()))
		unit, ok := got.Schema().Field(3).Metadata.GetValue("unit")
		assert.True(t, ok)
		assert.Equal(t, "m", unit)
		got.Release()
		mem.AssertSize(t, 0)

		if rows > 2000 {
			continue
		}
		again, err := table.Encode(rec)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(data, again), "encoding twice gives the same bytes")
	}
}

// A column that may be null but has none, with more rows than the writer's batch of 1024.
// The root of a Parquet schema repeats nothing; a reader that counts it as repeated looks for levels that were never written
// (Apache Parquet, parquet.thrift, SchemaElement: "the root of the schema does not have a repetition_type").
func TestRootIsNotRepeated(t *testing.T) {
	data, err := table.Encode(wideTable(t, 3))
	require.NoError(t, err)
	f, err := file.NewParquetReader(bytes.NewReader(data))
	require.NoError(t, err)
	defer f.Close()
	require.Equal(t, parquet.Repetitions.Required, f.MetaData().Schema.Root().RepetitionType())
}

func TestEncodeSlicesAndNullableWithoutNulls(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{
		{Name: "a", Type: arrow.BinaryTypes.String, Nullable: true},
		{Name: "b", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
		{Name: "c", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
	}, nil)
	b := table.NewBuilder(schema)
	for i := range 5000 {
		b.Append(strconv.Itoa(i%7), i%3 == 0, float64(i))
	}
	whole := b.Record()
	for _, cut := range [][2]int64{{0, 5000}, {1, 4999}, {13, 2077}, {100, 100}} {
		part := whole.NewSlice(cut[0], cut[1])
		data, err := table.Encode(part)
		require.NoError(t, err)
		got, err := table.Decode(memory.NewGoAllocator(), data, schema)
		require.NoError(t, err)
		assert.True(t, array.RecordEqual(part, got), "%v", cut)
	}
}

func TestRoundTripProperty(t *testing.T) {
	text := rapid.StringN(0, 8, 40)
	rapid.Check(t, func(t *rapid.T) {
		b := table.NewBuilder(wide())
		for range rapid.IntRange(0, 40).Draw(t, "rows") {
			row := []any{
				rapid.Int64().Draw(t, "id"), rapid.Bool().Draw(t, "ok"), rapid.Int32().Draw(t, "small"),
				rapid.Float64().Draw(t, "level"), text.Draw(t, "name"), time.UnixMicro(rapid.Int64Range(-1e15, 1e16).Draw(t, "at")),
				rapid.Ptr(rapid.Bool(), true).Draw(t, "okn"), rapid.Ptr(rapid.Int32(), true).Draw(t, "smalln"), rapid.Ptr(rapid.Int64(), true).Draw(t, "bign"),
				rapid.Ptr(rapid.Float64(), true).Draw(t, "leveln"), rapid.Ptr(text, true).Draw(t, "namen"), nil,
			}
			b.Append(row...)
		}
		rec := b.Record()
		data, err := table.Encode(rec)
		require.NoError(t, err)
		got, err := table.Decode(memory.NewGoAllocator(), data, wide())
		require.NoError(t, err)
		require.Equal(t, table.Digest(rec), table.Digest(got))
		require.Empty(t, table.Diff(rec, got))
	})
}

func TestNaNAndInfinitySurvive(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{{Name: "v", Type: arrow.PrimitiveTypes.Float64}}, nil)
	b := table.NewBuilder(schema)
	negZero := math.Copysign(0, -1)
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), negZero, 0, 5e-324} {
		b.Append(v)
	}
	rec := b.Record()
	data, err := table.Encode(rec)
	require.NoError(t, err)
	got, err := table.Decode(memory.NewGoAllocator(), data, schema)
	require.NoError(t, err)
	v := table.Floats(got, "v")
	assert.True(t, math.IsNaN(v.Value(0)))
	assert.True(t, math.IsInf(v.Value(1), 1))
	assert.True(t, math.IsInf(v.Value(2), -1))
	assert.True(t, math.Signbit(v.Value(3)))
	assert.False(t, math.Signbit(v.Value(4)))
	assert.Equal(t, 5e-324, v.Value(5))
}

// The bytes of this digest are written out by hand from the documentation of Digest.
func TestDigestFollowsItsDocumentation(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{
		{Name: "b", Type: arrow.FixedWidthTypes.Boolean},
		{Name: "i", Type: arrow.PrimitiveTypes.Int32, Metadata: meta("unit", "m")},
		{Name: "x", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
		{Name: "s", Type: arrow.BinaryTypes.String, Nullable: true},
		{Name: "t", Type: table.Timestamp},
	}, nil)
	b := table.NewBuilder(schema)
	b.Append(true, -2, 1.5, "é", time.UnixMicro(3))
	b.Append(false, 7, math.Float64frombits(0x7ff8000000000123), nil, time.UnixMicro(-1))
	rec := b.Record()

	var w bytes.Buffer
	n := func(v int64) { binary.Write(&w, binary.LittleEndian, v) }
	s := func(text string) { n(int64(len(text))); w.WriteString(text) }
	w.WriteString("table digest 1\n")
	n(5)
	for _, f := range []struct {
		name, typ string
		nullable  byte
	}{{"b", "bool", 0}, {"i", "int32", 0}, {"x", "float64", 1}, {"s", "utf8", 1}, {"t", "timestamp[us, tz=UTC]", 0}} {
		s(f.name)
		s(f.typ)
		w.WriteByte(f.nullable)
	}
	n(2)
	w.Write([]byte{1, 1, 1, 0})
	w.WriteByte(1)
	n(-2)
	w.WriteByte(1)
	n(7)
	w.WriteByte(1)
	n(0x3ff8000000000000)
	w.WriteByte(1)
	n(0x7ff8000000000000)
	w.WriteByte(1)
	s("é")
	w.WriteByte(0)
	w.WriteByte(1)
	n(3)
	w.WriteByte(1)
	n(-1)
	sum := sha256.Sum256(w.Bytes())
	assert.Equal(t, "sha256:"+hex.EncodeToString(sum[:]), table.Digest(rec))
}

// Pinned, so that a change of the digest is seen: every stored key and every shared digest would
// change with it.
func TestDigestIsPinned(t *testing.T) {
	assert.Equal(t, "sha256:78e68679167da2a220a652d1d95ce6a71e00de2441f7f414b808d67c13459f8c", table.Digest(wideTable(t, 1000)))
}

func TestDigestTellsTablesApart(t *testing.T) {
	one := func(f arrow.Field, values ...any) arrow.Record {
		b := table.NewBuilder(arrow.NewSchema([]arrow.Field{f}, nil))
		for _, v := range values {
			b.Append(v)
		}
		return b.Record()
	}
	str := arrow.Field{Name: "a", Type: arrow.BinaryTypes.String}
	strNull := arrow.Field{Name: "a", Type: arrow.BinaryTypes.String, Nullable: true}
	num := arrow.Field{Name: "a", Type: arrow.PrimitiveTypes.Int64}
	recs := map[string]arrow.Record{
		"no rows":        one(str),
		"x":              one(str, "x"),
		"may be null":    one(strNull, "x"),
		"null":           one(strNull, nil),
		"empty":          one(strNull, ""),
		"xy, z":          one(str, "xy", "z"),
		"x, yz":          one(str, "x", "yz"),
		"other name":     one(arrow.Field{Name: "b", Type: arrow.BinaryTypes.String}, "x"),
		"int64":          one(num, 1),
		"int32":          one(arrow.Field{Name: "a", Type: arrow.PrimitiveTypes.Int32}, 1),
		"timestamp":      one(arrow.Field{Name: "a", Type: table.Timestamp}, time.UnixMicro(1)),
		"long text":      one(str, strings.Repeat("x", 100_000)),
		"longer text":    one(str, strings.Repeat("x", 100_001)),
		"two rows of it": one(str, strings.Repeat("x", 100_000), ""),
	}
	seen := map[string]string{}
	for name, rec := range recs {
		d := table.Digest(rec)
		assert.Empty(t, seen[d], "%s has the digest of %s", name, seen[d])
		seen[d] = name
	}
	assert.Equal(t, table.Digest(one(str, "x")), table.Digest(one(arrow.Field{Name: "a", Type: arrow.BinaryTypes.String, Metadata: meta("unit", "1")}, "x")),
		"metadata is not part of the content")
	sliced := one(num, 5, 6, 7).NewSlice(1, 2)
	assert.Equal(t, table.Digest(one(num, 6)), table.Digest(sliced), "neither is the place in memory")
}

func TestDecodeRefuses(t *testing.T) {
	f := func(name string, typ arrow.DataType, null bool) arrow.Field {
		return arrow.Field{Name: name, Type: typ, Nullable: null}
	}
	i64, str := arrow.PrimitiveTypes.Int64, arrow.BinaryTypes.String
	schema := func(fields ...arrow.Field) *arrow.Schema { return arrow.NewSchema(fields, nil) }
	b := table.NewBuilder(schema(f("a", i64, true), f("b", str, false)))
	b.Append(1, "x")
	b.Append(nil, "y")
	data, err := table.Encode(b.Record())
	require.NoError(t, err)

	for _, tt := range []struct {
		name   string
		schema *arrow.Schema
		want   string // empty: accepted
	}{
		{"same", schema(f("a", i64, true), f("b", str, false)), ""},
		{"other order", schema(f("b", str, false), f("a", i64, true)), ""},
		{"missing", schema(f("a", i64, true), f("b", str, false), f("c", str, true)), `no such column: "c"`},
		{"too many", schema(f("a", i64, true)), `column "b" is not in the schema`},
		{"type", schema(f("a", arrow.PrimitiveTypes.Float64, true), f("b", str, false)), `column "a" has type int64, the schema says float64`},
		{"null", schema(f("a", i64, false), f("b", str, false)), `column "a" is null in row 1`},
		{"unknown type", schema(f("a", arrow.FixedWidthTypes.Date32, false)), `column "a" has type date32`},
		{"twice", schema(f("a", i64, false), f("a", i64, false)), `column "a" stands twice`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
			defer mem.AssertSize(t, 0)
			rec, err := table.Decode(mem, data, tt.schema)
			if tt.want == "" {
				require.NoError(t, err)
				assert.True(t, rec.Schema().Equal(tt.schema))
				rec.Release()
				return
			}
			require.ErrorContains(t, err, tt.want)
		})
	}
	for name, bad := range map[string][]byte{"empty": nil, "text": []byte("hello, this is no table"), "cut": data[:len(data)/2], "tail": data[len(data)/2:]} {
		_, err := table.Decode(memory.NewGoAllocator(), bad, schema(f("a", i64, true), f("b", str, false)))
		assert.ErrorContains(t, err, "decoding a table", name)
	}
}

func TestValidate(t *testing.T) {
	i64, str := arrow.PrimitiveTypes.Int64, arrow.BinaryTypes.String
	schema := arrow.NewSchema([]arrow.Field{{Name: "a", Type: i64}, {Name: "b", Type: str, Nullable: true}}, nil)
	rec := func(fields []arrow.Field, json string) arrow.Record {
		r, _, err := array.RecordFromJSON(memory.NewGoAllocator(), arrow.NewSchema(fields, nil), strings.NewReader(json))
		require.NoError(t, err)
		return r
	}
	good := schema.Fields()
	for _, tt := range []struct {
		name string
		rec  arrow.Record
		want string
	}{
		{"good", rec(good, `[{"a":1,"b":"x"},{"a":2,"b":null}]`), ""},
		{"null", rec(good, `[{"a":1,"b":"x"},{"a":null,"b":null}]`), `column "a" is null in row 1, but may not be`},
		{"columns", rec(good[:1], `[]`), "the table has 1 columns, its schema 2"},
		{"name", rec([]arrow.Field{{Name: "c", Type: i64}, good[1]}, `[]`), `column "c" stands where the schema has "a"`},
		{"type", rec([]arrow.Field{{Name: "a", Type: str}, good[1]}, `[]`), `column "a" has type utf8, its schema int64`},
		{"nullable", rec([]arrow.Field{good[0], {Name: "b", Type: str}}, `[]`), `column "b": may be null is false, in its schema true`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := table.Validate(tt.rec, schema)
			if tt.want == "" {
				require.NoError(t, err)
				return
			}
			require.EqualError(t, err, tt.want)
			_, err = table.WithSchema(tt.rec, schema)
			require.EqualError(t, err, tt.want)
		})
	}
	bad := array.NewStringBuilder(memory.NewGoAllocator())
	bad.Append("\xff")
	one := arrow.NewSchema([]arrow.Field{{Name: "s", Type: str}}, nil)
	err := table.Validate(array.NewRecord(one, []arrow.Array{bad.NewArray()}, 1), one)
	require.EqualError(t, err, `column "s" is not UTF-8 in row 0: "\xff"`)

	md := meta("sort", "nope")
	require.ErrorContains(t, table.CheckSchema(arrow.NewSchema(good, &md)), `sort column "nope" is not in the schema`)
	require.ErrorContains(t, table.CheckSchema(arrow.NewSchema([]arrow.Field{{Name: "", Type: str}}, nil)), "empty")
	require.ErrorContains(t, table.CheckSchema(arrow.NewSchema([]arrow.Field{{Name: "t", Type: arrow.FixedWidthTypes.Timestamp_ns}}, nil)), "timestamp[ns")
	assert.Nil(t, table.SortKeys(schema))
	assert.Equal(t, []string{"id"}, table.SortKeys(wide()))
}

func TestCheckSorted(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{
		{Name: "s", Type: arrow.BinaryTypes.String, Nullable: true}, {Name: "n", Type: arrow.PrimitiveTypes.Int64},
		{Name: "x", Type: arrow.PrimitiveTypes.Float64}, {Name: "b", Type: arrow.FixedWidthTypes.Boolean},
		{Name: "t", Type: table.Timestamp}, {Name: "i", Type: arrow.PrimitiveTypes.Int32},
	}, nil)
	b := table.NewBuilder(schema)
	at := func(m int) time.Time { return noon.Add(time.Duration(m) * time.Minute) }
	b.Append(nil, 1, math.NaN(), false, at(0), 3)
	b.Append("", 1, math.Inf(-1), false, at(1), 3)
	b.Append("a", 1, 0.5, true, at(1), 2)
	b.Append("a", 2, 1.5, true, at(0), 2)
	b.Append("a", 2, 1.5, false, at(2), 2)
	rec := b.Record()
	for _, tt := range []struct {
		keys []string
		want string
	}{
		{nil, ""},
		{[]string{"s"}, ""},
		{[]string{"s", "n"}, ""},
		{[]string{"x"}, ""},
		{[]string{"n", "s"}, ""},
		{[]string{"b"}, "rows are not sorted by b: row 4 (false) stands after row 3 (true)"},
		{[]string{"s", "t"}, "rows are not sorted by s, t: row 3 (a, 2026-05-09T12:00:00.00025Z) stands after row 2 (a, 2026-05-09T12:01:00.00025Z)"},
		{[]string{"i"}, "rows are not sorted by i: row 2 (2) stands after row 1 (3)"},
		{[]string{"nope"}, `checking the order of rows: no such column: "nope"`},
	} {
		err := table.CheckSorted(rec, tt.keys)
		if tt.want == "" {
			assert.NoError(t, err, tt.keys)
			continue
		}
		assert.EqualError(t, err, tt.want)
	}
	nulls := table.NewBuilder(arrow.NewSchema(schema.Fields()[:1], nil))
	nulls.Append("a")
	nulls.Append(nil)
	assert.EqualError(t, table.CheckSorted(nulls.Record(), []string{"s"}), "rows are not sorted by s: row 1 (null) stands after row 0 (a)")
}

func TestWriteCSV(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{
		{Name: "text, quoted", Type: arrow.BinaryTypes.String, Nullable: true}, {Name: "x", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
		{Name: "n", Type: arrow.PrimitiveTypes.Int32}, {Name: "b", Type: arrow.FixedWidthTypes.Boolean}, {Name: "t", Type: table.Timestamp},
	}, nil)
	b := table.NewBuilder(schema)
	zone := time.FixedZone("east", 3*3600)
	b.Append("plain", 0.1, -1, true, time.Date(2026, 1, 2, 3, 4, 5, 0, zone))
	b.Append("a \"b\", c\nd", 1e6, 0, false, time.Date(2026, 1, 2, 3, 4, 5, 250_000_000, time.UTC))
	b.Append("", 1e-9, 0, false, noon)
	b.Append(nil, nil, 0, false, noon)
	var out bytes.Buffer
	require.NoError(t, table.WriteCSV(&out, b.Record()))
	assert.Equal(t, `"text, quoted",x,n,b,t
plain,0.1,-1,true,2026-01-02T00:04:05Z
"a ""b"", c
d",1000000,0,false,2026-01-02T03:04:05.25Z
"",1e-09,0,false,2026-05-09T12:00:00.00025Z
,,0,false,2026-05-09T12:00:00.00025Z
`, out.String())

	require.ErrorContains(t, table.WriteCSV(brokenWriter{}, wideTable(t, 5000)), "writing a table as CSV: broken")
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("broken") }

// encoding/csv reads what was written, and every number reads back as the same number.
func TestWriteCSVReadsBack(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{{Name: "s", Type: arrow.BinaryTypes.String}, {Name: "x", Type: arrow.PrimitiveTypes.Float64}}, nil)
	rapid.Check(t, func(t *rapid.T) {
		s, x := rapid.String().Draw(t, "s"), rapid.Float64().Draw(t, "x")
		b := table.NewBuilder(schema)
		b.Append(s, x)
		var out bytes.Buffer
		require.NoError(t, table.WriteCSV(&out, b.Record()))
		rows, err := csv.NewReader(&out).ReadAll()
		require.NoError(t, err)
		require.Equal(t, strings.ReplaceAll(s, "\r\n", "\n"), rows[1][0], "the reader turns CR LF into LF")
		got, err := strconv.ParseFloat(rows[1][1], 64)
		require.NoError(t, err)
		require.Equal(t, math.Float64bits(x), math.Float64bits(got))
	})
}
