package contrast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

const (
	fewestLobeStations = 8
	leastEigenvalue    = 0.05 // 0.5 with stations spread evenly
	greatestGapDeg     = 240
	fewestAnyBlocks    = 12
	fewestAnyStations  = 12
	fewestAnyRegions   = 8
)

// Directivity is the dependence of A-B on azimuth, over the stations with an azimuth that were heard.
// The common difference that it takes off is that of these stations alone.
type Directivity struct {
	Shape Shape
	// Testable is false if the stations do not allow the question; Why says so. The p values
	// are then NaN and there are no lobes; the sectors stand.
	Testable bool
	Why      Refusal

	Blocks, Stations, Regions int
	EstimateDB                float64 // d-hat of these stations
	Sized                     bool    // as Level.Sized; what it says of EstimateDB holds here, too

	Gate1 float64 // p: the difference is not the same at all stations
	// Gate2Testable is false with fewer than six regions: Gate2 and P are then NaN.
	Gate2Testable bool
	// Gate2 is the p that the regional means line up with azimuth, by permutations, and with the scatter of time beside that of
	// the regions: the greater of the two.
	Gate2 float64
	P     float64 // the greater of the two, and of those of Tangle if there are any

	Tangle Tangle // set by the fit

	// Lobes has one entry, or two for Any, the one with the greater amplitude first.
	Lobes []Lobe
	// SwingHighDB is the sum of the upper ends of the lobes: no direction differs from the
	// all-round value by more.
	SwingHighDB float64
	AllRoundDB  float64 // d of the lobe fit
	SigmaDB     float64 // sigma_phi: standard deviation of one block's lobe, in its worst direction

	RunningE []float64 // by block: evidence for gate 1 that may be watched, as Running.E
	RunningP float64   // anytime p for gate 1; NaN if not testable
	Sectors  [sectorCount]Sector

	fit fitted // see Toward
}

// Directivity computes the dependence on azimuth.
func (t *Trial) Directivity(shape Shape) Directivity {
	out, s := t.gates(shape)
	if out.Testable {
		out.watch(t)
		out.fitLobes(s)
	}
	return out
}

// Gates is Directivity without the fit, which takes nearly all of the time: no lobes, and what rests on them is NaN.
func (t *Trial) Gates(shape Shape) Directivity {
	out, _ := t.gates(shape)
	if out.Testable {
		out.watch(t)
	}
	return out
}

// gates is Gates without the running evidence, which takes nearly all of the rest. It gives the score at the common difference too.
func (t *Trial) gates(shape Shape) (Directivity, *score) {
	part := t.Located()
	nan := math.NaN()
	out := Directivity{
		Shape: shape, Blocks: t.params.Blocks, Gate1: nan, Gate2: nan, P: nan, RunningP: nan,
		SwingHighDB: nan, AllRoundDB: nan, SigmaDB: nan, Sectors: part.sectors(),
	}
	s := part.newScore(shape)
	out.EstimateDB = root(s.sumG)
	out.Sized = part.sized(out.EstimateDB)
	centre := out.EstimateDB
	if !out.Sized {
		centre = 0
	}
	s.look(centre, make([]float64, len(s.sumU)))
	out.Stations, _ = s.heard()
	means := s.regionMeans(shape)
	out.Regions = len(means)
	if out.Why = s.refusal(out); out.Why.Code != "" {
		return out, s
	}
	out.Testable = true
	out.Gate1 = s.gate1()
	if out.Regions >= fewestGate2Regions {
		out.Gate2Testable = true
		out.Gate2 = part.gate2(means)
		if both, ok := newSources(means, s.inTime(means)); ok {
			out.Gate2 = math.Max(out.Gate2, both.p(t.params.Seed))
		}
		out.P = math.Max(out.Gate1, out.Gate2)
	}
	return out, s
}

// watch sets the running evidence.
func (d *Directivity) watch(t *Trial) {
	d.RunningE = t.Located().runningLobe(d.Shape)
	d.RunningP = anytimeP(d.RunningE)
}

// refusal looks at the score at the common difference.
func (s *score) refusal(d Directivity) Refusal {
	if d.Stations < fewestLobeStations {
		return Refusal{TooFewStations, fmt.Sprintf(
			"too few stations for a direction: %d heard above the cut, the method needs %d", d.Stations, fewestLobeStations)}
	}
	if !d.Sized { // at no difference the strength of the one arm would pass for a direction
		return Refusal{TooFewStations, fmt.Sprintf(
			"too few stations for a direction: %d heard one arm above the cut, and too few the other to say by how much they differ", d.Stations)}
	}
	if d.Shape == Any {
		if r := refuseAny(d); r.Code != "" {
			return r
		}
	}
	scale := 0.0
	for _, m := range s.m {
		scale += m / (m + sharedParts)
	}
	least, _ := eigenvalues(s.v0)
	if least/scale < leastEigenvalue || s.largestGap() > greatestGapDeg+edgeDeg {
		return Refusal{NotSurrounded, "the stations heard do not surround you: directivity is not testable"}
	}
	return Refusal{}
}

