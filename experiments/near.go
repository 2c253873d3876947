package experiments

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

var (
	decimalComma = regexp.MustCompile(`^([+-]?\d+),(\d+)$`)
	bareText     = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9 /_-]*$`)
	leadNumber   = regexp.MustCompile(`^\s*([+-]?\d+(?:[.,]\d+)?)\s*([A-Za-z]*)\s*$`)
)

// distance is the number of letters to insert, delete, replace or swap with a neighbour that turns a into b:
// the restricted edit distance of Damerau (1964) as computed by Wagner and Fischer (1974).
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	rows := make([][]int, len(s)+1)
	for i := range rows {
		rows[i] = make([]int, len(t)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(s); i++ {
		for j := 1; j <= len(t); j++ {
			change := rows[i-1][j-1]
			if s[i-1] != t[j-1] {
				change++
			}
			rows[i][j] = min(change, rows[i-1][j]+1, rows[i][j-1]+1)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(s)][len(t)]
}

// maxWord bounds the work of comparing a word of the file with the known ones.
const maxWord = 60

// nearest gives the known word that is nearest to a word, if it is near at all: within a third of its length, or
// the word is its beginning.
func nearest(word string, known []string) (string, bool) {
	best, found := math.MaxInt, ""
	if len(word) > maxWord {
		return "", false
	}
	w := strings.ToLower(strings.TrimSpace(word))
	for _, k := range known {
		d := distance(w, strings.ToLower(k))
		if d < best && d <= max(1, (len(k)+1)/3) {
			best, found = d, k
		}
	}
	for _, k := range known {
		if best == math.MaxInt && len(w) >= 3 && strings.HasPrefix(strings.ToLower(k), w) {
			best, found = 0, k
		}
	}
	return found, best < math.MaxInt
}

// unitForm is a way to write a unit at the end of a key or behind a number.
type unitForm struct {
	of     string  // the unit of this file: "m", "min", ...
	factor float64 // value * factor = value in that unit
	name   string  // for messages
}

// unitForms lists, by suffix, what people write; factors are exact by definition (foot, inch and mile: the
// international yard and pound agreement of 1959).
var unitForms = map[string][]unitForm{
	"s": {{"min", 1. / 60, "seconds"}, {"s", 1, "seconds"}}, "sec": {{"min", 1. / 60, "seconds"}, {"s", 1, "seconds"}},
	"seconds": {{"min", 1. / 60, "seconds"}, {"s", 1, "seconds"}}, "min": {{"min", 1, "minutes"}, {"s", 60, "minutes"}},
	"minutes": {{"min", 1, "minutes"}, {"s", 60, "minutes"}}, "h": {{"min", 60, "hours"}, {"s", 3600, "hours"}},
	"hours": {{"min", 60, "hours"}, {"s", 3600, "hours"}},
	"m":     {{"m", 1, "metres"}, {"mm", 1000, "metres"}, {"km", 0.001, "metres"}},
	"cm":    {{"m", 0.01, "centimetres"}, {"mm", 10, "centimetres"}}, "mm": {{"m", 0.001, "millimetres"}, {"mm", 1, "millimetres"}},
	"km": {{"km", 1, "kilometres"}, {"m", 1000, "kilometres"}}, "ft": {{"m", 0.3048, "feet"}}, "feet": {{"m", 0.3048, "feet"}},
	"in": {{"mm", 25.4, "inches"}, {"m", 0.0254, "inches"}}, "mi": {{"km", 1.609344, "miles"}}, "miles": {{"km", 1.609344, "miles"}},
	"w": {{"W", 1, "watts"}}, "mw": {{"W", 0.001, "milliwatts"}}, "kw": {{"W", 1000, "kilowatts"}}, "dbm": {{"W", 0, "dBm"}},
	"hz": {{"Hz", 1, "hertz"}, {"MHz", 1e-6, "hertz"}}, "khz": {{"MHz", 0.001, "kilohertz"}, {"Hz", 1000, "kilohertz"}},
	"mhz": {{"MHz", 1, "megahertz"}, {"Hz", 1e6, "megahertz"}}, "ohm": {{"ohm", 1, "ohms"}}, "kohm": {{"ohm", 1000, "kiloohms"}},
	"deg": {{"deg", 1, "degrees"}}, "rad": {{"deg", 180 / math.Pi, "radians"}}, "db": {{"dB", 1, "dB"}},
}

// formOf finds the unit form of a suffix for a unit of this file.
func formOf(suffix, unit string) (unitForm, bool) {
	for _, f := range unitForms[strings.ToLower(suffix)] {
		if f.of == unit {
			return f, true
		}
	}
	return unitForm{}, false
}

// convert gives a value in the unit of this file, as it is written there.
func (f unitForm) convert(v float64) string {
	if f.name == "dBm" {
		v = math.Pow(10, (v-30)/10)
	} else {
		v *= f.factor
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// stem splits the unit from a key: "dwell", "min".
func stem(name string) (string, string) {
	i := strings.LastIndexByte(name, '_')
	if i < 0 {
		return name, ""
	}
	if _, ok := unitForms[strings.ToLower(name[i+1:])]; !ok {
		return name, ""
	}
	return name[:i], name[i+1:]
}

// numberIn reads a number out of a text such as "1.5", "1,5" or "20 ft", in the unit of the key.
func numberIn(text string, k key) (string, bool) {
	m := leadNumber.FindStringSubmatch(text)
	if m == nil {
		return "", false
	}
	v, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	if err != nil {
		return "", false
	}
	written := strings.Replace(m[1], ",", ".", 1)
	if m[2] != "" {
		f, ok := formOf(m[2], k.unit)
		if !ok {
			return "", false
		}
		if f.factor != 1 {
			written = f.convert(v)
			v, _ = strconv.ParseFloat(written, 64)
		}
	}
	if k.kind&aFloat == 0 && strings.Contains(written, ".") {
		return "", false
	}
	return written, k.span == nil || k.span.holds(v)
}

// maxCompared bounds the work for a file that is something else.
const maxCompared = 50

// unknown tells of a key that the table does not have, and which one may be meant.
func (c *checker) unknown(n *node, table, pattern, name string) {
	if k, form, ok := c.otherUnit(pattern, name); ok {
		c.hinted[join(table, k.name())] = true
		c.unitFault(n, k, form, name)
		return
	}
	if k, ok := c.per100ft(pattern, name); ok {
		c.hinted[join(table, k.name())] = true
		c.fault(n.key, fmt.Sprintf("%q is per 100 feet, and this file keeps it per 100 m, as %s", name, k.name()),
			fmt.Sprintf("multiply the dB by 3.28084 (100 m are 328.084 feet) and write %s", k.name()))
		return
	}
	mend, meant := "delete it, or see the keys that the reference lists", ""
	if c.unknowns++; c.unknowns <= maxCompared {
		mend, meant = c.meant(n, pattern, name)
	}
	c.hinted[join(table, meant)] = true
	c.fault(n.key, fmt.Sprintf("unknown key %q %s", printable(name), inside(pattern)), mend)
}

// otherUnit finds the known key of the table that differs only in its unit.
func (c *checker) otherUnit(pattern, name string) (key, unitForm, bool) {
	base, suffix := stem(name)
	if suffix == "" {
		return key{}, unitForm{}, false
	}
	for _, k := range c.inOrder {
		known, unit := stem(k.name())
		if k.table() != pattern || unit == "" || known != base {
			continue
		}
		if f, ok := formOf(suffix, k.unit); ok {
			return k, f, true
		}
	}
	return key{}, unitForm{}, false
}

// per100ft finds the known key of the table that says per 100 m what the name says per 100 feet.
func (c *checker) per100ft(pattern, name string) (key, bool) {
	base, ok := strings.CutSuffix(strings.ToLower(name), "_per_100ft")
	if !ok {
		return key{}, false
	}
	k, ok := c.keys[join(pattern, base+"_per_100m")]
	return k, ok
}

func (c *checker) unitFault(n *node, k key, form unitForm, name string) {
	msg := fmt.Sprintf("%q is in %s, and this file keeps it in %s, as %s", name, form.name, k.unit, k.name())
	if form.factor == 1 {
		msg = fmt.Sprintf("unknown key %q %s", name, inside(k.table()))
	}
	mend := "convert it to " + k.name()
	if v := n.float(); !math.IsNaN(v) && !math.IsInf(v, 0) {
		mend = fmt.Sprintf("write %s = %s", k.name(), form.convert(v))
	}
	c.fault(n.key, msg, mend)
}

// meant gives the mend of an unknown key, and the key of its table that it is taken for, if any: a key without
// its unit, the same name in another table, the nearest here, the nearest elsewhere.
func (c *checker) meant(n *node, pattern, name string) (mend, key string) {
	if pattern == "arm[]" && (name == "band" || name == "bands") {
		return "a band can't differ between arms: name it in bands of [schedule]", ""
	}
	if where := c.tablesWith(name); where != "" {
		return name + " belongs under " + where, ""
	}
	var here, all []string
	for _, k := range c.inOrder {
		if k.table() == pattern {
			here = append(here, k.name())
			if base, unit := stem(k.name()); unit != "" && base == name {
				return fmt.Sprintf("write %s, with its unit %s in the name", k.name(), k.unit), k.name()
			}
		}
		all = append(all, k.name())
	}
	if near, ok := nearest(name, here); ok {
		if k := c.keys[join(pattern, near)]; k.example == inTables {
			return "write " + tableMark(k), near
		}
		if n.kind != aTable && len(n.raw) < 60 && !strings.Contains(n.raw, "\n") && n.raw != "" {
			return fmt.Sprintf("write %s = %s", near, n.shown()), near
		}
		return "write " + near, near
	}
	if near, ok := nearest(name, all); ok {
		return fmt.Sprintf("did you mean %s, which belongs under %s", near, c.tablesWith(near)), ""
	}
	return fmt.Sprintf("keys of %s are %s", heading(pattern), strings.Join(here, ", ")), ""
}

// tablesWith names the tables that have a key of this name.
func (c *checker) tablesWith(name string) string {
	var where []string
	for _, k := range c.inOrder {
		if k.name() == name {
			where = append(where, heading(k.table()))
		}
	}
	return strings.Join(where, " or ")
}
