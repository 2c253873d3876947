package match

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats/scalar"
	"pgregory.net/rapid"
)

// tol is the relative tolerance that testdata/README.md states. What is 0 in the files may differ by a few roundings.
const tol = 1e-9

func near(t require.TestingT, want, got float64, what ...any) {
	if math.IsInf(want, 0) {
		require.Equal(t, want, got, what...)
		return
	}
	require.True(t, scalar.EqualWithinRel(want, got, tol) || math.Abs(want-got) < 1e-15,
		"%v: want %v, got %v", what, want, got)
}

func readRows(t *testing.T, file string, want int) []map[string]string {
	t.Helper()
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, records, want+1, file)
	rows := make([]map[string]string, 0, want)
	for _, rec := range records[1:] {
		r := map[string]string{}
		for i, name := range records[0] {
			r[name] = rec[i]
		}
		rows = append(rows, r)
	}
	return rows
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

// Pozar, Microwave Engineering, ch. 2 (testdata/README.md).
func TestReflection(t *testing.T) {
	for _, r := range readRows(t, "testdata/reflection.csv", 25) {
		z := complex(number(t, r["r_ohm"]), number(t, r["x_ohm"]))
		g := Reflection(z, number(t, r["z0_ohm"]))
		near(t, number(t, r["gamma_re"]), real(g), r["id"], "real part")
		near(t, number(t, r["gamma_im"]), imag(g), r["id"], "imaginary part")
		near(t, number(t, r["gamma_abs"]), Magnitude(g), r["id"], "magnitude")
		near(t, number(t, r["swr"]), SWR(g), r["id"], "SWR")
		near(t, number(t, r["return_loss_db"]), ReturnLossDB(g), r["id"], "return loss")
		near(t, number(t, r["mismatch_loss_db"]), MismatchLossDB(g), r["id"], "mismatch loss")
	}
}

// Pozar, Microwave Engineering, ch. 2 (testdata/README.md).
func TestConversions(t *testing.T) {
	given := map[string]func(float64) float64{
		"swr":         SWRToMagnitude,
		"return_loss": ReturnLossDBToMagnitude,
		"gamma_abs":   func(m float64) float64 { return m },
	}
	for _, r := range readRows(t, "testdata/conversions.csv", 38) {
		g := complex(given[r["given"]](number(t, r["value"])), 0)
		at := r["given"] + " " + r["value"]
		near(t, number(t, r["swr"]), SWR(g), at)
		near(t, number(t, r["gamma_abs"]), Magnitude(g), at)
		near(t, number(t, r["return_loss_db"]), ReturnLossDB(g), at)
		near(t, number(t, r["mismatch_loss_db"]), MismatchLossDB(g), at)
		switch r["given"] {
		case "swr":
			near(t, number(t, r["return_loss_db"]), SWRToReturnLossDB(number(t, r["value"])), at)
		case "return_loss":
			near(t, number(t, r["swr"]), ReturnLossDBToSWR(number(t, r["value"])), at)
		}
	}
}

func TestEdges(t *testing.T) {
	require.True(t, math.IsNaN(SWR(1.1)), "an active load has no SWR")
	require.True(t, math.IsNaN(MismatchLossDB(1.1)))
	require.InDelta(t, -0.8278537031645, ReturnLossDB(1.1), 1e-12, "-20 log10 1.1: a gain")
	require.True(t, math.IsNaN(SWRToReturnLossDB(0.99)))
	require.True(t, math.IsNaN(ReturnLossDBToSWR(-0.01)))
	require.Zero(t, SWRToReturnLossDB(math.Inf(1)))
	require.False(t, math.Signbit(ReturnLossDB(1)), "0 dB is written without a sign")
	require.False(t, math.Signbit(MismatchLossDB(0)))
	require.Equal(t, math.Inf(1), SWR(Reflection(complex(0, 33.3), 50)), "rounding must not invent an SWR of 1e16")
}

func TestReflectionStaysInTheUnitCircle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := complex(rapid.Float64Range(0, 1e5).Draw(t, "r"), rapid.Float64Range(-1e5, 1e5).Draw(t, "x"))
		z0 := rapid.Float64Range(1, 1000).Draw(t, "z0")
		g := Reflection(z, z0)
		require.LessOrEqual(t, Magnitude(g), 1.)
		require.GreaterOrEqual(t, SWR(g), 1.)
		require.GreaterOrEqual(t, ReturnLossDB(g), 0.)
		require.GreaterOrEqual(t, MismatchLossDB(g), 0.)
		direct := (z - complex(z0, 0)) / (z + complex(z0, 0)) // the definition, by the compiler's own division
		require.InDelta(t, real(direct), real(g), 1e-14)
		require.InDelta(t, imag(direct), imag(g), 1e-14)
	})
}

func TestConversionsUndoEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		swr := rapid.Float64Range(1.001, 1000).Draw(t, "swr")
		require.InEpsilon(t, swr, ReturnLossDBToSWR(SWRToReturnLossDB(swr)), tol)
		db := rapid.Float64Range(0.01, 100).Draw(t, "db")
		require.InEpsilon(t, db, SWRToReturnLossDB(ReturnLossDBToSWR(db)), tol)
	})
}

// shown reads a display: its value and its digits after the point.
func shown(t *testing.T, text string) (float64, int) {
	t.Helper()
	_, fraction, _ := strings.Cut(text, ".")
	return number(t, text), len(fraction)
}

