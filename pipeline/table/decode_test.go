package table_test

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
)

// The library panics, in goroutines of its own too, and asks for hundreds of gigabytes on some of these.
func TestDamagedFilesAreErrorsAtMost(t *testing.T) {
	data, err := table.Encode(wideTable(t, 20))
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(1, 1))
	refused := 0
	for range 600 {
		damaged := bytes.Clone(data)
		for range 1 + rng.IntN(3) {
			damaged[rng.IntN(len(damaged))] = byte(rng.Uint32())
		}
		rec, err := table.Decode(memory.NewGoAllocator(), damaged, wide())
		if err != nil {
			refused++
			continue
		}
		require.NoError(t, table.Validate(rec, wide()))
	}
	assert.Positive(t, refused)
	t.Logf("%d of 600 damaged files were refused", refused)
}

func FuzzDecode(f *testing.F) {
	data, err := table.Encode(wideTable(f, 20))
	require.NoError(f, err)
	f.Add(data)
	f.Add(data[:len(data)-9])
	f.Add([]byte("PAR1PAR1"))
	f.Fuzz(func(t *testing.T, data []byte) {
		rec, err := table.Decode(memory.NewGoAllocator(), data, wide())
		if err != nil {
			return
		}
		require.NoError(t, table.Validate(rec, wide()), "what is read is a table of the schema")
	})
}

func BenchmarkEncode(b *testing.B) {
	rec := wideTable(b, 100_000)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := table.Encode(rec); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(100_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkDecode(b *testing.B) {
	data, err := table.Encode(wideTable(b, 100_000))
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := table.Decode(memory.NewGoAllocator(), data, wide()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(100_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkDigest(b *testing.B) {
	rec := wideTable(b, 100_000)
	b.ReportAllocs()
	for b.Loop() {
		table.Digest(rec)
	}
	b.ReportMetric(100_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkEncodeSmall(b *testing.B) {
	rec := wideTable(b, 10)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := table.Encode(rec); err != nil {
			b.Fatal(err)
		}
	}
}

// What a schema says of itself stands in the file's notes.
func TestNote(t *testing.T) {
	md := arrow.MetadataFrom(map[string]string{"table": "x", "version": "3"})
	data, err := table.Encode(table.NewBuilder(arrow.NewSchema([]arrow.Field{{Name: "a", Type: arrow.PrimitiveTypes.Int64}}, &md)).Record())
	require.NoError(t, err)
	for key, want := range map[string]string{"version": "3", "table": "x", "no such key": ""} {
		got, err := table.Note(data, key)
		require.NoError(t, err)
		require.Equal(t, want, got, key)
	}
	for _, broken := range [][]byte{nil, []byte("PAR1"), data[:len(data)-9], []byte("PAR1\x00\x00\x00\x00\xff\xff\xff\x7fPAR1")} {
		_, err := table.Note(broken, "version")
		require.Error(t, err)
	}
}
