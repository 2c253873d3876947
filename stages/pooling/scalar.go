package pooling

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/stages/internal/meta"
)

// entering is a finding that may enter a pool.
type entering struct {
	member
	Finding
}

// operatorsOf groups findings by operator, in the order of the labels of their first.
func operatorsOf(all []entering) [][]entering {
	var out [][]entering
	for _, e := range all {
		i := slices.IndexFunc(out, func(group []entering) bool { return group[0].Operator == e.Operator })
		if i < 0 {
			out = append(out, []entering{e})
			continue
		}
		out[i] = append(out[i], e)
	}
	return out
}

// size is an estimate with the interval and the number of units that it rests on.
type size struct {
	estimate  float64
	low, high float64
	units     int
}

func (e entering) size() size {
	return size{*e.Finding.Estimate, *e.Interval[0], *e.Interval[1], e.units()}
}

// se is the standard error that an interval of Student's t with units-1 degrees of freedom has; see the package's documentation.
func (s size) se() float64 { return (s.high - s.low) / 2 / critical(s.units) }

func critical(units int) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: float64(units - 1)}.Quantile(0.975)
}

// together joins the sizes of one operator: weighted by the inverse variances, with the weighted mean of the standard errors.
func together(all []size) (size, float64) {
	if len(all) == 1 {
		return all[0], all[0].se()
	}
	var w, we, ws float64
	units := math.MaxInt
	for _, s := range all {
		se := s.se()
		weight := 1 / float64(se*se)
		w += weight
		we += float64(weight * s.estimate)
		ws += float64(weight * se)
		units = min(units, s.units)
	}
	estimate, se := we/w, ws/w
	half := float64(critical(units) * se)
	return size{estimate, estimate - half, estimate + half, units}, se
}

// partOf tells of one operator's findings. The weight comes later.
func partOf(group []entering, sizes []size) (PartEntry, meta.Study) {
	joint, se := together(sizes)
	p := PartEntry{Operator: group[0].Operator, Lobes: []LobeEntry{}, Parts: []PartEntry{}}
	p.setSize(joint, se)
	var labels []string
	for i, e := range group {
		labels = append(labels, e.label)
		verdict := e.Verdict
		one := PartEntry{Label: e.label, Operator: e.Operator, Blocks: e.Blocks, Stations: e.Stations, Verdict: &verdict, Lobes: []LobeEntry{}, Parts: []PartEntry{}}
		one.setSize(sizes[i], sizes[i].se())
		p.Blocks, p.Stations = p.Blocks+e.Blocks, p.Stations+e.Stations
		if len(group) == 1 {
			p.Verdict = &verdict
		} else {
			p.Parts = append(p.Parts, one)
		}
	}
	p.Label = listed(labels)
	return p, meta.Study{Effect: joint.estimate, Variance: float64(se * se)}
}

func (p *PartEntry) setSize(s size, se float64) {
	p.Estimate, p.SE = round4(s.estimate), some4(se)
	p.Interval = *outward(s.low, s.high)
}

// pooled is what comes out of a pool of findings.
type pooled struct {
	operators, experiments int
	Summary
	p             float64 // unrounded, guarded; NaN where there is none
	heterogeneity *Heterogeneity
	moments       *Moments
	directivity   *Directivity
	parts         []PartEntry
}

// poolSizes pools scalars: one size for each finding. With fewer than two operators there are parts and nothing else.
func poolSizes(all []entering, sizeOf func(entering) size) (*pooled, error) {
	r := &pooled{experiments: len(all), p: math.NaN()}
	var studies []meta.Study
	for _, group := range operatorsOf(all) {
		var sizes []size
		for _, e := range group {
			sizes = append(sizes, sizeOf(e))
		}
		part, study := partOf(group, sizes)
		r.parts, studies = append(r.parts, part), append(studies, study)
	}
	r.operators = len(studies)
	if r.operators < 2 {
		r.alone()
		return r, nil
	}
	m, err := meta.Fit(studies, meta.REML)
	if err != nil {
		return nil, err
	}
	for i, w := range m.Weights {
		r.parts[i].Weight = round4(100 * w)
	}
	r.Summary, r.p = summaryOf(m)
	low, high, err := meta.QProfile(studies)
	if err != nil {
		return nil, err
	}
	r.heterogeneity = &Heterogeneity{Tau: round4(math.Sqrt(m.Tau2)), TauIn: outward(math.Sqrt(low), math.Sqrt(high)), Tau2: round4(m.Tau2),
		I2: some4(100 * m.I2), H2: some4(m.H2), Q: round4(m.Q), QDF: m.QDF, QP: roundP(m.QP)}
	moments, err := meta.Fit(studies, meta.DerSimonianLaird)
	if err != nil {
		return nil, err
	}
	s, _ := summaryOf(moments)
	r.moments = &Moments{*s.Estimate, *s.Interval, *s.Guarded, round4(moments.Tau2)}
	return r, nil
}

// alone gives the only operator all of the weight.
func (r *pooled) alone() {
	for i := range r.parts {
		r.parts[i].Weight = 100
	}
}

// fewestForPrediction is the least number of operators from which a further one is predicted.
const fewestForPrediction = 3

func summaryOf(m meta.Model) (Summary, float64) {
	plain, guarded := m.Infer(meta.KnappHartung), m.Infer(meta.Guarded)
	s := Summary{Estimate: some4(m.Estimate), Interval: outward(plain.Low, plain.High), Guarded: outward(guarded.Low, guarded.High),
		P: roundP(guarded.P), PPlain: roundP(plain.P)}
	if m.K >= fewestForPrediction {
		s.Prediction = outward(guarded.PredictionLow, guarded.PredictionHigh)
	}
	return s, guarded.P
}

// byStrength puts the lobe with the greater amplitude first.
func byStrength(a, b LobeEntry) int {
	return cmp.Or(-cmp.Compare(a.AmplitudeDB, b.AmplitudeDB), cmp.Compare(a.Harmonic, b.Harmonic))
}
