package experiments

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// claimForm says which keys a kind of claim takes.
type claimForm struct {
	compare   bool // two arms; else arms
	needs     string
	takes     []string
	pluralMax int // the most arms; 0 = any number
}

// everywhere are the keys of every claim, without compare and arms.
var everywhere = []string{"name", "kind", "bands"}

// formOfClaim gives the form of a kind. A directivity claim may be of two arms or of one.
func formOfClaim(kind string, arms bool) claimForm {
	switch kind {
	case "level", "null":
		return claimForm{compare: true, takes: []string{"direction", "within_km"}}
	case "directivity":
		return claimForm{compare: !arms, needs: "shape", takes: []string{"direction", "within_km", "shape", "toward_deg", "frame"}, pluralMax: 1}
	case "heard_by":
		return claimForm{compare: true, takes: []string{"direction", "within_km", "smallest_difference_points"}}
	case "known_step":
		return claimForm{compare: true, needs: "step_db", takes: []string{"direction", "within_km", "step_db"}}
	case "match":
		return claimForm{needs: "swr_at_most", takes: []string{"swr_at_most", "from_mhz", "to_mhz"}}
	case "reciprocity":
		return claimForm{takes: []string{"within_km"}}
	default: // repeat
		return claimForm{takes: []string{"direction", "within_km"}}
	}
}

func (d *decoder) claims() {
	first := map[string]*node{}
	tables := d.tables(d.root, "claim")
	for _, t := range tables {
		d.e.Claims = append(d.e.Claims, d.claim(t, first))
	}
	if len(tables) == 0 && (d.root.child("claim") == nil || d.root.child("claim").kind == aList) {
		d.warn("no_claim", d.root.key, "the file has no [[claim]], so that nothing will be judged",
			`add a table [[claim]] before any data exist, with name, kind and compare`)
	}
}

func (d *decoder) claim(t *node, first map[string]*node) Claim {
	c := Claim{
		Name: d.name(t, "claim[].name", first), Kind: d.str(t, "claim[].kind"),
		Direction: d.str(t, "claim[].direction"), Shape: d.str(t, "claim[].shape"), Frame: d.str(t, "claim[].frame"),
		FromMHz: d.optional(t, "claim[].from_mhz"), ToMHz: d.optional(t, "claim[].to_mhz"), StepDB: d.optional(t, "claim[].step_db"),
	}
	c.SWRAtMost, _ = d.num(t, "claim[].swr_at_most")
	c.SmallestPoints = d.e.SmallestPoints
	if v := d.optional(t, "claim[].smallest_difference_points"); v != nil {
		c.SmallestPoints = *v
	}
	c.WithinKm = d.within(t)
	c.Bands = d.claimBands(t)
	d.toward(t, &c)
	d.order(t, &c)
	if c.Kind == "" {
		return c
	}
	form := formOfClaim(c.Kind, d.given(t, "claim[].arms"))
	d.belongs(t, c, form)
	d.claimArms(t, &c, form)
	d.sense(t, c)
	return c
}

func (d *decoder) within(t *node) *[2]float64 {
	n := t.child("within_km")
	if n == nil || n.bad || len(n.items) != 2 {
		return nil
	}
	w := [2]float64{n.items[0].float(), n.items[1].float()}
	if w[0] >= w[1] {
		d.refuse(n, fmt.Sprintf("within_km = [%s, %s] holds no distance", n.items[0].shown(), n.items[1].shown()),
			fmt.Sprintf("write within_km = [%s, %s]", n.items[1].shown(), n.items[0].shown()))
	}
	return &w
}

// claimBands are the bands of a claim in the order of the schedule.
func (d *decoder) claimBands(t *node) []string {
	list := d.bandList(t, "claim[].bands")
	scheduled := d.root.in("schedule").child("bands")
	if scheduled == nil || scheduled.bad {
		return list
	}
	if t.child("bands") == nil {
		return slices.Clone(d.e.Schedule.Bands)
	}
	for i, b := range list {
		if !slices.Contains(d.e.Schedule.Bands, b) {
			n := t.child("bands").items[i]
			d.fault(n.at, fmt.Sprintf("band %q is not in the schedule", b),
				"the schedule has "+quotedList(d.e.Schedule.Bands), scheduled.at)
		}
	}
	slices.SortStableFunc(list, func(a, b string) int {
		return slices.Index(d.e.Schedule.Bands, a) - slices.Index(d.e.Schedule.Bands, b)
	})
	return list
}

