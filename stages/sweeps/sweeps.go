// Package sweeps reads what the antenna analyser said over frequency: Touchstone one-port files, and tables of
// readings with SWR, return loss, or both, or resistance and reactance.
//
// A displayed figure is an interval: displays round or cut, and which one is not known. Where a row shows more than one
// of SWR, return loss, and resistance with reactance, the intervals of SWR that follow must have something in common,
// and the SWR lies in that; a row in which they have nothing in common goes to quarantine. The numbers of a
// Touchstone file are no displays: they have the instrument's full resolution, so their last digit stands for far
// less than its error, and the SWR's interval is the value itself.
//
// SWR, return loss and mismatch loss refer to 50 ohm or to what the file's entry says (D. M. Pozar, Microwave Engineering,
// chapter 2; see package match). A Touchstone file with another reference is converted.
//
// A reading stands at the plane where it was made. If that was the radio and the feedline is declared, each reading
// stands a second time at the feedpoint, with the feedline removed by calculation: a line of real impedance whose
// loss grows with the square root of frequency (match.Line). From SWR or return loss alone, without a phase,
// that is possible only if the line has the impedance that they refer to. Either all readings of a file get their
// second row or none. Where more than everything would be reflected there is no SWR, and a warning: the declared loss
// or the reading is wrong.
package sweeps

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/delimited"
)

// Names of the stage's outputs.
const (
	TableSweeps  = "sweeps"
	TableRefused = "sweeps_refused"
)

// maxUnpacked bounds what a packed file may unpack to; a sweep is small.
const maxUnpacked = 1 << 30

// Column tells where a value comes from, as in package spots.
type Column struct {
	Name    string
	Columns []string
	Unit    string
	Value   *string
}

// File is one file of readings.
type File struct {
	Name   string
	Arm    string
	Plane  string // "radio" or "feedpoint"
	Format string // "touchstone" or "table"
	// Z0Ohm is what SWR and return loss refer to; 0 for 50 ohm.
	Z0Ohm float64
	// Feedline is removed from what was measured at the radio; nil if it is not known or has been removed.
	Feedline *Feedline

	// Of a table.
	Columns   []Column
	Delimiter byte
	Header    bool
}

// Feedline is the line between radio and feedpoint, as declared for the arm. LengthM and LossDBPer100m are 0 or more, the
// rest is above 0.
type Feedline struct {
	LengthM        float64
	LossDBPer100m  float64 // matched, at AtMHz
	AtMHz          float64
	VelocityFactor float64
	Z0Ohm          float64
}

func (f File) reference() float64 {
	if f.Z0Ohm > 0 {
		return f.Z0Ohm
	}
	return 50
}

// Params are the stage's parameters.
type Params struct {
	Files []File // sorted by name
}

// Stage makes the stage; paths holds the place of each file, in the order of Params.
func Stage(p Params, paths []string) pipeline.Stage {
	var sources []pipeline.Source
	for i, f := range p.Files {
		s := pipeline.Source{Name: f.Name, Path: paths[i]}
		if !slices.Contains(sources, s) {
			sources = append(sources, s)
		}
	}
	return pipeline.Stage{
		Name: "sweeps", Version: 4, Sources: sources, Params: p,
		Makes: []pipeline.Output{{Name: TableSweeps, Schema: datasets.Sweeps()}, {Name: TableRefused, Schema: datasets.Quarantine()}},
		Run:   func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) { return p.run(in) },
	}
}

// content is what was found in the files.
type content struct {
	readings []reading
	refused  []refusal
	notes    diag.List
}

type refusal struct {
	file, column, value, reason string
	line                        int
}

func (r refusal) compare(o refusal) int {
	return cmp.Or(cmp.Compare(r.file, o.file), cmp.Compare(r.line, o.line), cmp.Compare(r.column, o.column),
		cmp.Compare(r.reason, o.reason), cmp.Compare(r.value, o.value))
}

func (p Params) run(in *pipeline.Input) (*pipeline.Result, error) {
	c := &content{}
	var faults diag.List
	for _, f := range p.Files {
		err := f.read(in, c)
		var some diag.List
		if errors.As(err, &some) {
			faults = append(faults, some...)
		} else if err != nil {
			return nil, err
		}
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return &pipeline.Result{
		Tables: map[string]arrow.Record{TableSweeps: c.encodeReadings(), TableRefused: c.encodeRefused()},
		Notes:  c.notes.Sort(),
	}, nil
}

func (c *content) encodeReadings() arrow.Record {
	slices.SortStableFunc(c.readings, func(a, b reading) int {
		return cmp.Or(cmp.Compare(a.file.Arm, b.file.Arm), cmp.Compare(a.file.Name, b.file.Name), cmp.Compare(a.plane, b.plane),
			cmp.Compare(a.mhz, b.mhz), cmp.Compare(a.line, b.line))
	})
	b := table.NewBuilder(datasets.Sweeps())
	for _, r := range c.readings {
		b.Append(r.file.Arm, r.file.Name, r.plane, r.measured, r.mhz, kept(r.r), kept(r.x), r.file.reference(),
			kept(r.swr), kept(r.low), kept(r.high), kept(r.returnLossDB), kept(r.mismatchLossDB), kept(r.lineLossDB), r.line)
	}
	return b.Record()
}

// kept gives a figure as it is stored: ten digits, and nothing below 1e-9. No analyser shows more, and the last bits of
// a calculation differ between processors.
func kept(v *float64) *float64 {
	if v == nil {
		return nil
	}
	const digits, least = 10, 1e-9
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(*v, 'g', digits, 64), 64)
	if err != nil || math.Abs(rounded) < least {
		rounded = 0
	}
	return &rounded
}

