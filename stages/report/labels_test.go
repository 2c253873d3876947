package report

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/account"
)

// everyNumber are entries as verdicts.json has them, in which no figure stands twice: so one in another's place shows.
const everyNumber = `[
{"claim": "lift helps", "kind": "level", "band": "20m", "arms": ["high", "low"], "direction": "sent", "evidence": "randomised", "verdict": "different", "reach": "beyond",
 "reason": "high is stronger", "reason_code": "different", "smallest_difference_db": 1.5, "estimate_db": 2.11, "interval_db": [1.12, 3.13], "running_interval_db": [0.14, 4.15],
 "p": 0.0016, "p_adjusted": 0.0017, "family_size": 8, "p_running": 0.0018, "beyond": {"interval_db": [0.19, 4.2], "p": 0.021, "regions": 9.22}, "all_round_db": 1.93,
 "naive": {"spot_t_p": 0.00024, "misleading": true}, "blocks": 11, "blocks_planned": 16, "blocks_dropped": 3, "blocks_needed": 25, "stations": 61, "regions": 19, "receptions": 3120,
 "sessions": [{"session": 1, "blocks": 6, "estimate_db": 2.26, "interval_db": [0.27, 4.28]}, {"session": 2, "blocks": 5, "estimate_db": -1.29, "interval_db": null}],
 "power_corrected_db": 3.3, "power_corrected_interval_db": [2.31, 4.32], "design_interval_db": [-0.33, 5.34], "explained_by_match_db": 0.35,
 "without_late_drops": {"verdict": "undecided", "estimate_db": 1.36, "interval_db": [-0.37, 2.38]}, "warnings": []},
{"claim": "favours the slope", "kind": "directivity", "band": "20m", "arms": ["high", "low"], "direction": "sent", "evidence": "randomised", "verdict": "different", "reach": "these receivers",
 "reason": "high gains", "reason_code": "different", "smallest_difference_db": 1.5, "estimate_db": 0.41, "interval_db": null, "p": 0.0042, "p_adjusted": 0.0043, "family_size": 8, "p_running": 0.0044,
 "all_round_db": 0.45, "p_gate1": 0.0046, "p_gate2": 0.0047, "shape": "one-sided", "naive": {"uniform_bearings_p": 0.00048, "misleading": true},
 "lobe": {"harmonic": 1, "amplitude_db": 2.49, "amplitude_interval_db": [1.5, 3.51], "toward_deg": 300, "toward_interval_deg": [280, 325], "swing_high_db": 3.52},
 "front_to_back": {"axis_deg": 301, "estimate_db": 4.53, "interval_db": [2.54, 6.55]}, "sectors": [{"from_deg": 45, "to_deg": 90, "estimate_db": -1.56, "stations": 7}],
 "blocks": 12, "blocks_planned": 17, "blocks_dropped": 4, "stations": 57, "regions": 18, "receptions": 2058, "sessions": [], "warnings": []},
{"claim": "match holds", "kind": "match", "band": "20m", "arms": ["high", "low"], "verdict": "holds", "reason": "holds", "reason_code": "holds", "smallest_difference_db": 1.5, "swr_at_most": 2,
 "sweeps": [{"arm": "high", "sweep": "h.s1p", "plane": "feedpoint", "readings": 14, "highest_swr": 1.59, "at_mhz": 14.06, "z0_ohm": 75, "highest_swr_at_radio": 1.31}],
 "repeatability": [{"arm": "low", "plane": "feedpoint", "sweeps": 3, "frequencies": 9, "swr_sd": 0.061, "return_loss_sd_db": 0.62}], "sessions": [], "warnings": []},
{"claim": "comes out the same", "kind": "repeat", "band": "20m", "arms": ["high", "low"], "direction": "sent", "evidence": "randomised", "verdict": "holds", "reach": "these receivers", "reason": "holds",
 "reason_code": "holds", "smallest_difference_db": 1.5, "estimate_db": 0.63, "interval_db": [-0.64, 1.65], "stations": 41, "receptions": 966, "blocks": 12, "blocks_planned": 12,
 "repeated": [{"arm": "high", "against": ["low"], "erections": [{"erection": 1, "blocks": 6, "estimate_db": 1.67}, {"erection": 2, "blocks": 5, "estimate_db": -0.68}], "spread_db": 0.69, "spread_interval_db": [0, 1.7]}],
 "sessions": [], "warnings": []}
]`

