package report

import (
	"cmp"
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
)

// comparisonView is the part of the page that shows two arms on a band.
type comparisonView struct {
	ID, Heading, Claims string
	First, Second       string
	Polars              []polarView
	Map                 template.HTML
	MapNote             string
	Blocks              template.HTML
	BlocksNote          string
	BlockRows           []blockRow
	Stations            []stationRow
	StationsMore        int
}

type polarView struct {
	ID      string
	Picture template.HTML
	Note    string
	Figures [][2]string
	Sectors []sectorRow
	Means   bool // whether the sectors have differences
}

type sectorRow struct{ Sector, Difference, Stations string }

type blockRow struct{ Session, Block, Begun, Difference, Weight, Stations string }

type stationRow struct{ Call, Locator, Bearing, Distance, Difference, Weight, Blocks string }

// mostStations is how many stations of a comparison the page lists; the table holds all.
const mostStations = 100

func (c *comparison) view(t *tables, m atlas, hasCoast bool) comparisonView {
	v := comparisonView{ID: fmt.Sprintf("pair%d", c.number), Claims: strings.Join(c.claims, "; "), First: clean(c.arms[0]), Second: clean(c.arms[1])}
	v.Heading = fmt.Sprintf("%s: %s", c.band, difference(c.arms))
	switch c.direction {
	case "sent":
		v.Heading += ", as others heard it"
	case "received":
		v.Heading += ", as heard here"
	}
	v.polars(c)
	if len(c.stations) > 0 {
		v.Map = m.draw(v.ID+"m", v.Heading+": map", c, hasCoast)
		v.MapNote = c.mapNote(m, hasCoast)
	}
	if marks := t.blockMarks(c); len(marks) > 0 {
		v.Blocks = drawBlocks(v.ID+"b", v.Heading+": block by block", c, marks)
		v.BlocksNote = c.blocksNote()
		for _, b := range marks {
			v.BlockRows = append(v.BlockRows, b.row())
		}
	}
	v.list(c)
	return v
}

func (v *comparisonView) polars(c *comparison) {
	if len(c.stations) == 0 {
		return
	}
	lobes := c.lobes
	if len(lobes) == 0 {
		lobes = []shownLobe{{}}
	}
	for i, l := range lobes {
		p := polarView{ID: fmt.Sprintf("%sp%d", v.ID, i+1), Note: c.polarNote(l)}
		var sectors []sector
		name := v.Heading + ": by bearing"
		if l.entry != nil {
			sectors = l.entry.Sectors
			p.Figures = l.entry.lobeRows()
			name = l.entry.Claim + ", " + name
		}
		p.Picture = drawPolar(p.ID, name, c, l.points, sectors)
		p.Sectors, p.Means = sectorRows(c, sectors), len(sectors) > 0
		v.Polars = append(v.Polars, p)
	}
}

func (c *comparison) polarNote(l shownLobe) string {
	said := []string{fmt.Sprintf("By bearing. Outside the bold ring, filled: %s is stronger; inside, hollow: %s is stronger.", clean(c.arms[0]), clean(c.arms[1]))}
	if len(l.points) > 0 {
		said = append(said, "Curve: the fitted lobe; shaded: where every lobe lies that the data do not rule out (95\u00a0%), up to the rim or the centre where there is no bound.")
	} else {
		said = append(said, "No lobe was fitted.")
	}
	if l.entry != nil && len(l.entry.Sectors) > 0 {
		said = append(said, "Short dashed arcs: the difference of each sector.")
	}
	if slices.Contains(c.sectorCounts(), 0) {
		said = append(said, "Hatched: no station there, so nothing is known.")
	}
	if reach := polarReach(c, l.points); slices.ContainsFunc(c.stations, func(p placed) bool { return math.Abs(p.db) > reach }) {
		said = append(said, "Squares: stations beyond the scale.")
	}
	if c.unplaced > 0 {
		said = append(said, fmt.Sprintf("Not shown, as their place is not known: %d.", c.unplaced))
	}
	if n := c.vague(); n > 0 {
		said = append(said, fmt.Sprintf("Shown, but in no sector and in no lobe, as their bearing is not known well enough: %d.", n))
	}
	return strings.Join(said, " ")
}