func (c *content) encodeRefused() arrow.Record {
	slices.SortStableFunc(c.refused, refusal.compare)
	b := table.NewBuilder(datasets.Quarantine())
	for _, r := range c.refused {
		b.Append(r.file, r.line, orNull(r.column), orNull(r.value), r.reason)
	}
	return b.Record()
}

func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func (f File) fault(line int, msg, mend string) error {
	return diag.List{{Pos: diag.Pos{File: f.Name, Line: line}, Msg: msg, Mend: mend}}
}

func (f File) read(in *pipeline.Input, c *content) error {
	src, err := in.Open(f.Name)
	if err != nil {
		return err
	}
	defer src.Close()
	plain, err := delimited.Gunzip(src, maxUnpacked)
	if err != nil {
		return f.fault(0, err.Error(), "fetch or pack the file again")
	}
	first := len(c.readings)
	switch f.Format {
	case "touchstone":
		err = f.readTouchstone(plain, c)
	case "table":
		err = f.readTable(plain, c)
	default:
		err = f.fault(0, fmt.Sprintf("sweeps in the format %q can't be read", f.Format), `give format = "touchstone" or "table"`)
	}
	if err != nil {
		return err
	}
	f.removeFeedline(c, first)
	return nil
}

func (f File) warn(line int, code, msg, mend string) diag.Diag {
	return diag.Diag{Pos: diag.Pos{File: f.Name, Line: line}, Severity: diag.Warning, Code: code, Msg: msg, Mend: mend}
}

func (f File) emptyFile() diag.Diag {
	return f.warn(0, "empty_file", "the file is empty: no readings were read", "save the sweep again if it should hold some")
}

func (f File) readTable(plain io.Reader, c *content) error {
	rows, err := delimited.Open(plain, delimited.Options{Delimiter: f.Delimiter, Header: f.Header})
	var other *delimited.FileError
	if errors.As(err, &other) {
		return f.fault(1, "the file "+other.What+", not delimited text", other.Mend)
	}
	if err != nil {
		return f.fault(1, err.Error(), "name the right file, or the right delimiter, in [[sweeps]]")
	}
	if rows.Empty() {
		c.notes = append(c.notes, f.emptyFile())
		return nil
	}
	cells, err := f.cells(rows)
	if err != nil {
		return err
	}
	return f.rows(rows, cells, c)
}

// cells finds the columns of the names on the left.
func (f File) cells(rows *delimited.Reader) (map[string]cell, error) {
	out := map[string]cell{}
	var faults diag.List
	for _, c := range f.Columns {
		if len(c.Columns) == 0 {
			out[c.Name] = cell{unit: c.Unit, value: c.Value}
			continue
		}
		i, err := rows.Column(c.Columns[0])
		if err != nil {
			faults = append(faults, diag.Diag{Pos: diag.Pos{File: f.Name, Line: 1}, Msg: err.Error(),
				Mend: fmt.Sprintf("in [[sweeps]], let columns.%s name a column of the file", c.Name)})
			continue
		}
		out[c.Name] = cell{at: i, unit: c.Unit}
	}
	if other, ok := rows.OtherDelimiter(); ok && len(faults) > 0 { // one fault, not one for each column
		return nil, f.fault(1, fmt.Sprintf("the columns of the file are parted by %q, not by %q", string(other), string(rune(f.Delimiter))),
			fmt.Sprintf("in [[sweeps]], write delimiter = %q", string(other)))
	}
	return out, faults.Err()
}

func (f File) rows(rows *delimited.Reader, cells map[string]cell, c *content) error {
	for {
		row, err := rows.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		var bad *delimited.RowError
		if errors.As(err, &bad) {
			c.refused = append(c.refused, refusal{file: f.Name, line: bad.Line, reason: clean(bad.Reason)})
			continue
		}
		if err != nil {
			return f.fault(0, err.Error(), "check the file, and fetch it again if it was cut")
		}
		r := reading{file: &f, line: row.Line}
		if bad := r.parse(row.Fields, cells); bad != nil {
			c.refused = append(c.refused, refusal{f.Name, bad.column, clean(bad.value), clean(bad.err.Error()), row.Line})
			continue
		}
		c.readings = append(c.readings, r)
	}
}
