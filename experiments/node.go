package experiments

import (
	"strings"
	"time"

	"fairlobe/pipeline/diag"
)

// kind is a set of the forms that a value can have in the file.
type kind uint

const (
	aText kind = 1 << iota
	anInteger
	aFloat
	aBool
	aTime
	aLocalTime // without an offset from UTC, or a date or time of day alone
	aList
	aTable

	aNumber = anInteger | aFloat
)

// node is one value of the file with its places.
type node struct {
	path string // "arm[1].name"
	kind kind
	key  diag.Pos // of its key, its [header] or, inside a list, of itself
	at   diag.Pos // of its value
	raw  string   // the value as written
	// value of a text, number, bool or time: string, int64, float64, bool, time.Time
	value any
	items []*node          // of a list
	names []string         // of a table, in the order of the file
	named map[string]*node // of a table
	// bad values had a fault and are not looked at again.
	bad bool
}

func newTable(path string, pos diag.Pos) *node {
	return &node{path: path, kind: aTable, key: pos, at: pos, named: map[string]*node{}}
}

// child gives the value of a key of a table, or nil.
func (n *node) child(name string) *node {
	if n == nil {
		return nil
	}
	return n.named[name]
}

func (n *node) add(name string, c *node) {
	if _, there := n.named[name]; !there {
		n.names = append(n.names, name)
	}
	n.named[name] = c
}

// join gives the path of a key below a path.
func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// fill puts the decoded values into the tree.
func (n *node) fill(v any) error {
	switch v := v.(type) {
	case map[string]any:
		return n.fillTable(v)
	case []map[string]any:
		items := make([]any, len(v))
		for i := range v {
			items[i] = v[i]
		}
		return n.fillList(items)
	case []any:
		return n.fillList(v)
	case string, int64, float64, bool, time.Time:
		if n.kind == aTable || n.kind == aList {
			return n.unlike()
		}
		n.value = v
		return nil
	default:
		return n.unlike()
	}
}

func (n *node) fillTable(v map[string]any) error {
	if n.kind != aTable || len(v) != len(n.named) {
		return n.unlike()
	}
	for _, name := range n.names {
		inner, there := v[name]
		if !there {
			return n.named[name].unlike()
		}
		if err := n.named[name].fill(inner); err != nil {
			return err
		}
	}
	return nil
}

func (n *node) fillList(v []any) error {
	if n.kind != aList || len(v) != len(n.items) {
		return n.unlike()
	}
	for i, item := range n.items {
		if err := item.fill(v[i]); err != nil {
			return err
		}
	}
	return nil
}

func (n *node) unlike() error {
	return placed(n.key, n.path+" can be read in two ways")
}

// placedError is an error at a place of the text.
type placedError struct {
	line, column int
	msg          string
	deep         bool // nested deeper than maxDepth
}

func placed(pos diag.Pos, msg string) *placedError {
	return &placedError{line: pos.Line, column: pos.Column, msg: msg}
}

func (e *placedError) Error() string { return e.msg }

// shown is the value as it stands in messages.
func (n *node) shown() string {
	s := printable(strings.TrimSpace(n.raw))
	if len(s) > 60 {
		s = s[:cutAt(s, 57)] + "..."
	}
	return s
}

// cutAt gives the last border of a rune at or before byte i.
func cutAt(s string, i int) int {
	for i > 0 && s[i]&0xC0 == 0x80 {
		i--
	}
	return i
}

// called describes what the value is: `the text "1.5"`.
func (n *node) called() string {
	switch n.kind {
	case aText:
		return "the text " + n.shown()
	case anInteger, aFloat:
		return "the number " + n.shown()
	case aBool:
		return n.shown()
	case aTime:
		return "the time " + n.shown()
	case aLocalTime:
		return "the time " + n.shown() + " without Z"
	case aList:
		return "a list"
	default:
		return "a table"
	}
}
