package experiments

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"

	"fairlobe/pipeline/diag"
)

// maxText is the longest text of a key, in bytes: a question of a page fits.
const maxText = 4000

// maxItems is the longest list: sessions of three years without a rest.
const maxItems = 1000

// checker gathers the faults of one file.
type checker struct {
	keys map[string]key
	// inOrder holds the same keys in the order of the reference, so that suggestions do not depend on map order.
	inOrder []key
	list    diag.List
	// hinted holds the paths of keys that an unknown key was taken for; they are not missed too.
	hinted map[string]bool
	// unknowns counts unknown keys; only the first ones are compared with all that are known.
	unknowns int
}

func newChecker() *checker {
	c := &checker{keys: map[string]key{}, hinted: map[string]bool{}, inOrder: knownKeys()}
	for _, k := range c.inOrder {
		c.keys[k.path] = k
	}
	return c
}

func (c *checker) fault(pos diag.Pos, msg, mend string, related ...diag.Pos) {
	c.list = append(c.list, diag.Diag{Pos: pos, Msg: msg, Mend: mend, Related: related})
}

func (c *checker) warn(code string, pos diag.Pos, msg, mend string, related ...diag.Pos) {
	c.list = append(c.list, diag.Diag{Pos: pos, Severity: diag.Warning, Code: code, Msg: msg, Mend: mend, Related: related})
}

// refuse marks a value as bad and tells why.
func (c *checker) refuse(n *node, msg, mend string, related ...diag.Pos) {
	n.bad = true
	c.fault(n.at, msg, mend, related...)
}

// table checks every key of a table whose path has this pattern, and looks for keys that must be there.
func (c *checker) table(n *node, pattern string) {
	for _, name := range n.names {
		v := n.named[name]
		k, known := c.keys[join(pattern, name)]
		if !known {
			v.bad = true
			c.unknown(v, n.path, pattern, name)
			continue
		}
		c.value(v, k)
	}
	for _, k := range c.inOrder {
		if k.need == required && k.table() == pattern && n.child(k.name()) == nil {
			c.missing(n, k, "")
		}
	}
}

// missing tells of a key that must be there; why may say when.
func (c *checker) missing(table *node, k key, why string) {
	if c.hinted[join(table.path, k.name())] {
		return
	}
	where := heading(k.table())
	if why != "" {
		why = ", which is required " + why
	}
	switch {
	case k.example == inTables:
		c.fault(table.key, "the file has no "+tableMark(k), "add a table "+tableMark(k)+": "+k.doc)
	case k.table() == "":
		c.fault(table.key, "the file has no "+k.name()+why, k.suggestion())
	default:
		c.fault(table.key, fmt.Sprintf("%s has no %s%s", where, k.name(), why), k.suggestion())
	}
}

// tableMark is the line that opens a table of the top of the file.
func tableMark(k key) string {
	if k.kind&aList != 0 {
		return "[[" + k.name() + "]]"
	}
	return "[" + k.name() + "]"
}

// value checks form, limits and words of one value, and goes into tables and lists.
func (c *checker) value(n *node, k key) {
	if !fits(n, k.kind) {
		c.wrongForm(n, k)
		return
	}
	switch n.kind {
	case aTable:
		if !k.open {
			c.table(n, k.path)
		}
	case aList:
		c.items(n, k)
	case anInteger, aFloat:
		c.number(n, k)
	case aText:
		c.text(n, k)
	case aTime:
		c.moment(n, k)
	}
}

func fits(n *node, k kind) bool { return n.kind&k != 0 }

func (c *checker) wrongForm(n *node, k key) {
	want := kindWords(k)
	if n.kind == aLocalTime && k.kind&aTime != 0 {
		c.refuse(n, fmt.Sprintf("%s = %s does not say its distance from UTC", k.name(), n.shown()),
			fmt.Sprintf("give UTC with a Z, for example %s = %s", k.name(), utcOf(n, k)))
		return
	}
	mend := k.suggestion()
	if text, ok := n.value.(string); ok && k.kind&aNumber != 0 {
		if v, ok := numberIn(text, k); ok {
			mend = fmt.Sprintf("write %s = %s", k.name(), v)
		}
	}
	if k.kind&aList != 0 && k.item&n.kind != 0 && n.kind != aTable {
		mend = fmt.Sprintf("write %s = [%s]", k.name(), n.shown())
	}
	if k.kind == aText && n.kind&(aNumber|aBool) != 0 {
		mend = fmt.Sprintf("write %s = %q", k.name(), wordFrom(n.shown(), k.words))
	}
	if n.inList() {
		mend = strings.TrimPrefix(mend, "write "+k.name()+" = ")
		if k.kind == aText && n.kind&(aNumber|aBool) != 0 {
			mend = "write " + mend
		}
	}
	c.refuse(n, fmt.Sprintf("%s wants %s, not %s", k.name(), want, n.called()), mend)
}

// wordFrom gives the shortest of the allowed words that begins with a text, as 20m with 20; the text itself if none does.
func wordFrom(text string, words []string) string {
	best := text
	for _, w := range words {
		if strings.HasPrefix(w, text) && (best == text || len(w) < len(best)) {
			best = w
		}
	}
	return best
}

// utcOf adds the Z that a time lacks, if it is a whole time.
func utcOf(n *node, k key) string {
	if t, ok := n.value.(time.Time); ok && strings.Contains(n.raw, "-") && strings.Contains(n.raw, ":") {
		return t.Format("2006-01-02T15:04:05") + "Z"
	}
	return k.example
}

