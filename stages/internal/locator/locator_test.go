package locator

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/geo"
)

// readRows reads a check file as maps from column name to text.
func readRows(t testing.TB, file string, want int) []map[string]string {
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

func number(t testing.TB, r map[string]string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	require.NoError(t, err, "row %s, column %s", r["id"], column)
	return v
}

// Exact rational arithmetic (testdata/README.md).
func TestEncode(t *testing.T) {
	columns := map[string]int{"loc2": 2, "loc4": 4, "loc6": 6, "loc8": 8, "loc10": 10}
	for _, r := range readRows(t, "testdata/encode.csv", 40) {
		for column, chars := range columns {
			got, err := EncodeText(r["lat_deg"], r["lon_deg"], chars)
			require.NoError(t, err)
			require.Equal(t, r[column], strings.ToUpper(got), r["id"])
			floats, err := Encode(number(t, r, "lat_deg"), number(t, r, "lon_deg"), chars)
			require.NoError(t, err)
			require.Equal(t, got, floats, r["id"])
		}
	}
}

// Exact rational arithmetic (testdata/README.md), printed to 15 digits.
func TestDecode(t *testing.T) {
	const tolDeg = 1e-9
	for _, r := range readRows(t, "testdata/decode.csv", 28) {
		c, err := Decode(r["locator"])
		require.NoError(t, err, r["id"])
		require.Equal(t, r["canonical_upper"], strings.ToUpper(c.Text), r["id"])
		for column, got := range map[string]float64{
			"centre_lat_deg": c.Lat, "centre_lon_deg": c.Lon,
			"south_deg": c.South, "west_deg": c.West, "north_deg": c.North, "east_deg": c.East,
		} {
			require.InDelta(t, number(t, r, column), got, tolDeg, "%s %s", r["id"], column)
		}
		back, err := Encode(c.Lat, c.Lon, len(c.Text))
		require.NoError(t, err)
		require.Equal(t, c.Text, back, r["id"])
	}
}

func TestSpelling(t *testing.T) {
	for in, want := range map[string]string{
		"jn": "JN", "MN83KP": "MN83kp", "mn83kp": "MN83kp", "jN47Pk52bX": "JN47pk52bx", "JN47PK52BX07": "JN47pk52bx07",
	} {
		c, err := Decode(in)
		require.NoError(t, err)
		require.Equal(t, want, c.Text)
	}
}

func TestInvalid(t *testing.T) {
	for _, r := range readRows(t, "testdata/invalid.csv", 19) {
		_, err := Decode(r["locator"])
		require.Error(t, err, "%s: %s", r["id"], r["what_is_wrong"])
		require.ErrorContains(t, err, strconv.Quote(r["locator"]), r["id"])
	}
}

func TestErrorTexts(t *testing.T) {
	for in, want := range map[string]string{
		"":               `locator "": the text is empty`,
		"ZZ99":           `locator "ZZ99": the first pair is "ZZ", but goes from AA to RR`,
		"JNA7":           `locator "JNA7": the second pair is "A7", but goes from 00 to 99`,
		"JN47py":         `locator "JN47py": the third pair is "py", but goes from AA to XX`,
		"JN47pk52bxAA":   `locator "JN47pk52bxAA": the sixth pair is "AA", but goes from 00 to 99`,
		"JN4":            `locator "JN4": 3 characters are an odd number, a locator is made of pairs`,
		"JN47pk52bx0012": `locator "JN47pk52bx0012": 14 characters are too many, the longest has 12`,
		"JÑ47":           `locator "JÑ47": a character is not one of A-Z, a-z and 0-9`,
	} {
		_, err := Decode(in)
		require.EqualError(t, err, want)
	}
	_, err := Decode(strings.Repeat("é", 500))
	require.EqualError(t, err, `locator "`+strings.Repeat("é", 20)+`...": 500 characters are too many, the longest has 12`)
	_, err = Decode("A" + strings.Repeat("é", 500)) // no character is cut in two
	require.EqualError(t, err, `locator "A`+strings.Repeat("é", 19)+`...": 501 characters are too many, the longest has 12`)

	var e *Error
	require.ErrorAs(t, err, &e)
	d := e.Diag(diag.Pos{File: "ridge.toml", Line: 12, Column: 11})
	require.Equal(t, "ridge.toml:12:11: "+err.Error()+"\n    mend: "+example, d.String())
	_, err = Decode("MN83kp") // the mend's own example must work
	require.NoError(t, err)
}

func TestEncodeRefuses(t *testing.T) {
	cases := []struct {
		lat, lon string
		chars    int
		want     string
	}{
		{"90.000001", "0", 6, `latitude "90.000001": lies outside -90 to 90 degrees`},
		{"-90.000001", "0", 6, `latitude "-90.000001": lies outside -90 to 90 degrees`},
		{"", "0", 6, `latitude "": is not a decimal number of degrees`},
		{"1", "1e3", 6, `longitude "1e3": is not a decimal number of degrees`},
		{"1", "1/3", 6, `longitude "1/3": is not a decimal number of degrees`},
		{"1", "8,5", 6, `longitude "8,5": is not a decimal number of degrees`},
		{"1", " 8.5", 6, `longitude " 8.5": is not a decimal number of degrees`},
		{"0x10", "8.5", 6, `latitude "0x10": is not a decimal number of degrees`},
		{".", "8.5", 6, `latitude ".": is not a decimal number of degrees`},
		{"1", "1", 5, "encoding a locator: 5 characters asked for, not 2, 4, 6, 8, 10 or 12"},
		{"1", "1", 0, "encoding a locator: 0 characters asked for, not 2, 4, 6, 8, 10 or 12"},
		{"1", "1", 14, "encoding a locator: 14 characters asked for, not 2, 4, 6, 8, 10 or 12"},
	}
	for _, c := range cases {
		_, err := EncodeText(c.lat, c.lon, c.chars)
		require.EqualError(t, err, c.want)
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 91} {
		_, err := Encode(v, 0, 6)
		require.Error(t, err, "%v", v)
	}
	_, err := Encode(0, math.NaN(), 6)
	require.EqualError(t, err, `longitude "NaN": is not a decimal number of degrees`)
}

// Any way of writing the same number is in the same cell; an edge belongs to the cell north and east of it.
func TestEncodeForms(t *testing.T) {
	for _, c := range []struct{ lat, lon, want string }{
		{"+12.0625", "012.125", "JK62bb55aa00"},
		{"12.06250000", "372.125", "JK62bb55aa00"},
		{"12.0625", "-347.875", "JK62bb55aa00"},
		{"12.062499999999999999999999999999", "12.125", "JK62bb54ax09"},
		{"-.0", "0.", "JJ00aa00aa00"},
		{"-0.000000000000000000000000000001", "0", "JI09ax09ax09"},
	} {
		got, err := EncodeText(c.lat, c.lon, 12)
		require.NoError(t, err)
		require.Equal(t, c.want, got, "%v", c)
	}
	small, err := Encode(-5e-20, 5e-324, 6)
	require.NoError(t, err)
	require.Equal(t, "JI09ax", small)
}

func TestDistance(t *testing.T) {
	const tolKm, tolDeg = 1e-3, 1e-6 // 1 m, testdata/README.md
	for _, r := range readRows(t, "testdata/distance.csv", 8) {
		a, err := Decode(r["loc_a"])
		require.NoError(t, err)
		b, err := Decode(r["loc_b"])
		require.NoError(t, err)
		km, bearing, ok := geo.Inverse(a.Centre(), b.Centre())
		require.InDelta(t, number(t, r, "wgs84_km"), km, tolKm, r["id"])
		require.Equal(t, r["wgs84_azi_deg"] != "", ok, r["id"])
		if ok {
			apart := math.Abs(math.Remainder(bearing-number(t, r, "wgs84_azi_deg"), 360))
			require.LessOrEqual(t, apart, tolDeg, r["id"])
		}
	}
}

func TestContains(t *testing.T) {
	for _, c := range []struct {
		long, short string
		want        bool
	}{
		{"JN47pk", "JN47", true}, {"jn47PK", "Jn47pK", true}, {"JN47", "JN47pk", false},
		{"JN47pk", "JN48", false}, {"JN47pk", "", false}, {"", "", false}, {"JN", "jn", true},
	} {
		require.Equal(t, c.want, Contains(c.long, c.short), "%v", c)
	}
}

// The half-diagonal of a four-character cell, 2 by 1 degrees, on a sphere of 111.2 km a degree: 0.5 degrees north,
// cos(lat) degrees east; the ellipsoid and the rounding of 111.2 make up to 1 %.
func TestRadius(t *testing.T) {
	for text, lat := range map[string]float64{"JJ00": 0, "MN83": 43, "KP20": 60, "FI09": 0} {
		c, err := Decode(text)
		require.NoError(t, err)
		want := 111.2 * math.Hypot(0.5, math.Cos(lat*math.Pi/180))
		require.InEpsilon(t, want, RadiusKm(c), 0.01, text)
	}
	polar, err := Decode("RR99")
	require.NoError(t, err)
	require.InDelta(t, 55.85, RadiusKm(polar), 0.1, "half a degree to the pole, the farthest corner")
}

var anyLocator = rapid.StringMatching(`[A-R]{2}([0-9]{2}([a-x]{2}([0-9]{2}([a-x]{2}([0-9]{2})?)?)?)?)?`)

func TestNoPointLiesBeyondTheRadius(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, err := Decode(anyLocator.Draw(t, "locator"))
		require.NoError(t, err)
		p := geo.Point{
			LatDeg: rapid.Float64Range(c.South, c.North).Draw(t, "lat"),
			LonDeg: rapid.Float64Range(c.West, c.East).Draw(t, "lon"),
		}
		km, _, _ := geo.Inverse(c.Centre(), p)
		require.LessOrEqual(t, km, RadiusKm(c)+1e-6)
	})
}

