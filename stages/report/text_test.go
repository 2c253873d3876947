package report

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/account"
)

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
		"narrow":         {at(0.26), at(0.27), 0.27, "              :     |[]   :              "},
		"narrow, at end": {at(4.95), at(4.99), 4.97, "              :     |     :            []"},
		"on an end":      {at(2), at(3.9), 2.05, "              :     |     : [-------]    "},
		"inside":         {at(-1), at(1), 0, "              : [---o---] :              "},
		"no upper bound": {at(2), nil, 3, "              :     |     : [---o------->"},
		"no lower bound": {nil, at(-2), -3, "<-------o---] :     |     :              "},
		"no bound":       {nil, nil, 0, "<-------------:-----o-----:------------->"},
		"off the scale":  {at(4), at(9), 5, "              :     |     :         [--->"},
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

func TestQuestions(t *testing.T) {
	for n, want := range map[int]string{1: "corrected for 1 question: 0.2", 2: "corrected for 2 questions: 0.2"} {
		w := &writer{}
		w.chances(entry{P: at(0.1), PAdjusted: at(0.2), FamilySize: &n})
		require.Equal(t, "  p = 0.1; "+want+"\n", w.String())
	}
}

func TestLogLine(t *testing.T) {
	when, watts := time.Date(2026, 9, 12, 4, 11, 0, 0, time.UTC), 3.9
	for want, e := range map[string]account.LogEvent{
		"power, 2026-09-12 04:11:00Z, session 1, low: 3.9 W":                             {Kind: "power", Time: when, Session: 1, Arm: "low", Value: &watts},
		"power, 2026-09-12 04:11:00Z: 3.9 W battery low":                                 {Kind: "power", Time: when, Value: &watts, Note: "battery low"},
		"deviation, 2026-09-12 04:11:00Z, session 1, 20m, block 2, high: guy rope slack": {Kind: "deviation", Time: when, Session: 1, Band: "20m", Block: 2, Arm: "high", Note: "guy rope slack"},
		"deviation, 2026-09-12 04:11:00Z":                                                {Kind: "deviation", Time: when},
		"remark, 2026-09-12 04:11:00Z:  [31mred":                                         {Kind: "remark", Time: when, Note: "\x1b[31mred"},
	} {
		require.Equal(t, want, logLine(e))
	}
}

func TestNothingFromTheLog(t *testing.T) {
	w := &writer{}
	require.NoError(t, w.log([]byte(`{"events": [{"kind": "battery", "time": "2026-09-12T04:11:00Z", "value": 12.4}]}`)))
	require.Empty(t, w.String())
	require.ErrorContains(t, w.log([]byte("x")), "trial.json")
}

func TestNumber(t *testing.T) {
	require.Equal(t, "-", number(nil))
	require.Equal(t, "0.000001 or less", number(at(1e-6)))
	require.Equal(t, "0.000064", number(at(0.000064)))
	require.Equal(t, "1", number(at(1)))
}
