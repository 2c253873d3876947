package contrast

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"fairlobe/stages/internal/circular"
)

// harmonicCase is one regression of testdata/harmonic.json (see testdata/harmonic.md).
type harmonicCase struct {
	Data     string    `json:"data"`
	Source   string    `json:"source"`
	Period   float64   `json:"period"`
	Order    int       `json:"order"`
	Theta    []float64 `json:"theta"`
	Y        []float64 `json:"y"`
	TolRel   float64   `json:"tol_rel"`
	Expected struct {
		Coef      []float64 `json:"coef"`
		RSS       float64   `json:"rss"`
		R2        float64   `json:"R2"`
		Amplitude float64   `json:"amplitude1"`
		Acrophase float64   `json:"acrophase1_rad"`
		FAdded    float64   `json:"F_added"`
		DFResid   float64   `json:"df_resid"`
	} `json:"expected"`
}

func harmonicCases(t testing.TB) []harmonicCase {
	t.Helper()
	raw, err := os.ReadFile("testdata/harmonic.json")
	require.NoError(t, err)
	var out []harmonicCase
	require.NoError(t, json.Unmarshal(raw, &out))
	require.Len(t, out, 6)
	return out
}

func (c harmonicCase) shape() Shape {
	if c.Order == 2 {
		return Any
	}
	return OneSided
}

func (c harmonicCase) near(t *testing.T, want, got float64) {
	t.Helper()
	require.InDelta(t, want, got, c.TolRel*math.Max(math.Abs(want), 1e-6))
}

// means are the measurements as regions of one weight.
func (c harmonicCase) means(shape Shape) []regionMean {
	out := make([]regionMean, len(c.Y))
	for j, y := range c.Y {
		out[j] = regionMean{e: y, q: 1, x: shape.columns(2 * math.Pi * c.Theta[j] / c.Period)}
	}
	return out
}

// inOrder is the permutation that changes nothing.
func inOrder(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// Gate 2's sum of squares, with all weights equal, is what the regression takes off the residuals: with
// R2 = SSR/(SSR + RSS), SSR = RSS R2/(1-R2).
func TestGate2IsTheHarmonicRegression(t *testing.T) {
	for _, c := range harmonicCases(t) {
		t.Run(c.Data+" "+c.shape().String(), func(t *testing.T) {
			e := c.Expected
			got := lineUp(c.means(c.shape()), inOrder(len(c.Y)))
			c.near(t, e.RSS*e.R2/(1-e.R2), got)
			// F of what the last harmonic adds, two columns, against the shape without it.
			if c.Order == 2 {
				got -= lineUp(c.means(OneSided), inOrder(len(c.Y)))
			}
			c.near(t, e.FAdded, got/2/(e.RSS/e.DFResid))
		})
	}
}

// A trial in which each report is far above the cut and every block says the same is a plain regression: the
// lobe fit must be it. The measurements are shrunk, so that no difference meets the limit of 15 dB.
func TestLobeFitIsTheHarmonicRegression(t *testing.T) {
	for _, c := range harmonicCases(t) {
		t.Run(c.Data+" "+c.shape().String(), func(t *testing.T) {
			shrink := 5 / slices.Max(c.Y)
			s := c.trial(t, shrink).newScore(c.shape())
			d, beta := s.fit(fitRounds)
			want := c.Expected
			require.InDelta(t, want.Coef[0]*shrink, d, rootTol)
			for k, b := range want.Coef[1:] {
				c.near(t, b, beta[k]/shrink)
			}
			r, ok := newRegion(s, d, beta, 0)
			require.True(t, ok)
			l := r.lobe(1, true)
			c.near(t, want.Amplitude, l.AmplitudeDB/shrink)
			c.near(t, 0, math.Remainder(l.TowardDeg*math.Pi/180-want.Acrophase, 2*math.Pi))
		})
	}
}

// trial gives arm A the measurements, shrunk, over what arm B has at every station, in two blocks.
func (c harmonicCase) trial(t *testing.T, shrink float64) *Trial {
	t.Helper()
	const strong = 40
	var stations []Station
	var reports []Report
	for i, y := range c.Y {
		stations = append(stations, Station{AzimuthRad: 2 * math.Pi * c.Theta[i] / c.Period, HasAzimuth: true, Region: i})
		for b := range 2 {
			reports = append(reports, Report{b, i, true, 0, strong + y*shrink}, Report{b, i, false, 1, strong})
		}
	}
	return must(t, stations, reports, Params{Blocks: 2, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1})
}

// With weights of all sizes the sum of squares is that of a least squares fit by another library (gonum, QR) on
// rows multiplied by the root of the weight.
func TestGate2AgainstLeastSquares(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		shape := rapid.SampledFrom([]Shape{OneSided, TwoSided, Any}).Draw(r, "shape")
		n := rapid.IntRange(8, 30).Draw(r, "regions")
		means := make([]regionMean, n)
		for j := range means {
			// Spread over the circle, so that the columns are far from alike.
			az := (float64(j) + rapid.Float64Range(0, 0.5).Draw(r, "azimuth")) * 2 * math.Pi / float64(n)
			means[j] = regionMean{
				e: rapid.Float64Range(-10, 10).Draw(r, "mean"),
				q: rapid.Float64Range(0.05, 1).Draw(r, "weight"), x: shape.columns(az),
			}
		}
		// Both are sums of at most 30 squares of 10: 1e-13 of that would be rounding.
		require.InDelta(r, explainedByQR(r, means), lineUp(means, inOrder(n)), 1e-9)
	})
}

// explainedByQR is the weighted residual sum of squares about the mean less that about the fit.
func explainedByQR(t require.TestingT, means []regionMean) float64 {
	k := 1 + len(means[0].x)
	x, y := mat.NewDense(len(means), k, nil), mat.NewVecDense(len(means), nil)
	var total, mean float64
	for j, m := range means {
		root := math.Sqrt(m.q)
		for i, column := range append([]float64{1}, m.x...) {
			x.Set(j, i, root*column)
		}
		y.SetVec(j, root*m.e)
		total += m.q
		mean += m.q * m.e
	}
	mean /= total
	var beta, fitted mat.VecDense
	require.NoError(t, beta.SolveVec(x, y))
	fitted.MulVec(x, &beta)
	out := 0.0
	for j, m := range means {
		miss := y.AtVec(j) - fitted.AtVec(j)
		out += m.q*(m.e-mean)*(m.e-mean) - miss*miss
	}
	return out
}

// A region's azimuth, where all its stations weigh the same, is the mean direction of package circular.
func TestRegionAzimuthIsTheMeanDirection(t *testing.T) {
	azimuths := []float64{350, 10, 25, 140, 200, 171}
	stations, reports := make([]Station, len(azimuths)), []Report(nil)
	for i := range stations {
		azimuths[i] *= math.Pi / 180
		stations[i] = Station{AzimuthRad: azimuths[i], HasAzimuth: true, Region: i / 3}
		reports = append(reports, Report{0, i, true, 0, 3}, Report{0, i, false, 1, 2})
	}
	s := must(t, stations, reports, Params{Blocks: 1, CutDB: -18, CeilingDB: math.Inf(1)}).newScore(OneSided)
	s.look(0, []float64{0, 0})
	means := s.regionMeans(OneSided)
	require.Len(t, means, 2)
	for j, m := range means {
		mean, resultant := circular.Mean(azimuths[3*j:3*j+3], 1)
		require.InDelta(t, resultant, math.Hypot(m.cos, m.sin)/m.den, 1e-15)
		requireClose(t, []float64{math.Cos(mean), math.Sin(mean)}, m.x, 1e-15)
	}
}
