package rehearsal

import (
	"io/fs"
	"path"
	"strconv"
	"strings"
)

// candidates are what a `?` or a class of characters may become in the name of a file, best first.
const candidates = "1234567890abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ-_"

// fileName gives the name of a file that a pattern names: a `*` at the start of a name becomes the word with the
// number behind it, any other `*` the number, each `?` and each class of characters one character. Number 0 stands for the
// only file of its kind, and is left out behind a word. A pattern without any of them names itself. It gives false if
// no such name was found.
func fileName(pattern, word string, n int) (string, bool) {
	if n > 0 {
		word += "-" + strconv.Itoa(n)
	}
	var name strings.Builder
	for rest := pattern; rest != ""; {
		size := 1
		switch rest[0] {
		case '*':
			if so := name.String(); so == "" || so[len(so)-1] == '/' {
				name.WriteString(word)
			} else {
				name.WriteString(strconv.Itoa(max(1, n)))
			}
		case '?':
			name.WriteByte(candidates[0])
		case '\\':
			size = min(2, len(rest))
			name.WriteString(rest[1:size])
		case '[':
			c, length := oneOf(rest)
			if length == 0 {
				return "", false
			}
			size = length
			name.WriteByte(c)
		default:
			name.WriteByte(rest[0])
		}
		rest = rest[size:]
	}
	ok, err := path.Match(pattern, name.String())
	return name.String(), ok && err == nil && plainPath(name.String())
}

// plainPath tells whether a path stays below its folder on every system, and has no hidden part.
func plainPath(name string) bool {
	return fs.ValidPath(name) && !strings.ContainsAny(name, `\:`) && !strings.HasPrefix(name, ".") && !strings.Contains(name, "/.")
}

// oneOf gives a character of the class that a text begins with, and the length of the class; 0 if there is none.
func oneOf(text string) (c byte, length int) {
	for end := range len(text) {
		if text[end] != ']' {
			continue
		}
		for i := range len(candidates) {
			if ok, err := path.Match(text[:end+1], candidates[i:i+1]); ok && err == nil {
				return candidates[i], end + 1
			}
		}
	}
	return 0, 0
}

// takesNumbers tells whether a pattern can name more than one file.
func takesNumbers(pattern string) bool { return strings.Contains(pattern, "*") }
