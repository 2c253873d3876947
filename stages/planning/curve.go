package planning

import (
	"fmt"
	"html"
	"strings"

	"fairlobe/stages/internal/contrast"
)

// curve is the power of one answer against the blocks.
type curve struct {
	name string
	at   func(blocks int) float64
}

// curves has one for each answer that a formula tells of.
func (p *Plan) curves() []curve {
	var out []curve
	for i := range p.Questions {
		q := &p.Questions[i]
		add := func(answer string, power func(sigma, size float64, blocks int) float64) {
			if power == nil {
				return
			}
			least := contrast.FewestBlocks(q.Alpha, 1)
			out = append(out, curve{fmt.Sprintf("%s: %s, %s", answer, q.Claim.Name, strings.Join(q.Bands, " ")), func(n int) float64 {
				if n < least {
					return 0
				}
				return power(q.Sigma.Value, q.Smallest, n)
			}})
		}
		add(q.answer(), q.different)
		add("same", q.same)
	}
	return out
}

func (q *Question) answer() string {
	switch q.Claim.Kind {
	case "directivity":
		return "lobe"
	case "known_step":
		return "step"
	}
	return "different"
}

// The picture, in its own units.
const (
	pictureWidth         = 640.0
	plotLeft, plotRight  = 60.0, 620.0
	plotTop, plotBottom  = 56.0, 320.0
	legendTop, legendRow = 375.0, 22.0
	mostDrawn            = 8  // curves: more can't be told apart
	drawnBlocks          = 48 // at least
)

// The colours are those of one ink on a page that is light or dark; curves are told apart by mark, dash and label.
const pictureStyle = `svg{color-scheme:light dark;background:#fff;color:#1a1a1a}` +
	`text{font:14px sans-serif;fill:currentColor}.axis{fill:none;stroke:currentColor;stroke-width:1}` +
	`.grid{stroke:currentColor;stroke-width:1;opacity:.2}.curve{fill:none;stroke:currentColor;stroke-width:1.5}` +
	`.mark{fill:currentColor;stroke:currentColor}.hollow{fill:none;stroke:currentColor;stroke-width:1.5}` +
	`.now{stroke:currentColor;stroke-width:1;stroke-dasharray:2 3}` +
	`@media (prefers-color-scheme:dark){svg{background:#161616;color:#eee}}`