func numbered(t *testing.T) []entry {
	t.Helper()
	var all []entry
	require.NoError(t, json.Unmarshal([]byte(everyNumber), &all))
	return all
}

func TestEachNumberOfTheTextHasItsLabel(t *testing.T) {
	w := &writer{}
	w.details(numbered(t))
	words := strings.Join(strings.Fields(w.String()), " ")
	for _, part := range []string{
		"evidence: randomised; reach: beyond blocks: 11 of 16, dropped: 3; stations: 61; receptions: 3120",
		"difference: +2.11 dB; 95 %, for this question alone: +1.12 to +3.13 dB beyond these receivers, about: +0.19 to +4.20 dB all-round value: +1.93 dB",
		"of the design, however often it is put up: −0.33 to +5.34 dB", "less the difference of the logged powers: +3.30 dB; +2.31 to +4.32 dB",
		"mismatch and line loss by the sweeps explain: +0.35 dB", "without the drops entered after the first look: undecided, +1.36 dB; −0.37 to +2.38 dB",
		"p = 0.0016; corrected for 8 questions: 0.0017 p that holds however often one looks: 0.0018 misleading: p = 0.00024, by a t test over single reports",
		"by session: session 1 +2.26 dB, session 2 −1.29 dB",
		"blocks: 12 of 17, dropped: 4; stations: 57; receptions: 2058 all-round value: +0.45 dB lobe over the receivers heard: 2.49 dB; 95 %: 1.50 to 3.51 dB",
		"its direction: 300 degrees; from 280 clockwise to 325 toward 301 degrees less the other way: +4.53 dB; +2.54 to +6.55 dB 45 to 90 degrees: −1.56 dB, stations: 7",
		"gate 1, stations differ: p = 0.0046; gate 2, by azimuth: p = 0.0047 p = 0.0042; corrected for 8 questions: 0.0043",
		"gate 1 alone, however often one looks: p = 0.0044 misleading: p = 0.00048, by a test whether the reports' bearings spread evenly",
		"high, h.s1p: highest SWR 1.59 (against 75 ohm), at 14.06 MHz, of 14 readings",
		"low, 3 sweeps: one differs from another by a standard deviation of 0.061 in SWR and 0.62 dB in return loss, over the readings at 9 frequencies",
		"difference: +0.63 dB; 95 %, for this question alone: −0.64 to +1.65 dB", "high against low: erection 1 +1.67 dB, erection 2 −0.68 dB",
		"standard deviation from one erection to the next: 0.69 dB; 95 %: 0.00 to 1.70 dB",
	} {
		require.Contains(t, words, part)
	}

	w = &writer{}
	w.rows(&account.Intake{Read: 971, Used: 431, Merged: 153, OutOfScope: 384, Quarantined: 3, Clashes: 16, Reasons: map[string]int{"outside the schedule": 384}}, 3)
	words = strings.Join(strings.Fields(w.String()), " ")
	require.Contains(t, words, "read 971 = used 431 + merged 153 + out of scope 384 + quarantined 3 384 outside the schedule 16 merged reports told another SNR")

	// not over yet, and described
	all := numbered(t)
	all[0].P, all[0].IntervalDB = nil, nil
	w = &writer{}
	w.difference(all[0])
	require.Contains(t, w.String(), "difference: +2.11 dB; so far, however often one looks: +0.14 to +4.15 dB")
	all[0].IntervalDB = &[2]*float64{at(1.12), at(3.13)}
	w = &writer{}
	w.difference(all[0])
	require.Contains(t, w.String(), "difference: +2.11 dB; described, not tested: +1.12 to +3.13 dB")
}

