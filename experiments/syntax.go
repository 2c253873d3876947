package experiments

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/BurntSushi/toml"

	"fairlobe/pipeline/diag"
)

// maxBytes is the largest experiment file that is read. A file with every key and a thousand sessions has
// some 100 kB.
const maxBytes = 1 << 20

// parseSyntax gives the tree of a TOML text, or the one fault that stopped the reading. Paths begin with
// the path of the root.
func parseSyntax(file, rootPath string, text []byte) (*node, diag.List) {
	if len(text) > maxBytes {
		return nil, diag.List{{
			Pos:  diag.Pos{File: file, Line: 1, Column: 1},
			Msg:  fmt.Sprintf("the file has %d bytes, more than the %d that an experiment file may have", len(text), maxBytes),
			Mend: "check that this is the experiment file and not data",
		}}
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	root, planting := plant(file, rootPath, text)
	if tooDeep(planting, text) {
		return nil, diag.List{unlikeFault(file, text, planting)}
	}
	var values map[string]any
	if _, err := toml.Decode(string(text), &values); err != nil {
		return nil, diag.List{syntaxFault(file, text, err)}
	}
	if planting != nil {
		return nil, diag.List{unlikeFault(file, text, planting)}
	}
	if err := root.fill(values); err != nil {
		return nil, diag.List{unlikeFault(file, text, err)}
	}
	return root, nil
}

// tooDeep tells whether a text is nested so deep that the second reader, which has no limit, might exhaust the stack.
func tooDeep(planting error, text []byte) bool {
	var at *placedError
	if !errors.As(planting, &at) {
		return false
	}
	return at.deep || bytes.Count(text, []byte("["))+bytes.Count(text, []byte("{")) > maxBrackets
}

// maxBrackets is more than a file of a thousand sessions needs, and less than what exhausts the stack.
const maxBrackets = 100000

// curly are the quotation marks that word processors and phones put in place of plain ones.
const curly = "\u201c\u201d\u201e\u00ab\u00bb\u2018\u2019"

func syntaxFault(file string, text []byte, err error) diag.Diag {
	var pe toml.ParseError
	if !errors.As(err, &pe) {
		return unlikeFault(file, text, err)
	}
	pos := clamp(file, text, pe.Position.Line, pe.Position.Col)
	msg := strings.TrimSuffix(lowerFirst(pe.Message), ".")
	if line := lineAt(text, pos.Line); strings.ContainsAny(line, curly) {
		pos.Column = strings.IndexAny(line, curly) + 1
		return diag.Diag{Pos: pos, Msg: "not TOML: the line has typographic quotation marks", Mend: `write the plain ones, "`}
	}
	return diag.Diag{Pos: pos, Msg: "not TOML: " + printable(msg), Mend: syntaxMend(msg, lineAt(text, pos.Line))}
}

// unlikeFault tells of a text that the two TOML readers do not take in the same way.
func unlikeFault(file string, text []byte, err error) diag.Diag {
	pos := diag.Pos{File: file, Line: 1, Column: 1}
	var at *placedError
	if errors.As(err, &at) {
		pos = clamp(file, text, at.line, at.column)
	}
	return diag.Diag{Pos: pos, Msg: "not plain TOML 1.0: " + printable(lowerFirst(err.Error())),
		Mend: "write it the plain way: one key = value a line, an inline table on one line"}
}

// clamp moves a place into the text; parsers place the end of a file one line or byte behind it.
func clamp(file string, text []byte, line, column int) diag.Pos {
	lines := bytes.Split(text, []byte("\n"))
	line = min(max(line, 1), len(lines))
	column = min(max(column, 1), len(lines[line-1])+1)
	return diag.Pos{File: file, Line: line, Column: column}
}

func lineAt(text []byte, line int) string {
	return string(bytes.Split(text, []byte("\n"))[line-1])
}

// syntaxMend names the usual cause of a parser's message.
func syntaxMend(msg, line string) string {
	key, value, _ := strings.Cut(line, "=")
	if i := strings.IndexByte(value, '#'); i >= 0 && !strings.ContainsAny(value[:i], `"'`) {
		value = value[:i] // the lines of a new file all end with a comment
	}
	key, value = strings.TrimSpace(key), strings.TrimSpace(value)
	switch {
	case decimalComma.MatchString(value):
		return fmt.Sprintf("write %s = %s", key, decimalComma.ReplaceAllString(value, "$1.$2"))
	case strings.Contains(msg, "already"):
		return "delete one of the two, or write [[...]] for one more table of a list"
	case strings.Contains(msg, "escape"), strings.Contains(value, `\`):
		return `write / instead of \ in names of files`
	case strings.HasPrefix(msg, "strings cannot"), strings.Contains(msg, "unexpected EOF"):
		return "close the quotation mark or bracket that stays open"
	case bareText.MatchString(value):
		return fmt.Sprintf("write %s = %q", key, value)
	case strings.HasPrefix(msg, "invalid datetime"):
		return "write a day of the calendar and its UTC, for example 2026-09-12T04:00:00Z"
	case strings.HasPrefix(msg, "invalid float"), strings.HasPrefix(msg, "invalid integer"):
		return "write digits with one decimal point at most, for example 10.2"
	case strings.Contains(msg, "UTF-8"), strings.Contains(msg, "control characters"):
		return "save the file as plain text in UTF-8"
	default:
		return "a line is key = value, [table], [[list of tables]] or # comment"
	}
}

func lowerFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n < len(s) {
		if next, _ := utf8.DecodeRuneInString(s[n:]); unicode.IsUpper(next) {
			return s // an abbreviation such as TOML or EOF
		}
	}
	return string(unicode.ToLower(r)) + s[n:]
}

// printable replaces what would break a line or steer a terminal.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, s)
}
