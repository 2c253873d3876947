package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
	"fairlobe/stages/pooling"
)

// everyPooledNumber is a pool in which no figure stands twice.
func everyPooledNumber() *pooling.Document {
	undecided := judge.Undecided
	summary := pooling.Summary{Estimate: at(2.11), Interval: &[2]float64{1.12, 3.13}, Guarded: &[2]float64{0.64, 3.65}, Prediction: &[2]float64{-1.16, 5.17}, P: at(0.018), PPlain: at(0.0019)}
	return &pooling.Document{Studies: make([]pooling.StudyEntry, 3), Claims: []pooling.ClaimEntry{
		{Claim: "lift helps", Kind: "level", Band: "20m", Arms: []string{"high", "low"}, Unit: "dB", Smallest: 1.5, Verdict: judge.Different, Reason: "high is stronger", Operators: 3, Experiments: 4,
			Summary: summary, PAdjusted: at(0.036), FamilySize: &[]int{8}[0],
			Heterogeneity: &pooling.Heterogeneity{Tau: 0.72, TauIn: &[2]float64{0.23, 2.74}, Tau2: 0.5184, I2: at(75.4), H2: at(4.06), Q: 7.33, QDF: 2, QP: at(0.0256)},
			Moments:       &pooling.Moments{Estimate: 2.27, Interval: [2]float64{1.28, 3.29}, Guarded: [2]float64{0.3, 4.31}, Tau2: 0.4321},
			Studies: []pooling.PartEntry{{Label: "ridge", Estimate: 1.34, Interval: [2]float64{0.35, 2.36}, Weight: 37.8, Blocks: 28, Stations: 91, Verdict: nil,
				Parts: []pooling.PartEntry{{Label: "ridge 1", Estimate: 1.39, Interval: [2]float64{0.41, 2.42}, Blocks: 12, Stations: 43, Verdict: &undecided}}}},
			WithoutOne:  []pooling.OtherEntry{{What: "ridge", Operators: 2, Summary: pooling.Summary{Estimate: at(2.44), Interval: &[2]float64{1.45, 3.46}}, Verdict: judge.Undecided}},
			Sensitivity: []pooling.OtherEntry{{What: "only what was sealed before the data", Operators: 2, Summary: pooling.Summary{Estimate: at(2.47), Interval: &[2]float64{1.48, 3.49}}, Verdict: judge.Undecided}}},
		{Claim: "favours the slope", Kind: "directivity", Band: "20m", Arms: []string{"high", "low"}, Unit: "dB", Smallest: 1.5, Verdict: judge.Different, Reason: "a lobe", Operators: 3,
			Summary: pooling.Summary{Estimate: at(2.5), Interval: &[2]float64{1.51, 3.52}, Guarded: &[2]float64{1.51, 3.52}, P: at(0.0053)},
			Directivity: &pooling.Directivity{Frame: pooling.North, Lobes: []pooling.LobeEntry{{Harmonic: 1, CosDB: 1.25, SinDB: -2.1651, AmplitudeDB: 2.5, AmplitudeIn: [2]float64{1.51, 3.52},
				TowardDeg: at(300), TowardIn: &[2]float64{280, 325}}},
				FrontToBack: &pooling.FrontToBackEntry{Operators: 2, Summary: pooling.Summary{Estimate: at(4.54), Interval: &[2]float64{2.55, 6.56}, Guarded: &[2]float64{1.57, 7.58}}}},
			Studies: []pooling.PartEntry{{Label: "ridge", Estimate: 3, Interval: [2]float64{2, 4.1}, Weight: 100, Blocks: 12, Stations: 43, Verdict: &undecided,
				Lobes: []pooling.LobeEntry{{Harmonic: 1, CosDB: 0, SinDB: 3, AmplitudeDB: 3, AmplitudeIn: [2]float64{2, 4.1}}}}}},
	}}
}