func TestEachNumberOfThePageHasItsLabel(t *testing.T) {
	all := numbered(t)
	got := map[string]string{}
	for _, d := range detailViews(all) {
		for _, row := range d.Rows {
			require.Empty(t, got[d.Heading+": "+row[0]], "%s stands twice", row[0])
			got[d.Heading+": "+row[0]] = strings.ReplaceAll(row[1], "\u00a0", " ")
		}
	}
	for label, want := range map[string]string{
		"lift helps, 20m: high minus low":                                                         "+2.11 dB",
		"lift helps, 20m: 95\u00a0% interval, for this question alone":                            "+1.12 to +3.13 dB",
		"lift helps, 20m: interval that holds however often one looks":                            "+0.14 to +4.15 dB",
		"lift helps, 20m: beyond these receivers, about":                                          "+0.19 to +4.20 dB",
		"lift helps, 20m: p beyond these receivers":                                               "0.021",
		"lift helps, 20m: effective regions":                                                      "9.2",
		"lift helps, 20m: all-round value":                                                        "+1.93 dB",
		"lift helps, 20m: session 1, 6 blocks":                                                    "+2.26 dB (+0.27 to +4.28 dB)",
		"lift helps, 20m: session 2, 5 blocks":                                                    "−1.29 dB",
		"lift helps, 20m: that was of these erections; of the design, however often it is put up": "−0.33 to +5.34 dB",
		"lift helps, 20m: less the difference of the logged powers":                               "+3.30 dB; +2.31 to +4.32 dB",
		"lift helps, 20m: of the difference, mismatch and line loss by the sweeps explain":        "+0.35 dB",
		"lift helps, 20m: without the drops entered after the first look":                         "undecided, +1.36 dB; −0.37 to +2.38 dB",
		"lift helps, 20m: p":                                                                "0.0016",
		"lift helps, 20m: p, corrected for 8 questions":                                     "0.0017",
		"lift helps, 20m: p that holds however often one looks":                             "0.0018",
		"lift helps, 20m: blocks":                                                           "11 of 16, dropped: 3",
		"lift helps, 20m: blocks that a new trial would need":                               "25",
		"lift helps, 20m: stations":                                                         "61",
		"lift helps, 20m: regions":                                                          "19",
		"lift helps, 20m: receptions":                                                       "3120",
		"lift helps, 20m: smallest difference that matters":                                 "1.5 dB",
		"favours the slope, 20m: all-round value":                                           "+0.45 dB",
		"favours the slope, 20m: size of the lobe over the receivers heard":                 "2.49 dB",
		"favours the slope, 20m: its 95\u00a0% interval":                                    "1.50 to 3.51 dB",
		"favours the slope, 20m: any direction differs from the all-round value by at most": "3.52 dB",
		"favours the slope, 20m: its direction":                                             "300 degrees; from 280 clockwise to 325",
		"favours the slope, 20m: toward 301 degrees less the other way":                     "+4.53 dB (+2.54 to +6.55 dB)",
		"favours the slope, 20m: p of gate 1, stations differ":                              "0.0046",
		"favours the slope, 20m: p of gate 2, by azimuth":                                   "0.0047",
		"favours the slope, 20m: p":                                                         "0.0042",
		"favours the slope, 20m: p, corrected for 8 questions":                              "0.0043",
		"favours the slope, 20m: p that holds however often one looks":                      "0.0044",
		"match holds, 20m: h.s1p":                                                           "high, at the feedpoint: highest SWR 1.59 (against 75 ohm), at 14.06 MHz, 14 readings; 1.31 at the radio",
		"comes out the same, 20m: high against low":                                         "erection 1 +1.67 dB, erection 2 −0.68 dB",
		"comes out the same, 20m: standard deviation from one erection to the next":         "0.69 dB; 95 %: 0.00 to 1.70 dB",
	} {
		require.Equal(t, want, got[label], label)
	}

	views := answerViews(all, nil)
	require.Equal(t, "+2.11 dB, 95\u00a0%: +1.12 to +3.13 dB", views[0].Figures)
	require.Equal(t, []string{"evidence: randomised", "reach: also beyond these receivers", "n: 61 stations, 3120 receptions, 11 of 16 blocks"}, views[0].Sure)
	require.Equal(t, [2]string{"size of the lobe", "2.49 dB, 95\u00a0%: 1.50 to 3.51 dB"}, [2]string{views[1].StripOf, views[1].Figures})
	var naive []string
	for _, n := range naiveViews(all) {
		naive = append(naive, n.Heading+": "+n.Reading+": "+n.P)
	}
	require.Equal(t, []string{"lift helps, 20m: " + naiveSpotT + ": 0.00024", "favours the slope, 20m: " + naiveBearings + ": 0.00048"}, naive)

	c := &comparison{}
	require.Equal(t, sectorRow{"45 to 90", "−1.56 dB", "7"}, sectorRows(c, all[1].Sectors)[0])
	mark := blockMark{scheduled{session: 2, block: 3, kept: true, begun: "2026-09-12 04:04Z"}, &blockDiff{2, 3, at(-1.71), 0.72, 73}}
	require.Equal(t, blockRow{"2", "3", "2026-09-12 04:04Z", "−1.71 dB", "0.72", "73"}, mark.row())
	v := comparisonView{}
	v.list(&comparison{stations: []placed{{stationDiff{4, 1.74, 7.5, 6, true}, place{number: 4, call: "Q1ABC", locator: "LO04"}, 76.6, 1777.7, 1, false}}})
	require.Equal(t, []stationRow{{"Q1ABC", "LO04", "77", "1778", "+1.74 dB", "7.5", "6"}}, v.Stations)
}

