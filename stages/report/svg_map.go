package report

import (
	"fmt"
	"html/template"
	"math"

	"fairlobe/datasets/coast"
)

const (
	mapRim = 138.0
	// mapFarthestKm is a little over half the way round the Earth: no station is farther.
	mapFarthestKm = 20020.0
	// mapLegDeg is how long a straight piece of a coastline may be before it is bent, in degrees of either coordinate.
	mapLegDeg = 1.0
)

// atlas is the map: azimuthal equidistant about the own place (J. P. Snyder, "Map Projections: A Working Manual", USGS
// Professional Paper 1395, 1987, equations 25-1 to 25-4), so that bearing and distance are true. Coastlines lie on a sphere,
// which is off by less than the width of a line; stations are placed by the bearing and distance of their table.
type atlas struct {
	latDeg, lonDeg float64
	known          bool // whether the own place is
	rimKm, stepKm  float64
}

// newAtlas fits the map to the farthest station of all comparisons, so that all maps of the page have one scale.
func newAtlas(latDeg, lonDeg float64, known bool, all []*comparison) atlas {
	farthest := 0.0
	for _, c := range all {
		for _, d := range c.stations {
			farthest = max(farthest, d.distance)
		}
	}
	a := atlas{latDeg: latDeg, lonDeg: lonDeg, known: known}
	const mostRings = 6
	a.stepKm = roundUp(farthest/mostRings, 10, 20, 50, 100, 200, 500, 1000, 2000, 4000)
	a.rimKm = min(mapFarthestKm, a.stepKm*max(1, math.Ceil(farthest/a.stepKm)))
	return a
}

func (a atlas) at(bearing, km float64) (x, y float64) {
	return around(centre, centre, min(1, km/a.rimKm)*mapRim, bearing)
}

// coastlines is the part of every map that does not change: the page holds it once. It is empty if no coast lies on it.
func (a atlas) coastlines() string {
	if !a.known {
		return ""
	}
	shore := &route{}
	for _, line := range coast.Load().Lines() {
		pen := mapPen{atlas: a, route: shore}
		for i := 1; i < len(line); i++ {
			pen.leg(line[i-1], line[i])
		}
	}
	return shore.String()
}

// mapPen draws a coastline; it is up where the line leaves the map.
type mapPen struct {
	atlas
	*route
	down  bool
	x, y  float64 // of the last point drawn
	lastX float64 // of the last point seen
	lastY float64
	waits bool // the last point seen is not drawn yet
}

// leg draws the short way from a to b, bent if it is long.
func (p *mapPen) leg(a, b coast.Point) {
	dLat, dLon := b.LatDeg-a.LatDeg, math.Remainder(b.LonDeg-a.LonDeg, 360)
	pieces := math.Ceil(max(math.Abs(dLat), math.Abs(dLon), 1e-9) / mapLegDeg * max(1, 2500/p.rimKm))
	for i := 0.0; i <= pieces; i++ {
		p.point(a.LatDeg+float64(dLat*i/pieces), a.LonDeg+float64(dLon*i/pieces))
	}
	p.flush()
}

// point takes a point of a coastline. Points closer than half a unit to the last are left out, but for the last of a leg.
func (p *mapPen) point(latDeg, lonDeg float64) {
	km, bearing := p.project(latDeg, lonDeg)
	if km > p.rimKm {
		p.flush()
		p.down = false
		return
	}
	x, y := p.atlas.at(bearing, km)
	const leap = mapRim / 2 // near the antipode neighbours lie on opposite sides of the map
	if p.down && math.Hypot(x-p.lastX, y-p.lastY) > leap {
		p.flush()
		p.down = false
	}
	p.lastX, p.lastY, p.waits = x, y, true
	if !p.down || math.Hypot(x-p.x, y-p.y) >= 1 {
		p.flush()
	}
}

