package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// fitOf is the fit of a trial without the search of its region, which takes nearly all of the time; false if it is refused.
func fitOf(t *Trial, shape Shape) ([]Fit, bool) {
	d, s := t.gates(shape)
	if !d.Testable {
		return nil, false
	}
	level, beta := s.fit(fitRounds)
	return s.newFits(shape, level, beta), true
}

// squaredDistance is (truth - fit)' covariance^-1 (truth - fit).
func (f Fit) squaredDistance(cos, sin float64) float64 {
	x, y := cos-f.CosDB, sin-f.SinDB
	return (x*x*f.VarSin - 2*x*y*f.Cov + y*y*f.VarCos) / (f.VarCos*f.VarSin - f.Cov*f.Cov)
}

// hotelling is the square of the 95 % ellipse of a pair whose covariance, with our factor, is known from B blocks:
// T^2 = 2 (B-1)/(B-2) F(2, B-2) for the unbiased covariance, which has B/(B-1) (Muirhead 1982, theorem 3.2.13).
func hotelling(blocks int) float64 {
	b := float64(blocks)
	t2 := 2 * (b - 1) / (b - 2) * distuv.F{D1: 2, D2: b - 2}.Quantile(1-Alpha)
	return t2 * (b / (b - 1)) / (b / (b - 4))
}

// The ellipse holds the truth in 95 % of trials of 16 blocks, whether or not much is lost to the cut, and the mean of the
// squared distances is that of chi-square with two degrees of freedom.
func TestFitCovariance(t *testing.T) {
	tries := simulated / 2
	if testing.Short() {
		tries /= 2 // under the race detector
	}
	for _, c := range []struct {
		name     string
		shape    Shape
		harmonic int
		field    field
	}{
		{"little is lost", OneSided, 1, field{stations: 24, blocks: 16, slots: 2, meanDB: -6}},
		{"much is lost, more of it toward south", OneSided, 1, field{stations: 30, blocks: 16, slots: 2, meanDB: -15, towardNorthDB: 5, waveDB: 2}},
		{"two lobes", TwoSided, 2, field{stations: 24, blocks: 16, slots: 2, meanDB: -12}},
		{"both shapes", Any, 2, field{stations: 24, blocks: 16, slots: 2, meanDB: -12}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			const amplitude, toward = 2.0, 100.0
			c.field.effect = lobeEffect(1.5, amplitude, c.harmonic, toward)
			angle := float64(c.harmonic) * toward * math.Pi / 180
			tested, missed, byChi, mean := 0, 0, 0, 0.0
			for seed := range uint64(tries) {
				fits, ok := fitOf(c.field.trial(seed+50000), c.shape)
				if !ok {
					continue
				}
				f := fits[len(fits)-1]
				require.Equal(t, c.harmonic, f.Harmonic)
				tested++
				d2 := f.squaredDistance(amplitude*math.Cos(angle), amplitude*math.Sin(angle))
				if d2 > hotelling(c.field.blocks) {
					missed++
				}
				if d2 > 5.991 {
					byChi++
				}
				mean += d2 / 2
			}
			mean /= float64(tested)
			t.Logf("of %d missed %d, by chi-square %d; mean of squared distances %.3f of 1", tested, missed, byChi, mean)
			require.Greater(t, tested, 3*tries/4)
			require.LessOrEqual(t, missed, binomialBound(tested, Alpha, 0.999))
			require.GreaterOrEqual(t, missed, binomialBound(tested, Alpha, 0.001))
			require.LessOrEqual(t, byChi, binomialBound(tested, 0.07, 0.999))
			// The squared distance over 2 has a standard deviation of 1 and, with 16 blocks, somewhat more.
			require.InDelta(t, 1, mean, 4*1.3/math.Sqrt(float64(tested)))
		})
	}
}

