package report

import (
	"fmt"
	"html/template"
	"math"
)

// Layout of the picture of the blocks, in units.
const (
	blocksLeft   = 42.0
	blocksRight  = pictureWidth - 10
	blocksTop    = 26.0
	blocksBottom = 190.0
	blocksHeight = 236.0
	blocksLost   = blocksBottom + 14 // where blocks without a difference are marked
)

// blockMark is one block of the picture, in the order of time.
type blockMark struct {
	scheduled
	difference *blockDiff // nil: none
}

// blockMarks joins the schedule of a band with the differences of its blocks.
func (t *tables) blockMarks(c *comparison) []blockMark {
	type key struct{ session, block int64 }
	by := map[key]*blockDiff{}
	for i := range c.blocks {
		by[key{c.blocks[i].session, c.blocks[i].block}] = &c.blocks[i]
	}
	var out []blockMark
	for _, s := range t.schedule {
		if s.band == c.band {
			out = append(out, blockMark{s, by[key{s.session, s.block}]})
		}
	}
	return out
}

// chart has the scales of the picture.
type chart struct {
	*picture
	reach float64
	marks []blockMark
	x     []float64
}

func drawBlocks(id, name string, c *comparison, marks []blockMark) template.HTML {
	g := chart{picture: newPicture(id, "picture", blocksHeight, name, fmt.Sprintf("Difference of each of %d blocks in the order of time. The figures stand in a table beneath.", len(marks))), marks: marks}
	g.scales(c)
	g.frame(c)
	g.sessions()
	if e := c.level; e != nil && e.EstimateDB != nil && math.Abs(*e.EstimateDB) <= g.reach {
		y := g.y(*e.EstimateDB)
		g.line("mean", blocksLeft, y, blocksRight, y)
	}
	g.points()
	return g.done()
}

// scales places the blocks, with a gap between sessions, and fits the dB scale.
func (g *chart) scales(c *comparison) {
	g.reach = 1.5 * c.smallestDB
	slots := 0.0
	for i, m := range g.marks {
		if i > 0 && m.session != g.marks[i-1].session {
			slots++
		}
		g.x = append(g.x, slots+0.5)
		slots++
		if m.difference != nil && m.difference.db != nil {
			g.reach = max(g.reach, math.Abs(*m.difference.db))
		}
	}
	g.reach = roundUp(g.reach, 1, 2, 3, 4, 6, 8, 10, 12, 16, 20, 30, 40)
	for i := range g.x {
		g.x[i] = blocksLeft + g.x[i]/slots*(blocksRight-blocksLeft)
	}
}

func (g *chart) y(db float64) float64 {
	db = max(-g.reach, min(g.reach, db))
	return blocksTop + (g.reach-db)/(2*g.reach)*(blocksBottom-blocksTop)
}

func (g *chart) frame(c *comparison) {
	zone := min(c.smallestDB, g.reach)
	g.rect("zone", blocksLeft, g.y(zone), blocksRight-blocksLeft, g.y(-zone)-g.y(zone))
	for _, db := range []float64{g.reach, g.reach / 2, 0, -g.reach / 2, -g.reach} {
		class := "grid-y"
		if db == 0 {
			class = "zero"
		}
		g.line(class, blocksLeft, g.y(db), blocksRight, g.y(db))
		g.text(blocksLeft-5, g.y(db)+5, "label", "end", signedShort(db))
	}
	g.text(4, 14, "label", "start", "dB")
}

// sessions divides the sessions and names them.
func (g *chart) sessions() {
	last := -1e9
	for i, m := range g.marks {
		first := i == 0 || m.session != g.marks[i-1].session
		if !first {
			continue
		}
		if i > 0 {
			x := (g.x[i] + g.x[i-1]) / 2
			g.line("divide", x, blocksTop, x, blocksHeight-20)
		}
		const room = 84 // units that a name needs
		if g.x[i]-last < room {
			continue
		}
		last = g.x[i]
		g.text(min(g.x[i]-4, blocksRight-room+10), blocksHeight-6, "label", "start", fmt.Sprintf("session %d", m.session))
	}
}

func (g *chart) points() {
	heaviest := 0.0
	for _, m := range g.marks {
		if m.difference != nil {
			heaviest = max(heaviest, m.difference.weight)
		}
	}
	for i, m := range g.marks {
		x := g.x[i]
		switch {
		case !m.kept:
			g.tag("path", "class", "lost", "d", fmt.Sprintf("M%s %sl8 8m0 -8l-8 8", num(x-4), num(blocksLost-4)))
		case m.difference == nil || m.difference.db == nil:
			g.circle("absent", x, blocksLost, 3)
		default:
			size := 2.5
			if heaviest > 0 {
				size += 4 * math.Sqrt(max(0, m.difference.weight/heaviest))
			}
			db := *m.difference.db
			g.line("stem", x, g.y(0), x, g.y(db))
			if math.Abs(db) > g.reach { // beyond the scale
				g.rect(signClass(db), x-size, g.y(db)-size, 2*size, 2*size)
			} else {
				g.circle(signClass(db), x, g.y(db), size)
			}
		}
	}
}
