package meta

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

type checkCase struct {
	ID, Group string
	Input     struct{ Data, Method, Test string }
	Expected  struct {
		K                              int
		Estimate, SE, Stat, P, Tau2, Q json.RawMessage
		CI95                           []float64
		I2                             float64 `json:"I2_percent"`
		H2                             float64
		QDF                            int       `json:"Q_df"`
		QP                             float64   `json:"Q_p"`
		Prediction                     []float64 `json:"prediction_interval95"`
		Tau2Interval                   []float64 `json:"tau2_ci95"`
		I2Interval                     []float64 `json:"I2_ci95_percent"`
		DDF                            int
	}
	Tol float64 `json:"tol_rel"`
}

func readCases(t *testing.T) (map[string][]Study, []checkCase) {
	t.Helper()
	raw, err := os.ReadFile("testdata/meta.json")
	require.NoError(t, err)
	var file struct {
		Datasets map[string]struct{ Values struct{ Yi, Vi []float64 } }
		Cases    []checkCase
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	data := map[string][]Study{}
	for name, d := range file.Datasets {
		for i := range d.Values.Yi {
			data[name] = append(data[name], Study{d.Values.Yi[i], d.Values.Vi[i]})
		}
	}
	return data, file.Cases
}

// near holds the tolerance of testdata/README.md.
func near(t *testing.T, want, got, tol float64, what string) {
	t.Helper()
	require.InDelta(t, want, got, float64(tol*math.Max(math.Abs(want), 1e-6)), what)
}

func number(t *testing.T, raw json.RawMessage) (x float64) {
	t.Helper()
	require.NoError(t, json.Unmarshal(raw, &x))
	return x
}

// Cases of R's metafor, see testdata/README.md.
func TestPublishedCases(t *testing.T) {
	methods := map[string]Method{"EE": EqualEffects, "DL": DerSimonianLaird, "REML": REML}
	tests := map[string]Test{"z": Wald, "knha": KnappHartung, "adhoc": Guarded}
	data, cases := readCases(t)
	require.Len(t, cases, 45)
	for _, c := range cases {
		t.Run(c.ID, func(t *testing.T) {
			studies, want := data[c.Input.Data], c.Expected
			switch c.Group {
			case "rma":
				m, err := Fit(studies, methods[c.Input.Method])
				require.NoError(t, err)
				r := m.Infer(tests[c.Input.Test])
				require.Equal(t, want.K, m.K)
				require.Equal(t, want.QDF, m.QDF)
				require.Equal(t, want.DDF, r.DF)
				near(t, number(t, want.Estimate), m.Estimate, c.Tol, "estimate")
				near(t, number(t, want.SE), r.SE, c.Tol, "se")
				near(t, number(t, want.Stat), r.Statistic, c.Tol, "statistic")
				near(t, number(t, want.P), r.P, c.Tol, "p")
				near(t, number(t, want.Tau2), m.Tau2, c.Tol, "tau2")
				near(t, number(t, want.Q), m.Q, c.Tol, "Q")
				near(t, want.QP, m.QP, c.Tol, "p of Q")
				near(t, want.I2, 100*m.I2, c.Tol, "I2")
				near(t, want.H2, m.H2, c.Tol, "H2")
				near(t, want.CI95[0], r.Low, c.Tol, "low")
				near(t, want.CI95[1], r.High, c.Tol, "high")
				if want.Prediction != nil {
					near(t, want.Prediction[0], r.PredictionLow, c.Tol, "prediction, low")
					near(t, want.Prediction[1], r.PredictionHigh, c.Tol, "prediction, high")
				}
			case "tau2_q_profile":
				low, high, err := QProfile(studies)
				require.NoError(t, err)
				near(t, want.Tau2Interval[0], low, c.Tol, "tau2, low")
				near(t, want.Tau2Interval[1], high, c.Tol, "tau2, high")
				near(t, want.I2Interval[0], 100*low/(low+scalars(studies).typical()), c.Tol, "I2, low")
				near(t, want.I2Interval[1], 100*high/(high+scalars(studies).typical()), c.Tol, "I2, high")
			case "leave_one_out":
				var estimates, errors, tau2 []float64
				require.NoError(t, json.Unmarshal(want.Estimate, &estimates))
				require.NoError(t, json.Unmarshal(want.SE, &errors))
				require.NoError(t, json.Unmarshal(want.Tau2, &tau2))
				require.Len(t, studies, len(estimates))
				for i := range studies {
					m, err := Fit(slices.Delete(slices.Clone(studies), i, i+1), DerSimonianLaird)
					require.NoError(t, err)
					near(t, estimates[i], m.Estimate, c.Tol, "estimate")
					near(t, errors[i], m.Infer(Wald).SE, c.Tol, "se")
					near(t, tau2[i], m.Tau2, c.Tol, "tau2")
				}
			default:
				t.Fatal(c.Group)
			}
		})
	}
}

// With equal variances v REML is max(0, s^2 - v), s^2 the sample variance: the score is k-1 times (s^2 - v - tau2)/(v + tau2)^2.
func TestEqualVariances(t *testing.T) {
	for _, c := range []struct {
		y       []float64
		v, tau2 float64
	}{
		{[]float64{1, 2, 3, 6}, 1, 14.0/3 - 1},
		{[]float64{0, 10}, 2, 48},
		{[]float64{1, 1, 1}, 0.3, 0},
		{[]float64{0, 1}, 0.5, 0}, // s^2 = v: the edge
		{[]float64{-1e9, 1e9}, 1e-6, 2e18},
	} {
		var studies []Study
		for _, y := range c.y {
			studies = append(studies, Study{y, c.v})
		}
		m, err := Fit(studies, REML)
		require.NoError(t, err)
		require.InDelta(t, c.tau2, m.Tau2, 1e-9*math.Max(1, c.tau2))
		dl, err := Fit(studies, DerSimonianLaird)
		require.NoError(t, err)
		require.InDelta(t, c.tau2, dl.Tau2, 1e-9*math.Max(1, c.tau2), "moments give the same")
	}
}

func TestOneStudy(t *testing.T) {
	m, err := Fit([]Study{{1.5, 0.25}}, REML)
	require.NoError(t, err)
	require.Zero(t, m.Tau2)
	require.InDelta(t, 1.5, m.Estimate, 1e-15)
	require.Equal(t, []float64{1}, m.Weights)
	r := m.Infer(Wald)
	require.InDelta(t, 0.5, r.SE, 1e-15)
	require.InDelta(t, 1.5-float64(0.5*1.959963984540054), r.Low, 1e-12)
	r = m.Infer(KnappHartung)
	require.True(t, math.IsInf(r.Low, -1) && math.IsInf(r.High, 1) && math.IsNaN(r.P))
	low, high, err := QProfile([]Study{{1.5, 0.25}})
	require.NoError(t, err)
	require.True(t, low == 0 && math.IsInf(high, 1))
}

func TestUnusableNumbers(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, bad := range [][]Study{nil, {{nan, 1}}, {{inf, 1}}, {{1, nan}}, {{1, inf}}, {{1, 0}}, {{1, -1}}, {{1e300, 1}}, {{1, 1e-300}}, {{1, 1}, {1, 1e300}}} {
		_, err := Fit(bad, REML)
		require.Error(t, err, "%v", bad)
		_, _, err = QProfile(bad)
		require.Error(t, err, "%v", bad)
	}
}

// The restricted likelihood may have two maxima where variances are very unequal, and the higher counts: a fine search over tau^2 finds
// nothing higher, whatever the studies are.
func TestNoHigherMaximum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 8).Draw(t, "k")
		var studies []Study
		for range k {
			studies = append(studies, Study{rapid.Float64Range(-20, 20).Draw(t, "y"), math.Pow(10, rapid.Float64Range(-6, 6).Draw(t, "log v"))})
		}
		m, err := Fit(studies, REML)
		if err != nil {
			t.Fatal(err)
		}
		best := scalars(studies).logLik(m.Tau2)
		for e := -10.0; e < 8; e += 0.01 {
			if other := scalars(studies).logLik(math.Pow(10, e)); other > best+1e-7*math.Max(1, math.Abs(best)) {
				t.Fatalf("tau2 %g has %g, above %g at %g", math.Pow(10, e), other, best, m.Tau2)
			}
		}
		r := m.Infer(Guarded)
		if !(r.Low <= m.Estimate && m.Estimate <= r.High && r.PredictionLow <= r.Low && r.P >= 0 && r.P <= 1) {
			t.Fatalf("%+v", r)
		}
		if plain := m.Infer(KnappHartung); plain.High-plain.Low > (r.High-r.Low)*(1+1e-12) {
			t.Fatal("the guarded interval is the wider one")
		}
	})
}

// The unit does not matter, nor a common shift, nor the order.
func TestInvariances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 8).Draw(t, "k")
		var studies, moved []Study
		for range k {
			s := Study{rapid.Float64Range(-5, 5).Draw(t, "y"), rapid.Float64Range(0.01, 4).Draw(t, "v")}
			studies = append(studies, s)
			moved = append(moved, Study{3*s.Effect + 7, 9 * s.Variance})
		}
		slices.Reverse(moved)
		for _, method := range []Method{EqualEffects, DerSimonianLaird, REML} {
			a, err := Fit(studies, method)
			if err != nil {
				t.Fatal(err)
			}
			b, err := Fit(moved, method)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(3*a.Estimate+7-b.Estimate) > 1e-6 || math.Abs(9*a.Tau2-b.Tau2) > 1e-6*(1+b.Tau2) {
				t.Fatalf("method %d: %+v, %+v", method, a, b)
			}
		}
	})
}
