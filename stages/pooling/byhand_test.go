package pooling

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/stages/internal/meta"
)

// The data of TestAgreesWithThePackage, and the other figures by the formulas of the papers: weights, the moment estimate
// (DerSimonian and Laird, Controlled Clinical Trials 7, 1986), the factor (Knapp and Hartung, Statistics in Medicine 22, 2003),
// the Q profile (Viechtbauer, Statistics in Medicine 26, 2007). Of tau^2 by REML the value of that package.
func TestFiguresOfAPoolByHand(t *testing.T) {
	y, v := []float64{1.2, 0.4, 2.1}, []float64{0.1, 0.25, 0.16}
	var studies []Study
	for i := range y {
		half := math.Sqrt(v[i]) * distuv.StudentsT{Sigma: 1, Nu: 15}.Quantile(0.975)
		studies = append(studies, study(i+1, level(y[i], half)))
	}
	c := pooledOf(t, studies...).Claims[0]
	fit := func(tau2 float64) (mean, sum, squares, q float64) {
		for i := range y {
			w := 1 / (v[i] + tau2)
			mean, sum, squares = mean+w*y[i], sum+w, squares+w*w
		}
		mean /= sum
		for i := range y {
			q += (y[i] - mean) * (y[i] - mean) / (v[i] + tau2)
		}
		return mean, sum, squares, q
	}
	half := func(sum, q, least float64) float64 { return 4.302653 * math.Sqrt(math.Max(least, q/2)/sum) } // t(0.975; 2)
	outwards := func(i [2]float64, mean, half float64) {
		t.Helper()
		require.InDelta(t, mean-half-0.005, i[0], 0.00501)
		require.InDelta(t, mean+half+0.005, i[1], 0.00501)
	}
	const reml = 0.486336072434228
	mean, sum, _, q := fit(reml)
	outwards(*c.Interval, mean, half(sum, q, 0))
	outwards(*c.Guarded, mean, half(sum, q, 1))
	// p of t with 2 degrees of freedom: 1 - t/sqrt(t^2 + 2)
	p := func(least float64) float64 {
		x := mean * 4.302653 / half(sum, q, least)
		return 1 - x/math.Sqrt(x*x+2)
	}
	require.InDelta(t, p(0), *c.PPlain, 2e-6)
	require.InDelta(t, p(1), *c.P, 2e-6)
	for i, part := range c.Studies {
		require.InDelta(t, 100/(v[i]+reml)/sum, part.Weight, 1e-3)
	}
	_, sum0, squares, q0 := fit(0)
	require.InDelta(t, math.Exp(-q0/2), *c.Heterogeneity.QP, 1e-6, "chi-square with 2 degrees of freedom")
	require.InDelta(t, 1/(1-0.753822885132108), *c.Heterogeneity.H2, 1e-3)
	require.InDelta(t, math.Sqrt(reml), c.Heterogeneity.Tau, 1e-4)
	moments := (q0 - 2) / (sum0 - squares/sum0)
	require.InDelta(t, moments, c.Moments.Tau2, 1e-4)
	mean, sum, _, q = fit(moments)
	require.InDelta(t, mean, c.Moments.Estimate, 1e-4)
	outwards(c.Moments.Interval, mean, half(sum, q, 0))
	outwards(c.Moments.Guarded, mean, half(sum, q, 1))
	for end, quantile := range []float64{-2 * math.Log(0.025), -2 * math.Log(0.975)} { // of chi-square with 2 degrees of freedom
		low, high := 0.0, 1000.0
		for range 60 {
			middle := (low + high) / 2
			if _, _, _, q := fit(middle); q > quantile {
				low = middle
			} else {
				high = middle
			}
		}
		require.InDelta(t, math.Sqrt(low), c.Heterogeneity.TauIn[end], 0.01)
	}
}

