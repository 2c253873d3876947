package contrast

import "math"

// comparison is a trial seen at one set of offsets, and the space to see it at others.
type comparison struct {
	trial  *Trial
	offset []float64 // hypothesised A-B of each station, dB
	guards guards
	// everGuarded holds the tests to the guards at all offsets.
	everGuarded bool
	d, a        []float64 // difference and weight of each cell
	// By block: sum of a, sum of D over it, weight, and their product.
	m, dbar, w, g []float64

	slopes []slope
	middle []float64 // mean of the two arms' levels, by cell
	drift  []float64 // by block: what drift adds to A-B
}

func (t *Trial) newComparison() *comparison {
	blocks := t.params.Blocks
	return &comparison{
		trial: t, offset: make([]float64, len(t.stations)), guards: t.guards(),
		d: make([]float64, len(t.cells)), a: make([]float64, len(t.cells)),
		m: make([]float64, blocks), dbar: make([]float64, blocks), w: make([]float64, blocks), g: make([]float64, blocks),
		slopes: t.slopes(false), middle: make([]float64, len(t.cells)), drift: make([]float64, blocks),
	}
}

// newPastComparison is a comparison in which no block depends on a later one.
func (t *Trial) newPastComparison() *comparison {
	c := t.newComparison()
	c.slopes = t.slopes(true)
	return c
}

// at evaluates the trial at one offset for all stations.
func (c *comparison) at(offsetDB float64) {
	for r := range c.offset {
		c.offset[r] = offsetDB
	}
	c.evaluate()
}

// test evaluates the trial for the test of one offset, see guardsNear.
func (c *comparison) test(offsetDB float64) {
	if !c.everGuarded {
		c.guards = c.trial.guardsNear(offsetDB)
	}
	c.at(offsetDB)
	c.guards = c.trial.guards()
}

// evaluate sets the differences, weights and block means at the offsets.
func (c *comparison) evaluate() {
	t := c.trial
	clear(c.m)
	for i, cell := range t.cells {
		o := c.offset[cell.station]
		c.d[i], c.a[i], c.middle[i] = recensored(t.values[cell.first:cell.second], t.values[cell.second:cell.end], o, c.guards)
		c.m[cell.block] += c.a[i]
	}
	c.takeDriftOff()
	clear(c.dbar)
	for i, cell := range t.cells {
		c.dbar[cell.block] += c.d[i]
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

// recensored compares the reports of one station in one block at offset o (see the package). The middle is the mean of the
// two arms' levels: the same with the arms exchanged.
func recensored(armA, armB []float64, o float64, g guards) (d, a, middle float64) {
	level := g.cutDB + max(0, -o)
	top := max(g.ceilingDB-max(0, o), level+leastSpanDB)
	va, ha := keptMean(armA, o, level, top)
	vb, hb := keptMean(armB, 0, level, top)
	silentA, silentB := ha == silent, hb == silent
	if silentA && silentB {
		return 0, 0, level
	}
	d, middle = va-vb, (va+vb)/2
	if !silentA && !silentB {
		return max(-clipDB, min(clipDB, d)), (ha + hb) / 2, middle
	}
	if math.Abs(d) > loneLimitDB {
		return math.Copysign(loneDB, d), loneWeight, middle
	}
	return d, max(ha, hb) / 2, middle
}

// silent is the share of an arm without a kept value.
const silent = -1

// keptMean is the mean of the values less o that lie above the level, none counted as more than top, and the share of
// them that lies below top; the level and silent if none is kept.
func keptMean(values []float64, o, level, top float64) (mean, share float64) {
	sum, n, below := 0.0, 0, 0
	for _, y := range values {
		z := y - o
		if z <= level {
			continue
		}
		n++
		if z < top {
			below++
			sum += z
		} else {
			sum += top
		}
	}
	if n == 0 {
		return level, silent
	}
	return sum / float64(n), float64(below) / float64(n)
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
