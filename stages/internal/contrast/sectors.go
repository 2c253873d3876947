package contrast

import "math"

const sectorCount = 8

// edgeDeg is how near to a sector's edge an azimuth counts as on it: azimuths are whole degrees, and
// their radians are not exact.
const edgeDeg = 1e-6

// Sector is the difference over the stations in 45 degrees of azimuth.
type Sector struct {
	FromDeg, ToDeg float64 // the lower edge belongs to it
	Estimated      bool    // false without a heard station, or where the root has no size (Level.Sized)
	EstimateDB     float64 // root of the level over these stations
	Stations       int     // heard above the cut at no difference
}

// sectors gives the eight sectors of a trial whose stations all have an azimuth.
func (t *Trial) sectors() [sectorCount]Sector {
	var out [sectorCount]Sector
	for i := range out {
		out[i].FromDeg, out[i].ToDeg = float64(i*360/sectorCount), float64((i+1)*360/sectorCount)
		part := t.restrict(func(s Station) bool { return sectorOf(s.AzimuthRad) == i })
		c := part.newComparison()
		c.at(0)
		out[i].Stations, _ = c.heard()
		if out[i].Stations > 0 {
			out[i].EstimateDB = root(c.sumG)
			out[i].Estimated = part.sized(out[i].EstimateDB)
		}
	}
	return out
}

// degrees gives an azimuth in 0 <= degrees < 360.
func degrees(rad float64) float64 {
	deg := math.Mod(rad*180/math.Pi, 360)
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 { // a tiny negative angle
		deg = 0
	}
	return deg
}

// sectorOf gives the 45-degree sector, from 0, which holds its lower edge.
func sectorOf(rad float64) int {
	return int((degrees(rad)+edgeDeg)/(360/sectorCount)) % sectorCount
}

const (
	frontDeg = 60  // front: within 60 degrees of the axis
	backDeg  = 120 // back: 120 degrees or more from it
	// sharedPair is the ratio of variances, as sharedParts, for the contrast of two groups.
	sharedPair = 2
)

// FrontToBack is the difference A-B in front less that behind, along an axis named before the trial.
type FrontToBack struct {
	Estimated             bool // false without a heard station on both sides, or where the balance lies at the end of the search
	EstimateDB            float64
	Interval              Interval
	FrontCount, BackCount int // stations heard above the cut at no difference
}

// Negated is the contrast with the arms exchanged.
func (f FrontToBack) Negated() FrontToBack {
	f.EstimateDB = -f.EstimateDB
	f.Interval = f.Interval.negated()
	return f
}

// axisView splits the stations by the axis.
type axisView struct {
	*comparison
	front    []bool // by station; the trial holds stations of the front and the back only
	base     float64
	mf, mk   []float64 // by block: weight in front and behind
	df, dk   []float64 // by block: sum of D in front and behind
	contrast []float64 // by block: g of the contrast
}

// FrontToBack estimates the contrast along the axis (radians, clockwise from north).
func (t *Trial) FrontToBack(axisRad float64) FrontToBack {
	front := func(s Station) bool { return apartDeg(s.AzimuthRad, axisRad) <= frontDeg+edgeDeg }
	back := func(s Station) bool { return apartDeg(s.AzimuthRad, axisRad) >= backDeg-edgeDeg }
	v := t.newAxisView(front, back)
	out := FrontToBack{Interval: unbounded()}
	out.FrontCount = t.heardWhere(front)
	out.BackCount = t.heardWhere(back)
	if out.FrontCount == 0 || out.BackCount == 0 {
		return out
	}
	v.base = root(func(d float64) float64 {
		v.look(d, 0)
		return sum(v.dk)
	})
	out.EstimateDB = root(func(f float64) float64 {
		v.look(v.base, f)
		return sum(v.contrast)
	})
	out.Estimated = v.trial.sized(v.base) && math.Abs(out.EstimateDB) < rootLimitDB-rootEdgeDB
	out.Interval = invert(func(f float64) float64 {
		v.look(v.base, f)
		return t.plan.Abs(v.contrast)
	}, out.EstimateDB)
	return out
}

// apartDeg is the angle between two directions, 0 to 180 degrees.
func apartDeg(a, b float64) float64 {
	d := degrees(a - b)
	return math.Min(d, 360-d)
}

func (t *Trial) newAxisView(front, back func(Station) bool) *axisView {
	part := t.restrict(func(s Station) bool { return s.HasAzimuth && (front(s) || back(s)) })
	v := &axisView{comparison: part.newComparison(), front: make([]bool, len(t.stations))}
	for r, s := range t.stations {
		v.front[r] = front(s)
	}
	blocks := t.params.Blocks
	v.mf, v.mk = make([]float64, blocks), make([]float64, blocks)
	v.df, v.dk = make([]float64, blocks), make([]float64, blocks)
	v.contrast = make([]float64, blocks)
	return v
}

// heardWhere counts the stations with an azimuth heard at no difference that keep accepts.
func (t *Trial) heardWhere(keep func(Station) bool) int {
	c := t.restrict(func(s Station) bool { return s.HasAzimuth && keep(s) }).newComparison()
	c.at(0)
	n, _ := c.heard()
	return n
}

// look evaluates at the offset base + f in front and base elsewhere.
func (v *axisView) look(base, f float64) {
	for r := range v.offset {
		v.offset[r] = base
		if v.front[r] {
			v.offset[r] = base + f
		}
	}
	v.evaluate()
	clear(v.mf)
	clear(v.mk)
	clear(v.df)
	clear(v.dk)
	for i, cell := range v.trial.cells {
		if v.front[cell.station] {
			v.mf[cell.block] += v.a[i]
			v.df[cell.block] += v.d[i]
		} else {
			v.mk[cell.block] += v.a[i]
			v.dk[cell.block] += v.d[i]
		}
	}
	for b := range v.contrast {
		v.contrast[b] = 0
		if mf, mk := v.mf[b], v.mk[b]; mf > 0 && mk > 0 {
			h := mf * mk / (mf + mk)
			v.contrast[b] = float64(h / (h + sharedPair) * (v.df[b]/mf - v.dk[b]/mk))
		}
	}
}
