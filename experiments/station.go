package experiments

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
)

// fetchStation puts the tables of a station file in the place of its name.
func (d *decoder) fetchStation() {
	n := d.root.child("station")
	if n == nil || n.kind != aText {
		return
	}
	k := d.keys["station"]
	d.value(n, k)
	if n.bad {
		return
	}
	name := n.value.(string)
	text, err := d.reading(name)
	if err != nil {
		d.refuse(n, fmt.Sprintf("the station file %s can't be read", n.shown()),
			"put it into "+here+", or write a table [station] with call and locator")
		return
	}
	root, list := parseSyntax(d.beside(name), "station", text)
	if list != nil {
		d.list = append(d.list, list...)
		n.bad = true
		return
	}
	d.e.Station.File = name
	d.root.named["station"] = root
}

// beside gives the path of a file of the experiment file's folder.
func (d *decoder) beside(name string) string {
	return filepath.Join(d.e.Dir, filepath.FromSlash(name))
}

func (d *decoder) reading(name string) ([]byte, error) {
	if d.read == nil {
		return nil, fmt.Errorf("reading %s: no way to read files was given", name)
	}
	return d.read(name)
}

func (d *decoder) station() {
	t := d.root.in("station")
	s := &d.e.Station
	s.Call = d.call(t, "station.call")
	s.Locator = d.locator(t, "station.locator")
	if n := t.child("also"); n != nil && !n.bad {
		for _, item := range n.items {
			s.Also = append(s.Also, d.callOf(item, "also"))
		}
	}
	s.Ground = d.ground(t)
	c := d.root.in("control")
	if c == nil {
		return
	}
	d.e.Control = &Control{Call: d.call(c, "control.call"), Locator: d.locator(c, "control.locator")}
	for _, own := range s.Calls() {
		if own != "" && own == d.e.Control.Call {
			d.refuse(c.child("call"), fmt.Sprintf("the control station %s is the station itself", own),
				"name another station that transmits in the same slots, or delete [control]", t.child("call").at)
		}
	}
}

func (d *decoder) ground(t *node) Ground {
	g := t.in("ground")
	if g == nil {
		return Ground{Name: d.str(t, "station.ground")}
	}
	var out Ground
	out.Permittivity, _ = d.num(g, "station.ground.permittivity")
	out.ConductivitySPM, _ = d.num(g, "station.ground.conductivity_s_per_m")
	return out
}

// callForm: parts of letters and digits between strokes, one of them with a letter and a digit. Real calls
// have at most 3 parts; 20 characters hold any.
var callForm = regexp.MustCompile(`^[A-Z0-9]+(/[A-Z0-9]+)*$`)

func validCall(s string) bool {
	return len(s) >= 3 && len(s) <= 20 && callForm.MatchString(s) &&
		strings.ContainsAny(s, "0123456789") && strings.ContainsAny(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ")
}

func (d *decoder) call(t *node, path string) string {
	k := d.keys[path]
	n := t.child(k.name())
	if n == nil || n.bad {
		return ""
	}
	return d.callOf(n, k.name())
}

func (d *decoder) callOf(n *node, name string) string {
	call := strings.ToUpper(n.value.(string))
	if !validCall(call) {
		d.refuse(n, fmt.Sprintf("%s = %s is no call sign", name, n.shown()),
			"a call sign has 3 to 20 letters, digits and strokes, at least one letter and one digit, for example Q1RDG/P")
	}
	return call
}

// locatorForm: pairs of letters A-R, digits, letters A-X, digits, letters A-X, digits (IARU Region 1 VHF
// Managers Handbook for the first three; the others go on likewise).
var locatorForm = regexp.MustCompile(`^[A-R]{2}[0-9]{2}([A-X]{2}([0-9]{2}([A-X]{2}([0-9]{2})?)?)?)?$`)

func (d *decoder) locator(t *node, path string) string {
	k := d.keys[path]
	n := t.child(k.name())
	if n == nil || n.bad {
		return ""
	}
	upper := strings.ToUpper(n.value.(string))
	if !locatorForm.MatchString(upper) {
		d.refuse(n, fmt.Sprintf("locator = %s is no locator", n.shown()),
			"a locator has 4 to 12 characters in pairs: letters A-R, digits, letters A-X, digits, ..., for example MN83kp")
		return ""
	}
	return upper[:2] + strings.ToLower(upper[2:])
}
