package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
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

// The 95 % ellipse of chi-square holds the truth in about 95 % of trials of 16 blocks, whether or not much is lost to the cut,
// and that of four trials put together by their inverses, as a pool does it, nearly. All bands of the method, also with 10
// blocks, and enough trials to quote:
//
//	go test ./stages/internal/contrast -run TestFitCovariance -v -powertrials 400
func TestFitCovariance(t *testing.T) {
	tries := simulated / 2
	switch {
	case *powerTrials > 0:
		tries = *powerTrials
	case testing.Short():
		tries /= 2 // under the race detector
	}
	type source struct {
		name     string
		shape    Shape
		harmonic int
		draw     func(seed uint64, effect func(Station) float64) *Trial
	}
	sources := []source{
		{"little is lost", OneSided, 1, field{stations: 24, blocks: 16, slots: 2, meanDB: -6}.with},
		{"much is lost, more of it toward south", OneSided, 1, field{stations: 30, blocks: 16, slots: 2, meanDB: -15, towardNorthDB: 5, waveDB: 2}.with},
		{"two lobes", TwoSided, 2, field{stations: 24, blocks: 16, slots: 2, meanDB: -12}.with},
		{"both shapes", Any, 2, field{stations: 24, blocks: 16, slots: 2, meanDB: -12}.with},
	}
	for _, s := range scenarios() {
		if s.band.openingDB > 0 && s.band.clustered == 0 || *powerTrials > 0 {
			sources = append(sources, source{s.name, OneSided, 1, s.band.trial})
		}
		if s.band.blocks > 10 && *powerTrials > 0 {
			s.band.blocks = 10
			sources = append(sources, source{s.name + ", 10 blocks", OneSided, 1, s.band.trial})
		}
	}
	for _, c := range sources {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			const amplitude, toward = 2.0, 100.0
			angle := float64(c.harmonic) * toward * math.Pi / 180
			cos, sin := amplitude*math.Cos(angle), amplitude*math.Sin(angle)
			tested, missed, pools, missedByPool := 0, 0, 0, 0
			var four sumOfFits
			for seed := range uint64(tries) {
				fits, ok := fitOf(c.draw(seed+50000, lobeEffect(1.5, amplitude, c.harmonic, toward)), c.shape)
				if !ok {
					continue
				}
				f := fits[len(fits)-1]
				require.Equal(t, c.harmonic, f.Harmonic)
				tested++
				if f.squaredDistance(cos, sin) > chiSquare {
					missed++
				}
				if four.add(f); tested%4 == 0 {
					pools++
					if four.mean().squaredDistance(cos, sin) > chiSquare {
						missedByPool++
					}
					four = sumOfFits{}
				}
			}
			t.Logf("missed by %d of %d, by %d of %d put together", missed, tested, missedByPool, pools)
			require.Greater(t, tested, 3*tries/4)
			require.LessOrEqual(t, missed, binomialBound(tested, Alpha, 0.999))
			require.Positive(t, missed, "an ellipse that always holds the truth is too wide")
			require.LessOrEqual(t, missedByPool, binomialBound(pools, 0.1, 0.999)) // with few receivers not all are held, see Fits
		})
	}
}

// chiSquare is the 95 % quantile with two degrees of freedom.
const chiSquare = 5.991

// with is a trial of the field with another effect.
func (f field) with(seed uint64, effect func(Station) float64) *Trial {
	f.effect = effect
	return f.trial(seed)
}

// sumOfFits adds up fits, weighted by the inverses of their covariances.
type sumOfFits struct{ cosCos, cosSin, sinSin, cos, sin float64 }

func (s *sumOfFits) add(f Fit) {
	det := f.VarCos*f.VarSin - f.Cov*f.Cov
	cosCos, cosSin, sinSin := f.VarSin/det, -f.Cov/det, f.VarCos/det
	s.cosCos, s.cosSin, s.sinSin = s.cosCos+cosCos, s.cosSin+cosSin, s.sinSin+sinSin
	s.cos += cosCos*f.CosDB + cosSin*f.SinDB
	s.sin += cosSin*f.CosDB + sinSin*f.SinDB
}

func (s *sumOfFits) mean() Fit {
	det := s.cosCos*s.sinSin - s.cosSin*s.cosSin
	v := Fit{VarCos: s.sinSin / det, VarSin: s.cosCos / det, Cov: -s.cosSin / det}
	v.CosDB, v.SinDB = v.VarCos*s.cos+v.Cov*s.sin, v.Cov*s.cos+v.VarSin*s.sin
	return v
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
	require.Empty(t, placed(t, OneSided, ring(12, 0, 330), 2, 6).Fits())
	require.Len(t, placed(t, OneSided, ring(12, 0, 330), 3, 6).Fits(), 1)
}
