package adif

import "bytes"

type tagKind int

const (
	tagField tagKind = iota
	tagEOH
	tagEOR
	tagBad
	tagPastEnd // a data specifier whose length goes past the end of the file
)

// tag is what stands between "<" and ">", with its data.
type tag struct {
	kind tagKind
	at   int    // offset of "<"
	name []byte // as written
	typ  []byte // type indicator, as written
	data []byte
	end  int    // where reading goes on
	why  string // what is wrong with a bad tag
}

// next finds the next tag at or after pos; false at the end of the file.
func (t *tag) next(data []byte, pos int) bool {
	i := bytes.IndexByte(data[pos:], '<')
	if i < 0 {
		return false
	}
	t.read(data, pos+i)
	return true
}

// read reads the tag that begins at data[at].
func (t *tag) read(data []byte, at int) {
	*t = tag{at: at}
	limit := min(len(data), at+maxTagBytes)
	i := at + 1
	for i < limit && inName(data[i]) {
		i++
	}
	t.name = data[at+1 : i]
	switch {
	case i == limit || data[i] == '<':
		t.bad(i, `has no ">"`)
	case data[i] == '>':
		t.bare(i + 1)
	case data[i] != ':' || len(t.name) == 0 || t.name[0] == ' ' || t.name[len(t.name)-1] == ' ':
		t.bad(i, "has no field name before a colon")
	default:
		t.sized(data, i+1, limit)
	}
}

// bare makes a tag without a length: an end mark, or nothing known.
func (t *tag) bare(end int) {
	switch {
	case isUpper(t.name, "EOR"):
		t.kind, t.end = tagEOR, end
	case isUpper(t.name, "EOH"):
		t.kind, t.end = tagEOH, end
	default:
		t.bad(end, "has no length")
	}
}

// sized reads the length, and the type if there is one, from data[i].
func (t *tag) sized(data []byte, i, limit int) {
	start, length := i, int64(0)
	for i < limit && '0' <= data[i] && data[i] <= '9' {
		// Past the file's size the exact number does not matter, and it can't overflow.
		length = min(length*10+int64(data[i]-'0'), int64(len(data))+1)
		i++
	}
	digits := i > start
	if digits && i < limit && data[i] == ':' {
		from := i + 1
		for i = from; i < limit && data[i] != '>' && data[i] != '<'; {
			i++
		}
		t.typ = data[from:i]
	}
	switch {
	case i == limit || data[i] == '<':
		t.bad(i, `has no ">"`)
	case !digits || data[i] != '>':
		if j := bytes.IndexAny(data[i:limit], "<>"); j >= 0 && data[i+j] == '>' {
			i += j + 1
		}
		t.bad(i, "has a length that is not a whole number")
	case length > int64(len(data)-i-1):
		// Reading goes on behind the tag: the record is refused, and those behind it are not lost with it.
		t.kind, t.end = tagPastEnd, i+1
	default:
		t.end = i + 1 + int(length)
		t.data = data[i+1 : t.end]
	}
}

func (t *tag) bad(end int, why string) {
	t.kind, t.end, t.why = tagBad, end, why
}

// inName tells whether a byte can stand in the name of a field (ADIF 3.1.6, user-defined fields): printable ASCII
// without comma, colon, angle and curly brackets.
func inName(c byte) bool {
	return c-'0' < 10 || (c|0x20)-'a' < 26 || c == '_' || c >= ' ' && c <= '~' && c != ',' && c != ':' && c != '<' && c != '>' && c != '{' && c != '}'
}

// upper writes b in capitals into buf and gives what fits; ASCII only, as names and enumerations are.
func upper(buf, b []byte) []byte {
	n := copy(buf, b)
	for i, c := range buf[:n] {
		if 'a' <= c && c <= 'z' {
			buf[i] = c - ('a' - 'A')
		}
	}
	return buf[:n]
}

// isUpper tells whether b is the word, which is in capitals, in any case.
func isUpper(b []byte, word string) bool {
	if len(b) != len(word) {
		return false
	}
	for i, c := range b {
		if 'a' <= c && c <= 'z' {
			c -= 'a' - 'A'
		}
		if c != word[i] {
			return false
		}
	}
	return true
}

// equalFold tells whether two names are the same in any case.
func equalFold(a, b []byte) bool {
	if len(a) != len(b) {
		return false
	}
	for i, c := range a {
		d := b[i]
		if c != d && (c|0x20 != d|0x20 || c|0x20 < 'a' || c|0x20 > 'z') {
			return false
		}
	}
	return true
}
