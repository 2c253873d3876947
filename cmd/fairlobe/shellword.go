package main

import (
	"strings"
	"unicode"
)

// shellWord writes the name of a file as one word of a command line, so that a command on the screen can be copied as it stands: in
// single quotes where a POSIX shell would part or read it, as it is elsewhere.
func shellWord(name string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("/._-+=:,@%", r)
	}
	if name != "" && !strings.ContainsFunc(name, func(r rune) bool { return !plain(r) }) {
		return name
	}
	return "'" + strings.ReplaceAll(name, "'", `'\''`) + "'"
}
