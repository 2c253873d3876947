// Package touchstone reads one-port files in the format of the Touchstone File Format Specification, versions 1.1 and
// 2.0 (IBIS Open Forum): what network and antenna analysers save as .s1p.
//
// Of both versions it reads scattering, impedance and admittance parameters as real and imaginary part, magnitude and
// angle, or dB and angle, and gives the reflection coefficient. Version 1 normalises impedance and admittance to the
// reference resistance, version 2 does not. A reflection above 1 is well-formed and gives a warning.
//
// A file is read whole or refused whole, since one damaged line casts doubt on the others: the error names the
// line, what is wrong with it and the mend. Lines end with LF, CR LF or CR. A byte-order mark of UTF-8 is dropped;
// comments may hold any bytes.
//
// It does not read files of more ports, noise data, mixed-mode parameters, complex reference impedances, or other
// versions of the format; it opens no files and knows no name of one.
package touchstone

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

const (
	// MaxBytes is the size of the largest file that is read.
	MaxBytes = 64 << 20
	// MaxLineBytes is the length of the longest line, its comment included.
	MaxLineBytes = 64 << 10
	// MaxPoints is the number of frequencies that a file may hold.
	MaxPoints = 1_000_000
)

// ErrEmpty is in the error of a file without any text in it.
var ErrEmpty = errors.New("the file is empty")

// Error says why a file is refused.
type Error struct {
	// Line is the line at fault, from 1; the last line if something is missing.
	Line int
	// What is wrong, and the Mend.
	What, Mend string
	cause      error
}

// Error gives line, what is wrong and the mend.
func (e *Error) Error() string { return fmt.Sprintf("line %d: %s: %s", e.Line, e.What, e.Mend) }

// Unwrap gives ErrEmpty, or the error of the reader below, if that was the cause.
func (e *Error) Unwrap() error { return e.cause }

// Warning is a doubt about a file that was read.
type Warning struct {
	Line       int // from 1
	Code       string
	What, Mend string
}

// Codes of warnings.
const (
	NoEnd         = "no_end"          // version 2 without [End]: the file may be cut
	SecondOptions = "second_options"  // an option line that does not count
	Gain          = "reflection_gain" // more is reflected than arrives
)

// Point is one frequency.
type Point struct {
	Line int // of the file, from 1
	MHz  float64
	// S is the reflection coefficient against the file's reference resistance; its magnitude may be above 1.
	S complex128
}

// File is what a file holds.
type File struct {
	// Version is "1.1", also for files of version 1.0, or "2.0".
	Version string
	// ReferenceOhm is the reference resistance, above 0.
	ReferenceOhm float64
	Points       []Point // by rising frequency
	Warnings     []Warning
}

// Read reads a file. An error that is not an *Error is that of the reader r.
func Read(r io.Reader) (*File, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("reading Touchstone text after byte %d: %w", len(data), err)
	}
	text := string(data)
	if len(text) > MaxBytes {
		return nil, &Error{Line: 1, What: fmt.Sprintf("the file is larger than %d bytes", MaxBytes), Mend: "save the sweep with fewer points"}
	}
	if bad := notTouchstone(text); bad != nil {
		return nil, bad
	}
	p := &parser{file: &File{Version: "1.1"}, options: options{power: powerGHz, form: formMA}}
	if err := p.lines(strings.TrimPrefix(text, "\ufeff")); err != nil {
		return nil, err
	}
	if err := p.finish(); err != nil {
		return nil, err
	}
	return p.file, nil
}

// notTouchstone names what a file is instead, by its first bytes.
func notTouchstone(text string) *Error {
	head := strings.ToLower(strings.TrimLeft(strings.TrimPrefix(text[:min(len(text), 4096)], "\ufeff"), " \t\r\n"))
	refuse := func(what, mend string) *Error { return &Error{Line: 1, What: what, Mend: mend} }
	switch {
	case strings.Trim(strings.TrimPrefix(text, "\ufeff"), " \t\r\n") == "":
		return &Error{Line: 1, What: "the file is empty", Mend: "save the sweep again", cause: ErrEmpty}
	case strings.HasPrefix(text, "\xff\xfe"), strings.HasPrefix(text, "\xfe\xff"):
		return refuse("the file is UTF-16", "save it as UTF-8")
	case strings.HasPrefix(text, "PK\x03\x04"), strings.HasPrefix(text, "\x1f\x8b"):
		return refuse("the file is packed", "unpack it")
	case strings.HasPrefix(head, "<"):
		return refuse("the file is a web page or XML, not Touchstone", "save the sweep as Touchstone one-port (.s1p)")
	}
	return nil
}

// finish checks what can only be known at the end.
func (p *parser) finish() error {
	switch {
	case !p.options.given:
		return p.refuse("there is no option line", "write one before the data, for example # MHz S RI R 50")
	case p.v2 && !p.inData:
		return p.refuse("[Network Data] is missing", "write it on a line of its own before the data")
	case len(p.file.Points) == 0:
		return p.refuse("the file holds no data", "save the sweep again")
	case p.v2 && len(p.file.Points) != p.frequencies:
		return p.refuse(fmt.Sprintf("%s given, and [Number of Frequencies] says %d", count(len(p.file.Points), "frequency is", "frequencies are"), p.frequencies),
			"save the sweep again: the file may be cut")
	}
	if p.v2 && !p.ended {
		p.warn(NoEnd, "[End] is missing", "save the sweep again if the file may be cut")
	}
	if p.gains > 0 {
		p.line = p.firstGain
		p.warn(Gain, fmt.Sprintf("more is reflected than arrives at %s, first here", count(p.gains, "frequency", "frequencies")),
			"calibrate the analyser and measure again")
	}
	return nil
}

func (p *parser) warn(code, what, mend string) {
	p.file.Warnings = append(p.file.Warnings, Warning{Line: p.line, Code: code, What: what, Mend: mend})
}

func (p *parser) refuse(what, mend string) *Error {
	return &Error{Line: max(1, p.line), What: what, Mend: mend}
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// GainFrom is the magnitude of a reflection above which it counts as a gain: the printed digits of a total reflection
// may leave it a little above 1.
const GainFrom = 1 + 1e-6

// add checks a point and takes it.
func (p *parser) add(mhz float64, s complex128) *Error {
	n := len(p.file.Points)
	switch m := math.Hypot(real(s), imag(s)); {
	case !(m <= math.MaxFloat64):
		return p.refuse("the numbers give no reflection coefficient", "check the line")
	case n > 0 && !(mhz > p.file.Points[n-1].MHz):
		return p.refuse(fmt.Sprintf("the frequency is not above that of line %d", p.file.Points[n-1].Line), "write the frequencies in rising order, each once")
	case n == MaxPoints:
		return p.refuse(fmt.Sprintf("there are more than %d frequencies", MaxPoints), "save the sweep with fewer points")
	case m > GainFrom:
		if p.gains++; p.gains == 1 {
			p.firstGain = p.line
		}
	}
	p.file.Points = append(p.file.Points, Point{p.line, mhz, s})
	return nil
}
