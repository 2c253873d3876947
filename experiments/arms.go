package experiments

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// maxArms bounds the arms of an experiment; blocks of more could not be kept in the field.
const maxArms = 20

func (d *decoder) arms() {
	tables := d.tables(d.root, "arm")
	first := map[string]*node{}
	for _, t := range tables {
		a := Arm{Name: d.name(t, "arm[].name", first), Variables: d.variables(t, "arm[]"), Other: d.other(t.in("other"))}
		d.armUnsure = d.armUnsure || !d.good(t, "arm[].name")
		d.heldAndVaried(t)
		d.e.Arms = append(d.e.Arms, a)
	}
	if n := d.root.child("arm"); n != nil && !n.bad && len(tables) > maxArms {
		d.fault(n.key, fmt.Sprintf("%d arms are more than %d", len(tables), maxArms), "make two experiments of them")
	}
	d.partlyGiven(tables)
	for _, t := range tables {
		d.slopes(t)
	}
}

// name reads a name that must be unique and fit into a CSV field.
func (d *decoder) name(t *node, path string, first map[string]*node) string {
	n := t.child("name")
	if n == nil || n.bad {
		return ""
	}
	v := n.value.(string)
	what := strings.TrimSuffix(d.keys[path].table(), "[]")
	switch {
	case len(v) > 80:
		d.refuse(n, fmt.Sprintf("name of the %s has %d bytes, more than 80", what, len(v)), "shorten it")
	case strings.TrimSpace(v) != v:
		d.refuse(n, fmt.Sprintf("name = %s begins or ends with a blank", n.shown()), fmt.Sprintf("write name = %q", strings.TrimSpace(v)))
	case what == "arm" && strings.ContainsAny(v, `,;"`):
		d.refuse(n, fmt.Sprintf("name = %s holds a comma, semicolon or quotation mark, which would break tables", n.shown()),
			fmt.Sprintf("write name = %q", strings.NewReplacer(",", "", ";", "", `"`, "").Replace(v)))
	case first[v] != nil:
		d.refuse(n, fmt.Sprintf("two tables [[%s]] have the name %s", what, n.shown()), "give each its own name", first[v].at)
	default:
		first[v] = n
	}
	return v
}

// heldAndVaried finds variables that stand in [fixed] and in an arm.
func (d *decoder) heldAndVaried(arm *node) {
	fixed := d.root.in("fixed")
	for _, k := range variableKeys() {
		held, varied := fixed.child(k.path), arm.child(k.path)
		if held != nil && varied != nil {
			d.fault(varied.key, fmt.Sprintf("%s stands in [[arm]] and in [fixed]", k.path),
				"delete it from [fixed], and give it in every [[arm]]", held.key)
		}
	}
}

// partlyGiven warns of variables that only some arms state.
func (d *decoder) partlyGiven(arms []*node) {
	for _, k := range variableKeys() {
		i := slices.IndexFunc(arms, func(t *node) bool { return t.child(k.path) != nil })
		if i < 0 {
			continue
		}
		for _, t := range arms {
			if t.child(k.path) == nil {
				d.warn("partly_given", t.key, fmt.Sprintf("%s is not given for this arm, and for another it is", k.path),
					"give it for every arm", arms[i].child(k.path).key)
			}
		}
	}
}

// either gives the node of a variable of an arm, its own or the fixed one; nil if there is none or it is bad.
func (d *decoder) either(arm *node, name string) *node {
	n := arm.child(name)
	if n == nil {
		n = d.root.in("fixed").child(name)
	}
	if n == nil || n.bad {
		return nil
	}
	return n
}

// slopes checks that a straight wire can join the heights of its ends.
func (d *decoder) slopes(arm *node) {
	near, far := d.either(arm, "feedpoint_height_m"), d.either(arm, "far_end_height_m")
	length := d.either(arm, "wire_length_m")
	if near == nil || far == nil || length == nil || arm.child("wires") != nil {
		return
	}
	if rise := math.Abs(near.float() - far.float()); rise > length.float() {
		d.fault(near.at, fmt.Sprintf("the ends of the wire differ by %s m in height, and it is only %s m long", short(rise), length.shown()),
			"correct a height or wire_length_m; a wire that is not straight is given as wires", far.at, length.at)
	}
}
