package locator

import (
	"fmt"
	"unicode/utf8"

	"fairlobe/pipeline/diag"
)

// Error tells what is wrong with a text that should be a locator or a coordinate.
type Error struct {
	Kind string // "locator", "latitude" or "longitude"
	Text string // as it was given
	What string // what is wrong with it
	Mend string // what to write instead
}

// Error names the text and the fault, not the mend.
func (e *Error) Error() string { return fmt.Sprintf("%s %q: %s", e.Kind, shown(e.Text), e.What) }

// Diag gives the error as a finding at the place where the text stands.
func (e *Error) Diag(pos diag.Pos) diag.Diag {
	return diag.Diag{Pos: pos, Msg: e.Error(), Mend: e.Mend}
}

// example is the mend of every bad locator.
const example = "write two letters A-R, two digits, two letters A-X, for example MN83kp"

// shown cuts a text that can't be meant, so that a message stays one line.
func shown(s string) string {
	const most = 40
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "..."
}

func notDecimal(name, text string) error {
	return &Error{name, text, "is not a decimal number of degrees", "write digits with a decimal point, for example -4.25"}
}

func checkLength(s string) error {
	n := utf8.RuneCountInString(s)
	switch {
	case n == 0:
		return &Error{"locator", s, "the text is empty", example}
	case n > maxChars:
		return &Error{"locator", s, fmt.Sprintf("%d characters are too many, the longest has %d", n, maxChars), example}
	case n%2 != 0:
		return &Error{"locator", s, fmt.Sprintf("%d characters are an odd number, a locator is made of pairs", n), example}
	case n != len(s):
		return &Error{"locator", s, "a character is not one of A-Z, a-z and 0-9", example}
	}
	return nil
}

// wrongPair tells what pair i, counted from 0, must look like.
func wrongPair(s string, i int) error {
	st := steps[i]
	first, last := st.first, st.first+byte(st.count-1)
	if first == 'a' {
		first, last = 'A', 'X'
	}
	name := [...]string{"first", "second", "third", "fourth", "fifth", "sixth"}[i]
	what := fmt.Sprintf("the %s pair is %q, but goes from %[3]c%[3]c to %[4]c%[4]c", name, s[2*i:2*i+2], first, last)
	return &Error{"locator", s, what, example}
}
