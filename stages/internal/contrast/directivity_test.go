package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func lobeEffect(base, amplitude float64, harmonic int, towardDeg float64) func(Station) float64 {
	return func(s Station) float64 {
		return base + amplitude*math.Cos(float64(harmonic)*(s.AzimuthRad-towardDeg*math.Pi/180))
	}
}

// A clear lobe is found with its amplitude, direction and all-round value in every shape that has it.
func TestFindsLobe(t *testing.T) {
	cases := []struct {
		name     string
		shape    Shape
		harmonic int
		toward   float64
	}{
		{"one-sided", OneSided, 1, 250},
		{"two-sided", TwoSided, 2, 65},
		{"any, one lobe", Any, 1, 10},
		{"any, two lobes", Any, 2, 170},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			f := field{stations: 24, blocks: 12, slots: 2, meanDB: -8, effect: lobeEffect(1, 4, c.harmonic, c.toward)}
			d := f.trial(3).Directivity(c.shape)
			require.True(t, d.Testable && d.Gate2Testable)
			require.LessOrEqual(t, d.P, Alpha)
			require.Less(t, d.RunningP, Alpha)
			l := d.Lobes[0]
			require.Equal(t, c.harmonic, l.Harmonic)
			require.True(t, l.DirectionKnown)
			require.InDelta(t, 1, d.AllRoundDB, 1.5) // drift of the dwells: 1.7 dB over 12 blocks, 3 errors
			require.InDelta(t, 4, l.AmplitudeDB, 1)  // about 4 standard errors
			require.True(t, l.LowDB < 4 && 4 < l.HighDB, "%+v", l)
			require.True(t, inArc(c.toward, l, 360/float64(c.harmonic)), "%+v", l)
			require.Greater(t, d.SigmaDB, 0.0)
			if c.shape == Any {
				require.Len(t, d.Lobes, 2)
				require.Less(t, d.Lobes[1].AmplitudeDB, l.AmplitudeDB)
				require.Equal(t, l.HighDB+d.Lobes[1].HighDB, d.SwingHighDB)
			}
		})
	}
}

func inArc(deg float64, l Lobe, circle float64) bool {
	clockwise := func(from, to float64) float64 { return math.Mod(to-from+circle, circle) }
	return clockwise(l.FromDeg, deg) <= clockwise(l.FromDeg, l.ToDeg)
}

// Where no lobe is shown the amplitude's interval begins at 0 and there is no direction.
func TestNoLobe(t *testing.T) {
	f := field{stations: 24, blocks: 8, slots: 3, meanDB: -8, effect: constant(2)}
	d := f.trial(4).Directivity(OneSided)
	require.Greater(t, d.Gate1, Alpha)
	l := d.Lobes[0]
	require.False(t, l.DirectionKnown)
	require.Zero(t, l.LowDB)
	require.Greater(t, l.HighDB, l.AmplitudeDB)
	require.InDelta(t, d.EstimateDB, d.AllRoundDB, 0.5)
}

// The amplitude's interval holds the truth in 95 % of the trials or more.
func TestAmplitudeCoverage(t *testing.T) {
	const tries = 30
	f := field{stations: 14, blocks: 6, slots: 2, meanDB: -12, effect: lobeEffect(1, 2, 1, 40)}
	missed, tested := 0, 0
	for seed := range uint64(tries) {
		d := f.trial(seed + 30000).Directivity(OneSided)
		if !d.Testable {
			continue
		}
		tested++
		if l := d.Lobes[0]; l.LowDB > 2 || l.HighDB < 2 {
			missed++
		}
	}
	t.Logf("missed %d of %d", missed, tested)
	require.Greater(t, tested, tries/2)
	require.LessOrEqual(t, missed, binomialBound(tested, Alpha, 0.999))
}

// ring gives the azimuths of n stations evenly between two directions, both included.
func ring(n int, fromDeg, toDeg float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = fromDeg + (toDeg-fromDeg)*float64(i)/float64(n-1)
	}
	return out
}

