package experiments

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

const day = 24 * time.Hour

func (d *decoder) fixed() {
	t := d.root.in("fixed")
	f := &d.e.Fixed
	f.Mode = strings.ToUpper(strings.TrimSpace(d.str(t, "fixed.mode")))
	f.Sends = d.str(t, "fixed.sends")
	d.slot(t)
	d.cut(t)
	d.azimuths(t)
	f.Variables = d.variables(t, "fixed")
	f.Other = d.other(t.in("other"))
}

// slot takes the mode's slot, or the stated one.
func (d *decoder) slot(t *node) {
	f := &d.e.Fixed
	if !d.given(t, "fixed.slot_s") {
		slot, known := modeSlot(f.Mode)
		if n := t.child("mode"); n != nil && !n.bad && !known {
			d.fault(n.at, fmt.Sprintf("the slot of mode = %s is not known", n.shown()), d.slotMend(f.Mode))
		}
		f.Slot = slot
		return
	}
	s, ok := d.num(t, "fixed.slot_s")
	if !ok {
		return
	}
	f.Slot = time.Duration(math.Round(s * float64(time.Second)))
	if f.Slot < time.Second || day%f.Slot != 0 {
		d.refuse(t.child("slot_s"), fmt.Sprintf("slot_s = %s does not divide the 86400 s of a day, or is shorter than 1 s", t.child("slot_s").shown()),
			"slots count from 00:00 UTC: give a divisor, for example slot_s = 15")
		f.Slot = 0
	}
}

func (d *decoder) slotMend(mode string) string {
	var known []string
	for m := range modeSlots {
		known = append(known, m)
	}
	slices.Sort(known)
	if near, ok := nearest(mode, known); ok && !slices.Contains(openModes, mode) {
		return fmt.Sprintf("write mode = %q; for a mode of your own give its slot, for example slot_s = 60", near)
	}
	return "give the mode's transmit period, for example slot_s = 60"
}

// cut takes the stated level, or that of the slot.
func (d *decoder) cut(t *node) {
	f := &d.e.Fixed
	if d.given(t, "fixed.cut_at_db") {
		f.CutDB, _ = d.num(t, "fixed.cut_at_db")
		return
	}
	cut, known := cutFor(f.Mode, f.Slot)
	f.CutDB = cut
	if n := t.child("mode"); n != nil && !n.bad && f.Slot > 0 && !known {
		d.fault(n.at, fmt.Sprintf("cut_at_db is not known for mode = %s with slots of %s s", n.shown(), plain(f.Slot.Seconds())),
			"give the level where half of the transmissions decode, and 3 dB, for example cut_at_db = -18")
	}
}

func (d *decoder) azimuths(t *node) {
	f := &d.e.Fixed
	f.AzimuthReference = d.str(t, "fixed.azimuth_reference")
	n := t.child("declination_deg")
	magnetic := f.AzimuthReference == "magnetic"
	switch {
	case magnetic && n == nil:
		k := d.keys["fixed.declination_deg"]
		d.fault(t.child("azimuth_reference").at, "azimuth_reference = \"magnetic\" needs declination_deg",
			k.suggestion())
	case n != nil && f.AzimuthReference == "true":
		d.fault(n.key, "declination_deg is given, and azimuths count from true north",
			`delete it, or write azimuth_reference = "magnetic"`)
	default:
		f.DeclinationDeg, _ = d.num(t, "fixed.declination_deg")
	}
}

// trueDeg turns an azimuth of the file to true north, 0 <= azimuth < 360.
func (d *decoder) trueDeg(v float64) float64 {
	return math.Mod(v+d.e.Fixed.DeclinationDeg+360, 360)
}

// variables gives the typed variables of [fixed] or of an arm, sorted by name.
func (d *decoder) variables(t *node, pattern string) []Variable {
	var out []Variable
	for _, k := range variableKeys() {
		n := t.child(k.path)
		if n == nil || n.bad {
			continue
		}
		if v := d.variable(n, join(pattern, k.path)); v != nil {
			out = append(out, Variable{Name: k.path, Value: v})
		}
	}
	slices.SortFunc(out, byName)
	return out
}

func byName(a, b Variable) int { return strings.Compare(a.Name, b.Name) }

func (d *decoder) variable(n *node, path string) any {
	switch {
	case strings.HasSuffix(path, "slope_azimuth_deg"):
		return d.trueDeg(n.float())
	case n.kind == aTable:
		var l Loss
		l.DB, _ = d.num(n, path+".db")
		l.AtMHz, _ = d.num(n, path+".at_mhz")
		l.VelocityFactor, _ = d.num(n, path+".velocity_factor")
		l.Z0Ohm, _ = d.num(n, path+".z0_ohm")
		return l
	case n.kind == aList:
		return d.wires(n, path)
	case n.kind&aNumber != 0:
		return n.float()
	default:
		return n.value
	}
}

func (d *decoder) wires(n *node, path string) any {
	if len(n.items) == 0 {
		d.refuse(n, "wires is an empty list", "give each straight piece, for example wires = "+d.keys[path].example)
	}
	var out []Wire
	for _, t := range n.items {
		if t.kind != aTable {
			continue
		}
		w := Wire{FromM: d.point(t.child("from_m")), ToM: d.point(t.child("to_m"))}
		w.DiameterMM, _ = d.num(t, path+"[].diameter_mm")
		if ends := t.child("to_m"); ends != nil && !ends.bad && d.good(t, path+"[].from_m") && w.FromM == w.ToM {
			d.refuse(ends, "the wire has no length: both ends are at one place", "give the place of the other end",
				t.child("from_m").at)
		}
		out = append(out, w)
	}
	return out
}

// point reads three coordinates; it is zero where they had a fault.
func (d *decoder) point(n *node) (p [3]float64) {
	if n == nil || n.bad || len(n.items) != len(p) {
		return p
	}
	for i, item := range n.items {
		p[i] = item.float()
		if math.Abs(p[i]) > 10000 || i == 2 && p[i] < 0 {
			d.refuse(item, fmt.Sprintf("%s m is no place for the end of a wire", item.shown()),
				"give metres east, north and up, within 10 km and not below ground")
			n.bad = true
		}
	}
	return p
}

// other gives the free variables, sorted by name; they are texts, numbers or bools.
func (d *decoder) other(t *node) []Variable {
	if t == nil {
		return nil
	}
	var out []Variable
	for _, name := range t.names {
		n := t.named[name]
		one := key{path: "other." + name, kind: aText | aNumber | aBool, doc: "a text, a number, true or false", example: `"..."`}
		if strings.TrimSpace(name) == "" || strings.ContainsFunc(name, forbidden(one)) {
			d.fault(n.key, "a name in other is empty or holds a control character", "name it in plain words")
			continue
		}
		if d.value(n, one); n.bad {
			continue
		}
		v := n.value
		if n.kind == anInteger {
			v = n.float()
		}
		out = append(out, Variable{Name: name, Value: v})
	}
	slices.SortFunc(out, byName)
	return out
}
