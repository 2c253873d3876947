package geo

import (
	"hash/fnv"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"
)

// mmKm is a millimetre, the error that the package doc allows to a distance.
const mmKm = 1e-6

// point draws places that crowd where formulas break: poles, equator, date line, whole degrees.
func point() *rapid.Generator[Point] {
	angle := func(limit float64) *rapid.Generator[float64] {
		return rapid.OneOf(
			rapid.Float64Range(-limit, limit),
			rapid.SampledFrom([]float64{-limit, -limit + 1e-6, -limit / 2, -1e-9, 0, 1e-9, limit / 2, limit - 1e-6, limit}),
			rapid.Map(rapid.IntRange(int(-limit), int(limit)), func(i int) float64 { return float64(i) }),
		)
	}
	return rapid.Custom(func(t *rapid.T) Point {
		return Point{angle(90).Draw(t, "lat"), angle(180).Draw(t, "lon")}
	})
}

func TestDistanceIsAMetric(t *testing.T) {
	halfGirth, _, _ := Inverse(Point{90, 0}, Point{-90, 0}) // the longest of all shortest lines
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := point().Draw(t, "a"), point().Draw(t, "b"), point().Draw(t, "c")
		ab, ba, bc, ac := Between(a, b), Between(b, a), Between(b, c), Between(a, c)
		require.Zero(t, Between(a, a))
		require.InDelta(t, ab.DistanceKm, ba.DistanceKm, mmKm, "symmetry")
		require.LessOrEqual(t, ac.DistanceKm, ab.DistanceKm+bc.DistanceKm+mmKm, "triangle")
		require.GreaterOrEqual(t, ab.DistanceKm, 0.)
		require.LessOrEqual(t, ab.DistanceKm, halfGirth+mmKm)
	})
}

func TestBearingsAreInRangeAndExchange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := point().Draw(t, "a"), point().Draw(t, "b")
		ab, ba := Between(a, b), Between(b, a)
		require.Equal(t, ab.HasBearing, ba.HasBack)
		require.Equal(t, ab.HasBack, ba.HasBearing)
		for _, bearing := range []float64{ab.BearingDeg, ab.BackBearingDeg} {
			require.True(t, bearing >= 0 && bearing < 360, "%v", bearing)
		}
		// one millimetre across the line, seen from its ends; the sine of the arc grows small at the antipode too
		across := math.Sin(math.Min(ab.DistanceKm/polarKm, math.Pi))
		if tol := mmKm / polarKm / across * degrees; ab.HasBearing && tol < 1e-3 {
			require.LessOrEqual(t, angleApart(ab.BearingDeg, ba.BackBearingDeg), tol)
		}
	})
}

// Over a short distance the bearing back is the bearing plus 180, up to the convergence of the meridians:
// longitude difference times the sine of the latitude.
func TestShortLinesGoBackTheWayTheyCame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Point{rapid.Float64Range(-80, 80).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")}
		b := Point{
			a.LatDeg + rapid.Float64Range(0.001, 0.05).Draw(t, "north"),
			a.LonDeg + rapid.Float64Range(-0.05, 0.05).Draw(t, "east"),
		}
		p := Between(a, b)
		converge := (b.LonDeg - a.LonDeg) * math.Sin((a.LatDeg+b.LatDeg)/2/degrees)
		require.LessOrEqual(t, angleApart(p.BackBearingDeg, p.BearingDeg+180+converge), 1e-4)
	})
}

func TestMirrorsAndTurnsChangeNoDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := point().Draw(t, "a"), point().Draw(t, "b")
		want := Between(a, b)
		south := Between(Point{-a.LatDeg, a.LonDeg}, Point{-b.LatDeg, b.LonDeg})
		west := Between(Point{a.LatDeg, -a.LonDeg}, Point{b.LatDeg, -b.LonDeg})
		turned := Between(Point{a.LatDeg, a.LonDeg + 360}, b) // the sum rounds: the same place within 1e-9 m
		require.InDelta(t, want.DistanceKm, turned.DistanceKm, mmKm)
		for _, p := range []Path{south, west} {
			require.InDelta(t, want.DistanceKm, p.DistanceKm, mmKm)
			require.Equal(t, want.HasBearing, p.HasBearing)
		}
	})
}

