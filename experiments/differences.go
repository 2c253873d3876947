package experiments

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"fairlobe/pipeline/diag"
)

// Difference is one variable that is not the same for all of the compared arms.
type Difference struct {
	Name string
	Unit string // "" for texts and ratios
	// Band is set where the value depends on it.
	Band string
	Arms []string
	// Values has one value for each arm, nil where the arm does not state it or it can't be derived.
	Values []any
	// Derived variables follow from others: slope angle, ground run, hanging feedline, spacing in wavelengths.
	Derived bool
}

// String gives the difference on one line: "feedpoint_height_m: high 9, low 4.5".
func (d Difference) String() string {
	name := d.Name
	if d.Band != "" {
		name += " on " + d.Band
	}
	parts := make([]string, len(d.Arms))
	for i, arm := range d.Arms {
		parts[i] = arm + " " + valueText(forPeople(d.Values[i], d.Derived))
	}
	return name + ": " + strings.Join(parts, ", ")
}

// forPeople rounds a derived number to what heights and lengths measured by hand can bear.
func forPeople(v any, derived bool) any {
	if f, ok := v.(float64); ok && derived {
		return math.Round(f*100) / 100
	}
	return v
}

func valueText(v any) string {
	switch v := v.(type) {
	case nil:
		return "not given"
	case float64:
		return short(v)
	case Loss:
		return fmt.Sprintf("%s dB at %s MHz", short(v.DB), short(v.AtMHz))
	case []Wire:
		return fmt.Sprintf("%d wires", len(v))
	default:
		return fmt.Sprint(v)
	}
}

// Differences lists every variable that differs between arms, stated ones by name, then what stands in other, then
// derived ones. Without arms it compares all.
func (e *Experiment) Differences(arms ...string) []Difference {
	if len(arms) == 0 {
		for _, a := range e.Arms {
			arms = append(arms, a.Name)
		}
	}
	var out []Difference
	keep := func(d Difference, value func(arm string) any) {
		d.Arms = arms
		for _, arm := range arms {
			d.Values = append(d.Values, value(arm))
		}
		for _, v := range d.Values[min(1, len(d.Values)):] {
			if !reflect.DeepEqual(v, d.Values[0]) {
				out = append(out, d)
				return
			}
		}
	}
	for _, k := range sortedVariables() {
		keep(Difference{Name: k.path, Unit: k.unit}, func(arm string) any { return e.stated(arm, k.path) })
	}
	for _, name := range e.otherNames() {
		keep(Difference{Name: name}, func(arm string) any { return e.otherStated(arm, name) })
	}
	for _, v := range derived {
		keep(Difference{Name: v.name, Unit: v.unit, Derived: true}, func(arm string) any { return v.of(e, arm) })
	}
	for _, name := range e.Schedule.Bands {
		b, _ := findBand(name)
		keep(Difference{Name: "arm_spacing_wavelengths", Band: name, Derived: true}, func(arm string) any {
			return spacing(e, arm, b)
		})
	}
	return out
}

func sortedVariables() []key {
	keys := variableKeys()
	slices.SortFunc(keys, func(a, b key) int { return strings.Compare(a.path, b.path) })
	return keys
}

// stated gives a variable of an arm, its own or the fixed one; nil if there is none.
func (e *Experiment) stated(arm, name string) any {
	a, _ := e.Arm(arm)
	for _, list := range [][]Variable{a.Variables, e.Fixed.Variables} {
		for _, v := range list {
			if v.Name == name {
				return v.Value
			}
		}
	}
	return nil
}

