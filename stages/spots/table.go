package spots

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/delimited"
)

func (f File) readTable(r io.Reader, c *content) error {
	in, err := delimited.Open(r, delimited.Options{Delimiter: f.Form.Delimiter, Header: f.Form.Header})
	var other *delimited.FileError
	if errors.As(err, &other) {
		return f.fault(1, "the file "+other.What+", not delimited text", other.Mend)
	}
	if err != nil {
		return f.fault(1, err.Error(), "name the right file, or the right delimiter, in [[spots]]")
	}
	if in.Empty() {
		c.notes = append(c.notes, diag.Diag{Pos: diag.Pos{File: f.Name}, Severity: diag.Warning, Code: "empty_file",
			Msg: "the file is empty: no rows were read", Mend: "fetch it again if it should hold reports"})
		return nil
	}
	p, err := f.parser(in)
	if err != nil {
		return err
	}
	last := 0 // line of the last row
	for {
		line, err := in.Next()
		if errors.Is(err, io.EOF) {
			if in.Unended() && last > 0 && c.refusedLast == last {
				c.cutAt(last)
			}
			return nil
		}
		var bad *delimited.RowError
		if errors.As(err, &bad) {
			last = bad.Line
			c.refuse(bad.Line, "", "", bad.Reason)
			continue
		}
		if err != nil {
			return f.fault(0, err.Error(), "check the file, and fetch it again if it was cut")
		}
		last = line.Line
		report, refused := p.row(line.Fields)
		if refused != nil {
			c.refuse(line.Line, refused.column, refused.value, refused.reason)
			continue
		}
		report.line = line.Line
		appendRow(c.rows, &report)
	}
}

// field is a name on the left of columns, found in the file.
type field struct {
	Column
	at []int // indexes of its columns
}

// cells gives the field's text in one row; a value for every row is returned as it is. Two columns are joined by a
// blank, as a layout of time wants them; "" if both are empty.
func (f *field) cells(values []string) string {
	switch {
	case f == nil:
		return ""
	case f.Value != nil:
		return *f.Value
	case len(f.at) == 1:
		return strings.TrimSpace(values[f.at[0]])
	}
	parts := make([]string, len(f.at))
	for i, at := range f.at {
		parts[i] = strings.TrimSpace(values[at])
	}
	return strings.TrimSpace(strings.Join(parts, " "))
}

// shown is the column's own name, for messages about it.
func (f *field) shown() string {
	switch {
	case f == nil:
		return ""
	case f.Value != nil:
		return f.Name
	}
	return strings.Join(f.Columns, "+")
}

// parser turns rows of one file into reports.
type parser struct {
	fields map[string]*field
	layout delimited.TimeLayout
}

// parser looks up all columns at once, so that all that are missing are told together.
func (f File) parser(in *delimited.Reader) (*parser, error) {
	layout, err := delimited.ParseTimeLayout(f.Form.TimeLayout)
	if err != nil {
		return nil, f.fault(0, err.Error(), "correct time_layout in [[spots]]")
	}
	p := &parser{fields: map[string]*field{}, layout: layout}
	var faults diag.List
	for _, col := range f.Form.Columns {
		found := &field{Column: col}
		for _, name := range col.Columns {
			at, err := in.Column(name)
			if err != nil {
				faults = append(faults, diag.Diag{Pos: diag.Pos{File: f.Name, Line: 1}, Msg: err.Error(),
					Mend: fmt.Sprintf("in [[spots]], let columns.%s name a column of the file", col.Name)})
				continue
			}
			found.at = append(found.at, at)
		}
		p.fields[col.Name] = found
	}
	if other, ok := in.OtherDelimiter(); ok && len(faults) > 0 { // one fault, not one for each column
		return nil, f.fault(1, fmt.Sprintf("the columns of the file are parted by %q, not by %q", string(other), string(rune(f.Form.Delimiter))),
			fmt.Sprintf("in [[spots]], write delimiter = %q", string(other)))
	}
	return p, faults.Err()
}

// reading is one row while it is parsed. The first cell at fault is told with its reason, the others by their columns.
type reading struct {
	*parser
	values  []string
	refused *refusal
	also    []string // further columns at fault
}

func (p *parser) row(values []string) (row, *refusal) {
	out := emptyRow()
	r := &reading{parser: p, values: values}
	r.need("time", func(s string, _ *field) (err error) { out.at, out.hasSeconds, err = p.layout.Parse(s); return err })
	r.need("transmitter", func(s string, _ *field) (err error) { out.tx, err = callSign(s); return err })
	r.need("receiver", func(s string, _ *field) (err error) { out.rx, err = callSign(s); return err })
	r.need("snr_db", func(s string, _ *field) (err error) { out.snrDB, err = delimited.SNR(s); return err })
	r.may("frequency_mhz", func(s string, f *field) (err error) {
		out.frequencyMHz, err = delimited.FrequencyMHz(s, unitOr(f, "MHz"))
		return err
	})
	r.may("band", func(s string, _ *field) (err error) { out.band, err = bandName(s); return err })
	r.may("power_w", func(s string, f *field) (err error) {
		out.powerW, err = delimited.PowerW(s, unitOr(f, "W"))
		return err
	})
	r.may("slot_s", func(s string, _ *field) (err error) { out.slotS, err = slotLength(s); return err })
	r.may("mode", func(s string, _ *field) (err error) { out.mode, err = modeName(s); return err })
	r.may("submode", func(s string, _ *field) (err error) { out.submode, err = modeName(s); return err })
	r.may("transmitter_locator", func(s string, _ *field) (err error) { out.txAt.locator, err = canonical(s); return err })
	r.may("receiver_locator", func(s string, _ *field) (err error) { out.rxAt.locator, err = canonical(s); return err })
	r.may("transmitter_position", func(_ string, f *field) error { return out.txAt.position(f, values) })
	r.may("receiver_position", func(_ string, f *field) error { return out.rxAt.position(f, values) })
	if r.refused == nil {
		f := r.bandField()
		r.complain(f, f.cells(values), out.settleBand())
	}
	if len(r.also) > 0 {
		r.refused.reason += "; also at fault: " + strings.Join(r.also, ", ")
	}
	return out, r.refused
}

// may parses a cell that may be empty, need one that may not.
func (r *reading) may(name string, parse func(text string, f *field) error) {
	f := r.fields[name]
	if text := f.cells(r.values); text != "" {
		r.complain(f, text, parse(text, f))
	}
}

func (r *reading) need(name string, parse func(text string, f *field) error) {
	f := r.fields[name]
	text := f.cells(r.values)
	if text == "" {
		r.complain(f, "", errors.New("the cell is empty"))
		return
	}
	r.complain(f, text, parse(text, f))
}

func (r *reading) complain(f *field, value string, err error) {
	switch {
	case err == nil:
	case r.refused == nil:
		r.refused = &refusal{column: f.shown(), value: value, reason: err.Error()}
	default:
		r.also = append(r.also, f.shown())
	}
}

func (r *reading) bandField() *field {
	if f := r.fields["frequency_mhz"]; f.cells(r.values) != "" {
		return f
	}
	return r.fields["band"]
}

func unitOr(f *field, otherwise string) string {
	if f.Unit == "" {
		return otherwise
	}
	return f.Unit
}
