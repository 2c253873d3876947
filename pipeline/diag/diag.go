// Package diag holds findings about input files: where, what, and how to mend it.
//
// A finding prints as
//
//	ridge-wire.toml:14:17: dwell_min = 0 is not a length of time
//	    mend: give the minutes one arm stays connected, for example dwell_min = 6
//
// Messages begin in lower case, carry no full stop and no "failed to"; the mend works when pasted.
// The package prints nothing and ends nothing: callers decide.
package diag

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Pos is a place in a file. Line and Column count from 1, Column in bytes; 0 means unknown or not
// applicable, and is left out when the place is printed.
type Pos struct {
	File   string `json:"file"`
	Line   int    `json:"line,omitempty"`
	Column int    `json:"column,omitempty"`
}

// String gives file, file:line or file:line:column, as far as known.
func (p Pos) String() string {
	switch {
	case p.Line == 0:
		return p.File
	case p.Column == 0:
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	default:
		return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
	}
}

// Severity tells whether work can go on.
type Severity int

const (
	// Fault stops the command: the input can't be used as it is.
	Fault Severity = iota
	// Warning is shown, and the work goes on.
	Warning
)

// Diag is one finding.
type Diag struct {
	Pos      Pos      `json:"pos"`
	Severity Severity `json:"severity"`
	// Code is stable and lower case ("late_switch"); it may be empty for faults of a file's form.
	Code string `json:"code,omitempty"`
	Msg  string `json:"msg"`
	// Mend says what to write or do instead.
	Mend string `json:"mend,omitempty"`
	// Related are the other places that Msg speaks of.
	Related []Pos `json:"related,omitempty"`
}

// String gives the finding as the user reads it, one to three lines, without a final line feed.
func (d Diag) String() string {
	var b strings.Builder
	if d.Pos.File != "" {
		b.WriteString(d.Pos.String())
		b.WriteString(": ")
	}
	if d.Severity == Warning {
		b.WriteString("warning: ")
	}
	b.WriteString(d.Msg)
	for _, r := range d.Related {
		b.WriteString("\n    see: ")
		b.WriteString(r.String())
	}
	if d.Mend != "" {
		b.WriteString("\n    mend: ")
		b.WriteString(d.Mend)
	}
	return b.String()
}

// List is a set of findings. As an error it prints every one of them.
type List []Diag

// Error gives all findings, each on its own lines.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, d := range l {
		lines[i] = d.String()
	}
	return strings.Join(lines, "\n")
}

// Sort orders by file, line, column, severity, message, and drops findings that print alike.
func (l List) Sort() List {
	out := slices.Clone(l)
	slices.SortStableFunc(out, func(a, b Diag) int {
		return cmp.Or(
			cmp.Compare(a.Pos.File, b.Pos.File),
			cmp.Compare(a.Pos.Line, b.Pos.Line),
			cmp.Compare(a.Pos.Column, b.Pos.Column),
			cmp.Compare(a.Severity, b.Severity),
			cmp.Compare(a.Msg, b.Msg),
		)
	})
	return slices.CompactFunc(out, func(a, b Diag) bool { return a.String() == b.String() })
}

// Faults gives the findings that stop the work.
func (l List) Faults() List { return l.only(Fault) }

// Warnings gives the findings that do not stop the work.
func (l List) Warnings() List { return l.only(Warning) }

func (l List) only(s Severity) List {
	var out List
	for _, d := range l {
		if d.Severity == s {
			out = append(out, d)
		}
	}
	return out
}

// Err gives the sorted faults as an error, or nil if there is none.
func (l List) Err() error {
	faults := l.Faults()
	if len(faults) == 0 {
		return nil
	}
	return faults.Sort()
}
