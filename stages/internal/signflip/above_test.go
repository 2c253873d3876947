package signflip

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// someVectors are block vectors about a mean, and the inverse of a variance with the factor 1/(1+k) on its diagonal.
func someVectors(blocks, features int, mean float64, eighths bool) (u, weight [][]float64) {
	r := rand.New(rand.NewPCG(uint64(blocks), uint64(features)))
	for range blocks {
		row := make([]float64, features)
		for k := range row {
			row[k] = r.NormFloat64() + mean
			if eighths {
				row[k] = math.Round(8*row[k]) / 8 // many ties
			}
		}
		u = append(u, row)
	}
	for i := range features {
		row := make([]float64, features)
		for j := range row {
			row[j] = 0.1
		}
		row[i] = 1 / (1 + float64(i))
		weight = append(weight, row)
	}
	return u, weight
}

// The kept vectors are those of the package documentation: one of two opposite ones where all are taken.
func TestKeptWords(t *testing.T) {
	for _, c := range []struct{ blocks, random, want int }{{0, -1, 1}, {1, -1, 1}, {13, -1, 4096}, {14, 9999, 9999}, {65, 5000, 5000}} {
		plan := NewExhaustive(min(c.blocks, 13))
		if c.random >= 0 {
			plan = NewPlanN(c.blocks, 11, c.random)
		}
		require.True(t, plan.small())
		plain := plainVectors(c.blocks, 11, c.random)
		if c.random >= 0 {
			plain = plain[1:] // the identity
		}
		words, stride := plan.keptWords(), plan.stride()
		require.Len(t, words, c.want*stride)
		for v := range c.want {
			for b, sign := range plain[v] {
				require.Equal(t, sign, 1-2*float64(words[v*stride+b/64]>>(b%64)&1))
			}
		}
	}
	require.LessOrEqual(t, cap(NewPlan(64, 1).keptWords()), keptLimit)
	require.False(t, NewPlan(65, 1).small())
	require.False(t, NewPlanN(16, 1, 1_000_000).small())
}

// Whatever the level, the p is the plain count's up to it and above it otherwise.
func TestQuadraticUpTo(t *testing.T) {
	for _, blocks := range []int{1, 2, 6, 8, 9, 13, 14, 16, 17, 24, 25, 40, 64, 65, 130} {
		for features := 1; features <= 5; features++ {
			for _, mean := range []float64{0, 0.3, 1} {
				for _, eighths := range []bool{false, true} {
					u, weight := someVectors(blocks, features, mean, eighths)
					plan := NewPlan(blocks, 5)
					p := plan.Quadratic(u, weight)
					for _, alpha := range []float64{0, 0.02, 0.05, 0.2, p, math.Nextafter(p, 0), 1} {
						got := plan.QuadraticUpTo(u, weight, alpha)
						require.Equal(t, p > alpha, got > alpha, "%d blocks, %d features, %v", blocks, features, alpha)
						require.Equal(t, p > alpha, plan.QuadraticAbove(u, weight, alpha))
						if p <= alpha {
							require.Equal(t, p, got)
						}
					}
				}
			}
		}
	}
}

// A weight that is not positive definite has no factor, and is counted all the same.
func TestQuadraticUpToOfAnyWeight(t *testing.T) {
	u, _ := someVectors(10, 2, 0.3, false)
	for _, weight := range [][][]float64{{{1, 2}, {2, 1}}, {{0, 0}, {0, 0}}, {{-1, 0}, {0, -1}}, {{1, 1}, {1, 1}}} {
		_, ok := cholesky(weight)
		require.False(t, ok)
		plan := NewPlan(10, 5)
		require.Equal(t, plan.Quadratic(u, weight), plan.QuadraticUpTo(u, weight, 1))
	}
	require.Panics(t, func() { NewPlan(3, 1).QuadraticUpTo(u, [][]float64{{1, 0}, {0, 1}}, 0.05) })
}

func TestCholesky(t *testing.T) {
	weight := [][]float64{{4, 2, 0.5}, {2, 3, -1}, {0.5, -1, 2}}
	l, ok := cholesky(weight)
	require.True(t, ok)
	for i := range weight {
		for j := range weight {
			sum := 0.0
			for k := range weight {
				sum += l[i][k] * l[j][k]
			}
			require.InDelta(t, weight[i][j], sum, 1e-15)
		}
		require.Equal(t, make([]float64, 2-i), l[i][i+1:])
	}
}

// Several goroutines may ask one plan, whichever is the first.
func TestQuadraticUpToTogether(t *testing.T) {
	u, weight := someVectors(16, 2, 0.5, false)
	want := NewPlan(16, 3).Quadratic(u, weight)
	plan := NewPlan(16, 3)
	got := make([]float64, 8)
	var wait sync.WaitGroup
	for i := range got {
		wait.Go(func() { got[i] = plan.QuadraticUpTo(u, weight, 1) })
	}
	wait.Wait()
	for _, p := range got {
		require.Equal(t, want, p)
	}
}

func BenchmarkQuadraticUpTo(b *testing.B) {
	for _, blocks := range []int{12, 16, 24, 40} {
		for _, features := range []int{2, 4} {
			for _, mean := range []float64{0.1, 1.5} { // p well above the level, and well below
				u, weight := someVectors(blocks, features, mean, false)
				plan := NewPlan(blocks, 3)
				b.Run(fmt.Sprintf("%d blocks, %d columns, mean %v", blocks, features, mean), func(b *testing.B) {
					b.ReportAllocs()
					for b.Loop() {
						plan.QuadraticUpTo(u, weight, 0.05)
					}
				})
			}
		}
	}
}
