package circular_test

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/stages/internal/circular"
)

// sample is one set of angles of testdata/circular.json (see testdata/README.md).
type sample struct {
	Data        string    `json:"data"`
	Source      string    `json:"source"`
	ValuesDeg   []float64 `json:"values"`
	Descriptive struct {
		TolRel   float64 `json:"tol_rel"`
		Expected struct {
			N         int     `json:"n"`
			Rbar      float64 `json:"Rbar"`
			MeanDeg   float64 `json:"mean_direction_deg"`
			SecondCos float64 `json:"second_moment_about_mean_cos"`
			SecondSin float64 `json:"second_moment_about_mean_sin"`
		} `json:"expected"`
	} `json:"descriptive"`
	Rayleigh struct {
		TolRel   float64 `json:"tol_rel"`
		Expected struct {
			P float64 `json:"p_small_sample_greenwood_durand"`
		} `json:"expected"`
	} `json:"rayleigh"`
	Exact *struct {
		N int     `json:"n"`
		R float64 `json:"R"`
		P float64 `json:"p_exact"`
	} `json:"rayleigh_exact"`
}

func samples(t testing.TB) []sample {
	t.Helper()
	raw, err := os.ReadFile("testdata/circular.json")
	require.NoError(t, err)
	var out []sample
	require.NoError(t, json.Unmarshal(raw, &out))
	require.Len(t, out, 9)
	return out
}

func radians(deg []float64) []float64 {
	out := make([]float64, len(deg))
	for i, d := range deg {
		out[i] = d * math.Pi / 180
	}
	return out
}

func requireNear(t *testing.T, want, got, tolRel float64) {
	t.Helper()
	require.InDelta(t, want, got, tolRel*max(math.Abs(want), 1e-6))
}

func TestMeanOfPublishedSamples(t *testing.T) {
	for _, s := range samples(t) {
		t.Run(s.Data, func(t *testing.T) {
			want, tol := s.Descriptive.Expected, s.Descriptive.TolRel
			require.Len(t, s.ValuesDeg, want.N)
			mean, resultant := circular.Mean(radians(s.ValuesDeg), 1)
			requireNear(t, want.Rbar, resultant, tol)
			// Angles agree on the circle: 359.9 and -0.1 are the same. Where the angles nearly cancel, the last
			// bits of the sums weigh 1/Rbar times as much in the direction.
			apart := math.Remainder(mean*180/math.Pi-want.MeanDeg, 360)
			require.InDelta(t, 0, apart, tol*max(want.MeanDeg, 1))
		})
	}
}

// The mean of the doubled angles, as seen from the mean direction, is the second moment about it.
func TestSecondHarmonicOfPublishedSamples(t *testing.T) {
	for _, s := range samples(t) {
		t.Run(s.Data, func(t *testing.T) {
			want := s.Descriptive.Expected
			mean, _ := circular.Mean(radians(s.ValuesDeg), 1)
			axis, resultant := circular.Mean(radians(s.ValuesDeg), 2)
			turn := 2 * (axis - mean)
			// The tolerance is absolute, as the moments are parts of a length of 1 and may be near 0.
			require.InDelta(t, want.SecondCos, resultant*math.Cos(turn), s.Descriptive.TolRel)
			require.InDelta(t, want.SecondSin, resultant*math.Sin(turn), s.Descriptive.TolRel)
		})
	}
}

func TestRayleighSeriesOfPublishedSamples(t *testing.T) {
	negative := 0
	for _, s := range samples(t) {
		_, resultant := circular.Mean(radians(s.ValuesDeg), 1)
		want := s.Rayleigh.Expected.P
		if want < 0 {
			negative++
		}
		requireNear(t, max(0, want), circular.RayleighP(len(s.ValuesDeg), resultant), s.Rayleigh.TolRel)
	}
	require.Equal(t, 2, negative, "the samples hold series that dip below 0")
}

// The series against the exact chance. The documentation promises 3 % or 0.0001.
func TestRayleighAgainstExact(t *testing.T) {
	tested := 0
	for _, s := range samples(t) {
		if s.Exact == nil {
			continue
		}
		tested++
		got := circular.RayleighP(s.Exact.N, s.Exact.R/float64(s.Exact.N))
		require.InDelta(t, s.Exact.P, got, max(0.03*s.Exact.P, 1e-4), s.Data)
	}
	require.Equal(t, 7, tested)
}

func TestMeanOfFewAngles(t *testing.T) {
	const tol = 1e-15 // a few last bits
	for _, c := range []struct {
		name            string
		anglesDeg       []float64
		harmonic        int
		mean, resultant float64
	}{
		{"one", []float64{250}, 1, 250, 1},
		{"across north", []float64{350, 10}, 1, 0, math.Cos(math.Pi / 18)},
		{"a right angle", []float64{0, 90}, 1, 45, math.Sqrt2 / 2},
		{"opposite bearings on one axis", []float64{30, 210}, 2, 30, 1},
		{"an axis is less than 180", []float64{200}, 2, 20, 1},
	} {
		mean, resultant := circular.Mean(radians(c.anglesDeg), c.harmonic)
		require.InDelta(t, 0, math.Remainder(mean*180/math.Pi-c.mean, 360), 1e-12, c.name)
		require.InDelta(t, c.resultant, resultant, tol, c.name)
	}
	mean, resultant := circular.Mean(nil, 1)
	require.True(t, math.IsNaN(mean))
	require.Zero(t, resultant)
}

func TestRayleighEnds(t *testing.T) {
	require.True(t, math.IsNaN(circular.RayleighP(0, 0)))
	require.Equal(t, 1.0, circular.RayleighP(20, 0))
	require.Zero(t, circular.RayleighP(1000000, 1))
	require.InDelta(t, math.Exp(-3), circular.RayleighP(1e9, math.Sqrt(3e-9)), 1e-9, "many bearings: exp(-z)")
}

// Turning all bearings turns the mean and leaves its length; a bearing given twice over changes nothing.
func TestTurningTurnsTheMean(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		angles := rapid.SliceOfN(rapid.Float64Range(-10, 10), 1, 30).Draw(r, "angles")
		harmonic := rapid.IntRange(1, 2).Draw(r, "harmonic")
		turn := rapid.Float64Range(-7, 7).Draw(r, "turn")
		mean, resultant := circular.Mean(angles, harmonic)
		if resultant < 1e-3 {
			return // no direction to speak of
		}
		h := float64(harmonic)
		require.True(r, mean >= 0 && mean < 2*math.Pi/h, "%v", mean)
		turned := slices.Clone(angles)
		for i := range turned {
			turned[i] += turn
		}
		mean2, resultant2 := circular.Mean(append(turned, turned...), harmonic)
		require.InDelta(r, resultant, resultant2, 1e-12)
		// 1e-15 of rounding for each angle, over the least length.
		require.InDelta(r, 0, math.Remainder(mean2-mean-turn, 2*math.Pi/h), 1e-10)
	})
}

func FuzzRayleigh(f *testing.F) {
	f.Add(7, 0.98)
	f.Add(100, 0.1)
	f.Fuzz(func(t *testing.T, n int, resultant float64) {
		if n < 1 || n > 1<<40 || !(resultant >= 0 && resultant <= 1) {
			return
		}
		p := circular.RayleighP(n, resultant)
		require.True(t, p >= 0 && p <= 1, "%v", p)
	})
}

func BenchmarkMean(b *testing.B) {
	b.ReportAllocs()
	angles := make([]float64, 1000)
	for i := range angles {
		angles[i] = float64(i)
	}
	for b.Loop() {
		circular.Mean(angles, 2)
	}
}
