package experiments

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gowebpki/jcs"

	"fairlobe/pipeline/diag"
)

// Placeholders of call signs that stay at home. No country has calls that begin with Q.
const (
	PrivateCall    = "Q0Q"
	PrivateControl = "Q0C"
)

// privateSchedule is the name of the schedule file in the private form.
const privateSchedule = "schedule.csv"

// privateLocator is the number of characters that are left of a locator: a field of 1 degree by 2.
const privateLocator = 4

// CutLocator gives a locator as it leaves the house: its first 4 characters, upper case.
func CutLocator(s string) string {
	return strings.ToUpper(s[:min(len(s), privateLocator)])
}

// dropped are the tables and keys at the top of the file that stay at home.
var dropped = []string{"data", "spots", "sweeps", "log"}

// Private gives the experiment in the form that may leave the house, as the text of an experiment file: placeholders for
// the operator's call and that of the control station, no other spellings, locators of 4 characters, the station's file as
// a table, no data folder, spots, sweeps and log, no comments. Keys and tables keep the order of the file, but that those above
// the first table come first. What decides the verdict is the same but for these parts: see [PrivateContent].
func (e *Experiment) Private() ([]byte, error) {
	if e.root == nil {
		return nil, errors.New("writing the private form of an experiment: it was not read from a file")
	}
	var out strings.Builder
	stands := PrivateCall + " stands for the operator's call"
	if e.Control != nil {
		stands += ", " + PrivateControl + " for that of the control station"
	}
	fmt.Fprintf(&out, "# The form that was handed over: %s; locators are cut to %d characters.\n\n", stands, privateLocator)
	root := e.privateRoot()
	for _, name := range root.names {
		if n := root.named[name]; n.kind != aTable && !ofTables(n) {
			fmt.Fprintf(&out, "%s = %s\n", bareKey(name), inline(n))
		}
	}
	for _, name := range root.names {
		switch n := root.named[name]; {
		case n.kind == aTable:
			fmt.Fprintf(&out, "\n[%s]\n", bareKey(name))
			writeKeys(&out, n)
		case ofTables(n):
			for _, item := range n.items {
				fmt.Fprintf(&out, "\n[[%s]]\n", bareKey(name))
				writeKeys(&out, item)
			}
		}
	}
	return []byte(out.String()), nil
}

// ofTables tells whether a value is a list of tables.
func ofTables(n *node) bool {
	return n.kind == aList && len(n.items) > 0 && !slices.ContainsFunc(n.items, func(item *node) bool { return item.kind != aTable })
}

// privateRoot gives the tree of the private form. Nodes that don't change are shared. The title always stands there: its default is the
// file's name, which is another one there.
func (e *Experiment) privateRoot() *node {
	root := newTable("", e.root.key)
	if e.root.child("title") == nil {
		root.add("title", textNode(e.root, e.Title))
	}
	for _, name := range e.root.names {
		n := e.root.named[name]
		switch {
		case slices.Contains(dropped, name):
			continue
		case name == "title":
			n = textNode(n, e.Title)
		case name == "station":
			n = privateStation(n, PrivateCall)
		case name == "control":
			n = privateStation(n, PrivateControl)
		case name == "schedule" && n.child("file") != nil:
			n = with(n, map[string]*node{"file": textNode(n.child("file"), privateSchedule)})
		}
		root.add(name, n)
	}
	return root
}

func privateStation(n *node, call string) *node {
	changed := map[string]*node{"also": nil, "call": textNode(n.child("call"), call)}
	if at := n.child("locator"); at != nil {
		changed["locator"] = textNode(at, CutLocator(at.value.(string)))
	}
	return with(n, changed)
}

// with gives a table with other values for some keys; nil takes the key out.
func with(n *node, changed map[string]*node) *node {
	out := newTable(n.path, n.key)
	for _, name := range n.names {
		v, change := changed[name]
		if !change {
			v = n.named[name]
		}
		if v != nil {
			out.add(name, v)
		}
	}
	return out
}

// textNode gives a text at the place of another value.
func textNode(at *node, text string) *node {
	return &node{path: at.path, kind: aText, key: at.key, at: at.at, value: text}
}

