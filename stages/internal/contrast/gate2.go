package contrast

import (
	"cmp"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"

	"fairlobe/stages/internal/signflip"
)

const (
	fewestGate2Regions = 6
	permutations       = 999
	// permutationStream is added to the stream of the sign vectors, whose chunks never get that far.
	permutationStream = 1 << 32
)

// regionMean is what one region says after the block means are taken off.
type regionMean struct {
	region    int
	den, e, q float64
	cos, sin  float64 // a-weighted sums: the mean direction of its stations
	x         []float64
}

// regionMeans gives the regions with weight at the present offsets, by label.
func (c *comparison) regionMeans(shape Shape) []regionMean {
	labels := c.trial.regions()
	all := make([]regionMean, len(labels))
	for j, label := range labels {
		all[j].region = label
	}
	for i, cell := range c.trial.cells {
		if c.a[i] == 0 {
			continue
		}
		station := c.trial.stations[cell.station]
		j, _ := slices.BinarySearchFunc(all, station.Region, func(m regionMean, r int) int { return cmp.Compare(m.region, r) })
		all[j].den += c.a[i]
		all[j].e += c.d[i] - float64(c.a[i]*c.dbar[cell.block])
		all[j].cos += float64(c.a[i] * math.Cos(station.AzimuthRad))
		all[j].sin += float64(c.a[i] * math.Sin(station.AzimuthRad))
	}
	heard := slices.DeleteFunc(all, func(m regionMean) bool { return m.den == 0 })
	middle := medianWeight(heard)
	for j := range heard {
		m := &heard[j]
		m.e /= m.den + 2
		m.q = m.den / (m.den + middle)
		m.x = shape.columns(math.Atan2(m.sin, m.cos))
	}
	return heard
}

func medianWeight(means []regionMean) float64 {
	if len(means) == 0 {
		return 0
	}
	weights := make([]float64, len(means))
	for j, m := range means {
		weights[j] = m.den
	}
	slices.Sort(weights)
	n := len(weights)
	return (weights[(n-1)/2] + weights[n/2]) / 2
}

// gate2 is the permutation p that the regional means line up with azimuth: the weighted regression sum
// of squares of e on the columns, against 999 random permutations of the regions' azimuths.
//
// One generator, rand.NewPCG(seed, signflip.Stream + 2^32), serves all; each shuffle starts from the last order.
func (t *Trial) gate2(means []regionMean) float64 {
	order := identity(len(means))
	observed := lineUp(means, order)
	threshold := observed - 1e-9*math.Abs(observed)
	source := rand.NewPCG(t.params.Seed, signflip.Stream+permutationStream)
	count := 1
	for range permutations {
		shuffle(order, source)
		if lineUp(means, order) >= threshold {
			count++
		}
	}
	return float64(count) / (permutations + 1)
}

func identity(n int) []int {
	order := make([]int, n)
	for j := range order {
		order[j] = j
	}
	return order
}

// shuffle is that of Fisher and Yates: for i = n-1 .. 1, place i is exchanged with place j, j = the upper 64 bits of (i+1)
// times the next Uint64.
func shuffle(order []int, source *rand.PCG) {
	for i := len(order) - 1; i > 0; i-- {
		j, _ := bits.Mul64(source.Uint64(), uint64(i+1))
		order[i], order[j] = order[j], order[i]
	}
}

// lineUp is the q-weighted regression sum of squares, beyond the mean, of e[j] on x[order[j]].
func lineUp(means []regionMean, order []int) float64 {
	k := len(means[0].x)
	var total, meanE float64
	centre := make([]float64, k)
	for j, m := range means {
		total += m.q
		meanE += float64(m.q * m.e)
		for i, x := range means[order[j]].x {
			centre[i] += float64(m.q * x)
		}
	}
	meanE /= total
	for i := range centre {
		centre[i] /= total
	}
	normal, side, apart := square(k), make([]float64, k), make([]float64, k)
	for j, m := range means {
		for i, x := range means[order[j]].x {
			apart[i] = x - centre[i]
			side[i] += float64(m.q * float64(apart[i]*(m.e-meanE)))
		}
		addOuter(normal, m.q, apart, apart)
	}
	return explained(normal, side)
}