func TestEachPooledNumberHasItsLabel(t *testing.T) {
	doc := everyPooledNumber()
	_, whole := PooledText(doc, "fairlobe pool BUNDLE...")
	words := strings.Join(strings.Fields(string(whole)), " ")
	for _, part := range []string{
		"The next operator, at the next place, may find −1.16 to +5.17 dB (95 % prediction interval).",
		"1. ridge: +1.34 dB, 95 %: +0.35 to +2.36 dB; weight 37.8 % ridge 1: +1.39 dB, 95 %: +0.41 to +2.42 dB; undecided",
		"pooled (REML, Knapp-Hartung): +2.11 dB, 95 %: +1.12 to +3.13 dB; different", "the same, guarded (factor never below 1): +2.11 dB, 95 %: +0.64 to +3.65 dB",
		"beside it: DerSimonian-Laird: +2.27 dB, 95 %: +1.28 to +3.29 dB", "the next operator: −1.16 to +5.17 dB",
		"Places differ by a standard deviation of about 0.72 dB (95 %: 0.23 to 2.74 dB). That is 75 % of all scatter (I²); the rest is chance within the trials. Q = 7.33 with 2 degrees of freedom, p = 0.0256.",
		"p, guarded: 0.018 p of Knapp and Hartung alone: 0.0019 p, corrected for 8 questions: 0.036 tau², REML: 0.5184 H²: 4.06 tau², DerSimonian-Laird: 0.4321",
		"without ridge: +2.44 dB (+1.45 to +3.46 dB), undecided", "only what was sealed before the data (operators: 2): +2.47 dB (+1.48 to +3.49 dB), undecided",
		"pooled: 2.50 dB, 95 %: 1.51 to 3.52 dB; direction: ", "p, guarded: 0.0053 harmonic 1, cosine and sine: +1.25 dB, −2.17 dB",
		"front to back, along the axis that each operator named: +4.54 dB (+2.55 to +6.56 dB; guarded +1.57 to +7.58 dB), 2 operators",
	} {
		require.Contains(t, words, part)
	}
	plainInterval := entry{SmallestDB: 1.5, EstimateDB: at(2.11), IntervalDB: &[2]*float64{at(1.12), at(3.13)}}
	require.Contains(t, string(whole), "  lift helps, 20m          "+bar(plainInterval, 1.1*3.13)+" +2.11 dB\n")
	v := newPooledView(doc, "")
	require.Equal(t, "+2.11 dB, 95\u00a0%: +1.12 to +3.13 dB", v.Answers[0].Figures)
	require.Equal(t, pooledRow{Name: "1. ridge", Size: "+1.34 dB", Interval: "+0.35 to +2.36 dB", Weight: "37.8\u00a0%", Basis: "28 blocks, 91 stations", Verdict: "-"}, v.Claims[0].Rows[0])
	require.Equal(t, pooledRow{Name: "ridge 1", Size: "+1.39 dB", Interval: "+0.41 to +2.42 dB", Weight: "in the line above", Basis: "12 blocks, 43 stations", Verdict: "undecided", Under: true}, v.Claims[0].Rows[1])
}

// By hand: the forest runs from -5 to 5 dB, for the operator's 2.36 dB may be doubled, over 20 to 320: 30 units a dB about 170.
// Rows are 38 high, and bars lie 26 below their top, which begins at 6.
func TestPooledMarksStandWhereTheirFiguresAre(t *testing.T) {
	doc := everyPooledNumber()
	drawn := string(newForest(&doc.Claims[0]).draw("x"))
	for _, mark := range []string{
		`<line class="bar" x1="180.5" y1="32" x2="240.8" y2="32"/>`,        // 0.35 to 2.36
		`<path class="pooled" d="M203.6 70L233.3 63L263.9 70L233.3 77Z"/>`, // 1.12, 2.11, 3.13
		`<line class="bar thin" x1="189.2" y1="70" x2="279.5" y2="70"/>`,   // 0.64 to 3.65
		`<line class="bar dashed" x1="135.2" y1="108" x2="320" y2="108"/>`, // from -1.16 off the scale
		`<rect class="zone" x="125" y="2" width="90" height="120"/>`,       // +-1.5
		`>+5 dB</text>`,
	} {
		require.Contains(t, drawn, mark)
	}
	// The rim, at 136, is 4 dB: the operator's lobe of 3 dB points east, the pooled one of 2.5 dB, 85 units, to 300 degrees.
	rose := string(drawRose("x", &doc.Claims[1]))
	require.Contains(t, rose, `rim: a lobe of 4 dB`)
	require.Contains(t, rose, `<rect class="estimate" x="265.5" y="163.5" width="13" height="13"/>`)
	require.Contains(t, rose, `<path class="pooled" d="M96.4 116.5`) // 170 - 85 sin 60, 170 - 85 cos 60 - 11
}
