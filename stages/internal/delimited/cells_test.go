package delimited

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestFloat(t *testing.T) {
	good := []struct {
		text string
		want float64
	}{{"1", 1}, {" -12 ", -12}, {"+03", 3}, {".5", 0.5}, {"5.", 5}, {"14.0971", 14.0971}, {"1.4E+01", 14}, {"1e-3", 0.001}, {"-0", math.Copysign(0, -1)}, {"1e-999", 0}}
	for _, c := range good {
		v, err := Float(c.text)
		require.NoError(t, err, c.text)
		assert.Equal(t, math.Float64bits(c.want), math.Float64bits(v), c.text)
	}
	bad := []struct{ text, want string }{
		{"", `"" is empty: write a number`},
		{"  ", `"  " is empty: write a number`},
		{"14,0971", `"14,0971" has a decimal comma: write 14.0971`},
		{"1,400,971", `"1,400,971" has commas between its digits: write 1400971`},
		{"14,097.1", `"14,097.1" has commas between its digits: write 14097.1`},
		{"\u221212", `"−12" has a typographic minus sign: write -12`},
		{"5 W", `"5 W" has something behind the number: write 5, and the unit in the experiment file`},
		{"5W", `"5W" is not a number: write digits with at most one decimal point`},
		{"NaN", `"NaN" is not a number: write digits with at most one decimal point`},
		{"-Inf", "is not a number"}, {"infinity", "is not a number"}, {"0x1p4", "is not a number"}, {"1_000", "is not a number"},
		{".", "is not a number"}, {"-", "is not a number"}, {"1.2.3", "is not a number"}, {"1e", "is not a number"}, {"1e+", "is not a number"},
		{"e5", "is not a number"}, {"--1", "is not a number"}, {",", "is not a number"}, {"1e5.5", "is not a number"},
		{"1e999", `"1e999" is too large for a number: correct it`},
		{"\xff" + strings.Repeat("x", 100), `"\xff` + strings.Repeat("x", 59) + `"... is not a number`},
	}
	for _, c := range bad {
		_, err := Float(c.text)
		require.ErrorContains(t, err, c.want)
		var cell *CellError
		require.ErrorAs(t, err, &cell)
		assert.Equal(t, c.text, cell.Value)
	}
}

// TestFloatReadsWhatIsWritten: any finite number in the forms of strconv comes back bit by bit.
func TestFloatReadsWhatIsWritten(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := rapid.Float64().Draw(rt, "v")
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return
		}
		for _, format := range []byte("efg") {
			got, err := Float(strconv.FormatFloat(v, format, -1, 64))
			require.NoError(rt, err)
			require.Equal(rt, math.Float64bits(v), math.Float64bits(got))
		}
	})
}

func TestFrequency(t *testing.T) {
	for unit, text := range map[string]string{"Hz": "14097100", "kHz": "14097.1", "MHz": "14.0971"} {
		v, err := FrequencyMHz(text, unit)
		require.NoError(t, err)
		assert.Equal(t, 14.0971, v, unit)
	}
	for unit, text := range map[string]string{"Hz": "54.000001E6", "kHz": "54000.001", "MHz": "5.4000001e1"} {
		v, err := FrequencyMHz(text, unit)
		require.NoError(t, err)
		assert.Equal(t, 54.000001, v, "a band edge is met in every unit: %s", unit)
	}
	for _, text := range []string{"0", "-14", "x", "", "0e99999999999999999999"} {
		_, err := FrequencyMHz(text, "kHz")
		require.Error(t, err, text)
	}
	_, err := FrequencyMHz("14", "GHz")
	assert.EqualError(t, err, `unit "GHz" is not one of frequency: write "Hz", "kHz" or "MHz"`)
	_, err = FrequencyMHz("0", "Hz")
	assert.EqualError(t, err, `"0" is not a frequency: write one above 0, in Hz`)
}

// TestPower: dBm is 10 lg(P / 1 mW); 37 dBm to the digits by hand: 10^0.7 = 5.01187233627...
func TestPower(t *testing.T) {
	good := []struct {
		text, unit string
		want       float64
	}{{"5", "W", 5}, {"200", "mW", 0.2}, {"30", "dBm", 1}, {"0", "dBm", 0.001}, {"37", "dBm", 5.01187233627}, {"-30", "dBm", 1e-6}, {"20", "dBm", 0.1}, {"90", "dBm", 1e6}}
	for _, c := range good {
		v, err := PowerW(c.text, c.unit)
		require.NoError(t, err)
		assert.Equal(t, c.want, v, "%s %s", c.text, c.unit)
	}
	for _, c := range [][2]string{{"0", "W"}, {"-1", "mW"}, {"91", "dBm"}, {"-121", "dBm"}, {"5 W", "W"}, {"5", "kW"}, {"5", ""}} {
		_, err := PowerW(c[0], c[1])
		require.Error(t, err, c)
	}
	_, err := PowerW("5000", "dBm")
	assert.EqualError(t, err, `"5000" is not a power in dBm: write one from -120 to 90, for example 37 for 5 W`)
}

func TestSNR(t *testing.T) {
	for text, want := range map[string]float64{"-12": -12, "+3": 3, "-7.5": -7.5, "-60": -60, "80": 80} {
		v, err := SNR(text)
		require.NoError(t, err)
		assert.Equal(t, want, v)
	}
	for _, text := range []string{"-60.1", "80.5", "599", "-12 dB", "", "-7,5"} {
		_, err := SNR(text)
		require.Error(t, err, text)
	}
	_, err := SNR("599")
	assert.EqualError(t, err, `"599" is not a ratio of signal to noise in dB: write one from -60 to 80, or name the column that holds it`)
}

func TestDecimalPlaces(t *testing.T) {
	for text, want := range map[string]int{"1.50": 2, "1.5": 1, "2": 0, "2.": 0, ".25": 2, " 1.23 ": 2, "1.50e1": 1, "1.5e3": -2, "1E-2": 2, "-3.0": 1, "x": 0, "": 0, "1,50": 0,
		"1e99999999999999999999": 0} {
		assert.Equal(t, want, DecimalPlaces(text), "%q", text)
	}
}

// TestDecimalPlacesBound: the number is a whole multiple of its last place's unit.
func TestDecimalPlacesBound(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n, places := rapid.IntRange(0, 1_000_000).Draw(rt, "n"), rapid.IntRange(0, 6).Draw(rt, "places")
		text := strconv.FormatFloat(float64(n)/math.Pow10(places), 'f', places, 64)
		require.Equal(rt, places, DecimalPlaces(text))
		require.Equal(rt, places-2, DecimalPlaces(text+"e2"))
	})
}

func TestCellErrorIsOne(t *testing.T) {
	_, err := SNR("x")
	var cell *CellError
	require.True(t, errors.As(err, &cell))
	assert.Equal(t, CellError{"x", "is not a number", "write digits with at most one decimal point"}, *cell)
}

func BenchmarkFloat(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Float("14.0971"); err != nil {
			b.Fatal(err)
		}
	}
}
