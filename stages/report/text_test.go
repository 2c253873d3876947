package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func at(v float64) *float64 { return &v }

func TestWrap(t *testing.T) {
	for name, c := range map[string]struct{ first, text, want string }{
		"short":               {"  ", "one two", "  one two\n"},
		"nothing":             {"  ", "", "\n"},
		"later lines indent":  {"  ! ", strings.Repeat("abcdefghi ", 9), "  ! " + strings.TrimSpace(strings.Repeat("abcdefghi ", 7)) + "\n    abcdefghi abcdefghi\n"},
		"just fits":           {"", strings.Repeat("x", 78), strings.Repeat("x", 78) + "\n"},
		"a wide word is cut":  {"  ", strings.Repeat("x", 80), "  " + strings.Repeat("x", 76) + "\n  xxxx\n"},
		"letters, not bytes":  {"", strings.Repeat("ä", 78), strings.Repeat("ä", 78) + "\n"},
		"a wide word, second": {"", "a " + strings.Repeat("x", 79), "a\n" + strings.Repeat("x", 78) + "\nx\n"},
	} {
		t.Run(name, func(t *testing.T) {
			w := &writer{}
			w.wrap(c.first, c.text)
			require.Equal(t, c.want, w.String())
		})
	}
}

func TestClean(t *testing.T) {
	require.Equal(t, "a  [31mb c", clean("a\n\x1b[31mb\u202ec"))
	require.Equal(t, "high – 9 m", clean("high – 9 m"))
	require.Equal(t, "x\uFFFDy", clean("x\xffy"))
}

// The scale goes from -5 to +5 dB over 41 characters: 0.25 dB each.
func TestBar(t *testing.T) {
	for name, c := range map[string]struct {
		low, high *float64
		estimate  float64
		want      string
	}{
		"inside":         {at(-1), at(1), 0, "              : [---o---] :              "},
		"no upper bound": {at(2), nil, 3, "              :     |     : [---o------->"},
		"no lower bound": {nil, at(-2), -3, "<-------o---] :     |     :              "},
		"no bound":       {nil, nil, 0, "<-------------:-----o-----:------------->"},
		"off the scale":  {at(4), at(9), 5, "              :     |     :         [---o"},
	} {
		t.Run(name, func(t *testing.T) {
			e := entry{SmallestDB: 1.5, EstimateDB: &c.estimate, IntervalDB: &[2]*float64{c.low, c.high}}
			require.Equal(t, c.want, bar(e, 5))
		})
	}
}

func TestScaleStaysWithinThePage(t *testing.T) {
	e := entry{Claim: strings.Repeat("long name ", 9), Band: "20m", SmallestDB: 1.5, EstimateDB: at(-12.345), IntervalDB: &[2]*float64{at(-25), nil}, P: at(0.01)}
	untested := e
	untested.P = nil
	w := &writer{}
	w.scale([]entry{e, untested})
	lines := strings.Split(strings.TrimSpace(w.String()), "\n")
	require.Len(t, lines, 4, "what was not tested is not drawn")
	for _, line := range lines {
		require.LessOrEqual(t, len([]rune(line)), pageWidth)
	}
	require.True(t, strings.HasSuffix(lines[3], "−12.35 dB"), lines[3])
}

func TestBetween(t *testing.T) {
	for want, i := range map[string]*[2]*float64{
		"+0.50 to +2.00 dB":       {at(0.5), at(2)},
		"−2.00 to −0.50 dB":       {at(-2), at(-0.5)},
		"+0.50 dB or more":        {at(0.5), nil},
		"+0.50 dB or less":        {nil, at(0.5)},
		"no bound on either side": {nil, nil},
	} {
		require.Equal(t, want, between(i))
	}
	require.Equal(t, "no bound on either side", between(nil))
}

func TestNumber(t *testing.T) {
	require.Equal(t, "-", number(nil))
	require.Equal(t, "0.000001 or less", number(at(1e-6)))
	require.Equal(t, "0.000064", number(at(0.000064)))
	require.Equal(t, "1", number(at(1)))
}
