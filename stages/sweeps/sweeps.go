// Package sweeps reads what the antenna analyser said: tables of readings, with SWR, return loss, or both, or
// resistance and reactance, over frequency.
//
// A displayed figure is an interval: displays round or cut, and which one is not known. Where a row shows SWR and
// return loss, both intervals must have something in common, and the SWR lies in that; a row in which they have
// nothing in common goes to quarantine.
//
// SWR and return loss refer to 50 ohm.
package sweeps

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/delimited"
	"fairlobe/stages/internal/match"
)

// Names of the stage's outputs.
const (
	TableSweeps  = "sweeps"
	TableRefused = "sweeps_refused"
)

const (
	maxUnpacked = 1 << 30
	referenceR  = 50.0
)

// Column tells where a value comes from, as in package spots.
type Column struct {
	Name    string
	Columns []string
	Unit    string
	Value   *string
}

// File is one file of readings.
type File struct {
	Name      string
	Arm       string
	Plane     string // "radio" or "feedpoint"
	Format    string
	Columns   []Column
	Delimiter byte
	Header    bool
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
		Name: "sweeps", Version: 1, Sources: sources, Params: p,
		Makes: []pipeline.Output{{Name: TableSweeps, Schema: datasets.Sweeps()}, {Name: TableRefused, Schema: datasets.Quarantine()}},
		Run:   func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) { return p.run(in) },
	}
}

// reading is one row.
type reading struct {
	file             File
	line             int
	mhz              float64
	r, x             *float64
	swr, low, high   *float64
	returnLossDB     *float64
	mismatchLossInDB *float64
}

type refusal struct {
	file, column, value, reason string
	line                        int
}

