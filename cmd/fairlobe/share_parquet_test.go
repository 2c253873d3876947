package main

import (
	"bytes"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/stretchr/testify/require"
)

// withEntry writes a table once more with one more key-value entry in its footer.
func withEntry(t *testing.T, data []byte, key, value string) []byte {
	f, err := file.NewParquetReader(bytes.NewReader(data))
	require.NoError(t, err)
	r, err := pqarrow.NewFileReader(f, pqarrow.ArrowReadProperties{}, memory.NewGoAllocator())
	require.NoError(t, err)
	rows, err := r.ReadTable(t.Context())
	require.NoError(t, err)
	defer rows.Release()
	var out bytes.Buffer
	w, err := pqarrow.NewFileWriter(rows.Schema(), &out, parquet.NewWriterProperties(), pqarrow.NewArrowWriterProperties(pqarrow.WithStoreSchema()))
	require.NoError(t, err)
	require.NoError(t, w.AppendKeyValueMetadata(key, value))
	require.NoError(t, w.WriteTable(rows, 1024))
	require.NoError(t, w.Close())
	return out.Bytes()
}