// The rows of the intake on the page: the label and the number beside it.
func TestRowsOfThePage(t *testing.T) {
	w := newWorld(6)
	w.intake = account.Intake{Read: 971, Used: 431, Merged: 153, OutOfScope: 384, Quarantined: 3, Clashes: 16, Reasons: map[string]int{"outside the schedule": 384}}
	page := w.html(t)
	for label, want := range map[string]string{"read": "971", "used": "431", "merged with another report of the same reception": "153", "out of scope": "384", "quarantined": "3"} {
		require.Contains(t, page, `<tr><th scope="row">`+label+`</th><td>`+want+`</td></tr>`)
	}
	require.Contains(t, page, "Merged reports that told another SNR: 16.")
}

// Two stations in one class, by hand: least and greatest of each column.
func TestSkyByHand(t *testing.T) {
	hops := func(n int64) *int64 { return &n }
	v := skyOf("20m", []pathRow{
		{station: 1, sunOwn: 11.4, sunMiddle: 22.4, sunFar: -3.4, class: "1000-2000 km",
			e: at(4.1), eMore: at(9.2), eHops: hops(1), low: at(12.3), lowMore: at(30.4), lowHops: hops(1), high: at(18.5), highMore: at(38.6), highHops: hops(1)},
		{station: 2, sunOwn: 13.6, sunMiddle: 20.6, sunFar: 5.5, class: "1000-2000 km",
			e: at(5.7), eMore: at(11.8), eHops: hops(2), low: at(14.9), lowMore: at(33.1), lowHops: hops(1), high: at(21.2), highMore: at(41.3), highHops: hops(1), longPath: true},
		{station: 2, sunOwn: 15.2, sunMiddle: 24.7, sunFar: 6.1, class: "over 4000 km"},
	})
	require.Equal(t, []sunRow{{"own station", "11°", "15°"}, {"middle of the short path", "21°", "25°"}, {"far station", "−3°", "6°"}}, v.Sun)
	require.Equal(t, classRow{"1000-2000 km", "2", "1 to 2 hops: 4 to 6°; one more: 9 to 12°", "1 hop: 12 to 15°; one more: 30 to 33°", "1 hop: 18 to 21°; one more: 39 to 41°"}, v.Classes[0])
	require.Equal(t, classRow{"over 4000 km", "1", "–", "–", "–"}, v.Classes[1])
	require.Equal(t, 1, v.Long)
}

