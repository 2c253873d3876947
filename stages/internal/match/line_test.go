package match

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats/scalar"
	"pgregory.net/rapid"
)

// lineTol is the relative tolerance that testdata/README.md states for lines.
const lineTol = 1e-8

// Pozar, Microwave Engineering, ch. 2 (testdata/README.md). The file gives the loss at the frequency itself.
func TestLine(t *testing.T) {
	for _, r := range readRows(t, "testdata/line_real_z0.csv", 18) {
		get := func(name string) float64 { return number(t, r[name]) }
		same := func(want, got float64, what string) {
			require.True(t, scalar.EqualWithinAbsOrRel(want, got, 1e-12, lineTol), "%s %s: want %v, got %v", r["id"], what, want, got)
		}
		mhz := get("f_mhz")
		l := Line{get("length_m"), get("matched_loss_db_per_100m"), mhz, get("vf"), get("r0_ohm")}
		same(get("matched_loss_db"), l.MatchedLossDB(mhz), "matched loss")
		same(get("length_wavelengths"), l.Wavelengths(mhz), "wavelengths")

		load := Reflection(complex(get("load_r_ohm"), get("load_x_ohm")), l.Z0Ohm)
		in := l.Input(load, mhz)
		same(get("swr_load"), SWR(load), "SWR at the load")
		same(get("swr_in"), SWR(in), "SWR at the transmitter")
		z, ok := Impedance(in, l.Z0Ohm)
		require.True(t, ok)
		want := complex(get("zin_r_ohm"), get("zin_x_ohm"))
		require.LessOrEqual(t, cmplx.Abs(want-z), lineTol*cmplx.Abs(want), r["id"])
		same(get("total_loss_db"), l.TotalLossDB(Magnitude(load), mhz), "total loss")
		same(get("additional_loss_db"), l.AdditionalLossDB(Magnitude(load), mhz), "additional loss")

		back, ok := Impedance(l.Load(Reflection(want, l.Z0Ohm), mhz), l.Z0Ohm)
		require.True(t, ok)
		wantLoad := complex(get("load_r_ohm"), get("load_x_ohm"))
		// 12 printed digits of Zin, times what a line of 7 dB both ways magnifies
		require.LessOrEqual(t, cmplx.Abs(wantLoad-back), 1e-7*cmplx.Abs(wantLoad), r["id"])
		same(get("swr_load"), swrOf(l.LoadMagnitude(SWRToMagnitude(get("swr_in")), mhz)), "SWR at the load from that at the transmitter")
	}
}

// Loss in the conductors (testdata/README.md).
func TestLossScaling(t *testing.T) {
	for _, r := range readRows(t, "testdata/loss_scaling.csv", 5) {
		l := Line{100, number(t, r["loss_at_ref_db_per_100m"]), number(t, r["f_ref_mhz"]), 0.66, 50}
		near(t, number(t, r["loss_db_per_100m"]), l.MatchedLossDB(number(t, r["f_mhz"])))
	}
}

// A line through which half the power passes: 3.0103 dB. Values by hand.
func TestLineEdges(t *testing.T) {
	half := 10 * math.Log10(2)
	l := Line{100, half, 14, 0.66, 50}
	require.InDelta(t, 1, l.LoadMagnitude(0.5, 14), 1e-14, "a total reflection comes back with half its amplitude")
	require.Equal(t, 1., l.LoadMagnitude(0.5, 14), "and is taken as total")
	require.Equal(t, math.Inf(1), l.AdditionalLossDB(1, 14))
	require.True(t, math.IsNaN(l.AdditionalLossDB(1.01, 14)))
	require.Zero(t, l.AdditionalLossDB(0, 14))
	require.InDelta(t, 10*math.Log10((1-0.0625)/0.75), l.AdditionalLossDB(0.5, 14), 1e-12, "1 - 1/16 enters the load's end of the far reflection 1/2")

	got, ok := l.LoadSWR(Interval{1, 1.5}, 14) // 0 and 0.2 become 0 and 0.4
	require.True(t, ok)
	require.Equal(t, 1., got.Lo)
	require.InDelta(t, 1.4/0.6, got.Hi, 1e-12)
	got, ok = l.LoadSWR(Interval{2, 3.1}, 14) // 1/3 becomes 2/3; above 0.5 nothing is possible
	require.True(t, ok)
	require.InDelta(t, 5, got.Lo, 1e-12)
	require.Equal(t, math.Inf(1), got.Hi)
	_, ok = l.LoadSWR(Interval{3.1, 3.2}, 14)
	require.False(t, ok, "more would be reflected than arrives")

	_, ok = Impedance(1, 50)
	require.False(t, ok, "an open end")
	z, ok := Impedance(-1, 50)
	require.True(t, ok)
	require.Equal(t, complex(0, 0), z, "a short")
	require.Equal(t, complex(0.25, 0.5), Renormalise(complex(0.25, 0.5), 50, 50))
	require.Equal(t, complex(1, 0), Renormalise(1, 75, 50), "an open end is one against any impedance")
}

