package signflip

import "math/rand/v2"

// table holds, for each eight blocks, the partial sum of s*g for all 256 settings of their signs:
// a sum over B blocks is then B/8 look-ups and additions.
type table [][256]float64

// newTable sums each setting in the order of the blocks, so that turning all signs gives exactly the negative. The
// settings of the first blocks serve for all settings of those that follow.
func newTable(g []float64) table {
	t := make(table, (len(g)+7)/8)
	for i := range t {
		settings := 1
		for _, x := range g[8*i : min(8*i+8, len(g))] {
			for m := range settings {
				t[i][m+settings] = t[i][m] - x
				t[i][m] += x
			}
			settings *= 2
		}
		for ; settings < len(t[i]); settings *= 2 { // bits without a block change nothing
			copy(t[i][settings:], t[i][:settings])
		}
	}
	return t
}

// add adds the sums of one word's bytes to acc; words[v*stride] belongs to acc[v].
func (t table) add(words []uint64, stride int, acc []float64) {
	if len(t) == 8 {
		t.addWord(words, stride, acc)
		return
	}
	for i := range t {
		column, shift := &t[i], 8*i
		at := 0
		for v := range acc {
			acc[v] += column[uint8(words[at]>>shift)]
			at += stride
		}
	}
}

// addWord is add for a whole word of 64 blocks.
func (t table) addWord(words []uint64, stride int, acc []float64) {
	t0, t1, t2, t3, t4, t5, t6, t7 := &t[0], &t[1], &t[2], &t[3], &t[4], &t[5], &t[6], &t[7]
	at := 0
	for v := range acc {
		w := words[at]
		at += stride
		low := (t0[uint8(w)] + t1[uint8(w>>8)]) + (t2[uint8(w>>16)] + t3[uint8(w>>24)])
		high := (t4[uint8(w>>32)] + t5[uint8(w>>40)]) + (t6[uint8(w>>48)] + t7[uint8(w>>56)])
		acc[v] += low + high
	}
}

// batch is the working space for up to batchVectors vectors.
type batch struct {
	tables []table
	stride int // words a vector
	words  []uint64
	sums   [][]float64 // one slice for each feature
	out    []float64
}

func newBatch(p *Plan, tables []table, n int) *batch {
	b := &batch{tables: tables, stride: p.stride()}
	b.words = make([]uint64, n*b.stride)
	b.sums = make([][]float64, len(tables))
	for k := range b.sums {
		b.sums[k] = make([]float64, n)
	}
	b.out = make([]float64, n)
	return b
}

// resize sets the number of vectors to n, at most what the batch was made for.
func (b *batch) resize(n int) {
	b.words = b.words[:n*b.stride]
	for k := range b.sums {
		b.sums[k] = b.sums[k][:n]
	}
	b.out = b.out[:n]
}

// enumerate fills the batch with the vectors start, start+1, ... of all vectors.
func (b *batch) enumerate(start int) {
	for v := range b.words {
		b.words[v] = uint64(start + v)
	}
}

// draw fills the batch with the next vectors of a chunk's stream.
func (b *batch) draw(source *rand.PCG) {
	for i := range b.words {
		b.words[i] = source.Uint64()
	}
}

// evaluate computes the sums of every feature and from them the statistic.
func (b *batch) evaluate(stat statistic) {
	for k, t := range b.tables {
		clear(b.sums[k])
		for w := 0; 8*w < len(t); w++ {
			t[8*w:min(8*w+8, len(t))].add(b.words[w:], b.stride, b.sums[k])
		}
	}
	stat(b.sums, b.out)
}

// atLeast counts the statistics at or above the threshold.
func (b *batch) atLeast(threshold float64) int {
	count := 0
	for _, q := range b.out {
		if q >= threshold {
			count++
		}
	}
	return count
}