func TestPolesSeeOnlyMeridians(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Point{rapid.Float64Range(-89, 89).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")}
		at := rapid.Float64Range(-180, 180).Draw(t, "longitude written for the pole")
		north, south := Between(a, Point{90, at}), Between(a, Point{-90, at})
		require.InDelta(t, 0, math.Remainder(north.BearingDeg, 360), 1e-9)
		require.InDelta(t, 180, south.BearingDeg, 1e-9)
		require.False(t, north.HasBack || south.HasBack)
		halfGirth, _, _ := Inverse(Point{90, 0}, Point{-90, 0})
		require.InDelta(t, halfGirth, north.DistanceKm+south.DistanceKm, mmKm)
	})
}

func TestWaypointDividesTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := point().Draw(t, "a"), point().Draw(t, "b")
		f := rapid.Float64Range(0, 1).Draw(t, "fraction")
		whole := Between(a, b).DistanceKm
		w, back := Waypoint(a, b, f), Waypoint(b, a, 1-f)
		require.InDelta(t, f*whole, Between(a, w).DistanceKm, mmKm)
		require.InDelta(t, (1-f)*whole, Between(w, b).DistanceKm, mmKm)
		require.InDelta(t, 0, Between(Waypoint(a, b, 1), b).DistanceKm, mmKm)
		require.True(t, w.Valid() && w.LonDeg >= -180 && w.LonDeg < 180, "%v", w)
		if whole < 19900 { // nearer the antipode a millimetre at the ends is much more in the middle
			require.InDelta(t, 0, Between(w, back).DistanceKm, 100*mmKm)
			require.InDelta(t, 0, Between(Midpoint(a, b), Waypoint(a, b, 0.5)).DistanceKm, 0)
		}
	})
}

// The same azimuth from both methods wherever both apply. (A line along the equator itself has no azimuth
// that bisection could find: solve keeps such pairs.)
// The direct problem is the inverse one turned round; both ways lie within a metre of each other.
func TestDirectIsInverseTurnedRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Point{rapid.Float64Range(-89, 89).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")}
		bearing, km := rapid.Float64Range(0, 359.99).Draw(t, "bearing"), rapid.Float64Range(1, 19900).Draw(t, "km")
		b := Direct(a, bearing, km)
		if !b.Valid() || b.LonDeg < -180 || b.LonDeg >= 180 {
			t.Fatalf("%v is no point", b)
		}
		back, _, _ := Inverse(a, b)
		if math.Abs(back-km) > 1e-3 {
			t.Fatalf("%g km away, not %g", back, km)
		}
		to, azimuth, _ := Inverse(a, b)
		if again := Direct(a, azimuth, to); math.Abs(again.LatDeg-b.LatDeg) > 1e-5 || math.Abs(again.LatDeg) < 89 && math.Abs(lonDifference(b.LonDeg, again.LonDeg)) > 1e-3 {
			t.Fatalf("%v and not %v", again, b)
		}
		if off := math.Abs(lonDifference(azimuth, bearing)); off > 1e-3 {
			t.Fatalf("it leaves in %g, not in %g", azimuth, bearing)
		}
	})
	require.Equal(t, Point{10, 20}, Direct(Point{10, 20}, 77, 0))
	require.Panics(t, func() { Direct(Point{10, 20}, 77, 20005) })
	require.Panics(t, func() { Direct(Point{91, 20}, 77, 5) })
}

func TestFastAndSafeMethodsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat1 := rapid.Float64Range(1e-6, 89).Draw(t, "lat1") * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "hemisphere")
		lat2 := rapid.Float64Range(-89, 89).Draw(t, "lat2")
		lon := rapid.Float64Range(1, 170).Draw(t, "lon")
		fast, safe := solve(lat1, lat2, lon), antipodal(reduce(lat1), reduce(lat2), lon/degrees)
		require.InDelta(t, fast.lengthKm(), safe.lengthKm(), mmKm)
		tol := 1e-10 * degrees / math.Min(math.Sin(fast.sigma), 1) // Vincenty's longitude series ends there
		require.LessOrEqual(t, angleApart(bearing(fast.azi1.sin, fast.azi1.cos), bearing(safe.azi1.sin, safe.azi1.cos)), tol)
		require.LessOrEqual(t, angleApart(bearing(fast.azi2.sin, fast.azi2.cos), bearing(safe.azi2.sin, safe.azi2.cos)), tol)
	})
}