// placed is the directivity of stations at these azimuths, all heard in every block.
func placed(t *testing.T, shape Shape, azimuths []float64, blocks, regions int) Directivity {
	stations, reports := make([]Station, len(azimuths)), []Report(nil)
	for i, az := range azimuths {
		stations[i] = Station{AzimuthRad: az * math.Pi / 180, HasAzimuth: true, Region: i % regions}
		for b := range blocks {
			reports = append(reports, Report{b, i, true, 0, -5 + float64((i*7+b*3)%5)}, Report{b, i, false, 1, -5})
		}
	}
	return must(t, stations, reports, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).Directivity(shape)
}

func TestDirectivityRefusals(t *testing.T) {
	all := ring(14, 0, 330)
	wide := func(last float64) []float64 {
		return []float64{0, 0, 0, 60, 60, 60, 60, 60, 60, last, last, last}
	}
	for _, c := range []struct {
		name     string
		shape    Shape
		azimuths []float64
		blocks   int
		regions  int
		want     string
	}{
		{"seven stations", OneSided, ring(7, 0, 315), 16, 6, TooFewStations},
		{"eight stations", OneSided, ring(8, 0, 315), 16, 6, ""},
		{"all in 60 degrees", OneSided, ring(12, 0, 60), 16, 6, NotSurrounded},
		{"a gap of 241 degrees", OneSided, wide(119), 16, 6, NotSurrounded},
		{"a gap of 240 degrees", OneSided, wide(120), 16, 6, ""},
		{"two opposite directions", OneSided, []float64{0, 0, 0, 0, 0, 180, 180, 180, 180, 180}, 16, 6, NotSurrounded},
		{"any: eleven blocks", Any, all, 11, 8, TooFewBlocks},
		{"any: eleven stations", Any, ring(11, 0, 330), 12, 8, TooFewStations},
		{"any: seven regions", Any, all, 12, 7, TooFewRegions},
		{"any: enough", Any, all, 12, 8, ""},
	} {
		d := placed(t, c.shape, c.azimuths, c.blocks, c.regions)
		require.Equal(t, c.want, d.Why.Code, c.name)
		require.Equal(t, c.want == "", d.Testable, c.name)
		require.Equal(t, c.want != "", math.IsNaN(d.Gate1), c.name)
		require.Equal(t, c.want, d.Refusal(Alpha, 1).Code, c.name)
	}
}

func TestTooFewRegionsForGate2(t *testing.T) {
	few := placed(t, OneSided, ring(12, 0, 330), 6, 5)
	require.True(t, few.Testable)
	require.False(t, few.Gate2Testable)
	require.False(t, math.IsNaN(few.Gate1))
	require.True(t, math.IsNaN(few.P) && math.IsNaN(few.Gate2))
	require.Zero(t, few.Refusal(Alpha, 1))
	require.Equal(t, TooFewBlocks, few.Refusal(Alpha, 2).Code)
}

// Stations without an azimuth stay out of the direction and of the sectors, and in the level.
func TestWithoutAzimuth(t *testing.T) {
	f := field{stations: 20, blocks: 8, slots: 2, meanDB: -8, effect: constant(1)}
	stations, reports := f.draw(8)
	p := Params{Blocks: 8, CutDB: -18, CeilingDB: math.Inf(1), Seed: 8}
	want := must(t, stations, reports, p)
	stations = append(stations, Station{Region: 99})
	for b := range 8 {
		reports = append(reports, Report{b, 20, true, 1000, 0}, Report{b, 20, false, 1001, -9})
	}
	got := must(t, stations, reports, p)
	require.Equal(t, want.Directivity(OneSided), got.Directivity(OneSided))
	require.Equal(t, want.FrontToBack(1), got.FrontToBack(1))
	require.Equal(t, want.Level().Stations+1, got.Level().Stations)
	require.Greater(t, got.Level().EstimateDB, want.Level().EstimateDB)
}