func sectorRows(c *comparison, sectors []sector) []sectorRow {
	var out []sectorRow
	for _, s := range sectors {
		row := sectorRow{fmt.Sprintf("%.0f to %.0f", s.FromDeg, s.ToDeg), "\u2013", fmt.Sprint(s.Stations)}
		if s.EstimateDB != nil {
			row.Difference = signed(*s.EstimateDB)
		}
		if s.Stations == 0 {
			row.Difference = "not known"
		}
		out = append(out, row)
	}
	if len(out) > 0 {
		return out
	}
	for i, n := range c.sectorCounts() {
		out = append(out, sectorRow{Sector: fmt.Sprintf("%d to %d", i*sectorWidth, (i+1)*sectorWidth), Stations: fmt.Sprint(n)})
	}
	return out
}

func (c *comparison) mapNote(m atlas, hasCoast bool) string {
	said := []string{fmt.Sprintf("Map, rings every %g km. Filled, with a plus: %s is stronger; hollow, with a minus: %s is stronger.",
		m.stepKm, clean(c.arms[0]), clean(c.arms[1]))}
	if slices.ContainsFunc(c.stations, func(p placed) bool { return p.longPath }) {
		said = append(said, "Dashed ring about a drop: the signal may have come the long way round.")
	}
	switch {
	case !m.known:
		said = append(said, "The own place is not given: no coastlines.")
	case !hasCoast:
		said = append(said, "No coast lies within the map.")
	}
	return strings.Join(said, " ")
}

func (c *comparison) blocksNote() string {
	said := fmt.Sprintf("Block by block. Above the bold line %s is stronger, below it %s.", clean(c.arms[0]), clean(c.arms[1]))
	return said
}

func (b blockMark) row() blockRow {
	row := blockRow{Session: fmt.Sprint(b.session), Block: fmt.Sprint(b.block), Begun: b.begun, Difference: "no station", Weight: "\u2013", Stations: "\u2013"}
	if d := b.difference; d != nil {
		row.Weight, row.Stations = strconv.FormatFloat(d.weight, 'f', 2, 64), fmt.Sprint(d.stations)
		if d.db != nil {
			row.Difference = signed(*d.db)
		}
	}
	if !b.kept {
		row.Difference = "does not count: " + orWord(b.reason, "no reason given")
	}
	return row
}

// list shows the stations with the greatest weight first.
func (v *comparisonView) list(c *comparison) {
	sorted := heaviestFirst(c.stations)
	for _, d := range sorted[:min(len(sorted), mostStations)] {
		v.Stations = append(v.Stations, stationRow{d.call, orWord(d.locator, "\u2013"), fmt.Sprintf("%.0f", d.bearing), fmt.Sprintf("%.0f", d.distance),
			signed(d.db), strconv.FormatFloat(d.weight, 'f', 1, 64), fmt.Sprint(d.stationDiff.blocks)})
	}
	v.StationsMore = len(sorted) - len(v.Stations)
}

// sweepFigure is one picture of the sweeps with its legend.
type sweepFigure struct {
	Heading, Note string
	Picture       template.HTML
	Legend        []legendRow
}

type legendRow struct {
	Sample template.HTML
	Words  string
}

func (s sweepView) figure(id string) sweepFigure {
	f := sweepFigure{Heading: s.heading()}
	f.Picture = s.draw(id, f.Heading)
	f.Note = fmt.Sprintf("SWR and return loss against %g ohm. Upright lines: the edges of the band.", s.z0)
	if s.limit > 0 {
		f.Note += fmt.Sprintf(" Thick dashed line: the claim's limit, SWR %g from %g to %g MHz.", s.limit, s.from, s.to)
	}
	for _, c := range s.curves {
		how := "measured"
		if !c.Measured {
			how = "calculated, the declared feedline removed"
		}
		f.Legend = append(f.Legend, legendRow{sample(c.Style), fmt.Sprintf("%s, %s (%s)", clean(c.Arm), how, clean(c.Sweep))})
	}
	return f
}

// skyView sums up table paths for one band.
type skyView struct {
	Band    string
	Sun     []sunRow
	Classes []classRow
	Long    int
}

type sunRow struct{ Where, Lowest, Highest string }

type classRow struct{ Class, Stations, E, Low, High string }

