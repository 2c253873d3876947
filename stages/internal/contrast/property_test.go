package contrast

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawnField draws a small trial.
func drawnField(t *rapid.T) field {
	d := rapid.Float64Range(-6, 6).Draw(t, "difference")
	return field{
		stations: rapid.IntRange(1, 14).Draw(t, "stations"),
		blocks:   rapid.IntRange(1, 9).Draw(t, "blocks"),
		slots:    rapid.IntRange(1, 4).Draw(t, "slots"),
		meanDB:   rapid.Float64Range(-22, -6).Draw(t, "mean"),
		effect:   constant(d),
	}
}

func must(t require.TestingT, stations []Station, reports []Report, p Params) *Trial {
	trial, err := New(stations, reports, p)
	require.NoError(t, err)
	return trial
}

// requireSameEnds compares interval ends, infinite ones too.
func requireSameEnds(t require.TestingT, want, got Interval, tol float64) {
	require.Equal(t, want.Empty, got.Empty)
	for _, e := range [][2]float64{{want.LowDB, got.LowDB}, {want.HighDB, got.HighDB}} {
		if math.IsInf(e[0], 0) || math.IsInf(e[1], 0) {
			require.Equal(t, e[0], e[1])
			continue
		}
		require.InDelta(t, e[0], e[1], tol)
	}
}

// Exchanging the arms negates the estimate and leaves every p alone.
func TestSwappedArms(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, seed := drawnField(t), rapid.Uint64().Draw(t, "seed")
		stations, reports := f.draw(seed)
		p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed}
		want := must(t, stations, reports, p).Level().Negated()
		got := must(t, stations, swapArms(reports), p).Level()

		require.Equal(t, want.Estimated, got.Estimated)
		require.InDelta(t, want.EstimateDB, got.EstimateDB, 1e-6)
		require.Equal(t, want.P, got.P)
		require.InDelta(t, want.Running.P, got.Running.P, 1e-9)
		requireSameEnds(t, want.Interval, got.Interval, 1e-6)
		requireSameEnds(t, want.Running.Interval, got.Running.Interval, 1e-6)
		requireSameEnds(t, want.Beyond.Interval, got.Beyond.Interval, 1e-6)
		require.InDelta(t, want.Beyond.P, got.Beyond.P, 1e-6)
		requireDelta(t, want.G, got.G, 1e-9)
		requireDelta(t, want.W, got.W, 1e-9)
	})
}

func requireDelta(t require.TestingT, want, got []float64, tol float64) {
	require.Len(t, got, len(want))
	for i := range want {
		require.InDelta(t, want[i], got[i], tol)
	}
}

// The order of the reports changes no bit.
func TestOrderOfReports(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, seed := drawnField(t), rapid.Uint64().Draw(t, "seed")
		stations, reports := f.draw(seed)
		p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed}
		want := must(t, stations, reports, p)
		shuffled := append([]Report(nil), reports...)
		rand.New(rand.NewPCG(seed, 3)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		got := must(t, stations, shuffled, p)
		require.Equal(t, want.cells, got.cells)
		require.Equal(t, want.values, got.values)
	})
}

// A level added to both arms, with all reports far above the cut, changes nothing.
func TestCommonLevel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, seed := drawnField(t), rapid.Uint64().Draw(t, "seed")
		f.meanDB = 60
		add := rapid.Float64Range(0, 40).Draw(t, "added")
		stations, reports := f.draw(seed)
		p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed}
		want := must(t, stations, reports, p).Level()
		for i := range reports {
			reports[i].DitheredDB += add
		}
		got := must(t, stations, reports, p).Level()
		require.InDelta(t, want.EstimateDB, got.EstimateDB, 1e-6)
		require.Equal(t, want.P, got.P)
		requireSameEnds(t, want.Interval, got.Interval, 1e-6)
	})
}

// Adding to arm A alone, far above the cut, moves the estimate and the interval by as much.
func TestAddedDifference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, seed := drawnField(t), rapid.Uint64().Draw(t, "seed")
		f.meanDB = 60
		add := rapid.Float64Range(-3, 3).Draw(t, "added")
		stations, reports := f.draw(seed)
		p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed}
		want := must(t, stations, reports, p).Level()
		for i := range reports {
			if reports[i].First {
				reports[i].DitheredDB += add
			}
		}
		got := must(t, stations, reports, p).Level()
		require.InDelta(t, want.EstimateDB+add, got.EstimateDB, 2*rootTol)
		moved := want.Interval
		moved.LowDB += add
		moved.HighDB += add
		requireSameEnds(t, moved, got.Interval, 2.0*intervalWidthDB/(1<<intervalHalvings)+2*rootTol)
	})
}

// A lobe turned with the stations turns with them, and the amplitude stays.
func TestTurnedStations(t *testing.T) {
	f := field{stations: 24, blocks: 8, slots: 2, meanDB: -8, effect: func(s Station) float64 { return 1 + 3*math.Cos(s.AzimuthRad-1) }}
	stations, reports := f.draw(5)
	p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 5}
	want := must(t, stations, reports, p).Directivity(OneSided)
	for i := range stations {
		stations[i].AzimuthRad += math.Pi / 2
	}
	got := must(t, stations, reports, p).Directivity(OneSided)
	require.InDelta(t, want.Gate1, got.Gate1, 1e-12)
	require.InDelta(t, want.AllRoundDB, got.AllRoundDB, 2*rootTol)
	require.InDelta(t, want.Lobes[0].AmplitudeDB, got.Lobes[0].AmplitudeDB, 1e-3)
	require.InDelta(t, math.Mod(want.Lobes[0].TowardDeg+90, 360), got.Lobes[0].TowardDeg, 0.05)
	for i := range want.Sectors {
		require.Equal(t, want.Sectors[i].Stations, got.Sectors[(i+2)%8].Stations)
		require.InDelta(t, want.Sectors[i].EstimateDB, got.Sectors[(i+2)%8].EstimateDB, 1e-9)
	}
}

// Exchanging the arms turns the lobe round.
func TestSwappedLobe(t *testing.T) {
	for _, shape := range []Shape{OneSided, TwoSided} {
		h := float64(shape.harmonics()[0])
		f := field{stations: 24, blocks: 8, slots: 2, meanDB: -8, effect: func(s Station) float64 { return 3 * math.Cos(h*s.AzimuthRad-1) }}
		stations, reports := f.draw(6)
		p := Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 6}
		want := must(t, stations, reports, p).Directivity(shape).Negated()
		got := must(t, stations, swapArms(reports), p).Directivity(shape)
		require.Equal(t, want.Gate1, got.Gate1)
		require.Equal(t, want.Gate2, got.Gate2)
		require.InDelta(t, want.AllRoundDB, got.AllRoundDB, rootTol)
		a, b := want.Lobes[0], got.Lobes[0]
		requireDelta(t, []float64{a.AmplitudeDB, a.LowDB, a.HighDB}, []float64{b.AmplitudeDB, b.LowDB, b.HighDB}, 1e-3)
		requireDelta(t, []float64{a.TowardDeg, a.FromDeg, a.ToDeg}, []float64{b.TowardDeg, b.FromDeg, b.ToDeg}, 0.05)
		for i := range want.Sectors {
			require.InDelta(t, want.Sectors[i].EstimateDB, got.Sectors[i].EstimateDB, 1e-6)
		}
	}
}
