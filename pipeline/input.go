package pipeline

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// Input is all that a stage may look at.
type Input struct {
	// Mem is where the stage allocates its tables.
	Mem memory.Allocator

	ctx     context.Context
	tables  map[string]arrow.Record
	files   map[string][]byte
	sources []Source
	opened  openSources
}

// NewInput makes an input outside a run, for testing a stage: tables and files by name, and sources.
// The tables belong to the input until [Input.Release].
func NewInput(ctx context.Context, mem memory.Allocator, tables map[string]arrow.Record, files map[string][]byte, sources ...Source) *Input {
	return &Input{Mem: mem, ctx: ctx, tables: tables, files: files, sources: sources}
}

// Table gives the table that the stage needs. It belongs to the input: a stage that passes it on, or
// columns of it, must Retain them. It panics if the name is not among the stage's needs.
func (in *Input) Table(name string) arrow.Record {
	rec, ok := in.tables[name]
	if !ok {
		panic(fmt.Sprintf("pipeline: table %q is not among the needs of the stage", name))
	}
	return rec
}

// File gives a copy of the bytes that the stage needs. It panics if the name is not among the
// stage's needs.
func (in *Input) File(name string) []byte {
	data, ok := in.files[name]
	if !ok {
		panic(fmt.Sprintf("pipeline: file %q is not among the needs of the stage", name))
	}
	return bytes.Clone(data)
}

// Sources gives the stage's sources in their declared order.
func (in *Input) Sources() []Source { return slices.Clone(in.sources) }

// Open opens the source with the given name. It panics if the stage did not declare it. Reading stops
// with the context's error when the run is cancelled. Close reads what is left of the file.
func (in *Input) Open(source string) (io.ReadCloser, error) {
	i := slices.IndexFunc(in.sources, func(s Source) bool { return s.Name == source })
	if i < 0 {
		panic(fmt.Sprintf("pipeline: source %q is not among the sources of the stage", source))
	}
	r, err := openSource(in.ctx, in.sources[i])
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", source, err)
	}
	return in.opened.add(r), nil
}

// Release gives the tables back.
func (in *Input) Release() {
	for _, rec := range in.tables {
		rec.Release()
	}
	in.tables = nil
}