func (p Params) run(in *pipeline.Input) (*pipeline.Result, error) {
	var all []reading
	var refused []refusal
	var faults diag.List
	for _, f := range p.Files {
		got, bad, err := f.read(in)
		var some diag.List
		if errors.As(err, &some) {
			faults = append(faults, some...)
			continue
		}
		if err != nil {
			return nil, err
		}
		all, refused = append(all, got...), append(refused, bad...)
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	slices.SortFunc(all, func(a, b reading) int {
		return cmp.Or(cmp.Compare(a.file.Arm, b.file.Arm), cmp.Compare(a.file.Name, b.file.Name), cmp.Compare(a.mhz, b.mhz), cmp.Compare(a.line, b.line))
	})
	rows := table.NewBuilder(datasets.Sweeps())
	for _, r := range all {
		rows.Append(r.file.Arm, r.file.Name, r.file.Plane, r.mhz, r.r, r.x, r.swr, r.low, r.high, r.returnLossDB, r.mismatchLossInDB, r.line)
	}
	out := table.NewBuilder(datasets.Quarantine())
	for _, r := range refused {
		out.Append(r.file, r.line, orNull(r.column), orNull(r.value), r.reason)
	}
	return &pipeline.Result{Tables: map[string]arrow.Record{TableSweeps: rows.Record(), TableRefused: out.Record()}}, nil
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

func (f File) read(in *pipeline.Input) ([]reading, []refusal, error) {
	if f.Format != "table" {
		return nil, nil, f.fault(0, fmt.Sprintf("sweeps in the format %q can't be read by this version", f.Format),
			`write the readings as delimited text and give format = "table" with columns frequency_mhz and swr or return_loss_db`)
	}
	src, err := in.Open(f.Name)
	if err != nil {
		return nil, nil, err
	}
	defer src.Close()
	plain, err := delimited.Gunzip(src, maxUnpacked)
	if err != nil {
		return nil, nil, f.fault(0, err.Error(), "fetch or pack the file again")
	}
	rows, err := delimited.Open(plain, delimited.Options{Delimiter: f.Delimiter, Header: f.Header})
	if err != nil {
		return nil, nil, f.fault(1, err.Error(), "name the right file, or the right delimiter, in [[sweeps]]")
	}
	if rows.Empty() {
		return nil, nil, nil
	}
	at, err := f.columns(rows)
	if err != nil {
		return nil, nil, err
	}
	return f.rows(rows, at)
}

func (f File) columns(rows *delimited.Reader) (map[string]int, error) {
	at := map[string]int{}
	var faults diag.List
	for _, c := range f.Columns {
		if len(c.Columns) == 0 {
			continue
		}
		i, err := rows.Column(c.Columns[0])
		if err != nil {
			faults = append(faults, diag.Diag{Pos: diag.Pos{File: f.Name, Line: 1}, Msg: err.Error(),
				Mend: fmt.Sprintf("in [[sweeps]], let columns.%s name a column of the file", c.Name)})
			continue
		}
		at[c.Name] = i
	}
	return at, faults.Err()
}

func (f File) rows(rows *delimited.Reader, at map[string]int) ([]reading, []refusal, error) {
	var out []reading
	var refused []refusal
	for {
		row, err := rows.Next()
		if errors.Is(err, io.EOF) {
			return out, refused, nil
		}
		var bad *delimited.RowError
		if errors.As(err, &bad) {
			refused = append(refused, refusal{file: f.Name, line: bad.Line, reason: bad.Reason})
			continue
		}
		if err != nil {
			return nil, nil, f.fault(0, err.Error(), "check the file, and fetch it again if it was cut")
		}
		r := reading{file: f, line: row.Line}
		if column, value, err := r.parse(row.Fields, at, f.Columns); err != nil {
			refused = append(refused, refusal{f.Name, column, value, err.Error(), row.Line})
			continue
		}
		out = append(out, r)
	}
}

// parse fills the reading from the cells; on an error it names the column and the text at fault.
func (r *reading) parse(cells []string, at map[string]int, columns []Column) (column, value string, err error) {
	get := func(name string) string {
		i, ok := at[name]
		if !ok {
			return ""
		}
		return strings.TrimSpace(cells[i])
	}
	unit := "MHz"
	for _, c := range columns {
		if c.Name == "frequency_mhz" && c.Unit != "" {
			unit = c.Unit
		}
	}
	text := get("frequency_mhz")
	if r.mhz, err = delimited.FrequencyMHz(text, unit); err != nil {
		return "frequency_mhz", text, err
	}
	shown := match.Interval{Lo: 1, Hi: math.Inf(1)}
	if text = get("swr"); text != "" {
		if r.swr, err = number(text, 1); err != nil {
			return "swr", text, err
		}
		shown = match.Displayed(*r.swr, delimited.DecimalPlaces(text))
	}
	if text = get("return_loss_db"); text != "" {
		if r.returnLossDB, err = number(text, 0); err != nil {
			return "return_loss_db", text, err
		}
		fromLoss := match.SWRFromReturnLoss(match.Displayed(*r.returnLossDB, delimited.DecimalPlaces(text)))
		both, ok := match.Intersect(shown, fromLoss)
		if !ok {
			return "return_loss_db", text, fmt.Errorf("an SWR of %s and a return loss of %s dB can't both be right; check the row", get("swr"), text)
		}
		shown = both
	}
	if err := r.impedance(get("r_ohm"), get("x_ohm"), &shown); err != nil {
		return "r_ohm", get("r_ohm"), err
	}
	return r.complete(shown)
}

func (r *reading) impedance(rText, xText string, shown *match.Interval) (err error) {
	if rText == "" || xText == "" {
		return nil
	}
	if r.r, err = number(rText, 0); err != nil {
		return err
	}
	if r.x, err = number(xText, math.Inf(-1)); err != nil {
		return err
	}
	if r.swr == nil && r.returnLossDB == nil {
		swr := match.SWR(match.Reflection(complex(*r.r, *r.x), referenceR))
		r.swr = &swr
		*shown = match.Interval{Lo: swr, Hi: swr}
	}
	return nil
}

// complete fills in what follows from what was shown.
func (r *reading) complete(shown match.Interval) (column, value string, err error) {
	switch {
	case r.swr == nil && r.returnLossDB == nil:
		return "", "", errors.New("the row shows neither SWR nor return loss nor resistance and reactance")
	case r.swr == nil:
		swr := match.ReturnLossDBToSWR(*r.returnLossDB)
		r.swr = finite(swr)
	case r.returnLossDB == nil:
		r.returnLossDB = finite(match.SWRToReturnLossDB(*r.swr))
	}
	low, high := max(shown.Lo, 1), shown.Hi
	r.low, r.high = finite(low), finite(high)
	if r.swr != nil {
		gamma := match.SWRToMagnitude(*r.swr)
		r.mismatchLossInDB = finite(match.MismatchLossDB(complex(gamma, 0)))
	}
	return "", "", nil
}

func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

func number(text string, least float64) (*float64, error) {
	v, err := delimited.Float(text)
	if err != nil {
		return nil, err
	}
	if v < least {
		return nil, fmt.Errorf("%s is too small; it is at least %g", text, least)
	}
	return &v, nil
}
