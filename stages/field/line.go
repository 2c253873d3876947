package field

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"time"
	"unicode"

	"fairlobe/stages/dwells"
)

// longestNote is how many characters of a note are kept: a line must stay small enough to be read again.
const longestNote = 500

// Line writes an event as one line of the switch log, with its line feed. Notes lose line breaks and other
// control characters: one entry is one line.
func Line(e dwells.Event) []byte {
	value := ""
	if e.HasValue {
		value = strconv.FormatFloat(e.Value, 'f', -1, 64)
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.Write([]string{ // a buffer takes everything
		stamp(e.Time), stamp(e.Entered), e.Kind, count(e.Session), e.Band, count(e.Block), e.Arm, value, cleanNote(e.Note),
	})
	w.Flush()
	return out.Bytes()
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

func count(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// cleanNote leaves printable text, with single blanks.
func cleanNote(s string) string {
	s = strings.Map(func(r rune) rune {
		if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, s)
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > longestNote {
		s = strings.TrimSpace(string(r[:longestNote]))
	}
	return s
}
