package judge

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/stages/internal/circular"
	"fairlobe/stages/internal/contrast"
)

// fewestBearings is the least number of bearings from which the series of the Rayleigh test is near the exact value.
const fewestBearings = 6

// naiveLevel gives Welch's t test over single reports (Welch 1947, Biometrika 34:28), as if reports were independent.
func (e *Entry) naiveLevel(t *contest) {
	a, b := t.perArm[e.Arms[0]], t.perArm[e.Arms[1]]
	if len(a) < 2 || len(b) < 2 {
		return
	}
	meanA, varA := stat.MeanVariance(a, nil)
	meanB, varB := stat.MeanVariance(b, nil)
	qa, qb := varA/float64(len(a)), varB/float64(len(b))
	if qa+qb == 0 {
		return
	}
	df := (qa + qb) * (qa + qb) / (float64(qa*qa/float64(len(a)-1)) + float64(qb*qb/float64(len(b)-1)))
	tt := math.Abs(meanA-meanB) / math.Sqrt(qa+qb)
	e.Naive = &Naive{SpotTP: roundP(2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(tt)), Misleading: true}
}

// naiveLobe gives the Rayleigh test over the bearings (radians) of single reports, as if reports were independent and
// receivers lived evenly all round. Where two opposite lobes are asked for the angles are doubled.
func (e *Entry) naiveLobe(bearings []float64) {
	if len(bearings) < fewestBearings {
		return
	}
	harmonic := 1
	if shapeOf(e.claim.Shape) == contrast.TwoSided {
		harmonic = 2
	}
	_, resultant := circular.Mean(bearings, harmonic)
	e.Naive = &Naive{UniformP: roundP(circular.RayleighP(len(bearings), resultant)), Misleading: true}
}

// bearingsOf gives the bearings of an arm's receptions, radians, one for each reception whose station may enter a lobe.
func (d *data) bearingsOf(all []reception, arm string) []float64 {
	var out []float64
	for _, r := range all {
		if s := d.stations[r.station]; r.arm == arm && s.forDirectivity() {
			out = append(out, s.azimuth*math.Pi/180)
		}
	}
	return out
}
