package repeat

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"fairlobe/experiments"
)

// Comparison tells in what a repeat differs from its original. Each entry is one line for a person.
type Comparison struct {
	// Differences make it a varied repeat: controlled variables, arms, claims, the form of the schedule.
	Differences []string
	// Question are differences of the smallest difference and of claims: what is asked is no longer the same.
	Question []string
	// Place, Length and Words are told and not counted: where it stands and which way the wires run as a whole; how many
	// blocks and outings, and the time between dwells; words for people.
	Place, Length, Words []string
}

// Kind is direct or varied.
func (c Comparison) Kind() string {
	if len(c.Differences)+len(c.Question) > 0 {
		return Varied
	}
	return Direct
}

// Lines are all differences that count.
func (c Comparison) Lines() []string { return slices.Concat(c.Question, c.Differences) }

// Compare holds the decisive contents of an original and of its repeat against each other, both in the types that JSON has.
func Compare(original, own map[string]any) Comparison {
	p := &pair{there: original, here: own}
	p.turned()
	p.question()
	p.fixed()
	p.arms()
	p.schedule()
	p.place()
	return p.found
}

// pair is an original and its repeat while they are compared.
type pair struct {
	there, here map[string]any
	turn        float64 // by which all wires run further clockwise here, degrees
	found       Comparison
}

func (p *pair) differs(to *[]string, name, unit string, there, here any) {
	if reflect.DeepEqual(there, here) {
		return
	}
	was, is := shown(there, unit), shown(here, unit)
	if was == is {
		is += " of another form"
	}
	*to = append(*to, Printable(fmt.Sprintf("%s: %s there, %s here", name, was, is)))
}

// shown is a value of decisive content for a person.
func shown(v any, unit string) string {
	if unit != "" {
		unit = " " + unit
	}
	switch v := v.(type) {
	case nil:
		return "not given"
	case float64:
		return number(v) + unit
	case string:
		if v == "" {
			return "nothing"
		}
		return v
	case []any:
		return list(v) + unit
	case map[string]any:
		var parts []string
		for _, k := range slices.Sorted(maps.Keys(v)) {
			parts = append(parts, k+" "+shown(v[k], ""))
		}
		return strings.Join(parts, ", ")
	}
	return fmt.Sprint(v)
}

func list(v []any) string {
	if len(v) == 0 {
		return "none"
	}
	var parts []string
	for _, one := range v {
		parts = append(parts, shown(one, ""))
	}
	if _, pieces := v[0].(map[string]any); pieces {
		return strings.Join(parts, "; ")
	}
	return strings.Join(parts, " ")
}

// number writes a number with at most 6 digits.
func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// table is the table of a name, empty if there is none.
func table(of map[string]any, name string) map[string]any {
	t, _ := of[name].(map[string]any)
	return t
}

// tables are those of a list by their names, and the names in order.
func tables(of map[string]any, name string) (byName map[string]map[string]any, names []string) {
	byName = map[string]map[string]any{}
	items, _ := of[name].([]any)
	for _, item := range items {
		t, _ := item.(map[string]any)
		own, ok := t["name"].(string)
		if ok && byName[own] == nil {
			byName[own] = t
			names = append(names, own)
		}
	}
	return byName, names
}

// keysOf are the keys of two tables, sorted.
func keysOf(a, b map[string]any) []string {
	both := map[string]bool{}
	for _, t := range []map[string]any{a, b} {
		for k := range t {
			both[k] = true
		}
	}
	return slices.Sorted(maps.Keys(both))
}

func unitOf(path string) string {
	_, unit := experiments.About(path)
	return unit
}

const azimuthKey = "slope_azimuth_deg"

// turned finds the angle by which the wires of all arms run another way here. Wires that are turned alike are the same
// antenna at another place.
func (p *pair) turned() {
	was, names := tables(p.there, "arm")
	is, _ := tables(p.here, "arm")
	var turns []float64
	for _, name := range names {
		if is[name] == nil {
			return
		}
		a, okA := stated(p.there, was[name], azimuthKey).(float64)
		b, okB := stated(p.here, is[name], azimuthKey).(float64)
		if okA != okB {
			return
		}
		if okA {
			turns = append(turns, angle(b-a))
		}
	}
	for _, t := range turns {
		if !sameAngle(t, turns[0]) {
			return
		}
	}
	if len(turns) > 0 && !sameAngle(turns[0], 0) {
		p.turn = turns[0]
		by, way := p.turn, "clockwise"
		if by > 180 {
			by, way = 360-by, "counter-clockwise"
		}
		p.found.Place = append(p.found.Place, fmt.Sprintf("all wires run %s deg further %s here", number(by), way))
	}
}

