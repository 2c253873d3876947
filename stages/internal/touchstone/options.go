package touchstone

import (
	"strings"

	"fairlobe/stages/internal/delimited"
)

// Forms of a complex number.
const (
	formMA = "MA" // magnitude and angle in degrees
	formDB = "DB" // 20 log10 of the magnitude, and angle in degrees
	formRI = "RI" // real and imaginary part
)

const powerGHz = 3

// units are the powers of ten from a unit of frequency to the MHz.
var units = map[string]int{"GHZ": powerGHz, "MHZ": 0, "KHZ": -3, "HZ": -6}

// options are the fields of the option line.
type options struct {
	given     bool
	power     int    // see units
	parameter byte   // 'S', 'Z' or 'Y'; 0 for S by default
	form      string // of complex numbers
	ohm       float64
}

func (o options) reference() float64 {
	if o.ohm > 0 {
		return o.ohm
	}
	return 50
}

const optionsMend = "write, for example, # MHz S RI R 50"

// takeOptions reads the fields of the option line, which may come in any order; each may be absent.
func (p *parser) takeOptions(line string) *Error {
	p.options.given = true
	fields := strings.Fields(line)
	seen := map[string]bool{}
	for i := 0; i < len(fields); i++ {
		kind, bad := p.option(strings.ToUpper(fields[i]), fields[i])
		if bad != nil {
			return bad
		}
		if seen[kind] {
			return p.refuse("the option line gives the "+kind+" twice", optionsMend)
		}
		seen[kind] = true
		if kind != "reference" {
			continue
		}
		if i++; i == len(fields) {
			return p.refuse("R stands without a resistance", optionsMend)
		}
		if p.options.ohm, bad = p.resistance(fields[i]); bad != nil {
			return bad
		}
	}
	p.file.ReferenceOhm = p.referenceOhm()
	return nil
}

// option takes one field and tells what it gives.
func (p *parser) option(field, asWritten string) (kind string, bad *Error) {
	if power, ok := units[field]; ok {
		p.options.power = power
		return "unit", nil
	}
	switch field {
	case "S", "Z", "Y":
		p.options.parameter = field[0]
		return "parameter", nil
	case formMA, formDB, formRI:
		p.options.form = field
		return "format", nil
	case "R":
		return "reference", nil
	case "H", "G":
		return "", p.refuse("the parameter "+field+" exists for two-ports only", "save the sweep with S parameters")
	}
	return "", p.refuse("the option line has the unknown field "+shown(asWritten),
		"units are Hz, kHz, MHz, GHz, parameters S, Y, Z, formats DB, MA, RI; "+optionsMend)
}

// mostOhm bounds a reference resistance.
const mostOhm = 1e6

func (p *parser) resistance(text string) (float64, *Error) {
	v, err := delimited.Float(text)
	switch {
	case err != nil:
		return 0, p.badNumber(err)
	case v <= 0 || v > mostOhm:
		return 0, p.refuse("the reference resistance "+shown(text)+" is not from above 0 to 1e6 ohm", "write that of the analyser, mostly 50")
	}
	return v, nil
}

// reflection gives the reflection coefficient of a parameter against a reference resistance. Version 1 normalises
// impedances and admittances to it.
func (o options) reflection(v complex128, v2 bool, ohm float64) complex128 {
	own := complex(ohm, 0)
	switch {
	case o.parameter == 'Z' && v2:
		v /= own
	case o.parameter == 'Y' && v2:
		v *= own
	}
	switch o.parameter {
	case 'Z':
		return (v - 1) / (v + 1)
	case 'Y':
		return (1 - v) / (1 + v)
	}
	return v
}