func TestSectorEdges(t *testing.T) {
	for deg := range 360 {
		require.Equal(t, deg/45, sectorOf(float64(deg)*math.Pi/180), deg)
		require.Equal(t, deg/45, sectorOf(float64(deg-360)*math.Pi/180), deg)
	}
	require.Zero(t, degrees(-1e-18))
}

// With even stations, A higher by 3 dB in front only, give or take 0.1 dB by block: 3 dB, and nothing
// for the sides.
func TestFrontToBackByHand(t *testing.T) {
	stations, reports := make([]Station, 36), []Report(nil)
	for i := range stations {
		az := float64(10 * i)
		stations[i] = Station{AzimuthRad: az * math.Pi / 180, HasAzimuth: true}
		add := 0.0
		switch off := math.Min(math.Mod(az-300+360, 360), math.Mod(300-az+360, 360)); {
		case off <= 60:
			add = 3
		case off < 120:
			add = 9 // the sides do not count
		}
		for b := range 8 {
			a := Report{b, i, true, 0, -5 + add}
			if add == 3 {
				a.DitheredDB += 0.1 - 0.2*float64(b%2)
			}
			reports = append(reports, a, Report{b, i, false, 1, -5})
		}
	}
	trial := must(t, stations, reports, Params{Blocks: 8, CutDB: -18, CeilingDB: math.Inf(1)})
	got := trial.FrontToBack(300 * math.Pi / 180)
	require.True(t, got.Estimated)
	require.Equal(t, 13, got.FrontCount) // 240, 250, ..., 360
	require.Equal(t, 13, got.BackCount)
	require.InDelta(t, 3, got.EstimateDB, 2*rootTol)
	// Of 256 sums of eight +-0.1, shifted by f: p passes 0.05 where f leaves +-0.1.
	require.InDelta(t, 2.9, got.Interval.LowDB, 0.01)
	require.InDelta(t, 3.1, got.Interval.HighDB, 0.01)

	negative := got.Negated()
	require.Equal(t, -got.EstimateDB, negative.EstimateDB)
	require.Equal(t, -got.Interval.LowDB, negative.Interval.HighDB)
	opposite := trial.FrontToBack(120 * math.Pi / 180)
	require.InDelta(t, -3, opposite.EstimateDB, 2*rootTol)
}

func TestSmallestArc(t *testing.T) {
	for _, c := range []struct {
		angles   []float64
		from, to float64
	}{
		{[]float64{10}, 10, 10},
		{[]float64{350, 10, 5}, 350, 10},
		{[]float64{10, 40, 30}, 10, 40},
		{[]float64{0, 90, 180}, 0, 180},
		{[]float64{200, 30, 300}, 200, 30},
	} {
		from, to := smallestArc(c.angles)
		require.Equal(t, []float64{c.from, c.to}, []float64{from, to})
	}
}

func TestMatrix(t *testing.T) {
	m := [][]float64{{4, 1, 0, 0.5}, {1, 3, 0.2, 0}, {0, 0.2, 2, 0.1}, {0.5, 0, 0.1, 1}}
	inv, ok := inverse(m)
	require.True(t, ok)
	for i, row := range product(m, inv) {
		for j, x := range row {
			want := 0.0
			if i == j {
				want = 1
			}
			require.InDelta(t, want, x, 1e-14)
		}
	}
	// s' m^-1 s both ways.
	s := []float64{1, -2, 0.5, 3}
	require.InDelta(t, dot(s, times(inv, s)), explained(m, clone(s)), 1e-12)

	_, ok = inverse([][]float64{{1, 1}, {1, 1}})
	require.False(t, ok)
	require.InDelta(t, 4, explained([][]float64{{1, 1}, {1, 1}}, []float64{2, 2}), 1e-12, "one direction is left")
	require.Zero(t, explained([][]float64{{0, 0}, {0, 0}}, []float64{0, 0}))

	least, greatest := eigenvalues([][]float64{{2, 1}, {1, 2}})
	require.InDelta(t, 1, least, 1e-14)
	require.InDelta(t, 3, greatest, 1e-14)
	// The second difference matrix of order 4 has eigenvalues 2 - 2 cos(k pi/5).
	least, greatest = eigenvalues([][]float64{{2, -1, 0, 0}, {-1, 2, -1, 0}, {0, -1, 2, -1}, {0, 0, -1, 2}})
	require.InDelta(t, 2-2*math.Cos(math.Pi/5), least, 1e-13)
	require.InDelta(t, 2-2*math.Cos(4*math.Pi/5), greatest, 1e-13)
}

