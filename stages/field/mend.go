package field

import (
	"bytes"
	"strings"

	"fairlobe/stages/dwells"
)

// Repair says what is to be done to a log before lines can be added: its first Keep bytes stay, Torn goes
// to the file beside it, Add comes behind what stays.
type Repair struct {
	Keep int
	Torn []byte
	Add  []byte
}

// Needed tells whether there is anything to do.
func (r Repair) Needed() bool { return len(r.Torn) > 0 || len(r.Add) > 0 }

// Mend looks at the text of a log, whose writer may have been killed inside a write. Text up to the last
// line feed always stays. What comes after it is finished if it is a whole event, and torn if not: a
// torn line can have lost characters of its note at most when it is finished, since the note stands last.
// Text that never was a log stays as it is.
func Mend(text []byte) Repair {
	header := strings.Join(dwells.Header(), ",")
	cut := bytes.LastIndexByte(text, '\n') + 1
	tail := text[cut:]
	switch {
	case len(text) == 0:
		return Repair{Add: []byte(header + "\n")}
	case len(tail) == 0:
		return Repair{Keep: len(text)}
	case cut == 0:
		return mendHeader(text, header)
	case !beginsAsLog(text, header): // a file of another kind, to be refused as it is
		return Repair{Keep: len(text)}
	case isWhole(text[:cut], tail):
		return Repair{Keep: len(text), Add: []byte("\n")}
	}
	return Repair{Keep: cut, Torn: tail}
}

func beginsAsLog(text []byte, header string) bool {
	first, _, _ := bytes.Cut(text, []byte("\n"))
	return strings.TrimRight(strings.TrimPrefix(string(first), "\ufeff"), "\r") == header
}

func mendHeader(text []byte, header string) Repair {
	have := strings.TrimRight(strings.TrimPrefix(string(text), "\ufeff"), "\r")
	switch {
	case have == header:
		return Repair{Keep: len(text), Add: []byte("\n")}
	case strings.HasPrefix(header, have), strings.Trim(have, "\x00") == "":
		return Repair{Torn: text, Add: []byte(header + "\n")}
	}
	return Repair{Keep: len(text)}
}

// isWhole tells whether the tail is one more event behind the lines before it.
func isWhole(before, tail []byte) bool {
	if bytes.ContainsRune(tail, 0) {
		return false // a disk that lost power may give back zeros
	}
	events, faults := dwells.ReadLog(bytes.NewReader(before), "")
	whole := append(bytes.Clone(before), tail...)
	more, moreFaults := dwells.ReadLog(bytes.NewReader(append(whole, '\n')), "")
	return len(more) == len(events)+1 && len(moreFaults) == len(faults)
}