// stated is a variable of an arm, its own or the fixed one; nil if there is none.
func stated(content, arm map[string]any, name string) any {
	if v, ok := arm[name]; ok {
		return v
	}
	return table(content, "fixed")[name]
}

// angle brings degrees to 0 <= angle < 360.
func angle(deg float64) float64 { return math.Mod(math.Mod(deg, 360)+360, 360) }

// sameAngle allows what is left of adding a declination.
func sameAngle(a, b float64) bool {
	d := angle(a - b)
	return d < 1e-6 || 360-d < 1e-6
}

func (p *pair) question() {
	p.differs(&p.found.Question, "smallest_difference_db", "dB", p.there["smallest_difference_db"], p.here["smallest_difference_db"])
	p.matched("claim", p.claim, func(name string) {
		p.found.Question = append(p.found.Question, Printable(fmt.Sprintf("claim %q: asked there, not here", name)))
	}, func(name string) {
		p.found.Differences = append(p.found.Differences, Printable(fmt.Sprintf("claim %q: not asked there, asked here", name)))
	})
	if p.there["question"] != p.here["question"] {
		p.found.Words = append(p.found.Words, "the question is put in other words; what counts are the claims")
	}
}

// matched goes through the tables of a kind by name: those of both, those that only the original has, and those that are new.
func (p *pair) matched(kind string, both func(name string, was, is map[string]any), gone, come func(name string)) {
	was, names := tables(p.there, kind)
	is, here := tables(p.here, kind)
	for _, name := range names {
		if is[name] == nil {
			gone(name)
			continue
		}
		both(name, was[name], is[name])
	}
	for _, name := range here {
		if was[name] == nil {
			come(name)
		}
	}
}

func (p *pair) claim(name string, was, is map[string]any) {
	for _, key := range keysOf(was, is) {
		a, b := was[key], is[key]
		switch key {
		case "name":
			continue
		case "bands":
			a, b = claimBands(p.there, a), claimBands(p.here, b)
			if reflect.DeepEqual(claimBands(p.there, nil), a) && reflect.DeepEqual(claimBands(p.here, nil), b) {
				continue // all bands of the schedule, which is compared on its own
			}
		case "frame":
			if a == nil { // the original leaves open how its lobes are put together with others
				p.found.Place = append(p.found.Place, Printable(fmt.Sprintf("claim %q: frame = %q is said here, and was left open there", name, b)))
				continue
			}
		case "toward_deg":
			if p.axis(name, was, is) {
				continue
			}
		}
		p.differs(&p.found.Question, fmt.Sprintf("claim %q, %s", name, key), unitOf("claim[]."+key), a, b)
	}
}

// claimBands are the bands of a claim, those of the schedule where it names none.
func claimBands(content map[string]any, bands any) any {
	if l, ok := bands.([]any); ok && len(l) > 0 {
		return bands
	}
	return table(content, "schedule")["bands"]
}

// axis tells whether the axis that a claim names is the same, with the wires as they run here: one in the frame of the wire
// turns with it, one in the frame of north does not. Where no frame is named both will do, and it is said which was found.
func (p *pair) axis(name string, was, is map[string]any) bool {
	a, okA := was["toward_deg"].(float64)
	b, okB := is["toward_deg"].(float64)
	if !okA || !okB || p.turn == 0 {
		return false
	}
	kept, along := sameAngle(a, b), sameAngle(a+p.turn, b)
	switch was["frame"] {
	case "wire":
		if kept {
			p.found.Question = append(p.found.Question, Printable(fmt.Sprintf(
				"claim %q, toward_deg: %s deg there and here, and the wire was turned: turn it by hand to %s", name, number(b), number(angle(a+p.turn)))))
		}
		return kept || along
	case "north":
		return kept
	}
	if kept {
		p.found.Place = append(p.found.Place, Printable(fmt.Sprintf(
			"claim %q: toward_deg is %s deg as there; if it means the wire, turn it by hand to %s", name, number(b), number(angle(a+p.turn)))))
	}
	return kept || along
}