// The series against the integrals that they expand (Karney 2013, equations 7 and 8), by Gauss's rule.
func TestSeriesMeetTheirIntegrals(t *testing.T) {
	const tol = 1e-14
	for _, azi0Deg := range []float64{0, 17, 45, 80, 90} {
		cosSq := math.Pow(math.Cos(azi0Deg/degrees), 2)
		root := func(s float64) float64 { return math.Sqrt(1 + secondEccSqrd*cosSq*math.Sin(s)*math.Sin(s)) }
		a1, c1 := distanceSeries(expansion(cosSq))
		a3, c3 := longitudeSeries(expansion(cosSq))
		for _, sigma := range []float64{0.2, 1, 2, 3} {
			i1 := quad.Fixed(root, 0, sigma, 60, nil, 0)
			i3 := quad.Fixed(func(s float64) float64 {
				return (2 - flattening) / (1 + (1-flattening)*root(s))
			}, 0, sigma, 60, nil, 0)
			require.InDelta(t, i1, a1*(sigma+c1.at(sincos(sigma))), tol, "distance, azimuth %v, arc %v", azi0Deg, sigma)
			require.InDelta(t, i3, a3*(sigma+c3.at(sincos(sigma))), tol, "longitude, azimuth %v, arc %v", azi0Deg, sigma)
		}
	}
}

// The standard library's functions are good to the last bit or so; 4e-16 is two units of it near 1.
func TestTrigonometry(t *testing.T) {
	const tol = 4e-16
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-20, 20).Draw(t, "x")
		p := sincos(x)
		require.InDelta(t, math.Sin(x), p.sin, tol)
		require.InDelta(t, math.Cos(x), p.cos, tol)
		a, b := rapid.Float64Range(-2, 2).Draw(t, "a"), rapid.Float64Range(-2, 2).Draw(t, "b")
		require.InDelta(t, math.Atan2(a+0, b+0), atan2(a+0, b+0), 2*tol) // up to pi; +0 for -0, which has no place here
		deg := rapid.Float64Range(-360, 360).Draw(t, "degrees")
		require.InDelta(t, math.Sin(deg/180*math.Pi), sincosDeg(deg).sin, 4*tol) // the argument's own rounding
	})
	for k, want := range []pair{{0, 1}, {1, 0}, {0, -1}, {-1, 0}, {0, 1}} {
		require.Equal(t, want, pair{sincosDeg(float64(90*k)).sin + 0, sincosDeg(float64(90*k)).cos + 0})
	}
	require.Equal(t, 180., bearing(0, -1))
	require.Equal(t, 0., bearing(0, 1))
	require.Equal(t, 90., bearing(1, 0))
	require.Equal(t, 270., bearing(-1, 0))
	require.Equal(t, 0., turn(-1e-20))
}

// The bits of a thousand lines: they may not depend on the processor.
func TestSameBitsOnEveryProcessor(t *testing.T) {
	const want = uint64(0x8a9f898d4eda5223)
	h := fnv.New64a()
	put := func(v float64) {
		bits := math.Float64bits(v)
		for s := 0; s < 64; s += 8 {
			h.Write([]byte{byte(bits >> s)})
		}
	}
	for i := range 1000 { // multiples of 1/8 degree: the inputs are exact
		a := Point{float64(i*611%1441)/8 - 90, float64(i*1237%2881)/8 - 180}
		b := Point{float64(i*977%1441)/8 - 90, float64(i*2017%2881)/8 - 180}
		p, w := Between(a, b), Waypoint(a, b, 0.375)
		spread := BearingUncertainty(50, p.DistanceKm)
		for _, v := range []float64{p.DistanceKm, p.BearingDeg, p.BackBearingDeg, w.LatDeg, w.LonDeg, spread} {
			put(v)
		}
	}
	require.Equal(t, want, h.Sum64())
}