// Turning all azimuths by a right angle turns the vector and its ellipse by harmonic times that angle; by any other angle
// the vector turns exactly, and the ellipse but for the differences that the slope is taken by.
func TestFitTurnsWithTheAzimuths(t *testing.T) {
	for _, shape := range []Shape{OneSided, TwoSided, Any} {
		for _, turn := range []struct{ deg, within float64 }{{90, 1e-6}, {37, 0.15}} {
			f := field{stations: 30, blocks: 14, slots: 3, meanDB: -12, effect: lobeEffect(1, 3, 1, 20)}
			stations, reports := f.draw(5)
			params := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 5}
			before, ok := fitOf(must(t, stations, reports, params), shape)
			require.True(t, ok)
			for i := range stations {
				stations[i].AzimuthRad += turn.deg * math.Pi / 180
			}
			after, ok := fitOf(must(t, stations, reports, params), shape)
			require.True(t, ok)
			require.Len(t, after, len(shape.harmonics()))
			for i, b := range before {
				sin, cos := math.Sincos(float64(b.Harmonic) * turn.deg * math.Pi / 180)
				a, scale := after[i], b.VarCos+b.VarSin
				require.InDelta(t, b.CosDB*cos-b.SinDB*sin, a.CosDB, 1e-3)
				require.InDelta(t, b.CosDB*sin+b.SinDB*cos, a.SinDB, 1e-3)
				require.InDelta(t, b.VarCos*cos*cos-2*b.Cov*sin*cos+b.VarSin*sin*sin, a.VarCos, turn.within*scale)
				require.InDelta(t, b.VarCos*sin*sin+2*b.Cov*sin*cos+b.VarSin*cos*cos, a.VarSin, turn.within*scale)
				require.InDelta(t, (b.VarCos-b.VarSin)*sin*cos+b.Cov*(cos*cos-sin*sin), a.Cov, turn.within*scale)
			}
		}
	}
}

// Exchanging the arms negates the vector and leaves the ellipse: exactly by Negated, nearly with the arms exchanged in the
// reports.
func TestFitNegatesWithTheArms(t *testing.T) {
	f := field{stations: 16, blocks: 12, slots: 2, meanDB: -10, effect: lobeEffect(1, 3, 2, 20)}
	stations, reports := f.draw(8)
	params := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 8}
	one := must(t, stations, reports, params).Directivity(TwoSided)
	exchanged, ok := fitOf(must(t, stations, swapArms(reports), params), TwoSided)
	require.True(t, ok)
	require.Len(t, one.Fits(), 1)
	before, negated := one.Fits()[0], one.Negated().Fits()[0]
	require.Equal(t, Fit{2, -before.CosDB, -before.SinDB, before.VarCos, before.VarSin, before.Cov}, negated)
	require.Equal(t, one.Fits(), one.Negated().Negated().Fits())
	for i, want := range []float64{negated.CosDB, negated.SinDB, negated.VarCos, negated.VarSin, negated.Cov} {
		a := exchanged[0]
		require.InDelta(t, want, []float64{a.CosDB, a.SinDB, a.VarCos, a.VarSin, a.Cov}[i], 1e-3)
	}
}

// The vector is the lobe that is shown: its length and direction.
func TestFitIsTheLobe(t *testing.T) {
	f := field{stations: 24, blocks: 12, slots: 2, meanDB: -8, effect: lobeEffect(1, 4, 2, 170)}
	d := f.trial(3).Directivity(Any)
	require.Equal(t, []int{1, 2}, []int{d.Fits()[0].Harmonic, d.Fits()[1].Harmonic}, "in rising order, whichever is greater")
	for _, l := range d.Lobes {
		v := d.Fits()[l.Harmonic-1]
		require.InDelta(t, l.AmplitudeDB, math.Hypot(v.CosDB, v.SinDB), 1e-12)
		require.InDelta(t, 0, math.Remainder(degrees(math.Atan2(v.SinDB, v.CosDB))-float64(l.Harmonic)*l.TowardDeg, 360), 1e-9)
	}
}

// Without a test, or with blocks that say nothing of a covariance, there is no fit.
func TestNoFit(t *testing.T) {
	require.Empty(t, placed(t, OneSided, ring(7, 0, 315), 16, 6).Fits())
	require.Empty(t, placed(t, OneSided, ring(12, 0, 330), 4, 6).Fits())
	require.Len(t, placed(t, OneSided, ring(12, 0, 330), 5, 6).Fits(), 1)
}
