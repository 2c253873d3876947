package adif

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
)

// Options changes what Read hands out. The zero value is the fastest.
type Options struct {
	// KeepFields fills Record.Fields, which costs about as much again as the reading itself.
	KeepFields bool
}

// Read reads an ADI file and hands out its records, with their fields, one by one in file order. See Options.Read.
func Read(r io.Reader, size int64, each func(*Record) error) (*Summary, error) {
	return Options{KeepFields: true}.Read(r, size, each)
}

// Read reads an ADI file and hands out its records one by one in file order, refused ones included. A record stays
// valid after each returns. The size is that of the file in bytes if it is known, else negative; it only saves
// copying, and a file over MaxFileBytes is refused before it is read.
//
// Faults of the file are findings, not errors. The error is that of the reader r, of each (which ends the reading), or
// says that the file is over the limit.
func (o Options) Read(r io.Reader, size int64, each func(*Record) error) (*Summary, error) {
	data, err := readAll(r, size, MaxFileBytes)
	if err != nil {
		return nil, err
	}
	p := &parser{data: data, lines: lines{data: data, line: 1}, keep: o.KeepFields, seen: make(map[string]string)}
	if !p.open() {
		return &p.sum, nil
	}
	for {
		rec := p.record()
		if rec == nil {
			return &p.sum, nil
		}
		if err := each(rec); err != nil {
			return &p.sum, err
		}
	}
}

// readAll reads a file of up to limit bytes.
func readAll(r io.Reader, size, limit int64) ([]byte, error) {
	if size > limit {
		return nil, tooLarge(limit)
	}
	var buf bytes.Buffer
	if size > 0 && size < math.MaxInt-bytes.MinRead {
		// ReadFrom wants bytes.MinRead free bytes to see the end of the file without growing.
		buf.Grow(int(size) + bytes.MinRead)
	}
	n, err := buf.ReadFrom(io.LimitReader(r, limit+1))
	if err != nil {
		return nil, fmt.Errorf("reading ADI text after byte %d: %w", n, err)
	}
	if n > limit {
		return nil, tooLarge(limit)
	}
	return buf.Bytes(), nil
}

// ErrTooLarge is the error of a file over MaxFileBytes.
var ErrTooLarge = errors.New("the ADI file is too large")

func tooLarge(limit int64) error {
	return fmt.Errorf("%w: at most %d bytes are read; split it at the end of a record", ErrTooLarge, limit)
}

// parser holds one file and the state of reading it.
type parser struct {
	data  []byte
	pos   int // next byte to read
	lines lines
	keep  bool
	sum   Summary

	seen map[string]string // one copy of each call, locator and name: they come again and again

	// The record being read, and its tag.
	tag     tag
	rec     *recordAlloc
	begun   bool
	first   int // offset of its first tag
	refused bool
	fields  []field
	slot    [numFields]int // 1 + index in fields, 0 for an absent field
}

// recordAlloc is a record with room for what it points to, so that it takes one allocation.
type recordAlloc struct {
	Record
	spots    [2]Spot
	mhz, pwr [2]float64
}

// maxSeen bounds the table of strings; a file of ever new calls starts it afresh.
const maxSeen = 1 << 17

// text gives the bytes as a string that does not hold the file in memory.
func (p *parser) text(b []byte) string {
	if s, ok := p.seen[string(b)]; ok {
		return s
	}
	if len(p.seen) >= maxSeen {
		clear(p.seen)
	}
	s := string(b)
	p.seen[s] = s
	return s
}

// lines tells the line of an offset; asking in rising order costs one pass over the file.
type lines struct {
	data      []byte
	off, line int
}

var lineFeed = []byte{'\n'}

func (l *lines) at(off int) int {
	if off < l.off {
		return l.line - bytes.Count(l.data[off:l.off], lineFeed)
	}
	l.line += bytes.Count(l.data[l.off:off], lineFeed)
	l.off = off
	return l.line
}
