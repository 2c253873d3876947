package report

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLobeDirection(t *testing.T) {
	for want, c := range map[string]struct {
		harmonic int
		toward   float64
		in       [2]float64
	}{
		"300 degrees; from 250 clockwise to 350":     {1, 300.4, [2]float64{250, 350}},
		"5 degrees; from 350 clockwise to 20":        {1, 5, [2]float64{350, 20}},
		"along 30 and 210 degrees; from 22 to 40":    {2, 30.4427, [2]float64{22, 40}},
		"along 175 and 355 degrees; from 165 to 185": {2, 175, [2]float64{165, 5}},
		"along 0 and 180 degrees; from 172 to 188":   {2, 179.8, [2]float64{172, 8}},
		"along 10 and 190 degrees; from 10 to 10":    {2, 190, [2]float64{10, 10}},
	} {
		require.Equal(t, want, lobeDirection(c.harmonic, c.toward, c.in))
	}
}

func TestSingulars(t *testing.T) {
	require.Equal(t, "1 reading", counted(1, "reading"))
	require.Equal(t, "0 readings", counted(0, "reading"))
	require.Equal(t, "by the log: 1 dwell, shortened alike with the others of its block", lateChanges(1))
	require.Equal(t, "by the log: 3 dwells, shortened alike with the others of their blocks", lateChanges(3))
	w := &writer{}
	w.sweeps(entry{Sweeps: []sweepEntry{{Arm: "high", Sweep: "a.csv", Readings: 1, HighestSWR: at(1.5), FrequencyMHz: at(14)}}})
	require.Equal(t, "  high, a.csv: highest SWR 1.5, at 14 MHz, of 1 reading\n", w.String())
}

// A match is judged arm by arm: nothing stands against anything.
func TestArmsWords(t *testing.T) {
	arms := []string{"high", "low"}
	require.Equal(t, "high, low", (&entry{Kind: "match", Arms: arms}).armsWords())
	require.Equal(t, "high against low", (&entry{Kind: "level", Arms: arms}).armsWords())
}

func TestRowNameKeepsTheBand(t *testing.T) {
	for want, e := range map[string]entry{
		"turning changes th…, 20m": {Claim: "turning changes the level", Band: "20m"},
		"lift helps, 20m":          {Claim: "lift helps", Band: "20m"},
		"aaaaaaaaaaa…, 123456789…": {Claim: strings.Repeat("a", 40), Band: "1234567890123"},
	} {
		require.Equal(t, want, rowName(e))
		require.LessOrEqual(t, len([]rune(rowName(e))), nameWidth)
	}
}

// What the page warns of, the text warns of.
func TestTextAndPageTellTheSame(t *testing.T) {
	w := newWorld(6)
	w.entries[2]["naive"] = map[string]any{"uniform_bearings_p": 0.0123, "misleading": true}
	w.params.Safety = []string{"The mast stands on a cliff."}
	in := w.input(t)
	defer in.Release()
	doc, intake, err := w.params.document(in)
	require.NoError(t, err)
	_, text, err := w.params.text(in, doc, intake)
	require.NoError(t, err)
	flat := strings.Join(strings.Fields(string(text)), " ")
	page := w.html(t)
	for _, both := range []string{"This wire is fed at an end.", "The mast stands on a cliff.", "0.0123"} {
		require.Contains(t, flat, both)
		require.Contains(t, page, both)
	}
	require.Contains(t, flat, "misleading: p = 0.0123, by a test whether the reports' bearings spread evenly")
	require.Contains(t, flat, "misleading: p = 0.000001 or less, by a t test over single reports")
	require.Contains(t, flat, "match holds, 20m (match: high, low)")
	require.Contains(t, page, "<dd>high, low</dd>")

	w.params.EndFed = false
	require.NotContains(t, strings.Join(w.params.cautions(), " "), "fed at an end")
}

// Two references never share a picture, and one that is not the usual one is named.
func TestSweepsByReference(t *testing.T) {
	read := func(sweep string, z0 float64) reading {
		return reading{arm: "high", sweep: sweep, plane: "radio", measured: true, mhz: 14.1, z0: z0, swr: at(1.5), returnLoss: at(14)}
	}
	tables := &tables{readings: []reading{read("a.csv", 75), read("b.csv", 50), read("c.csv", 75)}}
	views := tables.sweepViews([]Band{{"20m", 14, 14.35}}, nil)
	var headings []string
	for _, v := range views {
		f := v.figure("x")
		headings = append(headings, fmt.Sprintf("%s: %d", f.Heading, len(f.Legend)))
		require.Contains(t, f.Note, fmt.Sprintf("against %g ohm", v.z0))
	}
	require.Equal(t, []string{"20m, at the radio: 1", "20m, at the radio, against 75 ohm: 2"}, headings)
}

// The heaviest drop at the rim, with its ring, ends before the letters begin: about 5 units from their middle, 7 for W.
func TestLettersStandClearOfTheRim(t *testing.T) {
	p := &picture{}
	p.compass(centre, centre, mapRim)
	found := regexp.MustCompile(`x="([0-9.]+)" y="([0-9.]+)"`).FindAllStringSubmatch(p.String(), -1)
	require.Len(t, found, 4)
	const largestDrop, ring, halfLetter = 6.8, 3, 7
	for _, f := range found {
		var x, y float64
		_, err := fmt.Sscan(f[1]+" "+f[2], &x, &y)
		require.NoError(t, err)
		require.Greater(t, math.Hypot(x-centre, y-5-centre)-halfLetter, mapRim+largestDrop+ring)
	}
}
