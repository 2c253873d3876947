package rows

import (
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"fairlobe/pipeline/diag"
)

// longestQuote is how many characters of a faulty value a message repeats.
const longestQuote = 60

// Quote puts a value in quotation marks, with control characters spelled out and a long value cut.
func Quote(s string) string {
	if utf8.RuneCountInString(s) > longestQuote {
		s = string([]rune(s)[:longestQuote]) + "..."
	}
	return strconv.Quote(s)
}

// Count reads a whole number from 1 upwards. A finding names the column.
func (r Row) Count(column int, name string) (int, *diag.Diag) {
	n, err := strconv.Atoi(r.values[column])
	if err != nil || n < 1 {
		return 0, &diag.Diag{
			Pos:  r.Pos(column),
			Msg:  name + " = " + Quote(r.values[column]) + " is not a whole number from 1 upwards",
			Mend: "count from 1, for example 3",
		}
	}
	return n, nil
}

// Time reads a moment in UTC, RFC 3339 with Z. A finding names the column.
func (r Row) Time(column int, name string) (time.Time, *diag.Diag) {
	text := r.values[column]
	t, err := time.Parse(time.RFC3339, text)
	if err == nil && strings.HasSuffix(text, "Z") {
		return t, nil
	}
	mend := "write UTC with Z, for example 2026-09-12T04:00:00Z"
	if err == nil {
		mend = "write UTC with Z: " + t.UTC().Format(time.RFC3339Nano)
	}
	return time.Time{}, &diag.Diag{
		Pos:  r.Pos(column),
		Msg:  name + " = " + Quote(text) + " is not a moment in UTC",
		Mend: mend,
	}
}

// Nearest gives the word of known that is fewest typing errors away from word (insertions, deletions,
// replacements of one character, letters' case ignored); of several the first. It gives "" if known is
// empty or if more than half of the longer word would have to change.
//
// Source: Wagner and Fischer, The String-to-String Correction Problem, Journal of the ACM 21, 1974.
func Nearest(word string, known []string) string {
	best, fewest := "", 0
	from := []rune(strings.ToLower(word))
	for _, k := range known {
		to := []rune(strings.ToLower(k))
		if len(from) > 2*len(to)+2 {
			continue
		}
		d := typingErrors(from, to)
		if 2*d <= max(len(from), len(to)) && (best == "" || d < fewest) {
			best, fewest = k, d
		}
	}
	return best
}

func typingErrors(from, to []rune) int {
	row := make([]int, len(to)+1)
	for j := range row {
		row[j] = j
	}
	for i, a := range from {
		diagonal := row[0]
		row[0] = i + 1
		for j, b := range to {
			replace := diagonal
			if a != b {
				replace++
			}
			diagonal = row[j+1]
			row[j+1] = min(replace, row[j]+1, diagonal+1)
		}
	}
	return row[len(to)]
}

// OneOf lists words for a sentence: "a, b or c".
func OneOf(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " or " + words[n-1]
	}
	return strings.Join(words, "")
}
