package touchstone

import (
	"fmt"
	"strconv"
	"strings"
)

// keyword takes a line of version 2 that begins with a bracket.
func (p *parser) keyword(line string) *Error {
	name, argument, ok := strings.Cut(line[1:], "]")
	if !ok {
		return p.refuse("the keyword "+shown(line)+" has no closing bracket", "close it")
	}
	name, argument = plainKeyword(name), strings.Trim(argument, " \t\f\v")
	switch {
	case p.awaits:
		return p.refuse("[Reference] stands without a resistance", "write, for example, [Reference] 50")
	case name == "version":
		return p.version(argument)
	case !p.v2:
		return p.refuse("the keyword ["+name+"] belongs to version 2", "write [Version] 2.0 on the first line, or remove the keyword")
	case p.inData && name != "end":
		return p.refuse("the keyword ["+name+"] stands among the data", "write it before [Network Data]")
	}
	return p.named(name, argument)
}

// plainKeyword gives a keyword in lower case with single blanks.
func plainKeyword(name string) string {
	return strings.Join(strings.Fields(strings.ToLower(name)), " ")
}

func isKeyword(line, name string) bool {
	inside, _, ok := strings.Cut(strings.TrimPrefix(line, "["), "]")
	return ok && line[0] == '[' && plainKeyword(inside) == name
}

func (p *parser) version(argument string) *Error {
	switch {
	case p.v2 || p.options.given:
		return p.refuse("[Version] is not the first line", "write it once, before all but comments")
	case argument != "2.0":
		return p.refuse("the version "+shown(argument)+" is not known", "save the sweep as version 1 (without [Version]) or 2.0")
	}
	p.v2, p.file.Version = true, argument
	return nil
}

func (p *parser) named(name, argument string) *Error {
	var bad *Error
	switch name {
	case "number of ports":
		if p.ports, bad = p.whole(name, argument, p.ports); bad == nil && p.ports != 1 {
			return p.refuse(fmt.Sprintf("the file is for %d ports", p.ports), "save reflection alone, as one-port (.s1p)")
		}
	case "number of frequencies":
		p.frequencies, bad = p.whole(name, argument, p.frequencies)
	case "reference":
		if p.reference > 0 {
			return p.refuse("[Reference] stands twice", "remove one")
		}
		if p.awaits = argument == ""; !p.awaits {
			bad = p.takeReference(argument)
		}
	case "matrix format":
		switch strings.ToLower(argument) {
		case "full", "lower", "upper": // all the same for one value
		default:
			return p.refuse("the matrix format "+shown(argument)+" is not known", "write Full, or remove the line")
		}
	case "begin information":
		p.aside = true
	case "end information":
		p.aside = false
	case "network data":
		bad = p.begin()
	case "end":
		p.ended = true
	default:
		return p.refuse("the keyword ["+shownName(name)+"] does not belong into a one-port file", "remove it, or save the sweep as one-port")
	}
	return bad
}

func shownName(name string) string {
	quoted := shown(name)
	return strings.Trim(quoted, `"`)
}

// whole reads the number from 1 of a keyword that stands once.
func (p *parser) whole(name, argument string, before int) (int, *Error) {
	n, err := strconv.Atoi(argument)
	switch {
	case err != nil || n < 1:
		return 0, p.refuse("["+name+"] "+shown(argument)+" is not a whole number from 1", "correct it")
	case before != 0:
		return 0, p.refuse("["+name+"] stands twice", "remove one")
	}
	return n, nil
}

// takeReference reads what belongs to [Reference], on its line or the next.
func (p *parser) takeReference(text string) *Error {
	p.awaits = false
	fields := strings.Fields(text)
	if len(fields) != 1 {
		return p.refuse(fmt.Sprintf("[Reference] has %d resistances for one port", len(fields)), "write one")
	}
	var bad *Error
	if p.reference, bad = p.resistance(fields[0]); bad != nil {
		return bad
	}
	p.file.ReferenceOhm = p.reference
	return nil
}

// begin starts the data.
func (p *parser) begin() *Error {
	switch {
	case !p.options.given:
		return p.refuse("there is no option line before [Network Data]", optionsMend)
	case p.ports == 0:
		return p.refuse("[Number of Ports] is missing before [Network Data]", "write [Number of Ports] 1")
	case p.frequencies == 0:
		return p.refuse("[Number of Frequencies] is missing before [Network Data]", "write it with the number of data lines")
	}
	p.inData, p.file.ReferenceOhm = true, p.referenceOhm()
	return nil
}
