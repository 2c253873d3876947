package signflip

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// checkFile is testdata/signflip.json (see testdata/README.md).
type checkFile struct {
	Datasets map[string]struct {
		Source string    `json:"source"`
		Values []float64 `json:"values"`
	} `json:"datasets"`
	Cases []struct {
		ID    string `json:"id"`
		Group string `json:"group"`
		Input struct {
			Data string `json:"data"`
		} `json:"input"`
		Expected struct {
			Total    int       `json:"total"`
			CountAbs int       `json:"count_abs_ge"`
			P        float64   `json:"p_two_sided"`
			CI95     []float64 `json:"ci95"`
			CI90     []float64 `json:"ci90"`
			CI99     []float64 `json:"ci99"`
		} `json:"expected"`
		Tol float64 `json:"tol_rel"`
	} `json:"cases"`
}

func readChecks(t *testing.T) checkFile {
	t.Helper()
	raw, err := os.ReadFile("testdata/signflip.json")
	require.NoError(t, err)
	var f checkFile
	require.NoError(t, json.Unmarshal(raw, &f))
	return f
}

func TestCountsOfTheLiterature(t *testing.T) {
	f := readChecks(t)
	run := 0
	for _, c := range f.Cases {
		if c.Group != "signflip_exact" {
			continue
		}
		run++
		data := f.Datasets[c.Input.Data]
		t.Run(c.ID+" "+data.Source, func(t *testing.T) {
			plan := NewExhaustive(len(data.Values))
			require.Equal(t, c.Expected.Total, plan.Total())
			require.Equal(t, c.Expected.CountAbs, plan.CountAbs(data.Values))
			require.InEpsilon(t, c.Expected.P, plan.Abs(data.Values), c.Tol)
		})
	}
	require.Equal(t, 7, run)
}

// Signed ranks are block numbers like any others, so the tables of Wilcoxon's test are tables of sign flips.
func TestWilcoxonsCriticalValues(t *testing.T) {
	f, err := os.Open("testdata/wilcoxon.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, row := range rows[1:] {
		n, errN := strconv.Atoi(row[1])
		critical, errC := strconv.Atoi(row[4])
		var exact struct {
			Count int     `json:"count_le"`
			Total int     `json:"total"`
			P     float64 `json:"p_two_sided"`
		}
		require.NoError(t, errors.Join(errN, errC, json.Unmarshal([]byte(row[6]), &exact)))
		plan := NewExhaustive(n)
		require.Equal(t, exact.Total, plan.Total())
		ranks := ranksWithNegativeSum(n, critical)
		require.Equal(t, 2*exact.Count, plan.CountAbs(ranks), "n = %d", n)
		require.InEpsilon(t, exact.P, plan.Abs(ranks), 1e-12)
	}
	require.Greater(t, len(rows), 20)
}

// ranksWithNegativeSum gives the ranks 1..n, those with a minus summing to total.
func ranksWithNegativeSum(n, total int) []float64 {
	ranks := make([]float64, n)
	for r := n; r > 0; r-- {
		ranks[r-1] = float64(r)
		if r <= total {
			ranks[r-1] = -float64(r)
			total -= r
		}
	}
	return ranks
}

// Fisher (The Design of Experiments, 1935, section 21) counts 863 of 32768 for Darwin's maize in
// one tail, so 1726 in both.
func TestFisherDarwin(t *testing.T) {
	darwin := []float64{49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48}
	require.Equal(t, 2*863, NewExhaustive(15).CountAbs(darwin))
	// 15 blocks are above the limit for all vectors: 9999 random ones lie within five standard errors.
	p := 1726.0 / 32768
	require.InDelta(t, p, NewPlan(15, 7).Abs(darwin), 5*math.Sqrt(p*(1-p)/9999))
}

