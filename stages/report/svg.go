package report

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// pictureWidth is the width of every picture in its own units. A telephone shows about as many pixels, so that text of
// 14 units is readable there.
const pictureWidth = 340.0

// picture writes one SVG, element by element. Text is escaped and cleaned wherever it comes in, and a number that is none
// never comes out.
type picture struct{ strings.Builder }

// newPicture begins a picture. id tells it from the others of the page; title and desc are for those who can't see it.
func newPicture(id, class string, height float64, title, desc string) *picture {
	p := &picture{}
	p.open("svg", "class", class, "viewBox", fmt.Sprintf("0 0 %s %s", num(pictureWidth), num(height)),
		"role", "img", "aria-labelledby", id+"-t "+id+"-d")
	p.named("title", id+"-t", title)
	p.named("desc", id+"-d", desc)
	return p
}

func (p *picture) done() template.HTML {
	p.close("svg")
	return template.HTML(p.String()) // every part of it came through the methods below
}

func (p *picture) open(name string, attributes ...any) {
	p.begin(name, attributes)
	p.WriteByte('>')
}

func (p *picture) close(name string) { p.WriteString("</" + name + ">") }

func (p *picture) tag(name string, attributes ...any) {
	p.begin(name, attributes)
	p.WriteString("/>")
}

func (p *picture) begin(name string, attributes []any) {
	p.WriteString("<" + name)
	for i := 0; i < len(attributes); i += 2 {
		fmt.Fprintf(p, ` %s="%s"`, attributes[i], attribute(attributes[i+1]))
	}
}

func attribute(v any) string {
	if f, ok := v.(float64); ok {
		return num(f)
	}
	return html.EscapeString(clean(fmt.Sprint(v)))
}

func (p *picture) named(name, id, text string) {
	p.open(name, "id", id)
	p.WriteString(html.EscapeString(clean(text)))
	p.close(name)
}

// text writes words; anchor is start, middle or end.
func (p *picture) text(x, y float64, class, anchor, words string) {
	p.open("text", "x", x, "y", y, "class", class, "text-anchor", anchor)
	p.WriteString(html.EscapeString(clean(words)))
	p.close("text")
}

func (p *picture) line(class string, x1, y1, x2, y2 float64) {
	p.tag("line", "class", class, "x1", x1, "y1", y1, "x2", x2, "y2", y2)
}

func (p *picture) circle(class string, x, y, r float64) {
	p.tag("circle", "class", class, "cx", x, "cy", y, "r", r)
}

func (p *picture) rect(class string, x, y, width, height float64) {
	p.tag("rect", "class", class, "x", x, "y", y, "width", max(0, width), "height", max(0, height))
}

func (p *picture) path(class string, r *route) {
	if r.Len() > 0 {
		p.tag("path", "class", class, "d", r.String())
	}
}

// route collects the steps of a path.
type route struct{ strings.Builder }

func (r *route) to(command byte, x, y float64) {
	r.WriteByte(command)
	r.WriteString(num(x) + " " + num(y))
}

func (r *route) end() { r.WriteByte('Z') }

// num writes a length with one decimal at most.
func num(v float64) string {
	if !finite(v) {
		return "0"
	}
	s := strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
	if s == "-0" {
		return "0"
	}
	return s
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// around gives the point at a radius and bearing from a centre, north up.
func around(cx, cy, radius, bearingDeg float64) (x, y float64) {
	sin, cos := math.Sincos(bearingDeg * math.Pi / 180)
	return cx + float64(radius*sin), cy - float64(radius*cos)
}

// roundUp gives the least of the steps that is not below v, or the last.
func roundUp(v float64, steps ...float64) float64 {
	for _, s := range steps {
		if v <= s {
			return s
		}
	}
	return steps[len(steps)-1]
}

// signedShort writes a value of an axis, with a true minus sign and no needless digits.
func signedShort(v float64) string {
	s := strconv.FormatFloat(math.Abs(v), 'f', -1, 64)
	switch {
	case v > 0:
		return "+" + s
	case v < 0:
		return "\u2212" + s
	}
	return "0"
}

// quietBearing gives, of four near north and south, the one with the fewest stations near it: a place for the labels of
// rings, which need room from top to bottom.
func quietBearing(bearings []float64) float64 {
	best, fewest := 0.0, math.MaxInt
	for _, b := range []float64{157.5, 202.5, 22.5, 337.5} {
		n := 0
		for _, s := range bearings {
			if math.Abs(math.Remainder(s-b, 360)) < 15 {
				n++
			}
		}
		if n < fewest {
			best, fewest = b, n
		}
	}
	return best
}

// compass writes the four main directions around a round picture, so far out that a mark on the rim does not touch them.
func (p *picture) compass(cx, cy, radius float64) {
	for i, name := range []string{"N", "E", "S", "W"} {
		x, y := around(cx, cy, radius+22, float64(i)*90)
		p.text(x, y+5, "label strong", "middle", name)
	}
}

// rimLabel writes words just outside the rim, on the side of the bearing.
func (p *picture) rimLabel(rim, bearing float64, words string) {
	x, y := around(centre, centre, rim+9, bearing)
	anchor := "start"
	if bearing > 180 {
		anchor = "end"
	}
	p.text(x, y+6, "label", anchor, words)
}
