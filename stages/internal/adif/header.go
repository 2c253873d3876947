package adif

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// open looks at the start of the file and reads its header. It is false if there are no records to read: the file is
// empty, or no ADI text.
func (p *parser) open() bool {
	if bytes.HasPrefix(p.data, []byte("\xef\xbb\xbf")) {
		p.whole(Warning, "byte-order-mark", 0, "", "", "the file begins with a byte-order mark", "nothing to do; save as plain ASCII to be rid of it")
		p.pos = 3
	}
	if len(bytes.TrimSpace(p.data[p.pos:])) == 0 {
		p.whole(Warning, "empty-file", 0, "", "", "the file is empty", "export the log again if it should hold records")
		return false
	}
	if msg, mend := notADI(p.data, p.pos); msg != "" {
		p.sum.Rejected = true
		p.whole(Error, "not-adi", 0, "", "", msg, mend)
		return false
	}
	p.header()
	return true
}

// notADI says what the file is instead of ADI text; msg is "" if it holds a data specifier.
func notADI(data []byte, start int) (msg, mend string) {
	head := bytes.ToUpper(bytes.TrimSpace(data[start:min(len(data), start+512)]))
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")), bytes.IndexByte(head, 0) >= 0:
		return "the file is UTF-16 or binary, not ADI text", "export the log as ADI text in ASCII or UTF-8"
	case bytes.HasPrefix(data, []byte("\x1f\x8b")), bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return "the file is compressed, not ADI text", "unpack it first"
	case bytes.HasPrefix(head, []byte("<?XML")), bytes.HasPrefix(head, []byte("<ADX")):
		return "the file is XML (ADX, the XML form), and only ADI text is read", "export the log as ADI, the text form with names such as <CALL:5>"
	case bytes.HasPrefix(head, []byte("<!DOCTYPE")), bytes.HasPrefix(head, []byte("<HTML")):
		return "the file is a web page, not ADI text", "download the log again; the page may say why it was not given"
	}
	var t tag
	for pos := start; ; pos = t.end {
		if !t.next(data, pos) {
			return "the file has no data specifier such as <CALL:5>, so it is not ADI text", "export the log as ADI"
		}
		if t.kind == tagField || t.kind == tagPastEnd {
			return "", ""
		}
	}
}

// header reads what stands before <EOH>. By the standard a header is there if the file does not begin with "<"; what
// decides here is which end mark comes first, so that a header without text in front is read too, and records behind
// stray text are not swallowed.
func (p *parser) header() {
	text, begins := p.textBefore()
	switch end := p.firstMark(); {
	case end == tagEOH:
		if begins {
			p.whole(Warning, "header-without-text", p.pos, "", "", `the header begins with "<", and readers may take it for a record`,
				"put a line of text in front of the first tag")
		}
		p.headerFields(text)
	case begins:
	case end == tagEOR:
		p.sum.Header = &Header{Text: text, Fields: map[string]string{}}
		p.whole(Warning, "missing-eoh", 0, "", "", "the file begins with text and has no <EOH> before its first record",
			"nothing to do if the text is a comment; else write <EOH> behind the header")
	default:
		p.headerFields(text)
		p.whole(Error, "missing-eoh", 0, "", "", "the header has no <EOH>, and no record follows", "export the log again: the file may be cut")
	}
}

// textBefore gives the text in front of the first tag; begins is true if there is not even a blank.
func (p *parser) textBefore() (text string, begins bool) {
	i := max(bytes.IndexByte(p.data[p.pos:], '<'), 0)
	return string(bytes.TrimSpace(p.data[p.pos : p.pos+i])), i == 0
}

// firstMark gives the first end mark of the file, or tagField if it has none.
func (p *parser) firstMark() tagKind {
	var t tag
	for pos := p.pos; t.next(p.data, pos); pos = t.end {
		if t.kind == tagEOH || t.kind == tagEOR {
			return t.kind
		}
	}
	return tagField
}

// headerFields reads the tags up to <EOH> or the end of the file.
func (p *parser) headerFields(text string) {
	h := &Header{Text: text, Fields: map[string]string{}}
	p.sum.Header = h
	var t tag
	for t.next(p.data, p.pos) {
		p.pos = t.end
		switch t.kind {
		case tagEOH:
			return
		case tagField:
			p.headerField(h, &t)
		default:
			p.whole(Warning, "bad-tag", t.at, "", p.show(t.at, t.end), fmt.Sprintf("%q in the header can't be read as a field", p.show(t.at, t.end)),
				"write <NAME:LENGTH> with the number of bytes that follow")
		}
	}
	p.pos = len(p.data)
}

func (p *parser) headerField(h *Header, t *tag) {
	name := string(bytes.ToUpper(t.name))
	if n, ok := strings.CutPrefix(name, "USERDEF"); ok {
		if def, ok := userDef(n, t); ok {
			h.UserDefs = append(h.UserDefs, def)
		} else {
			p.whole(Warning, "bad-userdef", t.at, name, shown(t.data), fmt.Sprintf("%s = %q does not define a field", name, shown(t.data)),
				"write a name, then nothing, ,{A,B} or ,{lowest:highest}")
		}
		return
	}
	// A header is of a few fields; the limit keeps a hostile one small.
	if _, twice := h.Fields[name]; !twice && len(t.data) > 0 && len(h.Fields) < maxFields {
		h.Fields[name] = string(t.data)
	}
}

// userDef reads NAME, NAME,{A,B} or NAME,{lo:hi}.
func userDef(number string, t *tag) (UserDef, bool) {
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 {
		return UserDef{}, false
	}
	name, limits, limited := strings.Cut(string(t.data), ",")
	if name == "" || strings.Trim(name, " ") != name || strings.ContainsFunc(name, func(r rune) bool { return r > '~' || !inName(byte(r)) }) {
		return UserDef{}, false
	}
	def := UserDef{N: n, Name: name, Type: strings.ToUpper(string(t.typ))}
	if !limited {
		return def, true
	}
	inner, opened := strings.CutPrefix(limits, "{")
	inner, closed := strings.CutSuffix(inner, "}")
	if !opened || !closed || inner == "" {
		return UserDef{}, false
	}
	if lo, hi, isRange := strings.Cut(inner, ":"); isRange {
		l, okLo := number64([]byte(lo))
		h, okHi := number64([]byte(hi))
		def.Range = &[2]float64{l, h}
		return def, okLo && okHi && l <= h
	}
	def.Enum = strings.Split(inner, ",")
	return def, true
}
