package table_test

import (
	"bytes"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/apache/arrow/go/v15/parquet/schema"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
)

// whereIs gives the places at which a Parquet file holds a text that contains the word.
func whereIs(t *testing.T, data []byte, word string) []string {
	t.Helper()
	var out []string
	require.NoError(t, table.Texts(data, func(where, text string) {
		if bytes.Contains([]byte(text), []byte(word)) && !slices.Contains(out, where) {
			out = append(out, where)
		}
	}))
	return out
}

// Every place in which a text can hide, each with a word of its own.
func TestTextsShowsEveryPlace(t *testing.T) {
	meta := arrow.MetadataFrom(map[string]string{"Q1KEY": "Q1VALUE"})
	s := arrow.NewSchema([]arrow.Field{
		{Name: "Q1COLUMN", Type: arrow.BinaryTypes.String, Metadata: arrow.MetadataFrom(map[string]string{"comment": "Q1COMMENT"})},
		{Name: "n", Type: arrow.PrimitiveTypes.Int64},
	}, &meta)
	b := array.NewRecordBuilder(memory.NewGoAllocator(), s)
	for i, text := range []string{"Q1CELL", "b", "", "zzz"} {
		b.Field(0).(*array.StringBuilder).Append(text)
		b.Field(1).(*array.Int64Builder).Append(int64(i))
	}
	rec := b.NewRecord()
	var out bytes.Buffer
	w, err := pqarrow.NewFileWriter(s, &out, parquet.NewWriterProperties(parquet.WithCreatedBy("Q1WRITER")), pqarrow.NewArrowWriterProperties(pqarrow.WithStoreSchema()))
	require.NoError(t, err)
	require.NoError(t, w.Write(rec))
	require.NoError(t, w.Close())
	for word, want := range map[string][]string{
		"Q1WRITER":  {"the name of the writer"},
		"Q1COMMENT": {"the entry ARROW:schema of the file"},
		"Q1VALUE":   {"the entry ARROW:schema of the file", "the entry Q1KEY of the file"},
		"Q1KEY":     {"a key of the file", "the entry ARROW:schema of the file"},
		"Q1COLUMN":  {"the entry ARROW:schema of the file", "the name of a column"},
		"Q1CELL":    {"column Q1COLUMN, row 1", "the dictionary of column Q1COLUMN"},
		"zzz":       {"column Q1COLUMN, row 4", "the dictionary of column Q1COLUMN", "the statistics of column Q1COLUMN"},
	} {
		require.Subset(t, whereIs(t, out.Bytes(), word), want, word)
	}
	require.Empty(t, whereIs(t, out.Bytes(), "Q1NOWHERE"))
}

// Files that no Arrow library wrote have entries of their own, and columns of plain bytes.
func TestTextsOfAFileWithoutAnArrowSchema(t *testing.T) {
	entry := "Q1ENTRY"
	node := schema.NewByteArrayNode("c", parquet.Repetitions.Required, -1)
	root, err := schema.NewGroupNode("schema", parquet.Repetitions.Required, schema.FieldList{node}, -1)
	require.NoError(t, err)
	var out bytes.Buffer
	w := file.NewParquetWriter(&out, root, file.WithWriteMetadata(metadata.KeyValueMetadata{{Key: "note", Value: &entry}}))
	group := w.AppendRowGroup()
	column, err := group.NextColumn()
	require.NoError(t, err)
	_, err = column.(*file.ByteArrayColumnChunkWriter).WriteBatch([]parquet.ByteArray{[]byte("plain bytes")}, nil, nil)
	require.NoError(t, err)
	require.NoError(t, column.Close())
	require.NoError(t, w.Close())
	require.Contains(t, whereIs(t, out.Bytes(), "Q1ENTRY"), "the entry note of the file")
	require.Contains(t, whereIs(t, out.Bytes(), "plain bytes"), "column c, row 1", "bytes are texts too")
}

func TestTextsAndRowsOfNoParquet(t *testing.T) {
	require.Error(t, table.Texts([]byte("PAR1 no PAR1"), func(string, string) {}))
	_, err := table.Rows([]byte("PAR1 no PAR1"))
	require.Error(t, err)
	rec := wideTable(t, 7)
	data, err := table.Encode(rec)
	require.NoError(t, err)
	n, err := table.Rows(data)
	require.NoError(t, err)
	require.EqualValues(t, 7, n)
}