// lineUp against the regression written out: e = 2 + 3 cos + noise-free, so all of it is explained.
func TestLineUp(t *testing.T) {
	var means []regionMean
	total, mean := 0.0, 0.0
	for j := range 9 {
		az := float64(j) * 0.6
		m := regionMean{e: 2 + 3*math.Cos(az), q: 0.2 + float64(j%3)/4, x: OneSided.columns(az)}
		means = append(means, m)
		total += m.q
		mean += m.q * m.e
	}
	mean /= total
	want := 0.0
	for _, m := range means {
		want += m.q * (m.e - mean) * (m.e - mean)
	}
	order := []int{0, 1, 2, 3, 4, 5, 6, 7, 8}
	require.InDelta(t, want, lineUp(means, order), 1e-12)
	turned := []int{4, 1, 7, 3, 0, 5, 8, 2, 6}
	require.Less(t, lineUp(means, turned), want)
	require.LessOrEqual(t, (&Trial{}).gate2(means), 0.01)
}

func TestShapeNames(t *testing.T) {
	require.Equal(t, "one-sided", OneSided.String())
	require.Equal(t, "two-sided", TwoSided.String())
	require.Equal(t, "any", Any.String())
	require.Equal(t, "shape 9", Shape(9).String())
}

// The running evidence at block b needs the blocks up to b only.
func TestRunningLobeLooksBack(t *testing.T) {
	f := field{stations: 20, blocks: 10, slots: 2, meanDB: -10, effect: lobeEffect(2, 3, 2, 30)}
	stations, reports := f.draw(9)
	p := Params{Blocks: 10, CutDB: -18, CeilingDB: math.Inf(1), Seed: 9}
	for _, shape := range []Shape{TwoSided, Any} {
		want := must(t, stations, reports, p).runningLobe(shape)
		changed := append([]Report(nil), reports...)
		for i := range changed {
			if changed[i].Block >= 6 {
				changed[i].DitheredDB += 5 * float64(changed[i].Station%3)
			}
		}
		got := must(t, stations, changed, p).runningLobe(shape)
		require.Equal(t, want[:6], got[:6])
		require.NotEqual(t, want[6:], got[6:])
		require.Greater(t, want[9], 20.0, "a lobe of 3 dB is seen")
	}
}

// Gates must not drift away from what Directivity says of the same trial.
func TestGatesAreThoseOfDirectivity(t *testing.T) {
	trial := busyTrial()
	for _, shape := range []Shape{OneSided, TwoSided} {
		gates, whole := trial.Gates(shape), trial.Directivity(shape)
		require.Equal(t, []float64{whole.Gate1, whole.Gate2, whole.P, whole.RunningP, whole.EstimateDB},
			[]float64{gates.Gate1, gates.Gate2, gates.P, gates.RunningP, gates.EstimateDB})
		require.Equal(t, whole.Sectors, gates.Sectors)
		require.NotEmpty(t, whole.Lobes)
		require.Empty(t, gates.Lobes)
		require.True(t, math.IsNaN(gates.AllRoundDB))
	}
}