func (p *mapPen) flush() {
	if !p.waits {
		return
	}
	p.waits = false
	if p.down && math.Hypot(p.lastX-p.x, p.lastY-p.y) < 0.5 {
		return
	}
	p.to(lineOrMove(map[bool]int{true: 1}[p.down]), p.lastX, p.lastY)
	p.down, p.x, p.y = true, p.lastX, p.lastY
}

// project gives distance and bearing from the own place on a sphere of the mean radius.
func (a atlas) project(latDeg, lonDeg float64) (km, bearingDeg float64) {
	const meanRadiusKm = 6371.0088 // H. Moritz, Geodetic Reference System 1980: R1
	sinA, cosA := math.Sincos(a.latDeg * math.Pi / 180)
	sinB, cosB := math.Sincos(latDeg * math.Pi / 180)
	sinL, cosL := math.Sincos((lonDeg - a.lonDeg) * math.Pi / 180)
	east := float64(cosB * sinL)
	north := float64(cosA*sinB) - float64(sinA*float64(cosB*cosL))
	up := float64(sinA*sinB) + float64(cosA*float64(cosB*cosL))
	return meanRadiusKm * math.Atan2(math.Hypot(east, north), up), math.Atan2(east, north) * 180 / math.Pi
}

// draw makes the map of one comparison.
func (a atlas) draw(id, name string, c *comparison, hasCoast bool) template.HTML {
	p := newPicture(id, "picture round", roundHeight, name,
		fmt.Sprintf("Map about the own station with %d stations as drops that point home; the rim is %g km away.", len(c.stations), a.rimKm))
	p.circle("rim", centre, centre, mapRim)
	if hasCoast {
		p.tag("use", "class", "coast", "href", "#coast")
	}
	for km := a.stepKm; km < a.rimKm; km += a.stepKm {
		p.circle("ring", centre, centre, km/a.rimKm*mapRim)
	}
	p.line("ray", centre-mapRim, centre, centre+mapRim, centre)
	p.line("ray", centre, centre-mapRim, centre, centre+mapRim)
	for _, d := range heaviestFirst(c.stations) {
		a.drop(p, d, c.crowd())
	}
	p.circle("home", centre, centre, 3)
	a.ringLabels(p, c.stations)
	p.compass(centre, centre, mapRim)
	return p.done()
}

// drop draws a station: its tip points home, its filling and the stroke in it tell the sign, its size the weight.
func (a atlas) drop(p *picture, d placed, crowd float64) {
	x, y := a.at(d.bearing, d.distance)
	size := (2.6 + 4.2*math.Sqrt(d.share)) * crowd
	p.open("g", "transform", fmt.Sprintf("translate(%s %s)", num(x), num(y)))
	p.open("title")
	p.WriteString(attribute(fmt.Sprintf("%s: %s", d.call, signed(d.db))))
	p.close("title")
	p.tag("use", "class", signClass(d.db), "href", "#drop", "transform", fmt.Sprintf("rotate(%s) scale(%s)", num(d.bearing), num(size)))
	if size >= 3.6 {
		half := size * 0.5
		sign := &route{}
		sign.to('M', -half, 0)
		sign.to('L', half, 0)
		if d.db > 0 {
			sign.to('M', 0, -half)
			sign.to('L', 0, half)
		}
		p.path("sign "+signClass(d.db), sign)
	}
	if d.longPath {
		p.circle("long", 0, 0, size+3)
	}
	p.close("g")
}

func (a atlas) ringLabels(p *picture, all []placed) {
	var bearings []float64
	for _, d := range all {
		bearings = append(bearings, d.bearing)
	}
	b := quietBearing(bearings)
	const leastGap = 17 // units between labels
	last := 0.0
	for km := a.stepKm; km < a.rimKm; km += a.stepKm {
		r := km / a.rimKm * mapRim
		if r-last < leastGap || mapRim-r < leastGap {
			continue
		}
		last = r
		x, y := around(centre, centre, r, b)
		p.text(x, y+5, "label halo", "middle", fmt.Sprintf("%g", km))
	}
	p.rimLabel(mapRim, b, fmt.Sprintf("%g km", a.rimKm))
}