// Curve draws the power of each answer against the number of blocks, as an SVG file.
func (p *Plan) Curve() []byte {
	all := p.curves()
	left := max(0, len(all)-mostDrawn)
	all = all[:len(all)-left]
	most := drawnBlocks
	for _, q := range p.Questions {
		most = max(most, q.Blocks+q.Blocks/4)
	}
	height := legendTop + legendRow*float64(len(all)+min(1, left)) + 10
	s := &strings.Builder{}
	fmt.Fprintf(s, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-labelledby="t d">`+"\n", pictureWidth, height)
	fmt.Fprintf(s, `<title id="t">%s</title>`+"\n", escape("Power against blocks: "+p.in.Experiment.Title))
	fmt.Fprintf(s, `<desc id="d">%s</desc>`+"\n<style>%s</style>\n", escape(p.curveDescription(all)), pictureStyle)
	x := func(n int) float64 { return plotLeft + (plotRight-plotLeft)*float64(n)/float64(most) }
	y := func(power float64) float64 { return plotBottom - (plotBottom-plotTop)*power }
	label(s, 10, 20, "start", "Chance of the answer, % (formulas)")
	for _, percent := range []int{0, 20, 40, 60, 80, 90, 100} {
		at := y(float64(percent) / 100)
		fmt.Fprintf(s, `<path class="grid" d="M%.1f %.1fH%.1f"/>`+"\n", plotLeft, at, plotRight)
		label(s, plotLeft-6, at+5, "end", fmt.Sprint(percent))
	}
	for n := 0; n <= most; n += 8 {
		fmt.Fprintf(s, `<path class="axis" d="M%.1f %.1fv5"/>`+"\n", x(n), plotBottom)
		label(s, x(n), plotBottom+20, "middle", fmt.Sprint(n))
	}
	fmt.Fprintf(s, `<path class="axis" d="M%.1f %.1fV%.1fH%.1f"/>`+"\n", plotLeft, plotTop, plotBottom, plotRight)
	label(s, plotRight, plotBottom+40, "end", "blocks on each band")
	p.drawNow(s, x)
	for i, c := range all {
		drawCurve(s, i, c, most, x, y)
		at := legendTop + legendRow*float64(i)
		mark(s, i, plotLeft+8, at-5)
		label(s, plotLeft+24, at, "start", cut(c.name, 70))
	}
	if left > 0 {
		label(s, plotLeft+24, legendTop+legendRow*float64(len(all)), "start", fmt.Sprintf("and %d more, not drawn", left))
	}
	s.WriteString("</svg>\n")
	return []byte(s.String())
}

// drawNow marks the blocks as scheduled.
func (p *Plan) drawNow(s *strings.Builder, x func(int) float64) {
	seen := map[int]bool{0: true}
	for _, b := range p.summary.Bands {
		if seen[b.Blocks] {
			continue
		}
		seen[b.Blocks] = true
		fmt.Fprintf(s, `<path class="now" d="M%.1f %.1fV%.1f"/>`+"\n", x(b.Blocks), plotTop-4, plotBottom)
		label(s, x(b.Blocks), plotTop-8, "middle", fmt.Sprintf("%d planned", b.Blocks))
	}
}

// drawCurve: a line with a dash of its own, and a mark of its own every eight blocks, shifted so that marks of like curves
// do not cover each other.
func drawCurve(s *strings.Builder, number int, c curve, most int, x func(int) float64, y func(float64) float64) {
	s.WriteString(`<path class="curve"`)
	if dash := []string{"", "6 3", "2 3", "9 3 2 3"}[number%4]; dash != "" {
		fmt.Fprintf(s, ` stroke-dasharray="%s"`, dash)
	}
	s.WriteString(` d="`)
	for n := 2; n <= most; n++ {
		fmt.Fprintf(s, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[n == 2], x(n), y(c.at(n)))
	}
	s.WriteString("\"/>\n")
	for n := 6 + 2*(number%4); n <= most; n += 8 {
		mark(s, number, x(n), y(c.at(n)))
	}
}

// mark draws the sign of a curve: disc, square, triangle, diamond, then the same hollow.
func mark(s *strings.Builder, number int, x, y float64) {
	class := "mark"
	if number >= 4 {
		class = "hollow"
	}
	switch number % 4 {
	case 0:
		fmt.Fprintf(s, `<circle class="%s" cx="%.1f" cy="%.1f" r="4"/>`+"\n", class, x, y)
	case 1:
		fmt.Fprintf(s, `<path class="%s" d="M%.1f %.1fh8v8h-8z"/>`+"\n", class, x-4, y-4)
	case 2:
		fmt.Fprintf(s, `<path class="%s" d="M%.1f %.1fl5 9h-10z"/>`+"\n", class, x, y-5)
	default:
		fmt.Fprintf(s, `<path class="%s" d="M%.1f %.1fl5 5l-5 5l-5 -5z"/>`+"\n", class, x, y-5)
	}
}

func label(s *strings.Builder, x, y float64, anchor, text string) {
	fmt.Fprintf(s, `<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`+"\n", x, y, anchor, escape(text))
}

// curveDescription says the picture for those who can't see it.
func (p *Plan) curveDescription(all []curve) string {
	var parts []string
	for _, c := range all {
		text := c.name + ":"
		for _, n := range shownBlocks() {
			text += fmt.Sprintf(" %d blocks %d %%", n, perCent(c.at(n)))
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "; ")
}

// escape makes text safe in XML, which has no control characters.
func escape(text string) string {
	clean := func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0xfffe || r == 0xffff {
			return ' '
		}
		return r
	}
	return html.EscapeString(strings.Map(clean, strings.ToValidUTF8(text, "?")))
}
