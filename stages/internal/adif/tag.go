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
	next int    // where reading goes on
	why  string // what is wrong with a bad tag
}

// nextTag finds the next tag at or after pos; ok is false at the end of the file.
func nextTag(data []byte, pos int) (t tag, ok bool) {
	i := bytes.IndexByte(data[pos:], '<')
	if i < 0 {
		return tag{}, false
	}
	return readTag(data, pos+i), true
}

// readTag reads the tag that begins at data[at].
func readTag(data []byte, at int) tag {
	t := tag{at: at}
	limit := min(len(data), at+maxTagBytes)
	i := at + 1
	for i < limit && data[i] != ':' && data[i] != '>' && data[i] != '<' {
		i++
	}
	t.name = data[at+1 : i]
	switch {
	case i == limit || data[i] == '<':
		return t.bad(i, `has no ">"`)
	case data[i] == '>':
		return t.bare(i + 1)
	case !validName(t.name):
		return t.bad(i, "has no field name before the colon")
	}
	return t.sized(data, i+1, limit)
}

// bare makes a tag without a length: an end mark, or nothing known.
func (t tag) bare(next int) tag {
	switch {
	case isUpper(t.name, "EOR"):
		t.kind, t.next = tagEOR, next
	case isUpper(t.name, "EOH"):
		t.kind, t.next = tagEOH, next
	default:
		return t.bad(next, "has no length")
	}
	return t
}

// sized reads the length, and the type if there is one, from data[i].
func (t tag) sized(data []byte, i, limit int) tag {
	start, length := i, 0
	for i < limit && '0' <= data[i] && data[i] <= '9' {
		// Past the file's size the exact number does not matter, and it can't overflow.
		length = min(length*10+int(data[i]-'0'), len(data)+1)
		i++
	}
	if i > start && i < limit && data[i] == ':' {
		j := i + 1
		for i = j; i < limit && data[i] != '>' && data[i] != '<'; {
			i++
		}
		t.typ = data[j:i]
	}
	if i == limit || data[i] == '<' {
		return t.bad(i, `has no ">"`)
	}
	if i == start || data[i] != '>' {
		return t.bad(i, "has a length that is not a whole number")
	}
	t.next = i + 1
	if length > len(data)-t.next {
		// Reading goes on behind the tag: the record is refused, and those behind it are not lost with it.
		t.kind = tagPastEnd
		return t
	}
	t.data = data[t.next : t.next+length]
	t.next += length
	return t
}

func (t tag) bad(next int, why string) tag {
	t.kind, t.next, t.why = tagBad, next, why
	return t
}

// validName tells whether b can name a field (ADIF 3.1.6, user-defined fields): printable ASCII without comma and
// curly brackets, and no blank at the ends.
func validName(b []byte) bool {
	if len(b) == 0 || b[0] == ' ' || b[len(b)-1] == ' ' {
		return false
	}
	for _, c := range b {
		if c < ' ' || c > '~' || c == ',' || c == '{' || c == '}' {
			return false
		}
	}
	return true
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