// otherNames are the names that arms use in other, sorted.
func (e *Experiment) otherNames() []string {
	var names []string
	for _, a := range e.Arms {
		for _, v := range a.Other {
			names = append(names, v.Name)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

func (e *Experiment) otherStated(arm, name string) any {
	a, _ := e.Arm(arm)
	for _, list := range [][]Variable{a.Other, e.Fixed.Other} {
		for _, v := range list {
			if v.Name == name {
				return v.Value
			}
		}
	}
	return nil
}

// derived are the variables that follow from others, for a straight wire.
var derived = []struct {
	name, unit string
	of         func(e *Experiment, arm string) any
}{
	{"slope_angle_deg", "deg", slopeAngle},
	{"ground_run_m", "m", groundRun},
	{"hanging_feedline_m", "m", hangingFeedline},
}

// slopeAngle is the angle of the wire to the horizontal, positive when its near end is the higher one.
func slopeAngle(e *Experiment, arm string) any {
	drop, length, ok := e.slope(arm)
	if !ok {
		return nil
	}
	return math.Asin(drop/length) * 180 / math.Pi
}

// groundRun is the horizontal distance between the ends of the wire.
func groundRun(e *Experiment, arm string) any {
	drop, length, ok := e.slope(arm)
	if !ok {
		return nil
	}
	return math.Sqrt((length - drop) * (length + drop))
}

func (e *Experiment) slope(arm string) (drop, length float64, ok bool) {
	near, ok1 := e.Number(arm, "feedpoint_height_m")
	far, ok2 := e.Number(arm, "far_end_height_m")
	length, ok3 := e.Number(arm, "wire_length_m")
	return near - far, length, ok1 && ok2 && ok3 && e.stated(arm, "wires") == nil
}

// hangingFeedline is the part of the feedline that hangs between the feed and the ground; the rest lies. The height of
// the feed follows from feed_at, which is 0, the near end, unless given.
func hangingFeedline(e *Experiment, arm string) any {
	height, ok1 := e.Number(arm, "feedpoint_height_m")
	line, ok2 := e.Number(arm, "feedline_length_m")
	if !ok1 || !ok2 {
		return nil
	}
	if at, _ := e.Number(arm, "feed_at"); at > 0 {
		far, ok := e.Number(arm, "far_end_height_m")
		if !ok {
			return nil
		}
		height += float64(at * (far - height))
	}
	return min(height, line)
}

// spacing is the distance to the other arm in wavelengths of the middle of a band.
func spacing(e *Experiment, arm string, b band) any {
	m, ok := e.Number(arm, "arm_spacing_m")
	if !ok || b.name == "" {
		return nil
	}
	return m / b.wavelengthM()
}

// Unnamed warns of each variable, derived ones too, that differs between the arms of a comparison though neither the name of a
// claim nor the question has a word of its name. A word of the name counts from four letters on, and where a
// word of the text begins with it ("feedpoints" names feedpoint_height_m); units are no words of the name.
func (e *Experiment) Unnamed() diag.List {
	text := strings.ToLower(e.Question)
	for _, c := range e.Claims {
		text += " " + strings.ToLower(c.Name)
	}
	words := strings.FieldsFunc(text, notLetter)
	var out diag.List
	seen := map[string]bool{}
	for i, c := range e.Claims {
		if !c.Compares {
			continue
		}
		for _, d := range e.Differences(c.Arms...) {
			line := d.String()
			if named(d.Name, words) || seen[line] {
				continue
			}
			seen[line] = true
			out = append(out, diag.Diag{Pos: e.Pos(fmt.Sprintf("claim[%d].compare", i)), Severity: diag.Warning, Code: "unnamed_difference",
				Msg:  "arms differ in " + d.Name + ", and neither a claim nor the question names it (" + line + ")",
				Mend: "hold it the same, or name it in the question: a difference that is found may come from it"})
		}
	}
	return out.Sort()
}

func notLetter(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') }

func named(variable string, words []string) bool {
	base, _ := stem(strings.ToLower(variable))
	for _, w := range strings.FieldsFunc(base, notLetter) {
		if len(w) >= 4 && slices.ContainsFunc(words, func(word string) bool { return strings.HasPrefix(word, w) }) {
			return true
		}
	}
	return false
}
