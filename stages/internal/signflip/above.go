package signflip

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
)

// keptLimit is the greatest number of words (80 kB) that a plan keeps of its vectors.
const keptLimit = 10_000

// QuadraticAbove tells whether Quadratic(u, weight) is above alpha (see QuadraticUpTo).
func (p *Plan) QuadraticAbove(u, weight [][]float64, alpha float64) bool {
	return p.QuadraticUpTo(u, weight, alpha) > alpha
}

// QuadraticUpTo is Quadratic(u, weight) where that is at most alpha, and some number above alpha where
// it is above: found sooner, as the count stops there.
//
// For a small plan and a positive definite weight the vectors are kept from one call to the next, and
// the form is taken as the squared length of L'u_s, weight = L L', in place of u_s' W u_s. The two differ by
// rounding, far less than what makes a tie.
func (p *Plan) QuadraticUpTo(u, weight [][]float64, alpha float64) float64 {
	share := func(count int) float64 { return float64(count) / float64(p.Total()) }
	enough := sort.Search(p.Total(), func(count int) bool { return share(count) > alpha })
	if p.small() {
		if factor, ok := cholesky(weight); ok {
			return share(p.countSquares(p.whitened(u, factor), enough))
		}
	}
	return share(p.count(p.columns(u, weight), form(weight), enough))
}

// stride is the number of words a vector takes.
func (p *Plan) stride() int { return max(1, (p.blocks+63)/64) }

// mirrored tells that keptWords has one of each two opposite vectors: all vectors hold both, and the
// sums of the one are exactly the negatives of the other's.
func (p *Plan) mirrored() bool { return p.all && p.blocks > 0 }

// keptVectors is the number of vectors in keptWords.
func (p *Plan) keptVectors() int {
	if p.mirrored() {
		return p.n / 2
	}
	return p.n
}

func (p *Plan) small() bool { return p.keptVectors() <= keptLimit/p.stride() }

// keptWords gives the vectors of a small plan, made when they are first asked for.
func (p *Plan) keptWords() []uint64 {
	p.keep.Do(func() {
		p.kept = make([]uint64, p.keptVectors()*p.stride())
		var source *rand.PCG
		for i := range p.kept {
			if p.all {
				p.kept[i] = uint64(i)
				continue
			}
			if i%(chunkVectors*p.stride()) == 0 {
				source = p.chunk(i / (chunkVectors * p.stride()))
			}
			p.kept[i] = source.Uint64()
		}
	})
	return p.kept
}

// countSquares counts the vectors, the identity included, whose sum of squares of the columns' sums is at
// least the identity's. It may stop when it has come to enough.
func (p *Plan) countSquares(pairs []pairTable, enough int) int {
	stride, words := p.stride(), p.keptWords()
	var space [batchVectors]float64
	identity := space[:1]
	squares(pairs, make([]uint64, stride), stride, identity)
	threshold := identity[0] - float64(tieTolerance*identity[0])

	count, each := p.Total()-p.n, 1 // the identity, where it is not among the vectors made
	if p.mirrored() {
		each = 2
	}
	for len(words) > 0 && count < enough {
		out := space[:min(len(words)/stride, batchVectors)]
		squares(pairs, words, stride, out)
		for _, q := range out {
			if q >= threshold {
				count += each
			}
		}
		words = words[len(out)*stride:]
	}
	return count
}

// cholesky gives the lower triangle L of the symmetric part of weight = L L'; false if it is not
// positive definite.
func cholesky(weight [][]float64) ([][]float64, bool) {
	factor := make([][]float64, len(weight))
	for i := range factor {
		factor[i] = make([]float64, len(weight))
		for j := range i + 1 {
			s := (weight[i][j] + weight[j][i]) / 2
			for k := range j {
				s -= float64(factor[i][k] * factor[j][k])
			}
			if j < i {
				factor[i][j] = s / factor[j][j]
				continue
			}
			if !(s > 0) || math.IsInf(s, 1) {
				return nil, false
			}
			factor[i][i] = math.Sqrt(s)
		}
	}
	return factor, true
}

// whitened makes the tables of L'u, two columns in each; the last is zero if their number is odd.
func (p *Plan) whitened(u, factor [][]float64) []pairTable {
	if len(u) != p.blocks {
		panic(fmt.Sprintf("signflip: %d vectors for %d blocks", len(u), p.blocks))
	}
	column := func(k int) []float64 {
		out := make([]float64, len(u))
		for b, row := range u {
			for i := k; i < len(factor); i++ {
				out[b] += float64(factor[i][k] * row[i])
			}
		}
		return out
	}
	pairs := make([]pairTable, (len(factor)+1)/2)
	for i := range pairs {
		pairs[i] = newPairTable(column(2*i), column(2*i+1))
	}
	return pairs
}

// pairTable is two tables, so that one look-up gives the partial sums of both columns.
type pairTable [][256][2]float64

// newPairTable is newTable for two columns.
func newPairTable(g, h []float64) pairTable {
	t := make(pairTable, (len(g)+7)/8)
	for i := range t {
		entries, settings := &t[i], 1
		for b := 8 * i; b < min(8*i+8, len(g)); b++ {
			x, y := g[b], h[b]
			for m := range settings {
				e := entries[m]
				entries[m+settings] = [2]float64{e[0] - x, e[1] - y}
				entries[m] = [2]float64{e[0] + x, e[1] + y}
			}
			settings *= 2
		}
		for ; settings < len(entries); settings *= 2 {
			copy(entries[settings:], entries[:settings])
		}
	}
	return t
}

// squares sets out[v] to the sum of the squares of all columns' sums; words[v*stride] begins vector v.
func squares(pairs []pairTable, words []uint64, stride int, out []float64) {
	clear(out)
	for _, t := range pairs {
		switch len(t) {
		case 2:
			t.addTwo(words, out)
		case 3:
			t.addThree(words, out)
		default:
			t.add(words, stride, out)
		}
	}
}

// add adds the squares of the two sums of each vector.
func (t pairTable) add(words []uint64, stride int, out []float64) {
	for v := range out {
		x, y := 0.0, 0.0
		vector := words[v*stride:][:stride]
		var w uint64
		for i := range t {
			if i%8 == 0 {
				w = vector[i/8]
			}
			e := &t[i][uint8(w)]
			w >>= 8
			x += e[0]
			y += e[1]
		}
		out[v] += float64(x*x) + float64(y*y)
	}
}

// addTwo is add for 9 to 16 blocks.
func (t pairTable) addTwo(words []uint64, out []float64) {
	t0, t1 := &t[0], &t[1]
	words = words[:len(out)]
	for v, w := range words {
		a, b := &t0[uint8(w)], &t1[uint8(w>>8)]
		x, y := a[0]+b[0], a[1]+b[1]
		out[v] += float64(x*x) + float64(y*y)
	}
}

// addThree is add for 17 to 24 blocks.
func (t pairTable) addThree(words []uint64, out []float64) {
	t0, t1, t2 := &t[0], &t[1], &t[2]
	words = words[:len(out)]
	for v, w := range words {
		a, b, c := &t0[uint8(w)], &t1[uint8(w>>8)], &t2[uint8(w>>16)]
		x, y := a[0]+b[0]+c[0], a[1]+b[1]+c[1]
		out[v] += float64(x*x) + float64(y*y)
	}
}