// skyViews gives the ranges of what table paths holds, in the order of the schedule's bands.
func (t *tables) skyViews() []skyView {
	byBand := map[string][]pathRow{}
	for _, p := range t.paths {
		byBand[p.band] = append(byBand[p.band], p)
	}
	var out []skyView
	var seen []string
	for _, s := range t.schedule {
		if all := byBand[s.band]; len(all) > 0 && !slices.Contains(seen, s.band) {
			seen = append(seen, s.band)
			out = append(out, skyOf(s.band, all))
		}
	}
	return out
}

func skyOf(band string, all []pathRow) skyView {
	v := skyView{Band: clean(band)}
	sun := func(where string, of func(pathRow) float64) {
		r := span{}
		for _, p := range all {
			r.take(at(of(p)))
		}
		v.Sun = append(v.Sun, sunRow{where, degrees(r.low), degrees(r.high)})
	}
	sun("own station", func(p pathRow) float64 { return p.sunOwn })
	sun("middle of the short path", func(p pathRow) float64 { return p.sunMiddle })
	sun("far station", func(p pathRow) float64 { return p.sunFar })
	long := map[int64]bool{}
	for _, class := range classes(all) {
		stations := map[int64]bool{}
		var e, low, high hopSpan
		for _, p := range all {
			if p.longPath {
				long[p.station] = true
			}
			if p.class != class {
				continue
			}
			stations[p.station] = true
			e.take(p.eHops, p.e, p.eMore)
			low.take(p.lowHops, p.low, p.lowMore)
			high.take(p.highHops, p.high, p.highMore)
		}
		v.Classes = append(v.Classes, classRow{clean(class), fmt.Sprint(len(stations)), e.words(), low.words(), high.words()})
	}
	v.Long = len(long)
	return v
}

// classes gives the distance classes that occur, nearest first.
func classes(all []pathRow) []string {
	order := []string{"under 100 km", "100-500 km", "500-1000 km", "1000-2000 km", "2000-4000 km", "over 4000 km"}
	rank := func(class string) int {
		if i := slices.Index(order, class); i >= 0 {
			return i
		}
		return len(order)
	}
	var out []string
	for _, p := range all {
		if !slices.Contains(out, p.class) {
			out = append(out, p.class)
		}
	}
	slices.SortFunc(out, func(a, b string) int { return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a, b)) })
	return out
}

// span is the least and the greatest of some numbers.
type span struct{ low, high *float64 }

func (s *span) take(v *float64) {
	if v == nil || !finite(*v) {
		return
	}
	if s.low == nil || *v < *s.low {
		s.low = v
	}
	if s.high == nil || *v > *s.high {
		s.high = v
	}
}

// hopSpan is the range of take-off angles by one layer, and of one hop more.
type hopSpan struct {
	least, most *int64
	angle, more span
}

func (h *hopSpan) take(hops *int64, angle, more *float64) {
	if hops != nil {
		if h.least == nil || *hops < *h.least {
			h.least = hops
		}
		if h.most == nil || *hops > *h.most {
			h.most = hops
		}
	}
	h.angle.take(angle)
	h.more.take(more)
}

func (h *hopSpan) words() string {
	if h.least == nil || h.angle.low == nil {
		return "\u2013"
	}
	hops := fmt.Sprintf("%d to %d hops", *h.least, *h.most)
	if *h.least == *h.most {
		hops = fmt.Sprintf("%d hops", *h.least)
		if *h.least == 1 {
			hops = "1 hop"
		}
	}
	said := hops + ": " + h.angle.words()
	if h.more.low != nil {
		said += "; one more: " + h.more.words()
	}
	return said
}

func (s span) words() string {
	if degrees(s.low) == degrees(s.high) {
		return degrees(s.low)
	}
	return strings.TrimSuffix(degrees(s.low), "\u00b0") + " to " + degrees(s.high)
}

// degrees writes an angle, rounded to one degree, with a true minus sign.
func degrees(v *float64) string {
	if v == nil {
		return "\u2013"
	}
	s := fmt.Sprintf("%.0f\u00b0", *v)
	if s == "-0\u00b0" {
		return "0\u00b0"
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

func at(v float64) *float64 { return &v }

func sortedKeys(m map[string]int) []string { return slices.Sorted(maps.Keys(m)) }

func newReader(in *pipeline.Input, name string) *table.Reader { return table.NewReader(in.Table(name)) }