func TestIntervalsOfTheLiterature(t *testing.T) {
	f := readChecks(t)
	run := 0
	for _, c := range f.Cases {
		if c.Group != "signflip_ci" {
			continue
		}
		data := f.Datasets[c.Input.Data]
		for _, level := range []struct {
			alpha float64
			want  []float64
		}{{0.05, c.Expected.CI95}, {0.10, c.Expected.CI90}, {0.01, c.Expected.CI99}} {
			run++
			low, high := shiftInterval(data.Values, level.alpha)
			if level.want == nil { // no interval exists at this level
				require.True(t, math.IsInf(low, -1) && math.IsInf(high, 1), c.ID)
				continue
			}
			// 200 halved 45 times leaves 6e-12; the tie tolerance of 1e-9 of the sum leaves about 1e-8.
			require.InDelta(t, level.want[0], low, 1e-6, c.ID)
			require.InDelta(t, level.want[1], high, 1e-6, c.ID)
		}
	}
	require.Equal(t, 21, run)
}

// shiftInterval is the interval of a common shift: p(d) is the test of the values less d.
func shiftInterval(values []float64, alpha float64) (low, high float64) {
	plan := NewExhaustive(len(values))
	mean := 0.0
	for _, x := range values {
		mean += x / float64(len(values))
	}
	shifted := make([]float64, len(values))
	return Interval(func(d float64) float64 {
		for i, x := range values {
			shifted[i] = x - d
		}
		return plan.Abs(shifted)
	}, mean, 200, alpha, 45)
}

func TestStream(t *testing.T) {
	h := fnv.New64a()
	_, err := h.Write([]byte("flips"))
	require.NoError(t, err)
	require.Equal(t, h.Sum64(), Stream)
}

// plainVectors makes the vectors as the package documentation tells it, one sign at a time.
func plainVectors(blocks int, seed uint64, random int) [][]float64 {
	var out [][]float64
	if random < 0 {
		for v := range 1 << blocks {
			s := make([]float64, blocks)
			for b := range s {
				s[b] = 1 - 2*float64(v>>b&1)
			}
			out = append(out, s)
		}
		return out
	}
	identity := make([]float64, blocks)
	for b := range identity {
		identity[b] = 1
	}
	out = append(out, identity)
	h := fnv.New64a()
	_, _ = h.Write([]byte("flips"))
	var pcg *rand.PCG
	for f := range random {
		if f%4096 == 0 {
			pcg = rand.NewPCG(seed, h.Sum64()+uint64(f/4096))
		}
		s := make([]float64, blocks)
		var word uint64
		for b := range s {
			if b%64 == 0 {
				word = pcg.Uint64()
			}
			s[b] = 1 - 2*float64(word>>(b%64)&1)
		}
		out = append(out, s)
	}
	return out
}

// plainCount is the slow, obvious count of the quadratic form.
func plainCount(vectors, u, weight [][]float64) int {
	form := func(s []float64) float64 {
		sum := make([]float64, len(weight))
		for b := range u {
			for k := range sum {
				sum[k] += s[b] * u[b][k]
			}
		}
		q := 0.0
		for i := range weight {
			for j := range weight {
				q += weight[i][j] * sum[i] * sum[j]
			}
		}
		return q
	}
	observed, count := form(vectors[0]), 0
	for _, s := range vectors {
		if form(s) >= observed-1e-9*math.Abs(observed) {
			count++
		}
	}
	return count
}

