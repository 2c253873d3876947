package judge

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// erected is what the blocks of one erection say.
type erected struct {
	blocks     int
	estimateDB float64 // difference over its blocks
	sigmaDB    float64 // standard deviation of one block
}

// spread is how much erections differ from each other beyond the noise of their blocks.
type spread struct {
	// sd is the standard deviation between erections, dB; low and high are its 95 % interval.
	sd, low, high float64
}

// spreadOf estimates the spread between erections.
//
// Model: the difference of erection j is d(j) = mu + u(j) + e(j), u normal with variance T, the same for every erection,
// e the mean of the noise of its B(j) blocks, each with variance S. S is pooled over the erections. With N the harmonic
// mean of B(j) and V the sample variance of the d(j), E[V] = T + S/N, so T is estimated by V - S/N, not below 0: the
// method of moments (analysis of variance of unweighted means; Searle, Casella and McCulloch, Variance Components, 1992,
// chapter 3). The interval of T is that of Tukey and Williams (Williams, A confidence interval for variance components,
// Biometrika 49, 1962), with N V in place of the mean square between, which makes it approximate where the erections have
// unequal numbers of blocks (Thomas and Hultquist, Annals of Statistics 6, 1978). It is conservative.
func spreadOf(all []erected) spread {
	n := len(all)
	var within, freedom, inverse float64
	for _, j := range all {
		within += float64(j.sigmaDB * j.sigmaDB * float64(j.blocks-1))
		freedom += float64(j.blocks - 1)
		inverse += 1 / float64(j.blocks)
	}
	within /= freedom
	harmonic := float64(n) / inverse
	variance := stat.Variance(estimatesOf(all), nil)
	s := spread{}
	s.sd = rootOf(variance - within/harmonic)
	between := float64(n - 1)
	ratio := distuv.F{D1: between, D2: freedom}
	chi := distuv.ChiSquared{K: between}
	end := func(p float64) float64 {
		return rootOf((variance - float64(ratio.Quantile(p)*within)/harmonic) * between / chi.Quantile(p))
	}
	s.low, s.high = end(0.975), end(0.025)
	return s
}

// meanAndHalf gives the mean of independent values and the half width of its 95 % interval (Student).
func meanAndHalf(values []float64) (mean, half float64) {
	n := len(values)
	mean, variance := stat.MeanVariance(values, nil)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}
	return mean, t.Quantile(1-alpha/2) * math.Sqrt(variance/float64(n))
}

func estimatesOf(all []erected) []float64 {
	var out []float64
	for _, one := range all {
		out = append(out, one.estimateDB)
	}
	return out
}

// rootOf is the root of a variance; 0 of what is estimated below 0.
func rootOf(variance float64) float64 { return math.Sqrt(max(0, variance)) }
