package spots

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/adif"
	"fairlobe/stages/internal/delimited"
	"fairlobe/stages/internal/locator"
)

// field is a name on the left of columns, found in the file.
type field struct {
	Column
	at []int // indexes of its columns
}

// cells gives the field's text in one row; a value for every row is returned as it is.
func (f *field) cells(values []string) string {
	if f == nil {
		return ""
	}
	if f.Value != nil {
		return *f.Value
	}
	if len(f.at) == 1 {
		return strings.TrimSpace(values[f.at[0]])
	}
	parts := make([]string, len(f.at))
	for i, at := range f.at {
		parts[i] = strings.TrimSpace(values[at])
	}
	return strings.Join(parts, " ")
}

// shown is the column's own name, for messages about it.
func (f *field) shown() string {
	if f.Value != nil {
		return f.Name
	}
	return strings.Join(f.Columns, "+")
}

// parser turns rows of one file into reports.
type parser struct {
	fields map[string]*field
	layout delimited.TimeLayout
	// texts holds one copy of each short text: a cell is a piece of a large block of the file, and keeping it would
	// keep the block.
	texts map[string]string
}

func (p *parser) keep(s string) string {
	if kept, ok := p.texts[s]; ok {
		return kept
	}
	kept := strings.Clone(s)
	p.texts[kept] = kept
	return kept
}

func (f File) readTable(r io.Reader) (*content, error) {
	in, err := delimited.Open(r, delimited.Options{Delimiter: f.Form.Delimiter, Header: f.Form.Header})
	if err != nil {
		return nil, f.fault(1, err.Error(), "name the right file, or the right delimiter, in [[spots]]")
	}
	c := &content{}
	if in.Empty() {
		c.notes = append(c.notes, diag.Diag{Pos: diag.Pos{File: f.Name}, Severity: diag.Warning, Code: "empty_file", Msg: "the file is empty: no rows were read"})
		return c, nil
	}
	p, err := f.parser(in)
	if err != nil {
		return nil, err
	}
	for {
		line, err := in.Next()
		if errors.Is(err, io.EOF) {
			return c, nil
		}
		var bad *delimited.RowError
		if errors.As(err, &bad) {
			c.refuse(bad.Line, "", "", bad.Reason)
			continue
		}
		if err != nil {
			return nil, f.fault(0, err.Error(), "check the file, and fetch it again if it was cut")
		}
		report, refused := p.row(line.Fields)
		if refused != nil {
			refused.line = line.Line
			c.refused = append(c.refused, *refused)
			continue
		}
		report.line = line.Line
		c.rows = append(c.rows, report)
	}
}

// parser looks up all columns at once, so that all that are missing are told together.
func (f File) parser(in *delimited.Reader) (*parser, error) {
	layout, err := delimited.ParseTimeLayout(f.Form.TimeLayout)
	if err != nil {
		return nil, f.fault(0, err.Error(), "correct time_layout in [[spots]]")
	}
	p := &parser{fields: map[string]*field{}, layout: layout, texts: map[string]string{}}
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
	return p, faults.Err()
}