func TestAgainstTheObviousWay(t *testing.T) {
	cases := []struct {
		name           string
		blocks, random int
		features       int
	}{
		{"all vectors, one block", 1, -1, 1},
		{"all vectors, 13 blocks", 13, -1, 2},
		{"random, 14 blocks", 14, 9999, 4},
		{"random, exactly a word", 64, 5000, 2},
		{"random, a word and a block", 65, 4097, 1},
		{"random, 200 blocks", 200, 4096, 5},
		{"random, no vector but the identity", 20, 0, 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(uint64(c.blocks), 5))
			u := make([][]float64, c.blocks)
			for b := range u {
				u[b] = make([]float64, c.features)
				for k := range u[b] {
					u[b][k] = math.Round(r.NormFloat64()*8)/8 + 0.25 // eighths: many ties
				}
			}
			weight := make([][]float64, c.features)
			for i := range weight {
				weight[i] = make([]float64, c.features)
				for j := range weight {
					weight[i][j] = 0.25
				}
				weight[i][i] = 2
			}
			plan := NewExhaustive(min(c.blocks, 13))
			if c.random >= 0 {
				plan = NewPlanN(c.blocks, 11, c.random)
			}
			want := plainCount(plainVectors(c.blocks, 11, c.random), u, weight)
			require.Equal(t, want, plan.CountQuadratic(u, weight))
			p := plan.Quadratic(u, weight)
			require.False(t, plan.QuadraticAbove(u, weight, p))
			require.True(t, plan.QuadraticAbove(u, weight, math.Nextafter(p, 0)))

			g := make([]float64, c.blocks)
			one := make([][]float64, c.blocks)
			for b := range g {
				g[b] = u[b][0]
				one[b] = u[b][:1]
			}
			want = plainCount(plainVectors(c.blocks, 11, c.random), one, [][]float64{{1}})
			require.Equal(t, want, plan.CountAbs(g))
		})
	}
}

func TestPlanSizes(t *testing.T) {
	for _, c := range []struct{ blocks, total int }{{0, 1}, {1, 2}, {6, 64}, {13, 8192}, {14, 10000}, {300, 10000}} {
		require.Equal(t, c.total, NewPlan(c.blocks, 1).Total(), c.blocks)
	}
	require.Equal(t, 1.0, NewPlan(0, 1).Abs(nil))
	require.Equal(t, 1.0, NewPlan(20, 1).Abs(make([]float64, 20)), "no difference anywhere")
	require.Panics(t, func() { NewPlan(3, 1).Abs([]float64{1}) })
	require.Panics(t, func() { NewPlan(3, 1).Quadratic(nil, nil) })
	require.Panics(t, func() { NewExhaustive(41) })
	require.Panics(t, func() { NewPlanN(-1, 1, 1) })
}

// Properties: workers change nothing, turning all signs changes nothing.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SliceOfN(rapid.Float64Range(-8, 8), 1, 70).Draw(t, "g")
		negative := make([]float64, len(g))
		for b, x := range g {
			negative[b] = -x
		}
		plan := NewPlanN(len(g), rapid.Uint64().Draw(t, "seed"), rapid.IntRange(0, 13000).Draw(t, "n"))
		want := plan.CountAbs(g)
		require.Equal(t, want, plan.CountAbs(negative))
		plan.Workers = rapid.IntRange(2, 9).Draw(t, "workers")
		require.Equal(t, want, plan.CountAbs(g))
		require.GreaterOrEqual(t, want, 1)
		require.LessOrEqual(t, want, plan.Total())
	})
}

func BenchmarkMillionFlips(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	u := make([][]float64, 200)
	for i := range u {
		u[i] = make([]float64, 5)
		for k := range u[i] {
			u[i][k] = r.NormFloat64()
		}
	}
	weight := make([][]float64, 5)
	for i := range weight {
		weight[i] = make([]float64, 5)
		weight[i][i] = 1
	}
	for _, workers := range []int{1, 2} {
		b.Run(map[int]string{1: "one worker", 2: "two workers"}[workers], func(b *testing.B) {
			plan := NewPlanN(200, 3, 1_000_000)
			plan.Workers = workers
			b.ReportAllocs()
			for b.Loop() {
				plan.CountQuadratic(u, weight)
			}
		})
	}
}

func BenchmarkAbs16Blocks(b *testing.B) {
	g := make([]float64, 16)
	for i := range g {
		g[i] = float64(i%5) - 1.3
	}
	plan := NewPlan(16, 3)
	b.ReportAllocs()
	for b.Loop() {
		plan.Abs(g)
	}
}
