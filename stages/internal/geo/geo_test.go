package geo

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// row is a line of a check file: column name to text.
type row map[string]string

func (r row) number(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	require.NoError(t, err, "row %s, column %s", r["id"], column)
	return v
}

func (r row) points(t *testing.T) (a, b Point) {
	t.Helper()
	return Point{r.number(t, "lat1_deg"), r.number(t, "lon1_deg")}, Point{r.number(t, "lat2_deg"), r.number(t, "lon2_deg")}
}

func readRows(t *testing.T, file string, want int) []row {
	t.Helper()
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, records, want+1, file)
	rows := make([]row, 0, want)
	for _, rec := range records[1:] {
		r := row{}
		for i, name := range records[0] {
			r[name] = rec[i]
		}
		rows = append(rows, r)
	}
	return rows
}

// angleApart gives the difference of two angles, modulo 360 degrees.
func angleApart(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }

// GeographicLib 2.1.2 (testdata/README.md); tolerances stand in each row.
func TestBetweenMeetsGeographicLib(t *testing.T) {
	var worstMm, worstNearMm, worstDeg, worstNearDeg float64
	for _, r := range readRows(t, "testdata/inverse.csv", 64) {
		a, b := r.points(t)
		p := Between(a, b)
		missMm := math.Abs(p.DistanceKm*1e3-r.number(t, "dist_m")) * 1e3
		require.LessOrEqual(t, missMm, r.number(t, "tol_dist_m")*1e3, r["id"])
		require.Equal(t, r["check_azi1"] == "true", p.HasBearing, r["id"])
		require.Equal(t, r["check_azi2"] == "true", p.HasBack, r["id"])
		var missDeg float64
		if p.HasBearing {
			missDeg = angleApart(p.BearingDeg, r.number(t, "azi1_deg"))
		}
		if p.HasBack {
			missDeg = math.Max(missDeg, angleApart(p.BackBearingDeg, r.number(t, "bearing_2_to_1_deg")))
		}
		require.LessOrEqual(t, missDeg, r.number(t, "tol_azi_deg"), r["id"])
		switch r["kind"] {
		case "near-antipodal":
			worstNearMm, worstNearDeg = math.Max(worstNearMm, missMm), math.Max(worstNearDeg, missDeg)
		case "short":
		default:
			worstMm, worstDeg = math.Max(worstMm, missMm), math.Max(worstDeg, missDeg)
		}
	}
	t.Logf("worst: %.2g mm, %.2g degrees; near the antipodes %.2g mm, %.2g degrees", worstMm, worstDeg, worstNearMm, worstNearDeg)
}

func TestInverseIsBetween(t *testing.T) {
	for _, r := range readRows(t, "testdata/inverse.csv", 64) {
		a, b := r.points(t)
		p := Between(a, b)
		km, bearing, ok := Inverse(a, b)
		require.Equal(t, p, Path{km, bearing, p.BackBearingDeg, ok, p.HasBack}, r["id"])
	}
}

// The same values the other way round. A tenth of a metre is what is left of the azimuths' digits over the longest lines.
func TestDirectMeetsGeographicLib(t *testing.T) {
	tested := 0
	for _, r := range readRows(t, "testdata/inverse.csv", 64) {
		a, b := r.points(t)
		km := Between(a, b).DistanceKm
		if km == 0 || km > 19900 || math.Abs(a.LatDeg) == 90 {
			continue
		}
		tested++
		p := Direct(a, r.number(t, "azi1_deg"), km)
		off, _, _ := Inverse(p, b)
		require.LessOrEqual(t, off, 1e-4, r["id"])
	}
	require.Greater(t, tested, 45)
}

// GeographicLib 2.1.2; 1e-7 degrees are 11 mm, the digits that the file gives.
func TestWaypointMeetsGeographicLib(t *testing.T) {
	const tolDeg = 1e-7
	for _, r := range readRows(t, "testdata/waypoints.csv", 75) {
		a, b := r.points(t)
		p := Waypoint(a, b, r.number(t, "fraction"))
		require.InDelta(t, r.number(t, "lat_deg"), p.LatDeg, tolDeg, r["id"])
		// measured along the parallel: at a pole, where one line ends up, all longitudes are the same place
		east := angleApart(p.LonDeg, r.number(t, "lon_deg")) * math.Cos(p.LatDeg/degrees)
		require.LessOrEqual(t, east, tolDeg, r["id"])
	}
}

