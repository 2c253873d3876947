package coast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Well-known geography (common knowledge); all places lie 50 km or more from the nearest coast, unless told.
func TestOnLand(t *testing.T) {
	c := Load()
	for _, p := range []struct {
		name     string
		lat, lon float64
		want     bool
	}{
		{"Sahara", 23, 10, true},
		{"the Amazon", -5, -60, true},
		{"the Great Plains", 40, -100, true},
		{"Mongolia", 47, 104, true},
		{"central Australia", -25, 134, true},
		{"Greenland's ice", 72, -40, true},
		{"Madagascar", -19, 46.7, true},
		{"Honshu", 36.3, 138.5, true},
		{"the Alps", 46.5, 9.5, true},
		{"the middle of Iceland", 64.8, -18.5, true},
		{"Kansas beside the same by full turns", 38.5, -98 + 720, true},
		{"Chukotka west of the date line", 67.5, 178, true},
		{"Chukotka on the date line", 67.5, 180, true},
		{"the same with the other sign", 67.5, -180, true},
		{"Chukotka east of the date line", 66.5, -176, true},
		{"the South Pole", -90, 0, true},
		{"the South Pole, told with another longitude", -90, 123.4, true},
		{"the South Pole on the date line", -90, 180, true},
		{"Antarctica", -80, 90, true},
		{"Antarctica on the date line", -86, 180, true},
		{"Antarctica beside the date line", -86, -179.99, true},

		{"the North Pole", 90, 0, false},
		{"the North Pole on the date line", 90, -180, false},
		{"the middle of the Atlantic", 30, -45, false},
		{"where the equator and the first meridian meet", 0, 0, false},
		{"the middle of the Pacific", 0, -140, false},
		{"the Pacific on the date line", 30, 180, false},
		{"the same with the other sign", 30, -180, false},
		{"the Bering Sea on the date line", 58, 180, false},
		{"the Arctic Ocean on the date line", 80, 180, false},
		{"the Southern Ocean on the date line", -65, -180, false},
		{"the Ross Sea, 200 km from the ice shelf", -76, 180, false},
		{"the middle of the western Mediterranean", 40, 6, false},
		{"the Caspian Sea", 42, 50.5, false},
		{"Hudson Bay", 60, -85, false},
		{"the Gulf of Mexico", 25, -90, false},
		{"the Tasman Sea", -38, 160, false},
		{"the Indian Ocean", -20, 80, false},
		{"the North Sea", 56, 3, false},
		{"the Arctic Ocean", 85, 40, false},

		{"beyond the pole", 90.1, 0, false},
		{"no latitude", math.NaN(), 0, false},
		{"no longitude", -89, math.NaN(), false},
		{"an endless longitude", -89, math.Inf(1), false},
	} {
		require.Equal(t, p.want, c.OnLand(p.lat, p.lon), p.name)
	}
	require.False(t, Coast{}.OnLand(23, 10), "a world without land")
}

// A square from 10 to 20 degrees, one over the date line, and one around the South Pole: corners count once, wherever
// the meridian of a place passes through them.
func TestOnLandOnRingsMadeByHand(t *testing.T) {
	c := Coast{rings: [][]Point{
		closed(Point{10, 10}, Point{10, 20}, Point{20, 20}, Point{20, 10}),
		closed(Point{10, 175}, Point{10, -175}, Point{20, -175}, Point{20, 180}, Point{20, 175}),
		closed(Point{-70, -180}, Point{-70, -90}, Point{-70, 0}, Point{-70, 90}),
		closed(Point{40, 0}, Point{50, 5}, Point{40, 10}, Point{30, 5}), // a diamond
	}}
	for _, p := range []struct {
		lat, lon float64
		want     bool
	}{
		{15, 15, true}, {15, 10.001, true}, {15, 9.999, false}, {5, 15, false}, {25, 15, false}, {5, 10, false}, {5, 20, false},
		{15, 180, true}, {15, -180, true}, {15, 176, true}, {15, -176, true}, {15, 174, false}, {15, -174, false}, {5, 180, false}, {5, 175, false},
		{-80, 180, true}, {-80, 0, true}, {-80, 90, true}, {-80, 45, true}, {-60, 0, false}, {-60, 180, false}, {-90, -180, true},
		{40, 5, true}, {25, 5, false}, {49.9, 5, true}, {44, 1, false}, {40.5, 1, true},
	} {
		require.Equal(t, p.want, c.OnLand(p.lat, p.lon), "%g, %g", p.lat, p.lon)
	}
}

func closed(ring ...Point) []Point { return append(ring, ring[0]) }

// Land covers 29 % of the Earth (common knowledge: 149 of 510 million km2). The 2 % allow for ice shelves and coarse coasts.
func TestShareOfLand(t *testing.T) {
	c := Load()
	const n = 20000
	land := 0
	for i := range n { // spread evenly by golden-ratio steps
		lat := math.Asin(2*(float64(i)+0.5)/n-1) * 180 / math.Pi
		if c.OnLand(lat, 360*math.Mod(float64(i)*0.6180339887498949, 1)) {
			land++
		}
	}
	require.InDelta(t, 0.29, float64(land)/n, 0.02)
}