// refuseAny holds the needs of the shape with four columns.
func refuseAny(d Directivity) Refusal {
	switch {
	case d.Blocks < fewestAnyBlocks:
		return Refusal{TooFewBlocks, fmt.Sprintf("too few blocks for the shape any: %d complete, the method needs %d", d.Blocks, fewestAnyBlocks)}
	case d.Stations < fewestAnyStations:
		return Refusal{TooFewStations, fmt.Sprintf("too few stations for the shape any: %d heard above the cut, the method needs %d", d.Stations, fewestAnyStations)}
	case d.Regions < fewestAnyRegions:
		return Refusal{TooFewRegions, fmt.Sprintf("too few regions for the shape any: %d with data, the method needs %d", d.Regions, fewestAnyRegions)}
	}
	return Refusal{}
}

// Refusal gives the reason why the directivity may carry no p value, or no refusal; family is the
// number of declared questions.
func (d Directivity) Refusal(alpha float64, family int) Refusal {
	if d.Why.Code != "" {
		return d.Why
	}
	return refuseBlocks(d.Blocks, alpha, family)
}

// largestGap is the greatest angle without a heard station, degrees.
func (c *comparison) largestGap() float64 {
	var angles []float64
	for i, cell := range c.trial.cells {
		if c.a[i] > 0 {
			angles = append(angles, degrees(c.trial.stations[cell.station].AzimuthRad))
		}
	}
	if len(angles) == 0 {
		return 360
	}
	from, to := smallestArc(angles)
	arc := to - from
	if arc < 0 {
		arc += 360
	}
	return 360 - arc
}

// fitLobes sets what rests on the fit; the score stands at the common difference.
func (d *Directivity) fitLobes(s *score) {
	fitD, beta := s.fit(fitRounds)
	d.AllRoundDB = fitD
	d.Tangle = s.tangle(d.Shape, beta)
	if d.Tangle.Tangled && d.Gate2Testable {
		d.P = max(d.P, d.Tangle.Gate1, d.Tangle.Gate2)
	}
	d.SigmaDB = s.sigmaPhi()
	mean := clone(s.mean)
	d.fit.vectors = s.newFits(d.Shape, fitD, beta)
	for i, harmonic := range d.Shape.harmonics() {
		s.look(fitD, beta)
		r, ok := newRegion(s, fitD, beta, 2*i)
		if !ok {
			return
		}
		originKept := d.Gate1 > Alpha
		if d.Shape == Any { // the other harmonic may be there all the same
			originKept = r.allowed(0, 0)
		}
		d.Lobes = append(d.Lobes, r.lobe(harmonic, originKept))
		d.fit.parts = append(d.fit.parts, r.kept)
	}
	d.fit.beta, d.fit.mean = beta, mean
	d.SwingHighDB = 0
	for _, l := range d.Lobes {
		d.SwingHighDB += l.HighDB
	}
	slices.SortStableFunc(d.Lobes, func(a, b Lobe) int { return cmp.Compare(b.AmplitudeDB, a.AmplitudeDB) })
}

// sigmaPhi is the root of the greatest eigenvalue of (M/B)^-1 (Ve/B) (M/B)^-1 at the fit.
func (s *score) sigmaPhi() float64 {
	inv, ok := inverse(s.v0)
	if !ok {
		return math.NaN()
	}
	_, greatest := eigenvalues(product(product(inv, s.ve), inv))
	return math.Sqrt(float64(s.trial.params.Blocks) * greatest)
}

// Negated is the directivity with the arms exchanged: a lobe of B-A points to where A-B is least.
func (d Directivity) Negated() Directivity {
	d.EstimateDB, d.AllRoundDB = -d.EstimateDB, -d.AllRoundDB
	d.fit = d.fit.negated()
	d.Lobes = slices.Clone(d.Lobes)
	for i := range d.Lobes {
		l := &d.Lobes[i]
		turn := func(deg float64) float64 {
			h := float64(l.Harmonic)
			return math.Mod(deg+180/h, 360/h)
		}
		l.TowardDeg = turn(l.TowardDeg)
		if l.DirectionKnown {
			l.FromDeg, l.ToDeg = turn(l.FromDeg), turn(l.ToDeg)
		}
	}
	for i := range d.Sectors {
		d.Sectors[i].EstimateDB = -d.Sectors[i].EstimateDB
	}
	return d
}