func TestLongPath(t *testing.T) {
	const tolKm, tolDeg = 1e-3, 1e-6 // the tolerances that testdata/README.md states
	sphere := map[string]row{}
	for _, r := range readRows(t, "testdata/inverse.csv", 64) {
		sphere[r["id"]] = r
	}
	for _, r := range readRows(t, "testdata/longpath.csv", 47) {
		km, bearing := LongPath(r.number(t, "short_km"), r.number(t, "short_azi_deg"))
		require.InDelta(t, r.number(t, "long_km"), km, tolKm, r["id"])
		require.LessOrEqual(t, angleApart(bearing, r.number(t, "long_azi_deg")), tolDeg, r["id"])
		s := sphere[r["id"]]
		km, bearing = LongPath(s.number(t, "sphere_dist_m")/1e3, s.number(t, "sphere_azi1_deg"))
		require.InDelta(t, r.number(t, "sphere_long_km"), km, tolKm, r["id"])
		require.LessOrEqual(t, angleApart(bearing, r.number(t, "sphere_long_azi_deg")), tolDeg, r["id"])
	}
}

func TestBearingUncertainty(t *testing.T) {
	const quarterKm = math.Pi / 2 * MeanRadiusKm
	cases := []struct {
		name                   string
		radius, distance, want float64
		tol                    float64
	}{
		{"a known point", 0, 500, 0, 0},
		{"short: asin(1/2)", 1, 2, 30, 1e-5}, // the sphere's share, r^2/R^2, is 1e-8
		{"a quarter turn away: the radius as an angle", 100, quarterKm, 100 / MeanRadiusKm * degrees, 1e-12},
		{"the same before and behind the quarter", 100, 2*quarterKm - 300, BearingUncertainty(100, 300), 1e-9},
		{"the observer stands on the edge", 60, 60, 180, 0},
		{"the observer stands inside", 60, 10, 180, 0},
		{"the observer's own square", 60, 0, 180, 0},
		{"a point at home", 0, 0, 180, 0},
		{"the circle holds the antipode", 100, 2*quarterKm - 50, 180, 0},
		{"an unknown distance", 1, math.NaN(), 180, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			require.InDelta(t, c.want, BearingUncertainty(c.radius, c.distance), c.tol)
		})
	}
}

func TestInvalidPoints(t *testing.T) {
	for _, p := range []Point{{90.1, 0}, {-91, 0}, {math.NaN(), 0}, {0, math.NaN()}, {0, math.Inf(1)}} {
		require.False(t, p.Valid())
		for _, q := range [][2]Point{{p, {}}, {{}, p}} {
			km, bearing, ok := Inverse(q[0], q[1])
			require.True(t, math.IsNaN(km))
			require.Zero(t, bearing)
			require.False(t, ok)
			require.Panics(t, func() { Waypoint(q[0], q[1], 0.5) })
		}
	}
	require.Panics(t, func() { Waypoint(Point{}, Point{1, 1}, 1.01) })
	require.Panics(t, func() { Waypoint(Point{}, Point{1, 1}, math.NaN()) })
}

func TestLongitudesAreModulo360(t *testing.T) {
	a, b := Point{12.5, 170}, Point{-7.25, -160}
	want := Between(a, b)
	for _, turns := range []float64{-720, -360, 360, 1080} {
		require.Equal(t, want, Between(a, Point{b.LatDeg, b.LonDeg + turns}))
		require.Equal(t, want, Between(Point{a.LatDeg, a.LonDeg + turns}, b))
	}
	require.Equal(t, Path{}, Between(Point{3, 180}, Point{3, -180}))
	require.Equal(t, Path{}, Between(Point{90, 12}, Point{90, 77}))
}

func BenchmarkInverse(b *testing.B) {
	home := Point{43.646, 4.208}
	away := make([]Point, 1024)
	for i := range away { // spread over the sphere by golden-ratio steps
		x := math.Mod(float64(i)*0.6180339887498949, 1)
		away[i] = Point{math.Asin(2*(float64(i)+0.5)/1024-1) * degrees, 360*x - 180}
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		Inverse(home, away[i%len(away)])
	}
}

func BenchmarkInverseNearAntipode(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		Inverse(Point{0, 0}, Point{0.5, 179.7})
	}
}

func BenchmarkWaypoint(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		Waypoint(Point{43.646, 4.208}, Point{-33.5, 151}, 0.25)
	}
}
