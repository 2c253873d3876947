package pooling

import (
	"fmt"
	"math"
	"slices"

	"fairlobe/stages/internal/meta"
)

// Frames of a directivity claim.
const (
	North = "north"
	Wire  = "wire"
)

// chooseFrame says in which frame the findings of a question are compared, and warns where that is doubtful. A claim that names
// none goes with those that do: a repeat may say what its original left open.
func chooseFrame(asked string, all []entering) (frame string, warnings []Warning) {
	if asked != "" {
		return asked, nil
	}
	var named []string
	for _, e := range all {
		if e.Frame != "" {
			named = append(named, e.Frame)
		}
	}
	named = once(named)
	if len(named) == 1 {
		return named[0], nil
	}
	if len(named) > 1 {
		warnings = append(warnings, Warning{"frames_differ", "the claims name different frames: the lobes are compared from north; --frame north or --frame wire says which is meant"})
	}
	if different(all) {
		warnings = append(warnings, Warning{"wires_differ", "the wires run different ways, and no frame was agreed on: the lobes are compared from north; --frame wire compares each with the way in which its wire runs"})
	}
	return North, warnings
}

// sameAzimuthDeg is how closely two azimuths that count as the same agree.
const sameAzimuthDeg = 1.0

// different tells whether the wires run different ways.
func different(all []entering) bool {
	var first *float64
	for _, e := range all {
		for _, a := range e.Azimuths {
			switch {
			case a == nil:
			case first == nil:
				first = a
			case math.Abs(math.Remainder(*a-*first, 360)) > sameAzimuthDeg:
				return true
			}
		}
	}
	return false
}

// barredFromWire tells why a finding can't enter in the frame of the wire; "" if it can.
func (f Finding) barredFromWire() string {
	a, b := f.Azimuths[0], f.Azimuths[1]
	switch {
	case a == nil || b == nil:
		return "in the frame of the wire both arms need slope_azimuth_deg, and it is not given"
	case *a != *b:
		return fmt.Sprintf("in the frame of the wire both arms must run the same way, and they run toward %g and %g degrees", *a, *b)
	}
	return ""
}

// vector gives a harmonic in a frame.
func (f Finding) vector(harmonic int, frame string) meta.Vector {
	fit, _ := f.fit(harmonic)
	v := meta.Vector{X: fit.CosDB, Y: fit.SinDB, VarX: fit.VarCos, VarY: fit.VarSin, CovXY: fit.Cov}
	if frame == Wire {
		v = v.Turned(float64(-float64(harmonic) * *f.Azimuths[0] * math.Pi / 180))
	}
	return v
}

// togetherVectors joins the vectors of one operator, as together does: weights are inverse mean variances, and the covariance is the
// square of the weighted mean of the square roots, as if the errors were wholly dependent.
func togetherVectors(all []meta.Vector) meta.Vector {
	if len(all) == 1 {
		return all[0]
	}
	var w, x, y, xx, yy, xy float64
	for _, v := range all {
		weight := 2 / (v.VarX + v.VarY)
		w += weight
		x, y = x+float64(weight*v.X), y+float64(weight*v.Y)
		// The symmetric root of a positive definite S of two rows: (S + sqrt(det S) I)/sqrt(tr S + 2 sqrt(det S)).
		root := math.Sqrt(math.Max(0, float64(v.VarX*v.VarY)-float64(v.CovXY*v.CovXY)))
		scale := weight / math.Sqrt(v.VarX+v.VarY+2*root)
		xx, yy, xy = xx+float64(scale*(v.VarX+root)), yy+float64(scale*(v.VarY+root)), xy+float64(scale*v.CovXY)
	}
	x, y, xx, yy, xy = x/w, y/w, xx/w, yy/w, xy/w
	return meta.Vector{X: x, Y: y, VarX: float64(xx*xx) + float64(xy*xy), VarY: float64(yy*yy) + float64(xy*xy), CovXY: float64(xy * (xx + yy))}
}