func TestCellsNestAndOwnTheirCentre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		long := anyLocator.Draw(t, "locator")
		inner, err := Decode(long)
		require.NoError(t, err)
		short := long[:2*rapid.IntRange(1, len(long)/2).Draw(t, "pairs")]
		outer, err := Decode(short)
		require.NoError(t, err)
		require.True(t, Contains(long, short))
		require.True(t, outer.South <= inner.South && inner.North <= outer.North)
		require.True(t, outer.West <= inner.West && inner.East <= outer.East)
		for _, chars := range []int{len(short), len(long)} {
			back, err := Encode(inner.Lat, inner.Lon, chars)
			require.NoError(t, err)
			require.Equal(t, long[:chars], back)
		}
	})
}

// A point encodes to a cell that holds it, and a longer text begins with the shorter one.
func TestEncodedCellHoldsThePoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat, lon := rapid.Float64Range(-90, 90).Draw(t, "lat"), rapid.Float64Range(-180, 179.999).Draw(t, "lon")
		chars := 2 * rapid.IntRange(1, 6).Draw(t, "pairs")
		text, err := Encode(lat, lon, chars)
		require.NoError(t, err)
		c, err := Decode(text)
		require.NoError(t, err)
		require.Equal(t, text, c.Text)
		require.True(t, c.South <= lat && lat <= c.North && c.West <= lon && lon <= c.East, "%v", c)
		full, err := Encode(lat, lon, maxChars)
		require.NoError(t, err)
		require.Equal(t, text, full[:chars])
	})
}

