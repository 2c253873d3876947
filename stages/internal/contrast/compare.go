package contrast

import "math"

// comparison is a trial seen at one set of offsets, and the space to see it at others.
type comparison struct {
	trial  *Trial
	offset []float64 // hypothesised A-B of each station, dB
	d, a   []float64 // difference and weight of each cell
	// By block: sum of a, sum of D over it, weight, and their product.
	m, dbar, w, g []float64
}

func (t *Trial) newComparison() *comparison {
	blocks := t.params.Blocks
	return &comparison{
		trial: t, offset: make([]float64, len(t.stations)),
		d: make([]float64, len(t.cells)), a: make([]float64, len(t.cells)),
		m: make([]float64, blocks), dbar: make([]float64, blocks), w: make([]float64, blocks), g: make([]float64, blocks),
	}
}

// at evaluates the trial at one offset for all stations.
func (c *comparison) at(offsetDB float64) {
	for r := range c.offset {
		c.offset[r] = offsetDB
	}
	c.evaluate()
}

// evaluate sets the differences, weights and block means at the offsets.
func (c *comparison) evaluate() {
	t := c.trial
	clear(c.m)
	clear(c.dbar)
	for i, cell := range t.cells {
		o := c.offset[cell.station]
		d, a := recensored(t.values[cell.first:cell.second], t.values[cell.second:cell.end], o, t.params.CutDB)
		c.d[i], c.a[i] = d, a
		c.m[cell.block] += a
		c.dbar[cell.block] += d
	}
	for b, m := range c.m {
		c.w[b], c.g[b] = 0, 0
		if m > 0 {
			c.dbar[b] /= m
			c.w[b] = m / (m + sharedParts)
			c.g[b] = float64(c.w[b] * c.dbar[b])
		}
	}
}

// recensored compares the reports of one station in one block at offset o (see the package).
func recensored(armA, armB []float64, o, cut float64) (d, a float64) {
	level := cut + max(0, -o)
	va, ha := keptMean(armA, o, level)
	vb, hb := keptMean(armB, 0, level)
	if !ha && !hb {
		return 0, 0
	}
	d = va - vb
	if ha == hb {
		return max(-clipDB, min(clipDB, d)), 1
	}
	if math.Abs(d) > loneLimitDB {
		return math.Copysign(loneDB, d), loneWeight
	}
	return d, 0.5
}

// keptMean is the mean of the values less o that lie above the level; the level and false if none does.
func keptMean(values []float64, o, level float64) (mean float64, heard bool) {
	sum, n := 0.0, 0
	for _, y := range values {
		if z := y - o; z > level {
			sum += z
			n++
		}
	}
	if n == 0 {
		return level, false
	}
	return sum / float64(n), true
}

// sum adds in the order of the slice.
func sum(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s
}

// sumG is the sum of the block numbers g at one offset: it falls as the offset rises.
func (c *comparison) sumG(offsetDB float64) float64 {
	c.at(offsetDB)
	return sum(c.g)
}

const (
	rootLimitDB  = 30
	rootHalvings = 20
	// rootEdgeDB is how near to the end of the search a root is no root: more than the last step.
	rootEdgeDB = 1e-3
)

// root finds where a falling function crosses zero, by bisection of +-30 dB with 20 halvings (to
// 3e-5 dB). Where the function is zero over a stretch the end nearer to 0 is taken, so that
// negating the function about 0 negates the root.
func root(f func(float64) float64) float64 {
	low, high := -float64(rootLimitDB), float64(rootLimitDB)
	for range rootHalvings {
		mid := (low + high) / 2
		value := f(mid)
		switch {
		case value == 0 && mid == 0:
			return 0
		case value > 0, value == 0 && mid < 0:
			low = mid
		default:
			high = mid
		}
	}
	return (low + high) / 2
}
