package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// wholeGrid is the search with a look at every point, those of the edge first.
func wholeGrid(r *region, originKept bool) keptPoints {
	half := float64(gridErrors)
	for range gridDoublings {
		if !reachesEdge(r, half) {
			break
		}
		half *= 2
	}
	k := keptPoints{origin: originKept}
	for i := range gridPoints {
		for j := range gridPoints {
			p := r.at(half, i, j)
			if !r.allowed(p.c, p.s) {
				continue
			}
			k.points = append(k.points, p)
			k.open = k.open || onEdge(i) || onEdge(j)
		}
	}
	k.nothing = len(k.points) == 0
	k.open = k.open || k.nothing
	if originKept {
		k.points = append(k.points, point{})
	}
	return k
}

func reachesEdge(r *region, half float64) bool {
	for i := range gridPoints {
		for j := range gridPoints {
			if !onEdge(i) && !onEdge(j) {
				continue
			}
			if p := r.at(half, i, j); r.allowed(p.c, p.s) {
				return true
			}
		}
	}
	return false
}

func onEdge(i int) bool { return i == 0 || i == gridPoints-1 }

// searchFields are trials with well and badly bounded regions.
func searchFields() map[string]field {
	return map[string]field{
		"a lobe":               {stations: 24, slots: 2, meanDB: -10, effect: lobeEffect(1, 2, 1, 40)},
		"few stations":         {stations: 13, slots: 2, meanDB: -12, effect: lobeEffect(1, 3, 2, 40)},
		"stations that differ": {stations: 20, slots: 2, meanDB: -12, effect: constant(1), receiverSD: 3, regionSD: 2},
		"heavy censoring":      {stations: 20, slots: 2, meanDB: -18, effect: lobeEffect(4, 6, 1, 200), towardNorthDB: 6},
	}
}

// regions are those of Directivity, ready to be searched; none where a direction is not testable.
func regions(t *Trial, shape Shape) []*region {
	if !t.Gates(shape).Testable {
		return nil
	}
	var out []*region
	for i := range shape.harmonics() {
		s := t.Located().newScore(shape)
		d, beta := s.fit(fitRounds)
		if r, ok := newRegion(s, d, beta, 2*i); ok {
			out = append(out, r)
		}
	}
	return out
}

// What the search leaves out changes nothing: it keeps the points that a look at all of them keeps.
func TestSearchKeepsWhatTheWholeGridKeeps(t *testing.T) {
	blockNumbers := []int{4, 8, 12, 16}
	if testing.Short() {
		blockNumbers = blockNumbers[1:2] // under the race detector
	}
	for name, f := range searchFields() {
		for _, blocks := range blockNumbers {
			compared := 0
			f.blocks = blocks
			for seed := range uint64(2) {
				for _, shape := range []Shape{OneSided, TwoSided, Any} {
					for _, r := range regions(f.trial(seed+60000), shape) {
						compared++
						require.Equal(t, wholeGrid(r, true), r.search(true), "%s, %d blocks, seed %d, %v", name, blocks, seed, shape)
					}
				}
			}
			require.Positive(t, compared, name)
		}
	}
}

// searched runs a search of an invented p, and counts the looks.
func searched(stopAtEdge bool, p func(i, j int) float64) (g *gridSearch, looks int) {
	g = &gridSearch{pAt: func(i, j int) float64 {
		looks++
		return p(i, j)
	}}
	g.run(stopAtEdge)
	return g, looks
}

// disc falls from 1 at its centre, and passes Alpha at the radius.
func disc(i, j, centreI, centreJ int, radius float64) float64 {
	away := math.Hypot(float64(i-centreI), float64(j-centreJ)) / radius
	return math.Pow(Alpha, away*away)
}

func TestGridSearch(t *testing.T) {
	round := func(i, j int) float64 { return disc(i, j, gridMiddle, gridMiddle, 12.2) }
	aside := func(i, j int) float64 { return disc(i, j, 8, 29, 6) }
	both := func(i, j int) float64 { return max(disc(i, j, gridMiddle, gridMiddle, 5), disc(i, j, 4, 4, 3)) }
	for _, c := range []struct {
		name  string
		p     func(i, j int) float64
		kept  func(i, j int) bool
		edge  bool
		looks int // at most
	}{
		{"a disc about the fit", round, func(i, j int) bool { return round(i, j) > Alpha }, false, 700},
		{"the fit is ruled out", aside, func(i, j int) bool { return aside(i, j) > Alpha }, false, 21*21 + 150},
		{"nothing is kept", func(i, j int) float64 { return 0.001 }, func(i, j int) bool { return false }, false, 21 * 21},
		{"all is kept", func(i, j int) float64 { return 1 }, func(i, j int) bool { return true }, true, 21 * 21},
		{"nothing is clear", func(i, j int) float64 { return 0.04 + 0.02*float64((i+j+1)%2) },
			func(i, j int) bool { return (i+j)%2 == 0 }, true, gridPoints * gridPoints},
		{"an island behind a moat", both, func(i, j int) bool { return disc(i, j, gridMiddle, gridMiddle, 5) > Alpha }, false, 300},
		{"a hole of one point", func(i, j int) float64 {
			if i == 21 && j == 21 {
				return 0.01
			}
			return round(i, j)
		}, func(i, j int) bool { return round(i, j) > Alpha }, false, 700},
	} {
		g, looks := searched(false, c.p)
		for i := range gridPoints {
			for j := range gridPoints {
				require.Equal(t, c.kept(i, j), g.kept[i][j], "%s: %d, %d", c.name, i, j)
			}
		}
		require.Equal(t, c.edge, g.edge, c.name)
		require.LessOrEqual(t, looks, c.looks, c.name)
	}
}

// A region that reaches the edge at a point between the coarse ones ends the search, and the wider grid looks at no point
// again.
func TestGridSearchWidens(t *testing.T) {
	nose := func(i, j int) float64 {
		if i >= 38 && j == 21 {
			return 0.06
		}
		return disc(i, j, gridMiddle, gridMiddle, 17.9)
	}
	g, looks := searched(true, nose)
	require.True(t, g.edge)
	require.Less(t, looks, 21*21+100)

	before := g.p
	asked := map[[2]int]bool{}
	wide := g.widened()
	wide.pAt = func(i, j int) float64 {
		require.False(t, asked[[2]int{i, j}])
		asked[[2]int{i, j}] = true
		return disc(i, j, gridMiddle, gridMiddle, 8.95)
	}
	wide.run(true)
	require.False(t, wide.edge)
	require.NotZero(t, before[gridMiddle+10][gridMiddle-6])
	require.Equal(t, before[gridMiddle+10][gridMiddle-6], wide.p[gridMiddle+5][gridMiddle-3])
	require.False(t, asked[[2]int{gridMiddle + 5, gridMiddle - 3}])
	require.False(t, asked[[2]int{gridMiddle, gridMiddle}])
}