// poolLobes pools the vectors of a directivity claim in a frame.
func poolLobes(all []entering, shape, frame string) (*pooled, error) {
	r := &pooled{experiments: len(all), p: math.NaN(), directivity: &Directivity{Frame: frame, Lobes: []LobeEntry{}}}
	groups := operatorsOf(all)
	r.operators = len(groups)
	for _, group := range groups {
		r.parts = append(r.parts, lobePart(group, shape, frame))
	}
	if r.operators < 2 {
		r.alone()
		return r, nil
	}
	least := 1.0
	h := &Heterogeneity{}
	for _, harmonic := range harmonics(shape) {
		var vectors []meta.Vector
		for _, group := range groups {
			vectors = append(vectors, jointVector(group, harmonic, frame))
		}
		m, err := meta.Vectors(vectors)
		if err != nil {
			return nil, err
		}
		_, p := m.F()
		lobe := lobeEntry(harmonic, m.X, m.Y, m.Polar())
		factor := round4(m.Factor)
		lobe.P, lobe.Factor = roundP(p), &factor
		r.directivity.Lobes = append(r.directivity.Lobes, lobe)
		least = math.Min(least, p)
		if harmonic == harmonics(shape)[0] || m.Tau2 > h.Tau2 {
			*h = Heterogeneity{Tau: round4(math.Sqrt(m.Tau2)), Tau2: m.Tau2, Q: round4(m.Q), QDF: m.QDF, QP: roundP(m.QP)}
			for i, share := range m.Shares {
				r.parts[i].Weight = round4(100 * share)
			}
		}
	}
	h.Tau2 = round4(h.Tau2)
	r.heterogeneity = h
	slices.SortStableFunc(r.directivity.Lobes, byStrength)
	r.p = math.Min(1, float64(len(harmonics(shape)))*least) // Bonferroni over the harmonics of one claim
	strongest := r.directivity.Lobes[0]
	interval := strongest.AmplitudeIn
	r.Summary = Summary{Estimate: &strongest.AmplitudeDB, Interval: &interval, Guarded: &interval, P: roundP(r.p)}
	return r, nil
}

func jointVector(group []entering, harmonic int, frame string) meta.Vector {
	var vectors []meta.Vector
	for _, e := range group {
		vectors = append(vectors, e.vector(harmonic, frame))
	}
	return togetherVectors(vectors)
}

// lobePart tells of one operator's lobes: its size is the amplitude of the first harmonic of the shape, with the region of a chi-square.
func lobePart(group []entering, shape, frame string) PartEntry {
	p := PartEntry{Operator: group[0].Operator, Lobes: []LobeEntry{}, Parts: []PartEntry{}}
	var labels []string
	for _, e := range group {
		labels = append(labels, e.label)
		p.Blocks, p.Stations = p.Blocks+e.Blocks, p.Stations+e.Stations
		if len(group) > 1 {
			p.Parts = append(p.Parts, lobePart([]entering{e}, shape, frame))
		} else {
			verdict := e.Verdict
			p.Verdict = &verdict
		}
	}
	for _, harmonic := range harmonics(shape) {
		v := jointVector(group, harmonic, frame)
		p.Lobes = append(p.Lobes, lobeEntry(harmonic, v.X, v.Y, meta.Project(v)))
	}
	p.Label, p.Estimate, p.Interval = listed(labels), p.Lobes[0].AmplitudeDB, p.Lobes[0].AmplitudeIn
	return p
}

func lobeEntry(harmonic int, cos, sin float64, polar meta.Polar) LobeEntry {
	l := LobeEntry{Harmonic: harmonic, CosDB: round4(cos), SinDB: round4(sin), AmplitudeDB: round4(polar.Length),
		AmplitudeIn: *outward(polar.LengthLow, polar.LengthHigh)}
	if polar.Directed && l.AmplitudeIn[0] > 0 { // what is shown decides
		circle := 360 / float64(harmonic)
		degrees := func(rad float64, round func(float64) float64) float64 {
			d := math.Mod(round(rad*180/math.Pi/float64(harmonic)), circle)
			if d < 0 {
				d += circle
			}
			return d
		}
		toward := degrees(polar.Angle, func(v float64) float64 { return math.Round(v*10) / 10 })
		l.TowardDeg, l.TowardIn = &toward, &[2]float64{degrees(polar.AngleLow, math.Floor), degrees(polar.AngleHigh, math.Ceil)}
	}
	return l
}

// poolFrontToBack pools the front-to-back differences, each along the axis that its operator named; nil with fewer than two operators.
func poolFrontToBack(all []entering) (*FrontToBackEntry, error) {
	with := slices.DeleteFunc(slices.Clone(all), func(e entering) bool {
		f := e.FrontToBack
		return f == nil || f.Estimate == nil || f.Interval == nil || f.Interval[0] == nil || f.Interval[1] == nil || e.Blocks < 2 ||
			*f.Interval[1]-*f.Interval[0] < leastWidth
	})
	r, err := poolSizes(with, func(e entering) size {
		f := e.FrontToBack
		return size{*f.Estimate, *f.Interval[0], *f.Interval[1], e.Blocks}
	})
	if err != nil || r.operators < 2 {
		return nil, err
	}
	return &FrontToBackEntry{Operators: r.operators, Summary: r.Summary, Tau: r.heterogeneity.Tau}, nil
}