func writeKeys(out *strings.Builder, n *node) {
	for _, name := range n.names {
		v := n.named[name]
		if !ofTables(v) {
			fmt.Fprintf(out, "%s = %s\n", bareKey(name), inline(v))
			continue
		}
		fmt.Fprintf(out, "%s = [\n", bareKey(name))
		for _, item := range v.items {
			fmt.Fprintf(out, "  %s,\n", inline(item))
		}
		out.WriteString("]\n")
	}
}

// inline writes a value on one line (TOML 1.0).
func inline(n *node) string {
	var parts []string
	switch v := n.value.(type) {
	case string:
		return tomlText(v)
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		text := strconv.FormatFloat(v, 'f', -1, 64)
		if !strings.Contains(text, ".") {
			text += ".0"
		}
		return text
	case bool:
		return strconv.FormatBool(v)
	case time.Time:
		return v.UTC().Format(time.RFC3339Nano)
	}
	if n.kind == aList {
		for _, item := range n.items {
			parts = append(parts, inline(item))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	for _, name := range n.names {
		parts = append(parts, bareKey(name)+" = "+inline(n.named[name]))
	}
	if len(parts) == 0 {
		return "{}"
	}
	return "{ " + strings.Join(parts, ", ") + " }"
}

var bareForm = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

// bareKey writes a key, in quotation marks where it needs them.
func bareKey(name string) string {
	if bareForm.MatchString(name) {
		return name
	}
	return tomlText(name)
}

// tomlText writes a basic string (TOML 1.0, "String").
func tomlText(s string) string {
	var out strings.Builder
	out.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			out.WriteByte('\\')
			out.WriteRune(r)
		case r == '\n':
			out.WriteString(`\n`)
		case r == '\r':
			out.WriteString(`\r`)
		case r == '\t':
			out.WriteString(`\t`)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&out, `\u%04X`, r)
		default:
			out.WriteRune(r)
		}
	}
	out.WriteByte('"')
	return out.String()
}

// PrivateContent takes [Experiment.Canonical], of now or of when it was sealed, to what the private form of the same
// experiment gives, as canonical JSON too.
func PrivateContent(canonical []byte) ([]byte, error) {
	var all map[string]any
	d := json.NewDecoder(bytes.NewReader(canonical))
	d.UseNumber()
	if err := d.Decode(&all); err != nil {
		return nil, fmt.Errorf("taking the private parts out of an experiment: %w", err)
	}
	for name, call := range map[string]string{"station": PrivateCall, "control": PrivateControl} {
		of, ok := all[name].(map[string]any)
		if !ok {
			continue
		}
		of["call"] = call
		if at, ok := of["locator"].(string); ok {
			of["locator"] = CutLocator(at)
		}
		if _, there := of["also"]; there {
			of["also"] = []any{}
		}
	}
	all["spots"], all["sweeps"] = []any{}, []any{}
	plain, err := json.Marshal(all)
	if err != nil {
		return nil, fmt.Errorf("taking the private parts out of an experiment: %w", err)
	}
	canonical, err = jcs.Transform(plain)
	if err != nil {
		return nil, fmt.Errorf("taking the private parts out of an experiment: %w", err)
	}
	return canonical, nil
}

// Text is a text, or a key of the user's choice, that stands in the private form.
type Text struct {
	Path  string // of the key, such as "arm[1].name"
	Value string
	Pos   diag.Pos // in the experiment file, or in the file of the station
}

// Texts gives every text of the private form, in the order of the file.
func (e *Experiment) Texts() []Text {
	if e.root == nil {
		return nil
	}
	var out []Text
	gatherTexts(e.privateRoot(), &out)
	return out
}

func gatherTexts(n *node, out *[]Text) {
	if text, ok := n.value.(string); ok {
		*out = append(*out, Text{n.path, text, n.at})
	}
	for _, name := range n.names {
		v := n.named[name]
		if !bareForm.MatchString(name) || strings.Contains(v.path, ".other.") {
			*out = append(*out, Text{v.path, name, v.key})
		}
		gatherTexts(v, out)
	}
	for _, item := range n.items {
		gatherTexts(item, out)
	}
}
