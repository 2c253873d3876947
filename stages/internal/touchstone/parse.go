package touchstone

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"fairlobe/stages/internal/delimited"
)

// parser is the state of reading one file.
type parser struct {
	file    *File
	line    int
	options options

	v2, inData, ended, aside bool // aside: in an information block
	ports, frequencies       int
	reference                float64 // of [Reference]; 0 without it
	awaits                   bool    // the next line gives the value of [Reference]
	again                    bool    // a second option line was warned of

	gains, firstGain int
	fields           []string
}

// lines takes the text line by line.
func (p *parser) lines(text string) error {
	for text != "" && !p.ended {
		p.line++
		end, next := len(text), len(text)
		if i := strings.IndexAny(text, "\r\n"); i >= 0 {
			end, next = i, i+1
			if strings.HasPrefix(text[i:], "\r\n") {
				next++
			}
		}
		if end > MaxLineBytes {
			return p.refuse(fmt.Sprintf("the line is longer than %d bytes", MaxLineBytes), "shorten it; the file may be no Touchstone")
		}
		line, _, _ := strings.Cut(text[:end], "!")
		if line = strings.Trim(line, " \t\f\v"); line != "" {
			if err := p.take(line); err != nil {
				return err
			}
		}
		text = text[next:]
	}
	return nil
}

// take sorts a line without its comment, which is not empty. The interface is nil if all is well.
func (p *parser) take(line string) error {
	var bad *Error
	switch {
	case p.aside && !isKeyword(line, "end information"):
	case line[0] == '[':
		bad = p.keyword(line)
	case line[0] == '#' && !p.options.given:
		bad = p.takeOptions(line[1:])
	case line[0] == '#' && p.again:
	case line[0] == '#':
		p.again = true
		p.warn(SecondOptions, "a second option line does not count", "remove it")
	case p.awaits:
		bad = p.takeReference(line)
	default:
		bad = p.data(line)
	}
	if bad != nil {
		return bad
	}
	return nil
}

// data takes a line of numbers.
func (p *parser) data(line string) *Error {
	switch {
	case !p.options.given:
		return p.refuse("data stand before the option line", "write a line such as # MHz S RI R 50 before the data")
	case p.v2 && !p.inData:
		return p.refuse("data stand before [Network Data]", "write [Network Data] on a line of its own before the data")
	}
	p.fields = appendFields(p.fields[:0], line)
	if n := len(p.fields); n != 3 {
		return p.refuse("the line has "+count(n, "number", "numbers"), wanted(n))
	}
	mhz, bad := p.frequency(p.fields[0])
	if bad != nil {
		return bad
	}
	var v [2]float64
	for i, text := range p.fields[1:] {
		var err error
		if v[i], err = delimited.Float(text); err != nil {
			return p.badNumber(err)
		}
	}
	z, bad := p.complex(v[0], v[1])
	if bad != nil {
		return bad
	}
	return p.add(mhz, p.options.reflection(z, p.v2, p.referenceOhm()))
}

func wanted(n int) string {
	const one = "a one-port file has three: frequency and one complex value"
	if n == 9 {
		return one + "; these are two-port data: save reflection (S11) alone"
	}
	return one
}

// appendFields splits at blanks and tabs.
func appendFields(to []string, line string) []string {
	for {
		line = strings.TrimLeft(line, " \t\f\v")
		if line == "" {
			return to
		}
		end := strings.IndexAny(line, " \t\f\v")
		if end < 0 {
			return append(to, line)
		}
		to, line = append(to, line[:end]), line[end:]
	}
}

func (p *parser) badNumber(err error) *Error {
	var cell *delimited.CellError
	if errors.As(err, &cell) {
		return p.refuse(shown(cell.Value)+" "+cell.What, cell.Mend)
	}
	return p.refuse(err.Error(), "correct it")
}

// frequency reads a frequency in the file's unit. The point is moved in the text, so that 0.0141 GHz and 14.1 MHz are
// the same number.
func (p *parser) frequency(text string) (float64, *Error) {
	v, err := delimited.Float(text)
	if err != nil {
		return 0, p.badNumber(err)
	}
	if v < 0 {
		return 0, p.refuse("the frequency "+shown(text)+" is negative", "correct it")
	}
	if p.options.power == 0 {
		return v, nil
	}
	mantissa, exponent := text, 0
	if i := strings.IndexAny(text, "eE"); i >= 0 {
		if exponent, err = strconv.Atoi(text[i+1:]); err != nil {
			return 0, p.refuse("the frequency "+shown(text)+" has an exponent out of range", "correct it")
		}
		mantissa = text[:i]
	}
	if v, err = strconv.ParseFloat(mantissa+"e"+strconv.Itoa(exponent+p.options.power), 64); err != nil {
		return 0, p.refuse("the frequency "+shown(text)+" is too large", "correct it")
	}
	return v, nil
}

// complex makes a complex number of the two that stand for it.
func (p *parser) complex(a, b float64) (complex128, *Error) {
	switch p.options.form {
	case formRI:
		return complex(a, b), nil
	case formDB:
		a = math.Pow(10, a/20)
	}
	if a < 0 {
		return 0, p.refuse("a magnitude is negative", "write it as 0 or more, or # with RI if these are real and imaginary parts")
	}
	sin, cos := math.Sincos(b * (math.Pi / 180))
	return complex(a*cos, a*sin), nil
}

func (p *parser) referenceOhm() float64 {
	if p.reference > 0 {
		return p.reference
	}
	return p.options.reference()
}

// shown gives a text of the file in quotes, cut to a readable length.
func shown(s string) string {
	const most = 60
	if len(s) > most {
		return strconv.Quote(s[:most]) + "..."
	}
	return strconv.Quote(s)
}