// Where a figure is drawn, by hand from the scale that the picture states.
func TestMarksStandWhereTheirFiguresAre(t *testing.T) {
	has := func(drawn, mark string) {
		t.Helper()
		require.Contains(t, drawn, mark)
	}
	t.Run("strip", func(t *testing.T) { // from -4 to 4 dB over 22 to 318: 37 units a dB about 170
		s := strip{lowDB: at(-1), highDB: at(3), estimateDB: 2, smallestDB: 1.5}
		drawn := string(s.draw("x", "name", 4))
		has(drawn, `<line class="whisker" x1="133" y1="13" x2="133" y2="27"/>`)
		has(drawn, `<line class="whisker" x1="281" y1="13" x2="281" y2="27"/>`)
		has(drawn, `<path class="estimate" d="M244 13L250 20L244 27L238 20Z"/>`)
		has(drawn, `<rect class="zone" x="114.5" y="4" width="111" height="36"/>`)
		has(drawn, `>+4 dB</text>`)
	})
	t.Run("by bearing", func(t *testing.T) { // 1.15 * 3 dB is within 4: from the centre, -4, to the rim at 136, +4: 17 units a dB
		c := &comparison{smallestDB: 1, arms: []string{"high", "low"}, stations: []placed{
			{stationDiff: stationDiff{db: 3, inLobe: true}, bearing: 90}, {stationDiff: stationDiff{db: -2, inLobe: true}, bearing: 180}}}
		drawn := string(drawPolar("x", "name", c, nil, []sector{{FromDeg: 84, ToDeg: 96, EstimateDB: at(1), Stations: 1}}))
		has(drawn, `<circle class="plus" cx="289" cy="170"`)
		has(drawn, `<circle class="minus" cx="170" cy="204"`)
		has(drawn, `<circle class="zero" cx="170" cy="170" r="68"/>`)
		has(drawn, `<path class="mean" d="M255 170A85 85 0 0 1 255 170"/>`)
		g := polar{reach: 4, occupied: []int{1, 1, 1, 1, 1, 1, 1, 1}, picture: &picture{}}
		g.fit([]lobePoint{{azimuth: 0, fit: 2}, {azimuth: 90, fit: 0}, {azimuth: 180, fit: -2}, {azimuth: 270, fit: 0}})
		has(g.picture.String(), `<path class="fit" d="M170 68L238 170L170 204L102 170L170 68"/>`)
	})
	t.Run("map", func(t *testing.T) { // 3000 km to the rim at 138, rings every 500
		c := &comparison{arms: []string{"high", "low"}, stations: []placed{
			{stationDiff: stationDiff{db: 1.5}, place: place{call: "Q1EAST"}, bearing: 90, distance: 1000},
			{stationDiff: stationDiff{db: -2.5}, place: place{call: "Q1NORTH"}, bearing: 0, distance: 3000}}}
		a := newAtlas(0, 0, false, []*comparison{c})
		require.Equal(t, [2]float64{500, 3000}, [2]float64{a.stepKm, a.rimKm})
		drawn := string(a.draw("x", "name", c, false))
		has(drawn, `<g transform="translate(216 170)"><title>Q1EAST: +1.50 dB</title><use class="plus" href="#drop" transform="rotate(90)`)
		has(drawn, `<g transform="translate(170 32)"><title>Q1NORTH: −2.50 dB</title><use class="minus" href="#drop" transform="rotate(0)`)
		has(drawn, `>3000 km</text>`)
	})
	t.Run("blocks", func(t *testing.T) { // +3 dB at 26, -3 dB at 190
		c := &comparison{smallestDB: 1, arms: []string{"high", "low"}, level: &entry{EstimateDB: at(0.75)}}
		marks := []blockMark{{scheduled{session: 1, block: 1, kept: true}, &blockDiff{1, 1, at(3), 0.5, 9}}, {scheduled{session: 1, block: 2, kept: true}, &blockDiff{1, 2, at(-1.5), 0.5, 9}}}
		drawn := string(drawBlocks("x", "name", c, marks))
		has(drawn, `<circle class="plus" cx="114" cy="26"`) // a quarter and three quarters of 42 to 330
		has(drawn, `<circle class="minus" cx="258" cy="149"`)
		has(drawn, `<line class="mean" x1="42" y1="87.5" x2="330" y2="87.5"/>`)
		has(drawn, `<rect class="zone" x="42" y="80.7" width="288" height="54.7"/>`)
	})
	t.Run("sweep", func(t *testing.T) { // 14 to 14.4 MHz and 15 % on either side over 44 to 328; SWR 1 to 1.5 from 166 up to 26, 0 to 20 dB from 206 down to 326
		v := sweepView{band: Band{"20m", 14, 14.4}, plane: "radio", z0: 50, from: 14, to: 14.4}
		v.add(reading{arm: "high", sweep: "h", mhz: 14.2, swr: at(1.25), returnLoss: at(19.1)})
		drawn := string(v.draw("x", "name"))
		found := regexp.MustCompile(`class="curve style0" d="M([0-9.]+) ([0-9.]+)"`).FindAllStringSubmatch(drawn, -1)
		require.Len(t, found, 2)
		require.Equal(t, []string{"186", "96"}, found[0][1:])
		require.Equal(t, []string{"186", "320.6"}, found[1][1:])
	})
}