func (c *checker) items(n *node, k key) {
	if k.open {
		return
	}
	if len(n.items) > maxItems {
		c.refuse(n, fmt.Sprintf("%s has %d items, more than %d", k.name(), len(n.items), maxItems), "make several experiments of it")
		return
	}
	if len(n.items) == 0 && (k.need == required || k.most > 0) {
		c.refuse(n, fmt.Sprintf("%s is an empty list", k.name()),
			k.suggestion())
		return
	}
	if k.most > 0 && len(n.items) != k.most {
		c.refuse(n, fmt.Sprintf("%s wants %s and has %d", k.name(), kindWords(k), len(n.items)),
			k.suggestion())
		return
	}
	one := k
	one.kind = k.item
	for _, item := range n.items {
		if item.kind == aTable && fits(item, k.item) {
			c.table(item, k.path+"[]")
			continue
		}
		c.value(item, one)
		n.bad = n.bad || item.bad
	}
}

func (c *checker) number(n *node, k key) {
	v := n.float()
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		c.refuse(n, fmt.Sprintf("%s = %s is no number to work with", k.name(), n.shown()),
			k.suggestion())
	case k.span != nil && !k.span.holds(v) || math.Abs(v) > 1e18 && n.kind == aFloat:
		limits := "a number of a sane size"
		if k.span != nil {
			limits = k.span.String()
		}
		c.refuse(n, fmt.Sprintf("%s = %s is outside its limits: %s%s", k.name(), n.shown(), limits, unitWord(k.unit)),
			k.suggestion())
	}
}

func unitWord(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

func (n *node) float() float64 {
	switch v := n.value.(type) {
	case int64:
		return float64(v)
	case float64:
		return v
	}
	return math.NaN()
}

func (c *checker) text(n *node, k key) {
	v := n.value.(string)
	switch {
	case len(v) > maxText:
		c.refuse(n, fmt.Sprintf("%s has %d bytes, more than %d", k.name(), len(v), maxText), "shorten it")
	case k.words != nil && !slices.Contains(k.words, v):
		c.wrongWord(n, k, v)
	case k.words == nil && strings.ContainsFunc(v, forbidden(k)):
		c.refuse(n, fmt.Sprintf("%s = %s holds a control character or line break", k.name(), n.shown()),
			"write it as one line of plain text")
	case k.words == nil && k.need == required && strings.TrimSpace(v) == "":
		c.refuse(n, fmt.Sprintf("%s is empty", k.name()),
			k.suggestion())
	case k.below != "":
		c.fileName(n, k, v)
	}
}

// forbidden tells the characters that a text may not hold: those that steer a terminal, or turn the letters around. A
// question may have lines.
func forbidden(k key) func(rune) bool {
	return func(r rune) bool {
		if k.path == "question" && (r == '\n' || r == '\r' || r == '\t') {
			return false
		}
		return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029' || r == unicode.ReplacementChar
	}
}

func (c *checker) wrongWord(n *node, k key, v string) {
	if k.kind&aNumber != 0 {
		if number, ok := numberIn(v, k); ok {
			c.refuse(n, fmt.Sprintf("%s wants %s, not %s", k.name(), kindWords(k), n.called()),
				fmt.Sprintf("write %s = %s", k.name(), number))
			return
		}
	}
	mend := fmt.Sprintf("write one of %s", quotedList(k.words))
	if near, ok := nearest(v, k.words); ok {
		mend = fmt.Sprintf("write %s = %q", k.name(), near)
		if k.kind == aText && n.inList() {
			mend = fmt.Sprintf("write %q", near)
		}
	}
	c.refuse(n, fmt.Sprintf("%s = %s is not one of %s", k.name(), n.shown(), quotedList(k.words)), mend)
}

// inList tells whether the node is an item of a list.
func (n *node) inList() bool { return strings.HasSuffix(n.path, "]") }

// quotedList names words for a message, not more than a screen takes.
func quotedList(words []string) string {
	const most = 24
	var quoted []string
	for i, w := range words {
		if i == most {
			quoted = append(quoted, "...")
			break
		}
		quoted = append(quoted, fmt.Sprintf("%q", w))
	}
	return strings.Join(quoted, ", ")
}

func (c *checker) moment(n *node, k key) {
	t := n.value.(time.Time)
	if _, offset := t.Zone(); offset != 0 {
		c.refuse(n, fmt.Sprintf("%s = %s is not in UTC", k.name(), n.shown()),
			fmt.Sprintf("write %s = %s", k.name(), zulu(t)))
		return
	}
	if t.Year() < 1970 || t.Year() > 2200 {
		c.refuse(n, fmt.Sprintf("%s = %s is not in the years 1970 to 2200", k.name(), n.shown()),
			k.suggestion())
	}
}

func zulu(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// fileName refuses names that leave their folder, and those that only some systems can read.
func (c *checker) fileName(n *node, k key, v string) {
	switch {
	case strings.TrimSpace(v) == "":
		if k.def == nil || n.inList() {
			c.refuse(n, fmt.Sprintf("%s names no file", k.name()), fmt.Sprintf("give %s, for example %s", k.doc, k.example))
		}
	case strings.Contains(v, `\`):
		c.refuse(n, fmt.Sprintf("%s = %s has a backslash", k.name(), n.shown()),
			fmt.Sprintf("write %q", strings.ReplaceAll(v, `\`, "/")))
	case strings.HasPrefix(v, "/"), len(v) > 1 && v[1] == ':':
		c.refuse(n, fmt.Sprintf("%s = %s does not count from %s", k.name(), n.shown(), k.below),
			"name it from "+k.below+", without a drive or a leading /")
	case slices.Contains(strings.Split(v, "/"), ".."):
		c.refuse(n, fmt.Sprintf("%s = %s leaves %s", k.name(), n.shown(), k.below), leavesMend(k))
	}
}

func leavesMend(k key) string {
	if k.below == dataDir {
		return "put the files into the data folder, or let data name the folder above both"
	}
	return "put the file beside the experiment file"
}