// row parses one row. All cells at fault are told in one refusal, under the first of them.
func (p *parser) row(values []string) (row, *refusal) {
	var out row
	var refused *refusal
	complain := func(f *field, value string, err error) {
		if err == nil {
			return
		}
		if refused == nil {
			refused = &refusal{column: f.shown(), value: value, reason: err.Error()}
			return
		}
		refused.reason += "; " + f.shown() + ": " + err.Error()
	}
	get := func(name string, parse func(text string, f *field) error) {
		f := p.fields[name]
		if text := f.cells(values); text != "" {
			complain(f, text, parse(text, f))
		} else if slices.Contains([]string{"time", "transmitter", "receiver", "snr_db"}, name) {
			complain(f, "", errors.New("the cell is empty"))
		}
	}
	get("time", func(s string, _ *field) (err error) { out.at, out.hasSeconds, err = p.layout.Parse(s); return err })
	get("transmitter", func(s string, _ *field) (err error) { out.tx, err = callSign(s); return err })
	get("receiver", func(s string, _ *field) (err error) { out.rx, err = callSign(s); return err })
	get("snr_db", func(s string, _ *field) (err error) { out.snrDB, err = pointer(delimited.SNR(s)); return err })
	get("frequency_mhz", func(s string, f *field) (err error) {
		out.frequencyMHz, err = pointer(delimited.FrequencyMHz(s, cmpOr(f.Unit, "MHz")))
		return err
	})
	get("band", func(s string, _ *field) (err error) { out.band, err = bandName(s); return err })
	get("power_w", func(s string, f *field) (err error) {
		out.powerW, err = pointer(delimited.PowerW(s, cmpOr(f.Unit, "W")))
		return err
	})
	get("slot_s", func(s string, _ *field) (err error) { out.slotS, err = pointer(delimited.Float(s)); return err })
	get("mode", func(s string, _ *field) error { out.mode = strings.ToUpper(s); return nil })
	get("submode", func(s string, _ *field) error { out.submode = strings.ToUpper(s); return nil })
	get("transmitter_locator", func(s string, _ *field) (err error) { out.txAt.locator, err = canonical(s); return err })
	get("receiver_locator", func(s string, _ *field) (err error) { out.rxAt.locator, err = canonical(s); return err })
	get("transmitter_position", func(s string, _ *field) error { return position(s, &out.txAt) })
	get("receiver_position", func(s string, _ *field) error { return position(s, &out.rxAt) })
	if refused == nil {
		complain(p.bandField(), "", out.settleBand())
	} else {
		refused.value = strings.Clone(refused.value)
	}
	for _, text := range []*string{&out.tx, &out.rx, &out.band, &out.mode, &out.submode, &out.txAt.locator, &out.rxAt.locator} {
		*text = p.keep(*text)
	}
	return out, refused
}

func (p *parser) bandField() *field {
	if f := p.fields["frequency_mhz"]; f != nil {
		return f
	}
	return p.fields["band"]
}

// settleBand holds band and frequency against each other; the band follows from the frequency where it is not told.
func (r *row) settleBand() error {
	if r.frequencyMHz == nil {
		if r.band == "" {
			return errors.New("the row tells neither band nor frequency")
		}
		return nil
	}
	band, ok := adif.BandOf(*r.frequencyMHz)
	switch {
	case !ok:
		return fmt.Errorf("the frequency %g MHz lies in no amateur band; check the unit of the column", *r.frequencyMHz)
	case r.band != "" && r.band != band:
		return fmt.Errorf("the frequency %g MHz lies in %s, not in %s", *r.frequencyMHz, band, r.band)
	}
	r.band = band
	return nil
}

func pointer[T any](v T, err error) (*T, error) {
	if err != nil {
		return nil, err
	}
	return &v, nil
}

func cmpOr(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// callSign checks a call: letters, digits and strokes, with at least one letter and one digit.
func callSign(s string) (string, error) {
	up := strings.ToUpper(s)
	letters, digits := 0, 0
	for _, r := range up {
		switch {
		case r >= 'A' && r <= 'Z':
			letters++
		case r >= '0' && r <= '9':
			digits++
		case r != '/':
			return "", fmt.Errorf("%q is not a call sign; it may hold letters, digits and strokes", s)
		}
	}
	if letters == 0 || digits == 0 || len(up) > 20 || strings.HasPrefix(up, "/") || strings.HasSuffix(up, "/") {
		return "", fmt.Errorf("%q is not a call sign; it has a letter, a digit, and at most 20 characters", s)
	}
	return up, nil
}

func bandName(s string) (string, error) {
	low := strings.ToLower(s)
	if _, _, ok := adif.BandEdges(low); !ok {
		return "", fmt.Errorf("%q is not a band; write it as in ADIF, for example 20m", s)
	}
	return low, nil
}

func canonical(s string) (string, error) {
	cell, err := locator.Decode(s)
	return cell.Text, err
}

// position reads latitude and longitude from two cells.
func position(s string, to *place) error {
	parts := strings.Fields(s)
	if len(parts) != 2 {
		return errors.New("a position needs latitude and longitude")
	}
	lat, err := delimited.Float(parts[0])
	if err != nil {
		return err
	}
	lon, err := delimited.Float(parts[1])
	if err != nil {
		return err
	}
	if lat < -90 || lat > 90 || lon < -180 || lon > 180 {
		return fmt.Errorf("latitude %g, longitude %g is no place; latitude goes to 90, longitude to 180 degrees", lat, lon)
	}
	to.lat, to.lon = &lat, &lon
	return nil
}
