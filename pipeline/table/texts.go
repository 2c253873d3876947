package table

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"strings"

	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
)

// Texts shows every text that a Parquet file holds, whatever its columns are: the cells of text columns, their dictionaries (which
// may hold more than the cells use), statistics of chunks and pages, names of columns, key-value entries of the file and of
// its columns, the Arrow schema among them decoded, and the name of the writer. where says what it is, in words.
func Texts(data []byte, visit func(where, text string)) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("reading the texts of a table: not a sound Parquet file: %v", p)
		}
	}()
	f, err := file.NewParquetReader(bytes.NewReader(data))
	if err != nil {
		return fmt.Errorf("reading the texts of a table: %w", err)
	}
	defer f.Close()
	if _, err := countRows(f); err != nil {
		return fmt.Errorf("reading the texts of a table: %w", err)
	}
	t := texts{f: f, visit: visit}
	t.footer()
	for i := range f.NumRowGroups() {
		if err := t.rowGroup(i); err != nil {
			return fmt.Errorf("reading the texts of a table: %w", err)
		}
	}
	if err := t.cells(); err != nil {
		return fmt.Errorf("reading the texts of a table: %w", err)
	}
	return nil
}

// texts shows the texts of one file.
type texts struct {
	f     *file.Reader
	visit func(where, text string)
}

// arrowSchema is the key under which the Arrow schema stands, in base64.
const arrowSchema = "ARROW:schema"

func (t texts) footer() {
	if by := t.f.MetaData().CreatedBy; by != nil {
		t.visit("the name of the writer", *by)
	}
	for _, kv := range t.f.MetaData().FileMetaData.KeyValueMetadata {
		t.entry("the file", kv.Key, kv.Value)
	}
	for i := range t.f.MetaData().Schema.NumColumns() {
		t.visit("the name of a column", t.f.MetaData().Schema.Column(i).Path())
	}
}

func (t texts) entry(of, key string, value *string) {
	t.visit("a key of "+of, key)
	if value == nil {
		return
	}
	where := "the entry " + key + " of " + of
	if key == arrowSchema {
		if schema, err := base64.StdEncoding.DecodeString(*value); err == nil {
			// Before a text of this form stands its length, whose last bytes are 0, and behind it a 0.
			t.visit(where, strings.ToValidUTF8(string(schema), "\x00"))
			return
		}
	}
	t.visit(where, *value)
}

func (t texts) rowGroup(i int) error {
	group := t.f.RowGroup(i)
	for c := range group.NumColumns() {
		column := t.f.MetaData().Schema.Column(c)
		about := t.f.MetaData().FileMetaData.RowGroups[i].Columns[c].MetaData
		for _, kv := range about.KeyValueMetadata {
			t.entry("column "+column.Name(), kv.Key, kv.Value)
		}
		if column.PhysicalType() != parquet.Types.ByteArray {
			continue
		}
		if s := about.Statistics; s != nil {
			for _, text := range [][]byte{s.Min, s.Max, s.MinValue, s.MaxValue} {
				t.visit("the statistics of column "+column.Name(), string(text))
			}
		}
		pages, err := group.GetColumnPageReader(c)
		if err != nil {
			return err
		}
		for pages.Next() {
			if err := t.page(pages.Page(), column.Name()); err != nil {
				return err
			}
		}
		if err := pages.Err(); err != nil {
			return err
		}
	}
	return nil
}

func (t texts) page(p file.Page, column string) error {
	switch p := p.(type) {
	case *file.DataPageV1:
		t.statistics(p.Statistics(), column)
	case *file.DataPageV2:
		t.statistics(p.Statistics(), column)
	case *file.DictionaryPage:
		for rest := p.Data(); len(rest) > 0; {
			if len(rest) < 4 || uint64(len(rest)-4) < uint64(binary.LittleEndian.Uint32(rest)) {
				return fmt.Errorf("the dictionary of column %q is cut short", column)
			}
			n := int(binary.LittleEndian.Uint32(rest))
			t.visit("the dictionary of column "+column, string(rest[4:4+n]))
			rest = rest[4+n:]
		}
	}
	return nil
}

func (t texts) statistics(s metadata.EncodedStatistics, column string) {
	t.visit("the statistics of column "+column, string(s.Min))
	t.visit("the statistics of column "+column, string(s.Max))
}

func (t texts) cells() error {
	rows, err := countRows(t.f)
	if err != nil {
		return err
	}
	t.f.MetaData().FileMetaData.KeyValueMetadata = nil // see decode
	mem := memory.NewGoAllocator()
	r, err := pqarrow.NewFileReader(t.f, pqarrow.ArrowReadProperties{}, mem)
	if err != nil {
		return err
	}
	schema, err := r.Schema()
	if err != nil {
		return err
	}
	for i, field := range schema.Fields() {
		col, err := readColumn(mem, r, i, rows)
		if err != nil {
			return fmt.Errorf("column %q: %w", field.Name, err)
		}
		switch c := col.(type) {
		case *array.String:
			for row := range c.Len() {
				t.visit(fmt.Sprintf("column %s, row %d", field.Name, row+1), c.Value(row))
			}
		case *array.Binary:
			for row := range c.Len() {
				t.visit(fmt.Sprintf("column %s, row %d", field.Name, row+1), string(c.Value(row)))
			}
		}
		col.Release()
	}
	return nil
}
