package adif

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
)

// field is one data specifier of the record being read.
type field struct {
	id   fieldID
	name []byte // as written
	data []byte
	at   int // offset of "<"
}

// record reads the next record; nil at the end of the file.
func (p *parser) record() *Record {
	p.begun, p.refused, p.fields, p.slot = false, false, p.fields[:0], [numFields]int{}
	t := &p.tag
	for t.next(p.data, p.pos) {
		p.pos = t.end
		if !p.begun {
			p.begin(t.at)
		}
		switch t.kind {
		case tagField:
			p.add(t)
		case tagEOR:
			return p.finish(true)
		case tagEOH:
			p.fault("unexpected-eoh", t.at, "", "<EOH>", "<EOH> stands inside a record", "remove it; only one header is allowed, at the start of the file")
		case tagPastEnd:
			p.fault("length-past-end", t.at, string(bytes.ToUpper(t.name)), p.show(t.at, t.end),
				fmt.Sprintf("%s gives more data than the file has", p.show(t.at, t.end)), "correct the length, or export the log again: the file may be cut")
		case tagBad:
			p.fault("bad-tag", t.at, "", p.show(t.at, t.end), fmt.Sprintf("%q %s", p.show(t.at, t.end), t.why),
				"write <NAME:LENGTH> with the number of bytes that follow")
		}
	}
	return p.cut()
}

// cut ends the file: nothing, or a record without its end mark, which is not to be used.
func (p *parser) cut() *Record {
	if !p.begun {
		return nil
	}
	p.pos = len(p.data)
	p.fault("missing-eor", len(p.data), "", "", "the last record has no <EOR>",
		"if the record is complete, add <EOR>; else export the log again: the file may be cut")
	return p.finish(false)
}

func (p *parser) begin(at int) {
	p.begun, p.first = true, at
	p.rec = &recordAlloc{}
	p.sum.Records++
	p.rec.N, p.rec.Line = p.sum.Records, p.lines.at(at)
}

// finish checks the record if it is whole, and closes it.
func (p *parser) finish(whole bool) *Record {
	switch {
	case !whole:
	case len(p.fields) == 0 && !p.refused:
		p.fault("empty-record", p.first, "", "", "the record holds no data", "remove the spare <EOR>")
	default:
		p.check()
	}
	rec := &p.rec.Record
	rec.Accepted = !p.refused
	if rec.Accepted {
		p.sum.Accepted++
	} else {
		rec.Spots, rec.NoSpot = nil, ""
	}
	if p.keep {
		p.keepFields()
	}
	slices.SortStableFunc(rec.Findings, func(a, b Finding) int { return cmp.Compare(a.Offset, b.Offset) })
	return rec
}

func (p *parser) keepFields() {
	p.rec.Fields = make(map[string]string, len(p.fields))
	for _, f := range p.fields {
		name := f.id.String()
		if f.id == fieldOther {
			name = p.text(bytes.ToUpper(f.name))
		}
		p.rec.Fields[name] = string(f.data)
	}
}

// add takes a data specifier into the record, or says why not. Empty data means that the field is absent.
func (p *parser) add(t *tag) {
	f := field{id: fieldOf(t.name), name: t.name, data: t.data, at: t.at}
	p.checkAfter(&f, t.end)
	p.checkType(t)
	if len(f.data) == 0 {
		return
	}
	p.checkBytes(&f)
	if g := p.find(&f); g != nil {
		p.repeated(&f, g)
		return
	}
	if len(p.fields) == maxFields {
		if !p.refused {
			p.fault("too-many-fields", f.at, f.label(), "", fmt.Sprintf("the record has over %d fields", maxFields), "see whether an <EOR> is missing")
		}
		return
	}
	p.fields = append(p.fields, f)
	p.slot[f.id] = len(p.fields)
}

