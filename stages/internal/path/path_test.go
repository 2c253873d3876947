package path

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The tolerances that testdata/README.md states.
const (
	tolDeg = 1e-6
	tolKm  = 1e-3
)

// row is a line of a check file: column name to text.
type row map[string]string

func (r row) number(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	require.NoError(t, err, "column %s of %v", column, r)
	return v
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

// Plane geometry, calculated apart (testdata/README.md).
func TestTakeoff(t *testing.T) {
	for _, r := range readRows(t, "testdata/hops.csv", 257) {
		hops, err := strconv.Atoi(r["hops"])
		require.NoError(t, err)
		got := TakeoffDeg(r.number(t, "ground_km"), r.number(t, "height_km"), hops)
		require.InDelta(t, r.number(t, "elev_deg"), got, tolDeg, "%v", r)
		require.Equal(t, r["above_horizon"] == "true", got >= 0, "%v", r)
		require.Equal(t, r["elev_at_least_3deg"] == "true", got >= 3, "%v", r)
		if r["above_horizon"] == "true" {
			require.InDelta(t, r.number(t, "hop_km"), HopKm(r.number(t, "height_km"), got), tolKm, "%v", r)
		}
	}
}

// Plane geometry, calculated apart (testdata/README.md).
func TestHopByElevation(t *testing.T) {
	for _, r := range readRows(t, "testdata/distance_at_elevation.csv", 72) {
		require.InDelta(t, r.number(t, "hop_km"), HopKm(r.number(t, "height_km"), r.number(t, "elev_deg")), tolKm, "%v", r)
	}
	for _, r := range readRows(t, "testdata/nvis.csv", 15) {
		require.InDelta(t, r.number(t, "max_ground_km"), HopKm(r.number(t, "height_km"), r.number(t, "min_elev_deg")), tolKm, "%v", r)
	}
}

// Plane geometry, calculated apart (testdata/README.md).
func TestFewestHops(t *testing.T) {
	for _, r := range readRows(t, "testdata/min_hops.csv", 68) {
		height, ground := r.number(t, "height_km"), r.number(t, "ground_km")
		require.InDelta(t, r.number(t, "max_hop_0deg_km"), HopKm(height, 0), tolKm, "%v", r)
		require.InDelta(t, r.number(t, "max_hop_3deg_km"), HopKm(height, 3), tolKm, "%v", r)
		require.Equal(t, r["min_hops_0deg"], strconv.Itoa(FewestHops(ground, height, 0)), "%v", r)
		require.Equal(t, r["min_hops_3deg"], strconv.Itoa(FewestHops(ground, height, 3)), "%v", r)
	}
}

// A place at no distance is overhead, in one hop; a distance of exactly three hops takes three.
func TestEnds(t *testing.T) {
	require.Equal(t, 90.0, TakeoffDeg(0, 300, 1))
	require.Equal(t, 1, FewestHops(0, 300, 3))
	require.Equal(t, 3, FewestHops(3*HopKm(110, 3), 110, 3))
	require.InDelta(t, 0, HopKm(300, 90), tolKm)
}

// More hops leave steeper; the fewest hops leave at the least elevation or more, and one hop less below it.
func TestHopProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ground, height := rapid.Float64Range(1, 20000).Draw(t, "ground"), rapid.Float64Range(80, 500).Draw(t, "height")
		least := rapid.Float64Range(0, 60).Draw(t, "least")
		n := FewestHops(ground, height, least)
		require.GreaterOrEqual(t, TakeoffDeg(ground, height, n), least-tolDeg)
		require.Greater(t, TakeoffDeg(ground, height, n+1), TakeoffDeg(ground, height, n))
		if n > 1 {
			require.Less(t, TakeoffDeg(ground, height, n-1), least+tolDeg)
		}
	})
}

func BenchmarkFewestHops(b *testing.B) {
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		n := FewestHops(float64(i%20000), 110, 3)
		TakeoffDeg(float64(i%20000), 110, n)
	}
}
