package table

import (
	"bytes"
	"context"
	"fmt"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
)

// createdBy stands in the footer of every file. It is fixed, since the library's own text changes
// with the library's version.
const createdBy = "fairlobe"

// rowGroup is the number of rows after which a new row group begins.
const rowGroup = 128 * 1024

// Encode gives the table as a Parquet file: format version 2.6, zstd, the Arrow schema inside (so
// units and comments survive), row groups of 131072 rows. The same record gives the same bytes with
// the same versions of the libraries; what must outlive them is [Digest].
//
// The writer of arrow/go v15 doesn't release all of its buffers (apache/arrow issue 41697), so
// Encode allocates from Go's garbage-collected memory, where nothing is lost by that.
func Encode(rec arrow.Record) ([]byte, error) {
	if err := Validate(rec, rec.Schema()); err != nil {
		return nil, fmt.Errorf("encoding a table: %w", err)
	}
	mem := memory.NewGoAllocator()
	props := parquet.NewWriterProperties(
		parquet.WithAllocator(mem),
		parquet.WithVersion(parquet.V2_6),
		parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithCompressionLevel(zstdLevel),
		parquet.WithCreatedBy(createdBy),
		parquet.WithMaxRowGroupLength(rowGroup),
		// The library's default is "repeated", for which other readers look for repetition levels that are not there.
		parquet.WithRootRepetition(parquet.Repetitions.Required),
	)
	arrowProps := pqarrow.NewArrowWriterProperties(pqarrow.WithAllocator(mem), pqarrow.WithStoreSchema())

	var out bytes.Buffer
	w, err := pqarrow.NewFileWriter(rec.Schema(), &out, props, arrowProps)
	if err != nil {
		return nil, fmt.Errorf("encoding a table: %w", err)
	}
	if err := w.Write(rec); err != nil {
		return nil, fmt.Errorf("encoding a table: %w", err)
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("encoding a table: %w", err)
	}
	return out.Bytes(), nil
}

// zstdLevel is the fastest. The writer makes a compressor for every page, and those of higher levels
// take 16 MB each: a table of ten rows took 32 ms at the default level and takes 10 ms at this one,
// 100,000 rows 214 and 154 ms, for 3 % more bytes (12 columns, 2 cores).
const zstdLevel = 1

// maxRows bounds what Decode takes: a few bytes can claim any number of rows, and memory is taken for
// them before they are read. It is some hundred times the rows of a large table here.
const maxRows = 1 << 26

// Decode reads a Parquet file whose columns are those of the schema, in any order, by name and type.
// The record has the given schema, metadata included. Bytes that are no such file, columns too
// many, missing, of another type or null where they may not be, and more than 67,108,864 rows are
// errors that say so.
func Decode(mem memory.Allocator, data []byte, schema *arrow.Schema) (rec arrow.Record, err error) {
	// The Parquet library panics on many damaged files; for the caller they are damaged files.
	defer func() {
		if p := recover(); p != nil {
			rec, err = nil, fmt.Errorf("decoding a table: not a sound Parquet file: %v", p)
		}
	}()
	if err := CheckSchema(schema); err != nil {
		return nil, fmt.Errorf("decoding a table: %w", err)
	}
	rec, err = decode(mem, data, schema)
	if err != nil {
		return nil, fmt.Errorf("decoding a table: %w", err)
	}
	return rec, nil
}

func decode(mem memory.Allocator, data []byte, schema *arrow.Schema) (arrow.Record, error) {
	f, err := file.NewParquetReader(bytes.NewReader(data), file.WithReadProps(parquet.NewReaderProperties(mem)))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := countRows(f)
	if err != nil {
		return nil, err
	}
	// The Arrow schema inside the file isn't needed, since the caller names one; and the library takes any
	// amount of memory that a damaged one asks for.
	f.MetaData().FileMetaData.KeyValueMetadata = nil
	r, err := pqarrow.NewFileReader(f, pqarrow.ArrowReadProperties{}, mem)
	if err != nil {
		return nil, err
	}
	at, err := locate(r, schema)
	if err != nil {
		return nil, err
	}
	cols := make([]arrow.Array, 0, len(at))
	defer func() {
		for _, c := range cols {
			c.Release()
		}
	}()
	for i, field := range schema.Fields() {
		c, err := readColumn(mem, r, at[i], rows)
		if err != nil {
			return nil, fmt.Errorf("column %q: %w", field.Name, err)
		}
		cols = append(cols, c)
		if err := checkValues(c, field); err != nil {
			return nil, err
		}
	}
	return array.NewRecord(schema, cols, rows), nil
}