// find gives the earlier field of the same name, or nil.
func (p *parser) find(f *field) *field {
	if f.id != fieldOther {
		return p.field(f.id)
	}
	for i := range p.fields {
		if g := &p.fields[i]; g.id == fieldOther && equalFold(g.name, f.name) {
			return g
		}
	}
	return nil
}

// field gives a field of the record by number, nil if it is absent.
func (p *parser) field(id fieldID) *field {
	if i := p.slot[id]; i > 0 {
		return &p.fields[i-1]
	}
	return nil
}

func (f *field) label() string {
	if f.id != fieldOther {
		return f.id.String()
	}
	return string(bytes.ToUpper(f.name))
}

func (p *parser) repeated(f *field, before *field) {
	if bytes.Equal(f.data, before.data) {
		p.doubt("duplicate-field", f.at, f.label(), shown(f.data), fmt.Sprintf("%s stands twice in the record, both times as %q", f.label(), shown(f.data)),
			"nothing to do; the first one is used")
		return
	}
	p.fault("duplicate-field", f.at, f.label(), shown(f.data),
		fmt.Sprintf("%s is %q and before that %q in the same record", f.label(), shown(f.data), shown(before.data)),
		"see whether a length before it is too large and swallowed an <EOR>")
}

// checkAfter looks at the byte behind the data: text there means that the length is too small.
func (p *parser) checkAfter(f *field, next int) {
	if next >= len(p.data) || p.data[next] <= ' ' || p.data[next] == '<' {
		return
	}
	msg := fmt.Sprintf("%s has the length %d, and %q goes on after %q", f.label(), len(f.data), shown(p.data[next:p.textEnd(next)]), shown(f.data))
	const mend = "correct the length: it counts the bytes of the data"
	if f.id.isKey() {
		p.fault("text-after-data", next, f.label(), shown(f.data), msg, mend)
	} else {
		p.doubt("text-after-data", next, f.label(), shown(f.data), msg, mend)
	}
}

// textEnd gives the end of the text that begins at a byte, for a message.
func (p *parser) textEnd(from int) int {
	end := min(len(p.data), from+maxShown)
	if i := bytes.IndexAny(p.data[from:end], "< \t\r\n"); i >= 0 {
		return from + i
	}
	return end
}

// checkType looks at the type indicator; the data are read by the field's own type whatever it says.
func (p *parser) checkType(t *tag) {
	if t.typ == nil || len(t.typ) == 1 && bytes.IndexByte([]byte("BNDTSIMGELbndtsimgel"), t.typ[0]) >= 0 {
		return
	}
	p.doubt("unknown-type", t.at, string(bytes.ToUpper(t.name)), shown(t.typ), fmt.Sprintf("%q is not a type indicator", shown(t.typ)),
		"nothing to do; the type is not used")
}

// checkBytes looks for what ADI data may not hold: bytes beyond ASCII, and line breaks other than CR LF.
func (p *parser) checkBytes(f *field) {
	high, bare := false, false
	for i, c := range f.data {
		high = high || c >= 0x80
		bare = bare || c == '\n' && (i == 0 || f.data[i-1] != '\r')
	}
	if f.id == fieldOther && len(f.name) > 5 && isUpper(f.name[len(f.name)-5:], "_INTL") {
		p.doubt("intl-field-in-adi", f.at, f.label(), shown(f.data), fmt.Sprintf("%s = %q stands in ADI text and belongs into the XML form only", f.label(), shown(f.data)),
			"nothing to do; the field is not used")
	}
	if high {
		p.doubt("non-ascii-data", f.at, f.label(), shown(f.data), fmt.Sprintf("%s = %q holds bytes that are not ASCII", f.label(), shown(f.data)),
			"nothing to do if the text reads well; the bytes are kept")
	}
	if bare {
		p.doubt("bare-line-feed", f.at, f.label(), shown(f.data), fmt.Sprintf("%s = %q holds a line feed without a carriage return", f.label(), shown(f.data)),
			"see whether the length is too large; a line break in data is CR LF")
	}
}
