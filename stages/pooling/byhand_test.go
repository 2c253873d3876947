package pooling

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
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
