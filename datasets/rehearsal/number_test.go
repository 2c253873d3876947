package rehearsal

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
)

func number(t *testing.T, text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

func TestPlainNumber(t *testing.T) {
	for want, v := range map[string]float64{"100": 100, "0.5": 0.5, "14.0752": 14.0752, "0": 0, "-2.25": -2.25} {
		require.Equal(t, want, plainNumber(v, 6))
	}
}

func TestPowersAndFrequencies(t *testing.T) {
	require.Equal(t, "37", power(5, "dBm")) // 10 log(5000 mW)
	require.Equal(t, "5000", power(5, "mW"))
	require.Equal(t, "0.2", power(0.2, "W"))
	require.Empty(t, power(0, "dBm"), "a power that is not told")
	require.Equal(t, "14075208", frequency(14_075_208, "Hz"))
	require.Equal(t, "14075.208", frequency(14_075_208, "kHz"))
	require.Equal(t, "14.075208", frequency(14_075_208, ""))
}

// A source whose form says the band of all rows takes the reports of that band only.
func TestFits(t *testing.T) {
	value := func(s string) experiments.Column { return experiments.Column{Value: &s} }
	src := func(name string, c experiments.Column) experiments.SpotSource {
		return experiments.SpotSource{Table: experiments.TableForm{Columns: map[string]experiments.Column{name: c}}}
	}
	hz := value("14075000")
	hz.Unit = "Hz"
	for _, c := range []struct {
		src  experiments.SpotSource
		fits bool
	}{
		{src("band", value("20m")), true}, {src("band", value("10m")), false},
		{src("frequency_mhz", value("14.1")), true}, {src("frequency_mhz", value("28.1")), false}, {src("frequency_mhz", hz), true},
		{src("transmitter", value("q1rdg")), true}, {src("transmitter", value("Q2XYZ")), false},
		{src("receiver", value("Q5AB")), true}, {src("receiver", value("Q5AC")), false},
		{src("mode", value("FT8")), true},
	} {
		require.Equal(t, c.fits, fits(report{transmitter: "Q1RDG", receiver: "Q5AB", band: "20m"}, c.src), "%+v", c.src.Table.Columns)
	}
}

func TestAdifMode(t *testing.T) {
	for name, want := range map[string][2]string{"FT8": {"FT8", ""}, "FT4": {"MFSK", "FT4"}, "Q65": {"MFSK", "Q65"}, "JT65B": {"JT65", "JT65B"}, "WSPR": {"WSPR", ""}} {
		mode, submode, ok := adifMode(name)
		require.True(t, ok, name)
		require.Equal(t, want, [2]string{mode, submode})
	}
	_, _, ok := adifMode("MINE")
	require.False(t, ok)
}
