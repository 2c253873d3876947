package contrast

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	kappaFloor  = 0.05
	fewestPlans = 8 // no plan asks for fewer blocks than this
)

// spread gives the attenuation by censoring and the standard deviation of one block at the estimate.
func (c *comparison) spread(estimateDB float64) (kappa, sigmaDB float64) {
	below, above := c.sumG(estimateDB-1), c.sumG(estimateDB+1)
	c.at(estimateDB)
	total := sum(c.w)
	if total == 0 {
		return kappaFloor, math.NaN()
	}
	kappa = math.Max(kappaFloor, (below-above)/(2*total))
	blocks := float64(c.trial.params.Blocks)
	if blocks < 2 {
		return kappa, math.NaN()
	}
	squares := 0.0
	for _, g := range c.g {
		squares += float64(g * g)
	}
	return kappa, math.Sqrt(blocks*blocks/(blocks-1)*squares) / (kappa * total)
}

// normal is the quantile of the standard normal distribution.
func normal(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// BlocksToTell is the number of blocks of a new trial that finds a difference of d dB with the given
// power at two-sided level alpha (alpha/m for m questions). sigmaDB is Level.SigmaDB, d is not 0.
func BlocksToTell(d, sigmaDB, alpha, power float64) int {
	z := normal(1 - alpha/2)
	ratio := sigmaDB / d
	both := z + normal(power)
	return max(fewestPlans, blockCount(float64(both*both*ratio*ratio)+float64(z*z/2)))
}

// BlocksForSame is the number of blocks after which two arms that do not differ are shown to differ
// by less than limitDB, with the given power.
func BlocksForSame(limitDB, sigmaDB, power float64) int {
	z := normal(0.975) + normal((1+power)/2)
	ratio := sigmaDB / limitDB
	return blockCount(float64(z*z*ratio*ratio) + 2)
}

// BlocksForLobe is the number of blocks that finds a one-sided lobe of amplitudeDB at 5 % with 80 % or
// (high) 90 % power; sigmaDB is Directivity.SigmaDB.
//
// The constants are the non-centralities of a chi-square with two degrees of freedom.
func BlocksForLobe(amplitudeDB, sigmaDB float64, high bool) int {
	noncentrality := 9.63
	if high {
		noncentrality = 12.65
	}
	ratio := sigmaDB / amplitudeDB
	return max(fewestPlans, blockCount(float64(noncentrality*ratio*ratio)+4))
}

// blockCount rounds up. What is out of reach, or not a number, is math.MaxInt32.
func blockCount(n float64) int {
	if !(n < math.MaxInt32) {
		return math.MaxInt32
	}
	return int(math.Ceil(n))
}

// PilotFactor is what a standard deviation from a pilot of n blocks is to be multiplied by: it gives
// the upper 80 % limit. n is 2 or more.
func PilotFactor(n int) float64 {
	df := float64(n - 1)
	return math.Sqrt(df / distuv.ChiSquared{K: df}.Quantile(0.2))
}