// Three operators agree far closer than chance would have it: tau^2 is 0, so the mean is that of the inverse variances, and the
// factor is below 1 where it may be. The guarded figures and the prediction, which with a tau^2 of 0 is the guarded interval,
// take 1.
func TestGuardedFiguresOfAPoolByHand(t *testing.T) {
	y, v := []float64{2.0, 2.02, 2.05}, []float64{0.1, 0.25, 0.16}
	var studies []Study
	mean, sum, q := 0.0, 0.0, 0.0
	for i := range y {
		studies = append(studies, study(i+1, level(y[i], math.Sqrt(v[i])*distuv.StudentsT{Sigma: 1, Nu: 15}.Quantile(0.975))))
		mean, sum = mean+y[i]/v[i], sum+1/v[i]
	}
	mean /= sum
	for i := range y {
		q += (y[i] - mean) * (y[i] - mean) / v[i]
	}
	require.Less(t, q/2, 0.01)
	c := pooledOf(t, studies...).Claims[0]
	require.Zero(t, c.Heterogeneity.Tau2)
	require.InDelta(t, mean, *c.Estimate, 1e-4)
	for _, of := range []struct {
		interval *[2]float64
		factor   float64
	}{{c.Interval, math.Sqrt(q / 2)}, {c.Guarded, 1}, {c.Prediction, 1}} {
		half := 4.302653 * of.factor / math.Sqrt(sum)
		require.InDelta(t, mean-half-0.005, of.interval[0], 0.00501)
		require.InDelta(t, mean+half+0.005, of.interval[1], 0.00501)
	}
	for p, factor := range map[*float64]float64{c.PPlain: math.Sqrt(q / 2), c.P: 1} {
		x := mean * math.Sqrt(sum) / factor
		require.InDelta(t, 1-x/math.Sqrt(x*x+2), *p, 2e-6)
	}
}

// Two lobes of one operator with variances of 0.1 and 0.2 in all directions: weights of 10 and 5, and the root of the joint
// variance is the weighted mean of the roots. With a covariance the root is a matrix: S^2 of S = ((2, 1), (1, 2)) is ((5, 4),
// (4, 5)).
func TestLobesOfOneOperatorByHand(t *testing.T) {
	got := togetherVectors([]meta.Vector{{X: 1, Y: 3, VarX: 0.1, VarY: 0.1}, {X: 2, Y: 0, VarX: 0.2, VarY: 0.2}})
	require.InDelta(t, 20./15, got.X, 1e-12)
	require.InDelta(t, 2, got.Y, 1e-12)
	root := (10*math.Sqrt(0.1) + 5*math.Sqrt(0.2)) / 15
	require.InDelta(t, root*root, got.VarX, 1e-12)
	require.InDelta(t, root*root, got.VarY, 1e-12)
	require.InDelta(t, 0, got.CovXY, 1e-12)
	// Weights 2/10 and 2/2: roots ((2, 1), (1, 2)) and ((1, 0), (0, 1)) give ((1.4, 0.2), (0.2, 1.4))/1.2.
	got = togetherVectors([]meta.Vector{{X: 6, VarX: 5, VarY: 5, CovXY: 4}, {X: 0, VarX: 1, VarY: 1}})
	require.InDelta(t, 1, got.X, 1e-12)
	require.InDelta(t, (1.4*1.4+0.2*0.2)/1.44, got.VarX, 1e-12)
	require.InDelta(t, 2*1.4*0.2/1.44, got.CovXY, 1e-12)
}

// Of two harmonics that are asked for together the p is twice the lesser of both.
func TestPOfTwoHarmonics(t *testing.T) {
	var studies []Study
	for i, x := range []float64{0.7, 1.1, 0.4} {
		f := lobe(x, 0, 0.4, 0)
		f.Shape = "any"
		f.Fits = append(f.Fits, Fit{2, 0.2 * float64(i-1), 0.3, 0.16, 0.16, 0})
		studies = append(studies, study(i+1, f))
	}
	c := pooledOf(t, studies...).Claims[0]
	require.Len(t, c.Directivity.Lobes, 2)
	least := math.Min(*c.Directivity.Lobes[0].P, *c.Directivity.Lobes[1].P)
	require.Less(t, least, 0.5)
	require.InDelta(t, 2*least, *c.P, 2e-6)
}
