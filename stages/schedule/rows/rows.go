// Package rows reads small tables of comma-separated text in which every fault has its place.
//
// It takes RFC 4180 text in UTF-8 with one fixed header line; lines may end in CR LF or LF, a byte
// order mark at the start is skipped, blank lines are skipped, and blanks around a value do not
// count. A broken line becomes a finding and reading goes on with the next line, so that a user sees
// all faults at once.
//
// Limits: MaxBytes of text, MaxRows lines of data, and MaxFaults findings are told one by one; what
// lies beyond is told in words. The package knows nothing of what the columns mean.
//
// Source: Shafranovich, Common Format and MIME Type for CSV Files, RFC 4180, 2005.
package rows

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"fairlobe/pipeline/diag"
)

// The limits of one file.
const (
	MaxBytes  = 32 << 20
	MaxRows   = 50_000
	MaxFaults = 100
)

// Row is one line of data, with as many values as the header has columns.
type Row struct {
	file   string
	line   int
	column []int
	values []string
}

// Value gives the value of a column, counted from 0, without blanks around it.
func (r Row) Value(column int) string { return r.values[column] }

// Pos gives the place of the value in a column, counted from 0.
func (r Row) Pos(column int) diag.Pos {
	return diag.Pos{File: r.file, Line: r.line, Column: r.column[column]}
}

// Line gives the line of the row, from 1.
func (r Row) Line() int { return r.line }

// Read reads all rows of r. The file's name is used in findings only. Rows that are broken are left
// out and stand in the list, which holds faults alone.
func Read(r io.Reader, file string, header []string) ([]Row, diag.List) {
	text, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, diag.List{{Pos: diag.Pos{File: file}, Msg: fmt.Sprintf("reading: %v", err)}}
	}
	if len(text) > MaxBytes {
		return nil, diag.List{{
			Pos:  diag.Pos{File: file},
			Msg:  fmt.Sprintf("more than %d MiB, the limit of such a file", MaxBytes>>20),
			Mend: "name the file that was meant",
		}}
	}
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	in.FieldsPerRecord = -1
	if list := readHeader(in, file, header); len(list) > 0 {
		return nil, list
	}
	return readRows(in, file, header)
}

func readHeader(in *csv.Reader, file string, header []string) diag.List {
	want := strings.Join(header, ",")
	names, err := in.Read()
	for i := range names {
		names[i] = strings.TrimSpace(names[i])
	}
	switch {
	case errors.Is(err, io.EOF):
		return diag.List{{
			Pos:  diag.Pos{File: file, Line: 1, Column: 1},
			Msg:  "the file is empty",
			Mend: "begin it with the line " + want,
		}}
	case err != nil:
		return diag.List{lineFault(file, err)}
	case slices.Equal(names, header):
		return nil
	}
	line, column := in.FieldPos(0)
	fault := diag.Diag{
		Pos:  diag.Pos{File: file, Line: line, Column: column},
		Msg:  fmt.Sprintf("the first line is %s", Quote(strings.Join(names, ","))),
		Mend: "begin the file with the line " + want,
	}
	switch first := strings.Join(names, ","); {
	case strings.HasPrefix(first, "\xff\xfe"), strings.HasPrefix(first, "\xfe\xff"), strings.Contains(first, "\x00"):
		fault.Msg, fault.Mend = "the file is UTF-16 or binary", "save it as text in UTF-8, with commas"
	case strings.NewReplacer(";", ",", "\t", ",").Replace(first) == want: // as spreadsheets save it
		fault.Msg, fault.Mend = fmt.Sprintf("the columns are parted by %q", first[strings.IndexAny(first, ";\t"):][:1]), "save the file with commas between them"
	}
	return diag.List{fault}
}

func readRows(in *csv.Reader, file string, header []string) ([]Row, diag.List) {
	var out []Row
	var list diag.List
	for {
		values, err := in.Read()
		if errors.Is(err, io.EOF) {
			return out, list
		}
		if err != nil {
			list = append(list, lineFault(file, err))
			continue
		}
		row := newRow(in, file, values)
		if fault, bad := row.fault(header); bad {
			list = append(list, fault)
			continue
		}
		if len(out) == MaxRows {
			return out, append(list, diag.Diag{
				Pos:  diag.Pos{File: file, Line: row.line},
				Msg:  fmt.Sprintf("more than %d lines, the limit of such a file", MaxRows),
				Mend: "name the file that was meant",
			})
		}
		out = append(out, row)
	}
}

func newRow(in *csv.Reader, file string, values []string) Row {
	row := Row{file: file, values: values, column: make([]int, len(values))}
	for i := range values {
		line, column := in.FieldPos(i)
		if i == 0 {
			row.line = line
		}
		row.column[i] = column
		values[i] = strings.TrimSpace(values[i])
	}
	return row
}

func (r Row) fault(header []string) (diag.Diag, bool) {
	if n := len(r.values); n != len(header) {
		return diag.Diag{
			Pos:  diag.Pos{File: r.file, Line: r.line, Column: r.column[min(n, len(header))-1]},
			Msg:  fmt.Sprintf("columns in this line: %d, in the header: %d", n, len(header)),
			Mend: "give one value for each of " + strings.Join(header, ",") + "; what is not needed stays empty between its commas",
		}, true
	}
	for i, v := range r.values {
		if !utf8.ValidString(v) {
			return diag.Diag{Pos: r.Pos(i), Msg: header[i] + " is not UTF-8 text", Mend: "save the file as UTF-8"}, true
		}
	}
	return diag.Diag{}, false
}

func lineFault(file string, err error) diag.Diag {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return diag.Diag{Pos: diag.Pos{File: file}, Msg: fmt.Sprintf("reading: %v", err)}
	}
	pos := diag.Pos{File: file, Line: parse.Line, Column: parse.Column}
	if parse.StartLine != parse.Line { // never closed: the place to look is where it began
		pos.Line, pos.Column = parse.StartLine, 0
	}
	return diag.Diag{
		Pos:  pos,
		Msg:  "a quotation mark that does not fit",
		Mend: `put the whole value in quotation marks and double those inside it: "the ""big"" mast"`,
	}
}

// Cap shortens a list of findings to MaxFaults and says how many are not shown.
func Cap(list diag.List, file string) diag.List {
	if len(list) <= MaxFaults {
		return list
	}
	return append(list[:MaxFaults:MaxFaults], diag.Diag{
		Pos: diag.Pos{File: file},
		Msg: fmt.Sprintf("%d more faults of this file are not shown", len(list)-MaxFaults),
	})
}
