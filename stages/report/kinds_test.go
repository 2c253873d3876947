package report

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// twoKinds are entries of the kinds whose sizes are on no scale of dB between arms, as verdicts.json has them.
const twoKinds = `[
{"claim": "more hear it", "kind": "heard_by", "band": "20m", "arms": ["high", "low"], "direction": "sent", "evidence": "randomised", "verdict": "different", "reach": "beyond",
 "reason": "high is heard by 62 % and low 48 %", "reason_code": "different", "smallest_difference_db": null, "smallest_difference_points": 10, "estimate_db": null, "interval_db": null,
 "estimate_points": 14.2345, "interval_points": [8.01, 20.5], "running_interval_points": [2.5, null], "shares_percent": [62.3, 48.1], "blocks_with_background": 11, "blocks_saturated": 3,
 "p": 0.001, "p_adjusted": 0.004, "family_size": 4, "p_running": 0.02, "beyond": {"interval_db": null, "interval_points": [1.5, 27.25], "p": 0.03, "regions": 9.5},
 "blocks": 12, "blocks_planned": 12, "stations": 61, "regions": 19, "receptions": 900,
 "sessions": [{"session": 1, "blocks": 6, "estimate_db": null, "interval_db": null, "estimate_points": 12, "interval_points": [3, 21]}, {"session": 2, "blocks": 6, "estimate_db": null, "interval_db": null, "estimate_points": -2.5, "interval_points": null}],
 "warnings": []},
{"claim": "heard as I hear", "kind": "reciprocity", "band": "20m", "arms": ["high", "low"], "direction": null, "evidence": "randomised", "verdict": "undecided", "reach": "these receivers",
 "reason": "for equal powers the data allow much", "reason_code": "undecided", "smallest_difference_db": 1.5, "estimate_db": -25.5, "interval_db": [-31, 2],
 "p": 0.08, "p_adjusted": 0.16, "family_size": 4, "p_running": 1, "running_interval_db": [null, null], "stations_one_way": 14, "stations_without_power": 2,
 "blocks": 12, "blocks_planned": 12, "stations": 12, "regions": 8, "receptions": 700, "sessions": [], "warnings": []}
]`

func kinds(t *testing.T) []entry {
	t.Helper()
	var all []entry
	require.NoError(t, json.Unmarshal([]byte(twoKinds), &all))
	return all
}

func TestSharesAndOffsetsHaveScalesOfTheirOwn(t *testing.T) {
	level := entry{Claim: "lift helps", Kind: "level", Band: "20m", SmallestDB: 1.5, EstimateDB: at(2), IntervalDB: &[2]*float64{at(1), at(3)}, P: at(0.01)}
	w := &writer{}
	w.scale(append([]entry{level}, kinds(t)...))
	text := w.String()
	for _, title := range []string{"FIRST ARM MINUS SECOND, dB", "SHARE OF STATIONS, FIRST ARM MINUS SECOND, percentage points", "SENT MINUS RECEIVED FOR EQUAL POWERS, dB"} {
		require.Equal(t, 1, strings.Count(text, title))
	}
	parts := strings.Split(strings.TrimSpace(text), "\n\n")
	require.Len(t, parts, 6, "a title and a picture each")
	require.Contains(t, parts[1], "3.3", "a share does not stretch the scale of dB")
	require.Contains(t, parts[1], "+2.00 dB")
	require.Contains(t, parts[3], "more hear it, 20m")
	require.Contains(t, parts[3], " +14.23")
	shares := entry{SmallestDB: 10, EstimateDB: at(14.2345), IntervalDB: &[2]*float64{at(8.01), at(20.5)}}
	require.Contains(t, parts[3], bar(shares, 1.1*20.5), "in points")
	require.NotContains(t, parts[3], "dB")
	require.Contains(t, parts[5], "−25.50 dB")
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, len([]rune(line)), pageWidth)
	}
}

func TestSharesAndOffsetsInTheText(t *testing.T) {
	w := &writer{}
	w.details(kinds(t))
	words := strings.Join(strings.Fields(w.String()), " ")
	for _, part := range []string{
		"(heard_by: high against low)", "share that heard high: 62.3 %; low: 48.1 %", "difference: +14.23 points, 95 %: +8.01 to +20.50 points",
		"beyond these receivers, about: +1.50 to +27.25 points", "tells who was listening: 11; in which over 90 % heard both arms: 3",
		"by session: session 1 +12.00 points, session 2 −2.50 points", "p = 0.001; corrected for 4 questions: 0.004",
		"(reciprocity: high, low)", "sent minus received, for equal powers: −25.50 dB; 95 %, for this question alone: −31.00 to +2.00 dB",
		"do not enter: stations heard in one direction only: 14; heard both ways, power not known: 2",
	} {
		require.Contains(t, words, part)
	}
}

// The page tells the numbers in words: no strip on the scale of dB between arms, and no picture of a comparison.
func TestSharesAndOffsetsOnThePage(t *testing.T) {
	all := kinds(t)
	views := answerViews(all, nil)
	require.Equal(t, [2]string{"heard by high minus low", "+14.23 points, 95\u00a0%: +8.01 to +20.50 points"}, [2]string{views[0].StripOf, views[0].Figures})
	require.Equal(t, [2]string{"sent minus received, for equal powers", "−25.50 dB, 95\u00a0%: −31.00 to +2.00 dB"}, [2]string{views[1].StripOf, views[1].Figures})
	for _, v := range views {
		require.Empty(t, v.Strip)
	}
	require.Empty(t, scaleNote(all))
	rows := map[string]string{}
	for _, d := range detailViews(all) {
		for _, r := range d.Rows {
			rows[d.Heading+": "+r[0]] = r[1]
		}
	}
	require.Equal(t, "62.3\u00a0%", rows["more hear it, 20m: share that heard high"])
	require.Equal(t, "+2.50 points or more", rows["more hear it, 20m: interval that holds however often one looks"])
	require.Equal(t, "+12.00 points (+3.00 to +21.00 points)", rows["more hear it, 20m: session 1, 6 blocks"])
	require.Equal(t, "10 points", rows["more hear it, 20m: smallest difference that matters"])
	require.Equal(t, "−25.50 dB", rows["heard as I hear, 20m: sent minus received, for equal powers"])
	require.Equal(t, "1.5 dB", rows["heard as I hear, 20m: smallest difference that matters"])

	all[0].P, all[1].P = nil, nil
	require.Contains(t, answerViews(all, nil)[0].Figures, "so far: +2.50 points or more")
	all[0].RunningPoints, all[1].RunningDB = nil, nil
	for _, v := range answerViews(all, nil) {
		require.Contains(t, v.Figures, "described and not tested")
	}

	w := newWorld(10)
	var raw []map[string]any
	require.NoError(t, json.Unmarshal([]byte(twoKinds), &raw))
	for i, e := range raw {
		w.add(e, claimBand{int64(3 + i), 0})
	}
	page := w.html(t)
	require.Contains(t, page, "<p>heard by high minus low: <b>&#43;14.23 points, 95\u00a0%: &#43;8.01 to &#43;20.50 points</b></p>")
	require.NotContains(t, page, `id="claim4s"`)
}