func countRows(f *file.Reader) (int64, error) {
	var rows int64
	for i := range f.NumRowGroups() {
		n := f.MetaData().RowGroups[i].GetNumRows()
		if n < 0 || n > maxRows || rows+n > maxRows {
			return 0, fmt.Errorf("it claims more than %d rows", maxRows)
		}
		rows += n
	}
	return rows, nil
}

// locate gives, for each field of the schema, the number of its column in the file.
func locate(r *pqarrow.FileReader, schema *arrow.Schema) ([]int, error) {
	have, err := r.Schema()
	if err != nil {
		return nil, err
	}
	for _, f := range have.Fields() {
		if !schema.HasField(f.Name) {
			return nil, fmt.Errorf("column %q is not in the schema", f.Name)
		}
	}
	at := make([]int, len(schema.Fields()))
	for i, want := range schema.Fields() {
		if at[i], err = columnIndex(have, want.Name); err != nil {
			return nil, err
		}
		if typ := have.Field(at[i]).Type; !arrow.TypeEqual(typ, want.Type) {
			return nil, fmt.Errorf("column %q has type %s, the schema says %s", want.Name, typ, want.Type)
		}
	}
	return at, nil
}

// readColumn reads one column as one array. The library's own way to read whole tables starts
// goroutines, and a panic in one of those can't be caught here.
func readColumn(mem memory.Allocator, r *pqarrow.FileReader, i int, rows int64) (arrow.Array, error) {
	c, err := r.GetColumn(context.Background(), i)
	if err != nil {
		return nil, err
	}
	defer c.Release()
	chunks, err := c.NextBatch(rows)
	if err != nil {
		return nil, err
	}
	defer chunks.Release()
	if int64(chunks.Len()) != rows {
		return nil, fmt.Errorf("it has %d rows of %d", chunks.Len(), rows)
	}
	return join(mem, chunks)
}

func join(mem memory.Allocator, chunks *arrow.Chunked) (arrow.Array, error) {
	switch parts := chunks.Chunks(); len(parts) {
	case 0:
		return array.MakeArrayOfNull(mem, chunks.DataType(), 0), nil
	case 1:
		parts[0].Retain()
		return parts[0], nil
	default:
		return array.Concatenate(parts, mem)
	}
}

// Rows gives the number of rows that a Parquet file claims to have, without reading them.
func Rows(data []byte) (n int64, err error) {
	defer func() {
		if p := recover(); p != nil {
			n, err = 0, fmt.Errorf("counting the rows of a table: not a sound Parquet file: %v", p)
		}
	}()
	f, err := file.NewParquetReader(bytes.NewReader(data))
	if err != nil {
		return 0, fmt.Errorf("counting the rows of a table: %w", err)
	}
	defer f.Close()
	return countRows(f)
}

// Note gives an entry of the key-value metadata of a Parquet file, such as "version", or "". Schemas of this program write theirs
// there.
func Note(data []byte, key string) (value string, err error) {
	defer func() {
		if p := recover(); p != nil {
			value, err = "", fmt.Errorf("reading the notes of a table: not a sound Parquet file: %v", p)
		}
	}()
	f, err := file.NewParquetReader(bytes.NewReader(data))
	if err != nil {
		return "", fmt.Errorf("reading the notes of a table: %w", err)
	}
	defer f.Close()
	if v := f.MetaData().KeyValueMetadata().FindValue(key); v != nil {
		return *v, nil
	}
	return "", nil
}