func lines() *rapid.Generator[Line] {
	return rapid.Custom(func(t *rapid.T) Line {
		return Line{
			LengthM: rapid.Float64Range(0, 100).Draw(t, "length"), LossDBPer100m: rapid.Float64Range(0, 10).Draw(t, "loss"),
			AtMHz: rapid.Float64Range(1, 100).Draw(t, "at"), VelocityFactor: rapid.Float64Range(0.5, 1).Draw(t, "vf"),
			Z0Ohm: rapid.Float64Range(20, 600).Draw(t, "z0"),
		}
	})
}

func loads(t *rapid.T) complex128 {
	return complex(rapid.Float64Range(0.5, 3000).Draw(t, "r"), rapid.Float64Range(-2000, 2000).Draw(t, "x"))
}

// The hyperbolic tangent of the textbooks (Pozar, equation 2.91) is a second way to the impedance.
func TestLineAgainstTanh(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, load := lines().Draw(t, "line"), loads(t)
		const mhz = 14.1
		z0 := complex(l.Z0Ohm, 0)
		th := cmplx.Tanh(complex(l.MatchedLossDB(mhz)*math.Ln10/20, 2*math.Pi*l.Wavelengths(mhz)))
		want := z0 * (load + z0*th) / (z0 + load*th)
		got, ok := Impedance(l.Input(Reflection(load, l.Z0Ohm), mhz), l.Z0Ohm)
		require.True(t, ok)
		require.LessOrEqual(t, cmplx.Abs(want-got), 1e-8*cmplx.Abs(want))
	})
}

func TestRemovingALineUndoesIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, load := lines().Draw(t, "line"), loads(t)
		g := Reflection(load, l.Z0Ohm)
		in := l.Input(g, 21.2)
		require.LessOrEqual(t, Magnitude(in), Magnitude(g)+1e-12, "a lossy line hides SWR")
		require.InDelta(t, 0, cmplx.Abs(l.Load(in, 21.2)-g), 1e-11)
		require.InDelta(t, Magnitude(g), l.LoadMagnitude(Magnitude(in), 21.2), 1e-11)
		require.GreaterOrEqual(t, l.AdditionalLossDB(Magnitude(g), 21.2), 0.)
	})
}

// Renormalise agrees with the way through the impedance.
func TestRenormalise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := loads(t)
		from, to := rapid.Float64Range(20, 600).Draw(t, "from"), rapid.Float64Range(20, 600).Draw(t, "to")
		require.InDelta(t, 0, cmplx.Abs(Renormalise(Reflection(z, from), from, to)-Reflection(z, to)), 1e-11)
	})
}

// The interval at the far end holds that of every impedance in the rectangle, and a fine grid comes near its ends.
func TestRegionOfALine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := lines().Draw(t, "line")
		const mhz, z0, n = 14.1, 50, 24
		load := loads(t)
		near, _ := Impedance(l.Input(Reflection(load, l.Z0Ohm), mhz), l.Z0Ohm)
		wide := rapid.Float64Range(0.01, 3).Draw(t, "wide")
		r, x := Interval{math.Max(0, real(near)-wide), real(near) + wide}, Interval{imag(near) - wide, imag(near) + wide}
		got, ok := l.LoadSWRWithin(r, x, z0, mhz)
		require.True(t, ok, "the true load is in it")
		least, greatest := math.Inf(1), 0.
		for i := range n + 1 {
			for j := range n + 1 {
				z := complex(r.Lo+(r.Hi-r.Lo)*float64(i)/n, x.Lo+(x.Hi-x.Lo)*float64(j)/n)
				m := Magnitude(Renormalise(l.Load(Reflection(z, l.Z0Ohm), mhz), l.Z0Ohm, z0))
				least, greatest = math.Min(least, m), math.Max(greatest, m)
			}
		}
		low, high := SWRToMagnitude(got.Lo), SWRToMagnitude(got.Hi)
		require.LessOrEqual(t, low, least+1e-9)
		require.GreaterOrEqual(t, high, math.Min(1, greatest)-1e-9)
		if greatest < 0.99 {
			require.InDelta(t, greatest, high, 0.05, "a step of the grid")
			require.InDelta(t, least, low, 0.05, "a step of the grid")
		}
	})
}

// With a line of the reading's own impedance, the way over the rectangle and that over the magnitude agree.
func TestRegionAgreesWithMagnitude(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := lines().Draw(t, "line")
		z := complex(rapid.Float64Range(1, 500).Draw(t, "r"), rapid.Float64Range(-500, 500).Draw(t, "x"))
		r, x := Interval{real(z), real(z) + 1}, Interval{imag(z) - 0.5, imag(z) + 1}
		want, ok1 := l.LoadSWR(SWRWithin(r, x, l.Z0Ohm), 7)
		got, ok2 := l.LoadSWRWithin(r, x, l.Z0Ohm, 7)
		require.Equal(t, ok1, ok2)
		if ok1 {
			require.InDelta(t, SWRToMagnitude(want.Lo), SWRToMagnitude(got.Lo), 1e-9)
			require.InDelta(t, SWRToMagnitude(want.Hi), SWRToMagnitude(got.Hi), 1e-9)
		}
	})
}

func BenchmarkRemoveLine(b *testing.B) {
	l := Line{12, 4, 14, 0.66, 50}
	g := Reflection(complex(36.5, 21.25), 50)
	b.ReportAllocs()
	var sum float64
	for i := 0; b.Loop(); i++ {
		sum += SWR(l.Load(g, 14+float64(i%35)/100))
	}
	require.Greater(b, sum, 1.)
}
