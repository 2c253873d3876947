package planning

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/stages/internal/contrast"
)

// The two powers that a plan is made for.
const (
	usualPower = 0.8
	highPower  = 0.9
)

const (
	fewestBlocks = 8 // no plan asks for fewer
	beyondReach  = math.MaxInt32
	sureAt       = 1.959963984540054 // 0.975 point of the normal distribution
)

func phi(z float64) float64 { return distuv.UnitNormal.CDF(z) }

// PowerToTell is the power of n blocks to show a difference of d at level alpha: contrast.BlocksToTell solved for it.
func PowerToTell(d, sigma float64, n int, alpha float64) float64 {
	z := distuv.UnitNormal.Quantile(1 - alpha/2)
	return phi(float64(math.Abs(d)/sigma*rootAbove(n, float64(z*z/2))) - z)
}

// PowerForSame is the chance that n blocks show two arms that do not differ to differ by less than the limit.
func PowerForSame(limit, sigma float64, n int) float64 {
	return max(0, float64(2*phi(float64(limit/sigma*rootAbove(n, 2))-sureAt))-1)
}

// PowerForStep is the chance that after n blocks the 95 % interval holds a declared step, which is real, and not 0.
func PowerForStep(step, sigma float64, n int) float64 {
	inErrors := float64(math.Abs(step) / sigma * rootAbove(n, float64(sureAt*sureAt/2)))
	return max(0, phi(sureAt)-phi(max(-sureAt, sureAt-inErrors)))
}

// PowerForLobe is the power of gate 1 to show a lobe of an amplitude at level alpha after n blocks; df is the number of
// columns of its shape, 2 or 4.
func PowerForLobe(amplitude, sigmaPhi float64, n int, alpha, df float64) float64 {
	root := float64(amplitude / sigmaPhi * rootAbove(n, 4))
	return aboveNoncentral(distuv.ChiSquared{K: df}.Quantile(1-alpha), df, float64(root*root))
}

// rootAbove is sqrt(n - lost), 0 where nothing is left: what small numbers cost.
func rootAbove(n int, lost float64) float64 { return math.Sqrt(max(0, float64(n)-lost)) }

// aboveNoncentral is the chance of a non-central chi-square beyond c: the Poisson mixture of central ones, whose terms are
// added from the middle outwards as far as they count.
func aboveNoncentral(c, df, lambda float64) float64 {
	if lambda == 0 {
		return 1 - distuv.ChiSquared{K: df}.CDF(c)
	}
	poisson := distuv.Poisson{Lambda: lambda / 2}
	reach := 10*math.Sqrt(lambda/2) + 20
	below := 0.0
	for k := max(0, math.Floor(lambda/2-reach)); k <= lambda/2+reach; k++ {
		below += float64(poisson.Prob(k) * distuv.ChiSquared{K: df + 2*k}.CDF(c))
	}
	return 1 - below
}

// fewestFor is the least number of blocks, from least on, that has a power. Powers grow with the blocks.
func fewestFor(least int, power float64, of func(n int) float64) int {
	high := max(1, least)
	for of(high) < power {
		if high >= 1<<20 {
			return beyondReach
		}
		high *= 2
	}
	low := max(least, high/2)
	for low < high {
		if middle := (low + high) / 2; of(middle) < power {
			low = middle + 1
		} else {
			high = middle
		}
	}
	return low
}

// detectable is the least difference that n blocks find with a power, by halving; +Inf where none is found.
func detectable(power float64, of func(d float64) float64) float64 {
	low, high := 0.0, 64.0
	if of(high) < power {
		return math.Inf(1)
	}
	for range 40 {
		if middle := (low + high) / 2; of(middle) < power {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// leastFor is the least number of blocks that a test at level alpha can do with; 8 is the least of every plan.
func leastFor(alpha float64) int { return max(fewestBlocks, contrast.FewestBlocks(alpha, 1)) }

// smallestP is the least p value that so many blocks can give: all sign vectors up to 13 blocks, 10,000 above.
func smallestP(blocks int) float64 {
	const vectors = 10_000
	if blocks > 13 {
		return 1.0 / vectors
	}
	return math.Pow(2, float64(1-blocks))
}
