package signflip

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
)

// Stream is the 64-bit FNV-1a hash of "flips": the second seed of the first chunk's generator.
const Stream uint64 = 0xd2f059a95f38b40f

const (
	// exhaustiveBlocks is the greatest number of blocks for which NewPlan takes all vectors.
	exhaustiveBlocks = 13
	// randomVectors is the number of random vectors that NewPlan takes above that.
	randomVectors = 9999
	// chunkVectors is the number of vectors drawn from one generator.
	chunkVectors = 4096
	// batchVectors is the number of vectors summed at a time: their sums stay in the nearest cache.
	batchVectors = 512
	// tieTolerance is the relative distance below which two statistics are equal.
	tieTolerance = 1e-9
)

// Plan is a fixed set of sign vectors. The vectors are made again for every count, so its size does
// not grow with their number; only the yes or no of QuadraticAbove, which is asked many times of one
// plan, keeps those of a small plan (at most 80 kB). A Plan may be used by several goroutines at once.
type Plan struct {
	blocks int
	seed   uint64
	all    bool
	n      int // vectors that are made: all of them, or the random ones without the identity

	keep sync.Once
	kept []uint64 // see keptWords

	// Workers is the number of goroutines a count may use; below 2 it uses none. It changes no result.
	Workers int
}

// NewPlan gives the plan of the method: all 2^blocks vectors up to 13 blocks, the identity and 9999
// random vectors above.
func NewPlan(blocks int, seed uint64) *Plan {
	if blocks <= exhaustiveBlocks {
		return NewExhaustive(blocks)
	}
	return NewPlanN(blocks, seed, randomVectors)
}

// NewExhaustive gives the plan of all 2^blocks vectors. It panics outside 0..40 blocks.
func NewExhaustive(blocks int) *Plan {
	if blocks < 0 || blocks > 40 {
		panic(fmt.Sprintf("signflip: all vectors of %d blocks", blocks))
	}
	return &Plan{blocks: blocks, all: true, n: 1 << blocks}
}

// NewPlanN gives the identity and n random vectors, whatever the number of blocks. It panics if
// blocks or n is negative.
func NewPlanN(blocks int, seed uint64, n int) *Plan {
	if blocks < 0 || n < 0 {
		panic(fmt.Sprintf("signflip: %d random vectors of %d blocks", n, blocks))
	}
	return &Plan{blocks: blocks, seed: seed, n: n}
}

// Blocks is the number of blocks a vector has signs for.
func (p *Plan) Blocks() int { return p.blocks }

// Total is the number of vectors, the identity included: the divisor of every p value.
func (p *Plan) Total() int {
	if p.all {
		return p.n
	}
	return p.n + 1
}

// Abs is the p value of T = |sum of g| (a two-sided test of the sum); g has one number for each block.
func (p *Plan) Abs(g []float64) float64 {
	return float64(p.CountAbs(g)) / float64(p.Total())
}

// CountAbs is the number of vectors, identity included, with |sum of s*g| at least |sum of g|. It
// panics if g does not have one number for each block.
func (p *Plan) CountAbs(g []float64) int {
	if len(g) != p.blocks {
		panic(fmt.Sprintf("signflip: %d numbers for %d blocks", len(g), p.blocks))
	}
	tables := []table{newTable(g)}
	return p.count(tables, absolute, p.Total())
}

// absolute sets out[v] to the size of the v-th sum.
func absolute(sums [][]float64, out []float64) {
	for v, s := range sums[0] {
		out[v] = math.Abs(s)
	}
}

// Quadratic is the p value of Q = u' W u with u the sum of the block vectors (see CountQuadratic).
func (p *Plan) Quadratic(u, weight [][]float64) float64 {
	return float64(p.CountQuadratic(u, weight)) / float64(p.Total())
}

// CountQuadratic is the number of vectors, identity included, whose Q_s = u_s' W u_s is at least
// Q = u' W u; u_s = sum over blocks b of s_b u[b]. u has one row for each block, weight (W, for
// example an inverse variance) is square with the rows' length. It panics on other shapes.
func (p *Plan) CountQuadratic(u, weight [][]float64) int {
	return p.count(p.columns(u, weight), form(weight), p.Total())
}

// columns makes a table for each feature.
func (p *Plan) columns(u, weight [][]float64) []table {
	if len(u) != p.blocks {
		panic(fmt.Sprintf("signflip: %d vectors for %d blocks", len(u), p.blocks))
	}
	tables := make([]table, len(weight))
	column := make([]float64, len(u))
	for k := range weight {
		for b := range u {
			column[b] = u[b][k]
		}
		tables[k] = newTable(column)
	}
	return tables
}

// form is the quadratic form of the sums.
func form(weight [][]float64) statistic {
	return func(sums [][]float64, out []float64) { quadratic(sums, weight, out) }
}

// quadratic sets out[v] to the quadratic form of the v-th sums; the two halves of weight are taken together.
func quadratic(sums, weight [][]float64, out []float64) {
	clear(out)
	for i := range weight {
		si := sums[i][:len(out)]
		for j := i; j < len(weight); j++ {
			w := weight[i][i]
			if j > i {
				w = weight[i][j] + weight[j][i]
			}
			sj := sums[j][:len(out)]
			for v := range out {
				out[v] += float64(w * float64(si[v]*sj[v]))
			}
		}
	}
}

// statistic turns the sums of a batch (one slice for each feature) into one number a vector.
type statistic func(sums [][]float64, out []float64)

// count counts the vectors whose statistic is at least that of the identity. It may stop when it has
// come to enough.
func (p *Plan) count(tables []table, stat statistic, enough int) int {
	observed := newBatch(p, tables, 1)
	observed.evaluate(stat) // its only word vector is zero: the identity
	t := observed.out[0]
	threshold := t - tieTolerance*math.Abs(t)

	chunks := (p.n + chunkVectors - 1) / chunkVectors
	workers := max(1, min(p.Workers, chunks))
	counts := make([]int, workers)
	var wait sync.WaitGroup
	for w := 1; w < workers; w++ {
		wait.Go(func() { counts[w] = p.countChunks(tables, stat, threshold, enough, w, workers) })
	}
	counts[0] = p.countChunks(tables, stat, threshold, enough, 0, workers)
	wait.Wait()

	total := p.Total() - p.n // the identity, where it is not among the vectors made
	for _, c := range counts {
		total += c
	}
	return total
}

// chunk is the generator of the vectors of one chunk.
func (p *Plan) chunk(number int) *rand.PCG {
	return rand.NewPCG(p.seed, Stream+uint64(number))
}

// countChunks counts in the chunks first, first+step, ... until it has come to enough.
func (p *Plan) countChunks(tables []table, stat statistic, threshold float64, enough, first, step int) int {
	b := newBatch(p, tables, min(batchVectors, p.n))
	count := 0
	for chunk := first; chunk*chunkVectors < p.n && count < enough; chunk += step {
		start := chunk * chunkVectors
		end := min(start+chunkVectors, p.n)
		source := p.chunk(chunk)
		for ; start < end && count < enough; start += batchVectors {
			b.resize(min(batchVectors, end-start))
			if p.all {
				b.enumerate(start)
			} else {
				b.draw(source)
			}
			b.evaluate(stat)
			count += b.atLeast(threshold)
		}
	}
	return count
}
