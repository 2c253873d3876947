package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"sync"

	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
)

// hashSources reads every source of the graph once. All that can't be read is told together.
func hashSources(ctx context.Context, g *Graph) (map[string]manifest.File, error) {
	known := map[string]manifest.File{}
	tried := map[string]bool{}
	var faults diag.List
	for _, s := range g.stages {
		for _, src := range s.Sources {
			if tried[src.Name] {
				continue
			}
			tried[src.Name] = true
			f, err := hashSource(ctx, src)
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			if err != nil {
				faults = append(faults, sourceFault(src, err))
				continue
			}
			known[src.Name] = f
		}
	}
	return known, faults.Err()
}

func hashSource(ctx context.Context, src Source) (manifest.File, error) {
	r, err := openSource(ctx, src)
	if err != nil {
		return manifest.File{}, err
	}
	defer r.file.Close()
	if err := r.drain(); err != nil {
		return manifest.File{}, err
	}
	return manifest.File{Name: src.Name, Bytes: r.bytes, SHA256: r.digest()}, nil
}

func sourceFault(src Source, err error) diag.Diag {
	d := diag.Diag{Pos: diag.Pos{File: src.Name}}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		d.Msg = "there is no such file"
		d.Mend = "put the file there, or correct its name where it is asked for"
	case errors.Is(err, fs.ErrPermission):
		d.Msg = "the file may not be read"
		d.Mend = "give yourself the right to read it"
	case errors.Is(err, errNotRegular):
		d.Msg = "this is a folder or a device, not a file"
		d.Mend = "name a file"
	default:
		d.Msg = fmt.Sprintf("the file can't be read: %v", err)
	}
	return d
}

var errNotRegular = errors.New("not a regular file")

// sourceReader hashes what goes through it and ends when the run is cancelled.
type sourceReader struct {
	ctx   context.Context
	src   Source
	file  *os.File
	hash  hash.Hash
	bytes int64
}

// openSource asks for a regular file first: opening a pipe would wait for its writer.
func openSource(ctx context.Context, src Source) (*sourceReader, error) {
	info, err := os.Stat(src.Path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errNotRegular
	}
	f, err := os.Open(src.Path)
	if err != nil {
		return nil, err
	}
	return &sourceReader{ctx: ctx, src: src, file: f, hash: sha256.New()}, nil
}

func (r *sourceReader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := r.file.Read(p)
	r.hash.Write(p[:n])
	r.bytes += int64(n)
	return n, err
}

// drain reads what is left, so that the digest is that of the whole file.
func (r *sourceReader) drain() error {
	_, err := io.Copy(io.Discard, struct{ io.Reader }{r})
	return err
}

func (r *sourceReader) digest() string { return hex.EncodeToString(r.hash.Sum(nil)) }

// openSources are the sources that one stage has opened. A stage may open them from several
// goroutines, but has closed them, or done with them, when it returns.
type openSources struct {
	mu      sync.Mutex
	readers []*stageReader
}

// stageReader is what a stage gets.
type stageReader struct {
	*sourceReader
	once   sync.Once
	failed error
}

// Close reads the rest of the file, for its digest, and closes it.
func (r *stageReader) Close() error {
	r.once.Do(func() { r.failed = errors.Join(r.drain(), r.file.Close()) })
	return r.failed
}

func (o *openSources) add(r *sourceReader) *stageReader {
	o.mu.Lock()
	defer o.mu.Unlock()
	sr := &stageReader{sourceReader: r}
	o.readers = append(o.readers, sr)
	return sr
}

// finish closes everything. changed tells which sources were not the files that the key speaks of,
// failed what could not be read.
func (o *openSources) finish(known map[string]manifest.File) (changed, failed error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	var faults diag.List
	for _, r := range o.readers {
		if err := r.Close(); err != nil {
			failed = errors.Join(failed, fmt.Errorf("reading %s: %w", r.src.Name, err))
			continue
		}
		if r.digest() != known[r.src.Name].SHA256 {
			faults = append(faults, diag.Diag{
				Pos:  diag.Pos{File: r.src.Name},
				Msg:  "the file changed while it was being read, so its result was thrown away",
				Mend: "run again when nothing writes to the file",
			})
		}
	}
	return faults.Err(), failed
}