func (d *decoder) toward(t *node, c *Claim) {
	switch d.get(t, "claim[].toward_deg").(type) {
	case string:
		c.TowardPredicted = true
	case float64, int64:
		azimuth := d.trueDeg(t.child("toward_deg").float())
		c.TowardDeg = &azimuth
	}
}

// order checks the ends of a frequency range.
func (d *decoder) order(t *node, c *Claim) {
	if c.FromMHz != nil && c.ToMHz != nil && *c.FromMHz >= *c.ToMHz {
		d.fault(t.child("to_mhz").at, fmt.Sprintf("to_mhz = %s is not above from_mhz = %s", t.child("to_mhz").shown(), t.child("from_mhz").shown()),
			"exchange the two", t.child("from_mhz").at)
	}
}

// belongs finds keys that the kind of claim does not take, and the one that it needs.
func (d *decoder) belongs(t *node, c Claim, form claimForm) {
	legal := append(slices.Clone(everywhere), form.takes...)
	legal = append(legal, "compare", "arms")
	for _, name := range t.names {
		if _, known := d.keys["claim[]."+name]; known && !slices.Contains(legal, name) {
			d.fault(t.named[name].key, fmt.Sprintf("%s has no meaning in a claim of kind %q", name, c.Kind),
				"delete it, or mend the kind", t.child("kind").at)
		}
	}
	if form.needs != "" && t.child(form.needs) == nil {
		d.missing(t, d.keys["claim[]."+form.needs], fmt.Sprintf("with kind = %q", c.Kind))
	}
}

// claimArms reads compare or arms, whichever the kind takes.
func (d *decoder) claimArms(t *node, c *Claim, form claimForm) {
	key, other := "arms", "compare"
	if form.compare {
		key, other = other, key
	}
	if n := t.child(other); n != nil {
		d.fault(n.key, fmt.Sprintf("a claim of kind %q takes %s, not %s", c.Kind, key, other), d.armsMend(*c, key), t.child("kind").at)
		return
	}
	n := t.child(key)
	if n == nil {
		d.fault(t.key, fmt.Sprintf("the claim has no %s", key), d.armsMend(*c, key))
		return
	}
	c.Arms, c.Compares = d.strs(t, "claim[]."+key), form.compare
	if n.bad {
		return
	}
	for i, name := range c.Arms {
		if !d.armKnown(n.items[i], name, n.items[i].at) {
			continue
		}
		if j := slices.Index(c.Arms, name); j < i {
			d.refuse(n.items[i], fmt.Sprintf("arm %q is named twice", name), "name two different arms", n.items[j].at)
		}
	}
	switch {
	case len(c.Arms) == 0:
		d.refuse(n, key+" is an empty list", d.armsMend(*c, key))
	case form.pluralMax > 0 && !form.compare && len(c.Arms) > form.pluralMax:
		d.refuse(n, fmt.Sprintf("a claim of kind %q takes one arm in arms and has %d", c.Kind, len(c.Arms)),
			"write compare for two arms, or a claim for each arm", t.child("kind").at)
	}
}

// armsMend shows the key with the arms of the file.
func (d *decoder) armsMend(c Claim, key string) string {
	var names []string
	for _, a := range d.e.Arms {
		if a.Name != "" {
			names = append(names, a.Name)
		}
	}
	if key == "compare" && len(names) < 2 {
		return "a comparison needs two arms: add a table [[arm]], and name both in compare"
	}
	if key == "compare" || c.Kind == "directivity" {
		names = names[:min(len(names), map[string]int{"compare": 2, "arms": 1}[key])]
	}
	return fmt.Sprintf("name the arms, for example %s = [%s]", key, quotedList(names))
}

// sense looks at what the variables of the arms say of the claim.
func (d *decoder) sense(t *node, c Claim) {
	switch {
	case c.Kind == "reciprocity":
		d.powersKnown(t, c)
	case c.Kind == "known_step" && c.StepDB == nil:
	case c.Kind == "known_step" && *c.StepDB == 0:
		d.fault(t.child("step_db").at, "step_db = 0 is no step", "give the step of power, for example step_db = 3")
	case c.Compares && len(c.Arms) == 2:
		d.comparison(t, c)
	}
	if c.Kind == "directivity" && c.Frame == "wire" {
		d.alongOneWire(t, c)
	}
}

