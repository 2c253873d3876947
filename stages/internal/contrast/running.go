package contrast

import (
	"cmp"
	"math"
	"slices"
)

// betsPerDB are the sizes of the bets of the running evidence, each taken with both signs.
var betsPerDB = [...]float64{0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4}

// Running is the evidence that holds at whatever block one looks and stops. Given the size of a
// block's g and the past, its sign is a fair coin if there is no difference, so each factor
// 1 + tanh(lambda*g) has mean 1 and E is a betting martingale (Ville's inequality).
type Running struct {
	E []float64 // by block: E after it, at no difference; the mean over the bets
	P float64   // anytime p: 1 over the greatest E so far, at most 1
	// Interval is the 95 % confidence sequence: every difference whose E has stayed below 20.
	Interval Interval
}

// evidence gives E after each block for the block numbers g.
func evidence(g []float64) []float64 {
	sums := make([]float64, 2*len(betsPerDB))
	path := make([]float64, len(g))
	for b, x := range g {
		e := 0.0
		for i := range sums {
			lambda := betsPerDB[i/2]
			if i%2 == 1 {
				lambda = -lambda
			}
			sums[i] = addBet(sums[i], float64(lambda*x))
			e += math.Exp(sums[i])
		}
		path[b] = e / float64(len(sums))
	}
	return path
}

// addBet adds log(1 + tanh(x)) to a logarithm of capital, which is kept at -700 or above.
func addBet(logCapital, x float64) float64 {
	return math.Max(-700, logCapital+math.Log1p(math.Tanh(x)))
}

// anytimeP is 1 over the greatest value of a path of evidence, at most 1.
func anytimeP(path []float64) float64 {
	p := 1.0
	for _, e := range path {
		p = math.Min(p, 1/e)
	}
	return p
}

// running is the evidence of a comparison that does not look ahead.
func (c *comparison) running() Running {
	c.test(0)
	path := evidence(c.g)
	return Running{E: path, P: anytimeP(path), Interval: unbounded()}
}

// anytimeP is the anytime p at one offset; above 0.05 means that E has stayed below 20.
func (c *comparison) anytimeP(offsetDB float64) float64 {
	c.test(offsetDB)
	return anytimeP(evidence(c.g))
}

// Bets of the running evidence for directivity: sizes for each dB and steps of direction.
var lobeBetsPerDB = [...]float64{0.25, 0.5, 1, 2, 4, 8}

const (
	lobeBetDirections = 12
	// lobeBlindBlocks is the number of blocks that take a common difference of 0, for want of a past.
	lobeBlindBlocks = 3
)

// runningLobe is the evidence for gate 1: bets on 2*U(b) in all directions, with the common
// difference taken from the blocks before b. Where a shape has two harmonics its E is the mean of
// the two (a mean of such evidence is such evidence).
func (t *Trial) runningLobe(shape Shape) []float64 {
	pairs := shape.harmonics()
	sums := make([]float64, len(pairs)*lobeBetDirections*len(lobeBetsPerDB))
	path := make([]float64, t.params.Blocks)
	s := t.newScore(shape)
	for b := range path {
		u := s.blockAlone(b)
		e, i := 0.0, 0
		for pair := range pairs {
			for q := range lobeBetDirections {
				sin, cos := math.Sincos(float64(q) * 2 * math.Pi / lobeBetDirections)
				x := 2 * (float64(cos*u[2*pair]) + float64(sin*u[2*pair+1]))
				for _, size := range lobeBetsPerDB {
					sums[i] = addBet(sums[i], float64(size*x))
					e += math.Exp(sums[i])
					i++
				}
			}
		}
		path[b] = e / float64(len(sums))
	}
	return path
}

// blockAlone is U(b) at the common difference of the blocks before b.
func (s *score) blockAlone(block int) []float64 {
	d := 0.0
	if block >= lobeBlindBlocks {
		d = root(s.trial.before(block).newComparison().sumG)
	}
	s.look(d, make([]float64, len(s.sumU)))
	return clone(s.u[block])
}

// before is the trial without the reports of a block and of those after it.
func (t *Trial) before(block int) *Trial {
	part := *t
	n, _ := slices.BinarySearchFunc(t.cells, block, func(c cell, b int) int { return cmp.Compare(c.block, b) })
	part.cells = t.cells[:n]
	return &part
}
