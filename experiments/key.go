package experiments

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// key is one row of the table of known keys: how a value is read, checked and documented.
type key struct {
	// path is the pattern of the key's path: "schedule.dwell_min", "arm[].name".
	path string
	kind kind   // the forms that a value may have
	item kind   // the form of the items, for a list
	most int    // the most items of a list; 0 = any number
	unit string // "" = none
	span *span
	// words are the allowed texts; none = any text.
	words []string
	// open tables have keys of the user's choice; these are checked where they are decoded.
	open bool
	// below is the folder that a name of a file counts from; "" = the text names no file.
	below string
	need  need
	// def is the value of a key that is not written; nil = none.
	def any
	// or says in words when the key is required, or what holds without it.
	or      string
	doc     string
	example string // as it stands in a file
}

// need tells when a key must be there.
type need int

const (
	optional need = iota
	required
)

// name is the last part of the path, without the mark of a list.
func (k key) name() string { return k.path[lastDot(k.path)+1:] }

// suggestion is the mend of a key that is missing or has no use as it stands: a line that can be pasted.
func (k key) suggestion() string {
	switch {
	case k.example != inTables:
		what, _, _ := strings.Cut(k.doc, ": ")
		return fmt.Sprintf("for example %s = %s  # %s", k.name(), k.example, what)
	case k.kind == aTable:
		return fmt.Sprintf("write it as a table [%s]: %s", k.name(), k.doc)
	default:
		return fmt.Sprintf("write it as tables [[%s]]: %s", k.name(), k.doc)
	}
}

// inTables stands for the example of a key that has tables of its own in the reference.
const inTables = "see below"

// table is the pattern of the table that holds the key; "" for the top of the file.
func (k key) table() string { return k.path[:max(lastDot(k.path), 0)] }

// span is a range of numbers.
type span struct {
	lo, hi float64
	above  bool // lo itself is outside
}

func from(lo, hi float64) *span  { return &span{lo: lo, hi: hi} }
func above(lo, hi float64) *span { return &span{lo: lo, hi: hi, above: true} }

func (s *span) holds(v float64) bool {
	return v <= s.hi && (v > s.lo || v == s.lo && !s.above)
}

// String says the range in words.
func (s *span) String() string {
	lo, hi := plain(s.lo), plain(s.hi)
	switch {
	case s.lo == s.hi:
		return lo
	case s.hi >= math.MaxInt64:
		return lo + " or more"
	case s.above:
		return fmt.Sprintf("more than %s, at most %s", lo, hi)
	default:
		return lo + " to " + hi
	}
}

// plain writes a number without an exponent.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// kindWords are the names of forms in messages and in the reference.
func kindWords(k key) string {
	var words []string
	if k.kind&aFloat != 0 {
		words = append(words, "a number")
	} else if k.kind&anInteger != 0 {
		words = append(words, "a whole number")
	}
	if k.kind&aText != 0 {
		words = append(words, "a text")
	}
	if k.kind&aBool != 0 {
		words = append(words, "true or false")
	}
	if k.kind&aTime != 0 {
		words = append(words, "a time")
	}
	if k.kind&aTable != 0 {
		words = append(words, "a table")
	}
	if k.kind&aList != 0 {
		words = append(words, listWords(k))
	}
	return strings.Join(words, " or ")
}

func listWords(k key) string {
	of := map[kind]string{aText: "texts", aNumber: "numbers", anInteger: "whole numbers", aTable: "tables"}[k.item]
	if of == "" {
		return "a list"
	}
	if k.most > 0 {
		return fmt.Sprintf("a list of %d %s", k.most, of)
	}
	return "a list of " + of
}

// inside says in which table, for a message.
func inside(table string) string {
	if table == "" {
		return "at the top of the file"
	}
	return "in " + heading(table)
}

// heading is the name of a table as a user writes it.
func heading(table string) string {
	switch {
	case table == "":
		return "the top of the file"
	case strings.HasSuffix(table, "[]") && !strings.Contains(strings.TrimSuffix(table, "[]"), "."):
		return "[[" + strings.TrimSuffix(table, "[]") + "]]"
	case !strings.Contains(table, ".") && !strings.Contains(table, "[]"):
		return "[" + table + "]"
	default:
		return strings.ReplaceAll(table, "[]", "")
	}
}
