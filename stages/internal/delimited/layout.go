package delimited

import (
	"fmt"
	"strings"
	"time"
)

// TimeLayout reads one way of writing times. The zero value reads nothing; make one with ParseTimeLayout.
type TimeLayout struct {
	text  string
	form  form
	parts []part // of formParts
}

type form int

const (
	formNone form = iota
	formRFC3339
	formUnix
	formUnixMs
	formParts
)

// part is a token of a layout, or one literal byte.
type part struct {
	token   token
	literal byte
}

type token int

const (
	literal token = iota
	year
	month
	day
	hour
	minute
	second
	numTokens
)

var tokenNames = [numTokens]string{"", "YYYY", "MM", "DD", "hh", "mm", "ss"}

// String gives the layout as it was written.
func (l TimeLayout) String() string { return l.text }

// ParseTimeLayout reads the name of a way of writing times:
//
//	rfc3339   2026-02-03T12:00:15Z, with an offset from UTC, fractions allowed (RFC 3339)
//	unix      seconds since 1970-01-01 00:00 UTC, fractions allowed
//	unix_ms   milliseconds since then
//
// or a layout of YYYY MM DD hh mm ss, each at most once, with a blank, T, Z and - / . : , _ as they stand between
// them. Only ss may be left out. Such times are UTC. A layout for two columns has one blank between them, and the
// caller joins the two cells by one blank.
func ParseTimeLayout(layout string) (TimeLayout, error) {
	switch layout {
	case "rfc3339":
		return TimeLayout{text: layout, form: formRFC3339}, nil
	case "unix":
		return TimeLayout{text: layout, form: formUnix}, nil
	case "unix_ms":
		return TimeLayout{text: layout, form: formUnixMs}, nil
	}
	l := TimeLayout{text: layout, form: formParts}
	var seen [numTokens]bool
	for rest := layout; rest != ""; {
		p, n := firstPart(rest)
		switch {
		case n == 0:
			return TimeLayout{}, layoutError(layout, fmt.Sprintf("%q in it is no part of a time", wordAt(rest)))
		case p.token != literal && seen[p.token]:
			return TimeLayout{}, layoutError(layout, tokenNames[p.token]+" stands in it twice")
		}
		seen[p.token] = true
		l.parts = append(l.parts, p)
		rest = rest[n:]
	}
	for t := year; t < second; t++ {
		if !seen[t] {
			return TimeLayout{}, layoutError(layout, "it has no "+tokenNames[t])
		}
	}
	return l, nil
}

// firstPart takes a token or a literal byte off the start of a layout; n is 0 if neither is there.
func firstPart(s string) (p part, n int) {
	for t := year; t < numTokens; t++ {
		if strings.HasPrefix(s, tokenNames[t]) {
			return part{token: t}, len(tokenNames[t])
		}
	}
	if strings.IndexByte(" TZ-/.:,_", s[0]) >= 0 {
		return part{literal: s[0]}, 1
	}
	return part{}, 0
}

// wordAt gives the letters at the start of s, or its first character.
func wordAt(s string) string {
	for i, c := range s {
		if i > 0 && (c|0x20 < 'a' || c|0x20 > 'z') {
			return s[:i]
		}
	}
	return s
}

func layoutError(layout, what string) error {
	return fmt.Errorf(`time layout %s can't be used: %s; write "rfc3339", "unix", "unix_ms" or a layout such as "YYYY-MM-DD hh:mm:ss"`, quoted(layout), what)
}

// Parse reads a time and gives it in UTC. Without seconds hasSeconds is false, and the time is the start of a minute.
// Blanks around the text are no matter.
func (l TimeLayout) Parse(s string) (t time.Time, hasSeconds bool, err error) {
	text := strings.TrimSpace(s)
	if text == "" {
		return time.Time{}, false, &CellError{s, "is empty", "write a time"}
	}
	switch l.form {
	case formRFC3339:
		t, err = rfc3339(s, text)
		return t, err == nil, err
	case formUnix, formUnixMs:
		t, err = l.unix(s, text)
		return t, err == nil, err
	case formParts:
		return l.inParts(s, text)
	}
	return time.Time{}, false, &CellError{s, "can't be read without a time layout", "make one with ParseTimeLayout"}
}

// inParts reads a time written in the layout's parts.
func (l TimeLayout) inParts(s, text string) (t time.Time, hasSeconds bool, err error) {
	c := clock{}
	rest := text
	for _, p := range l.parts {
		n := len(tokenNames[p.token])
		if p.token == literal {
			if rest == "" || rest[0] != p.literal {
				return time.Time{}, false, l.mismatch(s)
			}
			rest = rest[1:]
			continue
		}
		v, ok := number(rest, n)
		if !ok {
			return time.Time{}, false, l.mismatch(s)
		}
		c[p.token], rest = v, rest[n:]
		hasSeconds = hasSeconds || p.token == second
	}
	if rest != "" {
		return time.Time{}, false, &CellError{s, fmt.Sprintf("goes on with %s behind the layout %q", quoted(rest), l.text), "make the layout fit the cell"}
	}
	if t, err = c.utc(s); err != nil {
		return time.Time{}, false, err
	}
	return t, hasSeconds, nil
}

func (l TimeLayout) mismatch(s string) error {
	return &CellError{s, fmt.Sprintf("is not written as %q", l.text), "make the layout fit the cell; every part has all its digits"}
}

// number reads the n digits at the start of s.
func number(s string, n int) (v int, ok bool) {
	if len(s) < n {
		return 0, false
	}
	for i := range n {
		if !isDigit(s[i]) {
			return 0, false
		}
		v = v*10 + int(s[i]-'0')
	}
	return v, true
}