// alongOneWire finds arms whose wire runs no way that is told, or not all the same way: directions can't be told from the
// wire then.
func (d *decoder) alongOneWire(t *node, c Claim) {
	frame := t.child("frame")
	var first *node
	for _, name := range c.Arms {
		arm := d.armNode(name)
		if arm == nil {
			return
		}
		slope := d.slopeOf(arm)
		switch {
		case slope == nil:
			d.fault(frame.at, fmt.Sprintf(`frame = "wire" tells directions from the wire, and slope_azimuth_deg of arm %q is not given`, name),
				`give it in [fixed] or in the arm, for example slope_azimuth_deg = 300; or write frame = "north"`, arm.key)
			return
		case slope.bad:
			return
		case first == nil:
			first = slope
		case math.Mod(slope.float(), 360) != math.Mod(first.float(), 360):
			d.fault(frame.at, fmt.Sprintf(`frame = "wire" needs one wire, and the wires of arms %q and %q do not run the same way`, c.Arms[0], name),
				`write frame = "north"`, first.at, slope.at)
			return
		}
	}
}

// slopeOf gives the way in which the wire of an arm runs, its own or the fixed one; nil if it is not given.
func (d *decoder) slopeOf(arm *node) *node {
	if own := arm.child("slope_azimuth_deg"); own != nil {
		return own
	}
	return d.root.in("fixed").child("slope_azimuth_deg")
}

func (d *decoder) powersKnown(t *node, c Claim) {
	for _, name := range c.Arms {
		arm := d.armNode(name)
		if arm == nil || arm.child("power_w") != nil || d.root.in("fixed").child("power_w") != nil {
			continue
		}
		d.fault(t.child("kind").at, "reciprocity needs the power, and power_w is not given",
			"give it in [fixed] or in the arm, for example power_w = 4", arm.key)
		return
	}
}

// armNode gives the table of an arm.
func (d *decoder) armNode(name string) *node {
	for _, t := range d.tables(d.root, "arm") {
		if n := t.child("name"); n != nil && n.value == name {
			return t
		}
	}
	return nil
}

// comparison compares the power of two arms with what the claim says of it.
func (d *decoder) comparison(t *node, c Claim) {
	a, b := d.armNode(c.Arms[0]), d.armNode(c.Arms[1])
	if a == nil || b == nil || a == b {
		return
	}
	if c.Kind == "null" {
		d.oneConfiguration(t, a, b)
	}
	p, q := d.either(a, "power_w"), d.either(b, "power_w")
	if p == nil || q == nil {
		return
	}
	step := 10 * math.Log10(p.float()/q.float())
	switch {
	case c.Kind != "known_step" && step != 0 && c.Kind != "null" && c.Direction == "sent":
		d.warn("power_differs", p.at, fmt.Sprintf("the power of the arms differs by %s dB, and the claim %q compares antennas", short2(step), c.Name),
			"give both arms the same power, or make it a claim of kind known_step", q.at)
	case c.Kind == "known_step" && math.Abs(step-*c.StepDB) > 0.1 && step != 0:
		d.warn("power_differs", t.child("step_db").at, fmt.Sprintf("step_db = %s, and power_w gives %s dB", t.child("step_db").shown(), short2(step)),
			"mend step_db or power_w", p.at, q.at)
	}
}

// short2 writes decibels with two decimals.
func short2(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.2f", v), ".00") }

// oneConfiguration warns when the two names of a null claim stand for two configurations.
func (d *decoder) oneConfiguration(t, a, b *node) {
	for _, k := range variableKeys() {
		p, q := a.child(k.path), b.child(k.path)
		if p != nil && q != nil && p.raw != q.raw && !(p.kind&aNumber != 0 && p.float() == q.float()) {
			d.warn("null_differs", t.child("kind").at, fmt.Sprintf("null compares one configuration under two names, and %s differs", k.path),
				"give both arms the same value", p.at, q.at)
		}
	}
}
