package experiments

import (
	"math"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"fairlobe/pipeline/diag"
)

// decoder turns the checked tree of a file into an Experiment and checks relations between places. Values that
// had a fault stay zero, and relations that need them are not looked at.
type decoder struct {
	*checker
	root *node
	e    *Experiment
	read func(name string) ([]byte, error)
	// armUnsure is set when the name of an arm is missing or had a fault.
	armUnsure bool
}

// Parse reads the text of an experiment file. The name of the file is used for places, for the folder that other
// names count from and for the name of the experiment; read gives the bytes of a file of that folder (the station's or the
// schedule's) by its slash-separated name. The list has all faults and warnings, sorted by place; with any
// fault the Experiment is nil.
func Parse(file string, text []byte, read func(name string) ([]byte, error)) (*Experiment, diag.List) {
	root, list := parseSyntax(file, "", text)
	if list != nil {
		return nil, list
	}
	d := &decoder{checker: newChecker(), root: root, read: read, e: &Experiment{
		File: file, Dir: filepath.Dir(file), Name: strings.TrimSuffix(filepath.Base(file), ".toml"),
	}}
	d.fetchStation()
	d.table(root, "")
	d.decode()
	sorted := d.list.Sort()
	if len(sorted.Faults()) > 0 {
		return nil, sorted
	}
	d.e.places, d.e.root = map[string]diag.Pos{}, root
	gatherPlaces(root, d.e.places)
	return d.e, sorted
}

func gatherPlaces(n *node, places map[string]diag.Pos) {
	places[n.path] = n.key
	for _, name := range n.names {
		gatherPlaces(n.named[name], places)
	}
	for _, item := range n.items {
		gatherPlaces(item, places)
	}
}

func (d *decoder) decode() {
	d.head()
	d.station()
	d.fixed()
	d.arms()
	d.schedule()
	d.claims()
	d.spots()
	d.sweeps()
	d.e.Switches = d.str(d.root.child("log"), "log.switches")
}

// visible tells whether a character leaves something on a page.
func visible(r rune) bool { return unicode.IsGraphic(r) && !unicode.IsSpace(r) }

func (d *decoder) head() {
	e := d.e
	e.Title = d.str(d.root, "title")
	if !strings.ContainsFunc(e.Title, visible) {
		e.Title = e.Name
	}
	e.Question = d.str(d.root, "question")
	e.SmallestDB, _ = d.num(d.root, "smallest_difference_db")
	e.SmallestPoints, _ = d.num(d.root, "smallest_difference_points")
	if d.good(d.root, "seed") {
		seed := d.root.child("seed").value.(int64)
		e.Seed, e.HasSeed = uint64(seed), true // 0 or more by its limits
	}
	folder := d.str(d.root, "data")
	if n := d.root.child("data"); n != nil && strings.Contains(folder, `\`) {
		d.refuse(n, "data = "+n.shown()+" has a backslash", `write data = "`+strings.ReplaceAll(folder, `\`, "/")+`"`)
	}
	e.DataDir = filepath.FromSlash(folder)
	if !filepath.IsAbs(e.DataDir) {
		e.DataDir = filepath.Join(e.Dir, e.DataDir)
	}
}

// given tells whether a key is written, good or bad.
func (c *checker) given(table *node, path string) bool {
	return table.child(c.keys[path].name()) != nil
}

// good tells whether a key is written without a fault.
func (c *checker) good(table *node, path string) bool {
	n := table.child(c.keys[path].name())
	return n != nil && !n.bad
}

// get gives a value, its default if it is not written, or nil.
func (c *checker) get(table *node, path string) any {
	k, known := c.keys[path]
	if !known {
		panic("experiments: no key " + path)
	}
	switch n := table.child(k.name()); {
	case n == nil:
		return k.def
	case n.bad:
		return nil
	default:
		return n.value
	}
}

func (c *checker) str(table *node, path string) string {
	s, _ := c.get(table, path).(string)
	return s
}

func (c *checker) num(table *node, path string) (float64, bool) {
	switch v := c.get(table, path).(type) {
	case float64:
		return v, true
	case int64:
		return float64(v), true
	}
	return 0, false
}

// optional gives a number that may be absent.
func (c *checker) optional(table *node, path string) *float64 {
	if v, ok := c.num(table, path); ok {
		return &v
	}
	return nil
}

func (c *checker) whole(table *node, path string) int {
	v, _ := c.get(table, path).(int64)
	return int(v)
}

// flag gives a bool or its default.
func (c *checker) flag(table *node, path string) bool {
	v, _ := c.get(table, path).(bool)
	return v
}

// length gives a time given in minutes, to the nanosecond.
func (c *checker) length(table *node, path string) time.Duration {
	v, _ := c.num(table, path)
	return time.Duration(math.Round(v * float64(time.Minute)))
}

func (c *checker) strs(table *node, path string) []string {
	n := table.child(c.keys[path].name())
	if n == nil || n.bad {
		return nil
	}
	out := make([]string, 0, len(n.items))
	for _, item := range n.items {
		if s, ok := item.value.(string); ok && !item.bad {
			out = append(out, s)
		}
	}
	return out
}

// tables gives the tables of a list.
func (c *checker) tables(table *node, path string) []*node {
	n := table.child(c.keys[path].name())
	if n == nil || n.kind != aList || n.bad {
		return nil
	}
	var out []*node
	for _, item := range n.items {
		if item.kind == aTable {
			out = append(out, item)
		}
	}
	return out
}

// in gives the table of a key, or nil when the key holds something else.
func (n *node) in(name string) *node {
	if c := n.child(name); c != nil && c.kind == aTable {
		return c
	}
	return nil
}