func agree(swr, db Interval) bool {
	_, byLoss := Intersect(ReturnLossFromSWR(swr), db)
	_, bySWR := Intersect(SWRFromReturnLoss(db), swr)
	return byLoss && bySWR
}

// Displays that are known to round (testdata/README.md).
func TestRoundedPairs(t *testing.T) {
	for _, r := range readRows(t, "testdata/rounding_pairs.csv", 8) {
		swr := Rounded(shown(t, r["swr_shown"]))
		loss := ReturnLossFromSWR(swr)
		require.InEpsilon(t, number(t, r["rl_low_db"]), loss.Lo, 1e-5, r) // the file prints six digits
		require.InEpsilon(t, number(t, r["rl_high_db"]), loss.Hi, 1e-5, r)
		want := r["consistent_as_intervals"] == "true"
		require.Equal(t, want, agree(swr, Rounded(shown(t, r["return_loss_shown_db"]))), r)
		if want { // what agrees under the narrower reading agrees under the wider one
			require.True(t, agree(Displayed(shown(t, r["swr_shown"])), Displayed(shown(t, r["return_loss_shown_db"]))), r)
		}
	}
}

// Pairs as an instrument shows them that rounds or cuts, one does not know which (common practice, no source).
func TestDisplayedPairs(t *testing.T) {
	for _, c := range []struct {
		swr, db string
		want    bool
	}{
		{"1.77", "11.1", true}, {"1.48", "14.3", true}, {"1.32", "17.1", true},
		{"1.53", "13.5", true}, {"1.7", "11.7", true}, {"1.84", "10.6", true},
		{"1.87", "10.4", true}, {"1.31", "17.4", true}, {"1.4", "15.5", true},
		{"1.50", "20.0", false}, {"1.50", "14.2", false}, {"1.50", "13.7", false}, {"2.00", "9.3", false},
		{"1.7", "12.2", true}, {"1.7", "12.4", false}, // an SWR of 1.65 is 12.22 dB
		{"1.00", "60.0", true}, {"1.00", "46.0", true}, {"1.00", "45.9", false}, // 1.01 is 46.06 dB
	} {
		got := agree(Displayed(shown(t, c.swr)), Displayed(shown(t, c.db)))
		require.Equal(t, c.want, got, "SWR %s, %s dB", c.swr, c.db)
	}
}

func TestIntervals(t *testing.T) {
	d := Displayed(1.7, 1)
	require.InDelta(t, 1.65, d.Lo, 1e-15)
	require.InDelta(t, 1.8, d.Hi, 1e-15)
	d = Displayed(10, 0)
	require.Equal(t, Interval{9.5, 11}, d)

	loss := ReturnLossFromSWR(Interval{0.995, 1.01})
	require.Equal(t, math.Inf(1), loss.Hi, "SWR is never below 1")
	require.InDelta(t, SWRToReturnLossDB(1.01), loss.Lo, 1e-12)
	swr := SWRFromReturnLoss(Interval{-0.05, 0.1})
	require.Equal(t, math.Inf(1), swr.Hi, "a passive load returns no more than it gets")
	require.InDelta(t, ReturnLossDBToSWR(0.1), swr.Lo, 1e-12)

	both, ok := Intersect(Interval{1, 3}, Interval{2, 4})
	require.True(t, ok)
	require.Equal(t, Interval{2, 3}, both)
	both, ok = Intersect(Interval{1, 2}, Interval{2, 4})
	require.True(t, ok, "the ends belong to both")
	require.Equal(t, Interval{2, 2}, both)
	_, ok = Intersect(Interval{1, 2}, Interval{2.1, 4})
	require.False(t, ok)
	_, ok = Intersect(Interval{1, math.NaN()}, Interval{0, 4})
	require.False(t, ok)
}

// A true value always agrees with itself, whether the two displays round or cut.
func TestTrueValuesAgree(t *testing.T) {
	display := func(v float64, decimals int, cut bool) float64 {
		scaled := v * math.Pow10(decimals)
		if cut {
			return math.Floor(scaled) / math.Pow10(decimals)
		}
		return math.Round(scaled) / math.Pow10(decimals)
	}
	rapid.Check(t, func(t *rapid.T) {
		swr := rapid.Float64Range(1.0001, 50).Draw(t, "swr")
		n, m := rapid.IntRange(0, 3).Draw(t, "swr decimals"), rapid.IntRange(0, 3).Draw(t, "loss decimals")
		swrShown := display(swr, n, rapid.Bool().Draw(t, "swr is cut"))
		dbShown := display(SWRToReturnLossDB(swr), m, rapid.Bool().Draw(t, "loss is cut"))
		require.True(t, agree(Displayed(swrShown, n), Displayed(dbShown, m)))
	})
}

func BenchmarkReflection(b *testing.B) {
	loads := []complex128{complex(73.1, 42.5), complex(12.5, -140), complex(49.9, 0.1), complex(2450, 380)}
	b.ReportAllocs()
	var sum float64
	for i := 0; b.Loop(); i++ {
		g := Reflection(loads[i%len(loads)], 50)
		sum += SWR(g) + ReturnLossDB(g) + MismatchLossDB(g)
	}
	require.Greater(b, sum, 1.)
}