func (p *pair) fixed() {
	was, is, ofArms := table(p.there, "fixed"), table(p.here, "fixed"), p.armKeys()
	for _, key := range keysOf(was, is) {
		switch {
		case key == "other":
			p.others("", table(was, "other"), table(is, "other"))
		case key == azimuthKey && p.turn != 0:
		case !slices.Contains(ofArms, key):
			p.differs(&p.found.Differences, key, unitOf("fixed."+key), was[key], is[key])
		}
	}
}

func (p *pair) others(of string, was, is map[string]any) {
	for _, key := range keysOf(was, is) {
		p.differs(&p.found.Differences, of+key, "", was[key], is[key])
	}
}

func (p *pair) arms() {
	differs := func(format string) func(string) {
		return func(name string) {
			p.found.Differences = append(p.found.Differences, Printable(fmt.Sprintf(format, name)))
		}
	}
	p.matched("arm", p.arm, differs("arm %q: there, not here"), differs("arm %q: not there, here"))
}

// arm compares what any arm states in one of the two, so that a variable may move between [fixed] and the arms.
func (p *pair) arm(name string, was, is map[string]any) {
	for _, key := range p.armKeys() {
		if key == azimuthKey && p.turn != 0 {
			continue
		}
		p.differs(&p.found.Differences, "arm "+name+", "+key, unitOf("arm[]."+key), stated(p.there, was, key), stated(p.here, is, key))
	}
	p.others("arm "+name+", ", table(was, "other"), table(is, "other"))
}

// armKeys are the variables that some arm states, in the original or here, but for those that both hold fixed, sorted.
func (p *pair) armKeys() []string {
	keys := map[string]bool{}
	for _, content := range []map[string]any{p.there, p.here} {
		arms, _ := tables(content, "arm")
		for _, arm := range arms {
			for key := range arm {
				keys[key] = true
			}
		}
	}
	delete(keys, "name")
	delete(keys, "other")
	was, is := table(p.there, "fixed"), table(p.here, "fixed")
	for key := range was {
		if is[key] != nil {
			delete(keys, key)
		}
	}
	return slices.Sorted(maps.Keys(keys))
}

// schedule compares the form of the schedule; its length is told and not counted.
func (p *pair) schedule() {
	was, is := table(p.there, "schedule"), table(p.here, "schedule")
	for _, key := range keysOf(was, is) {
		to := &p.found.Differences
		switch {
		case key == "sessions", key == "blocks":
			continue
		case slices.Contains([]string{"breaks", "arm_change_min", "band_change_min"}, key): // time between dwells
			to = &p.found.Length
		case key == "order" && (was[key] == nil || is[key] == nil):
			p.found.Words = append(p.found.Words, "the order of one of the two stood in a file; that of the other is drawn by fairlobe")
			continue
		}
		p.differs(to, key, unitOf("schedule."+key), was[key], is[key])
	}
	p.longer("block a band", count(was["blocks"]), count(is["blocks"]))
	p.longer("session", count(was["sessions"]), count(is["sessions"]))
}

// count is a number, or how many items a list has.
func count(v any) int {
	switch v := v.(type) {
	case float64:
		return int(v)
	case []any:
		return len(v)
	}
	return 0
}

func (p *pair) longer(what string, there, here int) {
	if there == here || there == 0 || here == 0 {
		return
	}
	word := "longer"
	if here < there {
		word = "shorter"
	}
	p.found.Length = append(p.found.Length, fmt.Sprintf("%s: %s there, %d here", word, counted(there, what), here))
}

// counted is "1 session" or "2 sessions".
func counted(n int, what string) string {
	first, rest, _ := strings.Cut(what, " ")
	if n != 1 {
		first += "s"
	}
	return strings.TrimSpace(fmt.Sprintf("%d %s %s", n, first, rest))
}

// place tells of the two stations what may be told of both: squares of four characters, and the ground.
func (p *pair) place() {
	was, is := table(p.there, "station"), table(p.here, "station")
	p.differs(&p.found.Place, "locator", "", square(was["locator"]), square(is["locator"]))
	p.differs(&p.found.Place, "ground", "", was["ground"], is["ground"])
	if (p.there["control"] == nil) != (p.here["control"] == nil) {
		p.differs(&p.found.Place, "control station", "", yesNo(p.there["control"]), yesNo(p.here["control"]))
	}
}

func yesNo(v any) string {
	if v == nil {
		return "none"
	}
	return "one"
}

func square(v any) any {
	if s, ok := v.(string); ok && len(s) > 4 {
		return s[:4]
	}
	return v
}