// The counts are those of the source: 126 rings, 5123 points; rounding to 0.01 degree may bring some points together.
func TestRingsAreClosedAndStayOnTheEarth(t *testing.T) {
	lines := Load().Lines()
	require.Len(t, lines, 126)
	points := 0
	for _, ring := range lines {
		points += len(ring)
		require.GreaterOrEqual(t, len(ring), 4)
		require.Equal(t, ring[0], ring[len(ring)-1])
		for i, p := range ring {
			require.True(t, math.Abs(p.LatDeg) <= 90 && math.Abs(p.LonDeg) <= 180)
			require.True(t, i == 0 || p != ring[i-1], "a point stands twice")
		}
	}
	require.InDelta(t, 5123, points, 20)
}

func TestLinesAreACopy(t *testing.T) {
	c := Load()
	for _, ring := range c.Lines() {
		clear(ring)
	}
	require.True(t, c.OnLand(23, 10))
}

// The file must stay small: it is part of every program.
func TestSizeOfTheFile(t *testing.T) { require.Less(t, len(embedded), 15_000) }

// What Encode rounds to hundredths comes back, and the answer does not depend on where a ring begins.
func TestEncodeReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var rings [][]Point
		for range rapid.IntRange(0, 4).Draw(t, "rings") {
			var ring []Point
			for range rapid.IntRange(3, 9).Draw(t, "points") {
				ring = append(ring, Point{float64(rapid.IntRange(-9000, 9000).Draw(t, "lat")) / 100, float64(rapid.IntRange(-18000, 18000).Draw(t, "lon")) / 100})
			}
			if ring = closed(ring...); len(rounded(ring)) == len(ring)-1 {
				rings = append(rings, ring)
			}
		}
		c, err := Read(Encode(rings))
		require.NoError(t, err)
		require.ElementsMatch(t, rings, c.Lines())

		turned := Coast{}
		for _, ring := range rings {
			turned.rings = append(turned.rings, closed(append(ring[2:len(ring)-1:len(ring)-1], ring[:2]...)...))
		}
		lat, lon := rapid.Float64Range(-90, 90).Draw(t, "at lat"), rapid.Float64Range(-180, 180).Draw(t, "at lon")
		require.Equal(t, c.OnLand(lat, lon), turned.OnLand(lat, lon))
		require.Equal(t, c.OnLand(lat, 180), c.OnLand(lat, -180))
	})
}

func TestEncodeLeavesOutWhatRoundingFlattens(t *testing.T) {
	c, err := Read(Encode([][]Point{
		closed(Point{1, 1}, Point{1.001, 1.002}, Point{1.004, 1.001}),
		closed(Point{1, 1}, Point{1.001, 1.002}, Point{2, 1}, Point{1, 2}),
	}))
	require.NoError(t, err)
	require.Equal(t, [][]Point{closed(Point{1, 1}, Point{2, 1}, Point{1, 2})}, c.Lines())
}

func TestReadRefuses(t *testing.T) {
	whole := Encode([][]Point{closed(Point{1, 1}, Point{2, 1}, Point{1, 2})})
	for _, c := range []struct {
		name, want string
		data       []byte
	}{
		{"nothing", "reading the number of coastlines: the file ends too early", nil},
		{"more rings than bytes", "9 announced, but only 0 bytes follow", []byte{9}},
		{"a cut point", "reading coastline 1 of 1: the file ends too early", whole[:len(whole)-1]},
		{"two points", "reading coastline 1 of 1: 2 points are no ring", []byte{1, 2, 2, 2, 2, 2}},
		{"beyond the Earth", "a point beyond the Earth", []byte{1, 3, 0xff, 0xff, 0xff, 1, 2, 2, 2, 2, 2}},
		{"a tail", "1 bytes after the last coastline", append(whole, 0)},
	} {
		_, err := Read(c.data)
		require.ErrorContains(t, err, c.want, c.name)
	}
}

// What can be read can be written and read again.
func FuzzRead(f *testing.F) {
	f.Add(embedded[:400])
	f.Add(Encode([][]Point{closed(Point{1, 1}, Point{2, 1}, Point{1, 2})}))
	f.Add([]byte{1, 3, 0xff, 0xff, 0xff, 1, 2, 2, 2, 2, 2})
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(data)
		if err != nil {
			return
		}
		again, err := Read(Encode(c.Lines()))
		require.NoError(t, err)
		require.LessOrEqual(t, len(again.Lines()), len(c.Lines()))
	})
}

func BenchmarkLoad(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		Load()
	}
}

func BenchmarkOnLand(b *testing.B) {
	c := Load()
	b.ReportAllocs()
	for b.Loop() {
		c.OnLand(47, 104)
	}
}