func FuzzDecode(f *testing.F) {
	for _, r := range readRows(f, "testdata/decode.csv", 28) {
		f.Add(r["locator"])
	}
	for _, r := range readRows(f, "testdata/invalid.csv", 19) {
		f.Add(r["locator"])
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := Decode(s)
		if err != nil {
			require.Zero(t, c)
			require.Less(t, len(err.Error()), 400)
			return
		}
		require.True(t, strings.EqualFold(s, c.Text))
		back, err := Encode(c.Lat, c.Lon, len(s))
		require.NoError(t, err)
		require.Equal(t, c.Text, back)
	})
}

func FuzzEncodeText(f *testing.F) {
	for _, r := range readRows(f, "testdata/encode.csv", 40) {
		f.Add(r["lat_deg"], r["lon_deg"], 6)
	}
	f.Add("1e9", "1/3", 12)
	f.Fuzz(func(t *testing.T, lat, lon string, chars int) {
		text, err := EncodeText(lat, lon, chars)
		if err != nil {
			require.Empty(t, text)
			return
		}
		c, err := Decode(text)
		require.NoError(t, err)
		require.Equal(t, text, c.Text)
		require.Len(t, text, chars)
	})
}

func BenchmarkDecode(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode("mn83KP"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEncode(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Encode(43.646, 4.208, 6); err != nil {
			b.Fatal(err)
		}
	}
}
