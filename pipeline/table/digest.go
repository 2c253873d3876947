package table

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"hash"
	"math"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
)

// Digest gives "sha256:" and 64 hexadecimal digits over the logical content of the table: the names,
// types and nullability of its columns, and every value. Metadata, batches and file format don't
// enter it. The hashed bytes are, with every integer 8 bytes, little endian, and every text its
// length in bytes as such an integer and then its bytes:
//
//	"table digest 1\n"
//	number of columns
//	for each column: text name, text type, byte 1 if it may be null, else 0
//	number of rows
//	for each column, for each row: byte 0 if the value is null; else byte 1 and
//	  bool                byte 0 or 1
//	  int32, int64        integer, two's complement
//	  float64             IEEE 754 bits as an integer; every NaN as 0x7ff8000000000000
//	  utf8                text
//	  timestamp[us, UTC]  integer: microseconds since 1970-01-01T00:00:00Z
//
// The types are written "bool", "int32", "int64", "float64", "utf8", "timestamp[us, tz=UTC]".
// Digest panics if a column has another type.
func Digest(rec arrow.Record) string {
	d := &digester{h: sha256.New(), buf: make([]byte, 0, digestBuffer)}
	d.raw("table digest 1\n")
	d.integer(rec.NumCols())
	for _, f := range rec.Schema().Fields() {
		d.text(f.Name)
		d.text(f.Type.String())
		d.bit(f.Nullable)
	}
	d.integer(rec.NumRows())
	for _, col := range rec.Columns() {
		d.column(col)
	}
	d.flush()
	return "sha256:" + hex.EncodeToString(d.h.Sum(nil))
}

const digestBuffer = 32 << 10

// canonicalNaN stands for all NaN: their payload bits differ between machines.
const canonicalNaN = 0x7ff8000000000000

type digester struct {
	h   hash.Hash
	buf []byte
}

func (d *digester) column(col arrow.Array) {
	value := d.valueOf(col)
	for i := range col.Len() {
		if col.IsNull(i) {
			d.bit(false)
			continue
		}
		d.bit(true)
		value(i)
	}
}

// valueOf gives the function that writes value i, which is not null.
func (d *digester) valueOf(col arrow.Array) func(i int) {
	switch c := col.(type) {
	case *array.Boolean:
		return func(i int) { d.bit(c.Value(i)) }
	case *array.Int32:
		return func(i int) { d.integer(int64(c.Value(i))) }
	case *array.Int64:
		return func(i int) { d.integer(c.Value(i)) }
	case *array.Float64:
		return func(i int) { d.float(c.Value(i)) }
	case *array.String:
		return func(i int) { d.text(c.Value(i)) }
	case *array.Timestamp:
		return func(i int) { d.integer(int64(c.Value(i))) }
	}
	panic("table: digest of a column of type " + col.DataType().String())
}

func (d *digester) float(v float64) {
	if math.IsNaN(v) {
		d.word(canonicalNaN)
		return
	}
	d.word(math.Float64bits(v))
}

func (d *digester) integer(v int64) { d.word(uint64(v)) }

func (d *digester) word(v uint64) {
	d.room(8)
	d.buf = binary.LittleEndian.AppendUint64(d.buf, v)
}

func (d *digester) bit(v bool) {
	d.room(1)
	b := byte(0)
	if v {
		b = 1
	}
	d.buf = append(d.buf, b)
}

func (d *digester) text(s string) {
	d.word(uint64(len(s)))
	d.raw(s)
}

func (d *digester) raw(s string) {
	d.room(len(s))
	d.buf = append(d.buf, s...)
}

func (d *digester) room(n int) {
	if len(d.buf)+n > digestBuffer {
		d.flush()
	}
}

func (d *digester) flush() {
	d.h.Write(d.buf)
	d.buf = d.buf[:0]
}
