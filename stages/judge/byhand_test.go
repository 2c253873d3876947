package judge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/contrast"
)

// The sleep of ten patients under two drugs (Student, The probable error of a mean, Biometrika 6, 1908; Cushny and Peebles 1905): Welch's
// test gives t = -1.8608 with 17.776 degrees of freedom and p = 0.07939 (the example of t.test in the documentation of R).
func TestNaiveIsWelchsTest(t *testing.T) {
	heard := &contest{perArm: map[string][]float64{
		"high": {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0},
		"low":  {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4},
	}}
	e := &Entry{Arms: []string{"high", "low"}}
	e.naiveLevel(heard)
	require.InDelta(t, 0.07939, *e.Naive.SpotTP, 0.5e-5)

	// Unequal numbers and variances: 1, 3 and 10, 20, 30, 40: means 2 and 25, their squared errors 2/2 and 500/3/4.
	heard.perArm = map[string][]float64{"high": {1, 3}, "low": {10, 20, 30, 40}}
	e.naiveLevel(heard)
	a, b := 1.0, 500./12
	// t = 3.5209 with (a + b)^2/(a^2/1 + b^2/3) = 3.1396 degrees of freedom: between p = 0.0389 of 3 and 0.0244 of 4
	require.InDelta(t, 3.1396, (a+b)*(a+b)/(a*a+b*b/3), 1e-3)
	require.Less(t, *e.Naive.SpotTP, 0.0389)
	require.Greater(t, *e.Naive.SpotTP, 0.0244)
}

// By hand: the lower 20 % point of chi-square with 11 degrees of freedom is 6.989 (any table), so a standard deviation of 2 dB from
// 12 blocks may be 2 sqrt(11/6.989) = 2.509. Among 4 questions: z(0.99375) = 2.4977, z(0.8) = 0.8416, so
// (3.3393 * 2.509/1.5)^2 + 2.4977^2/2 = 31.2 + 3.1 blocks.
func TestBlocksNeededByHand(t *testing.T) {
	low, high := -1.0, 3.0
	c := &court{data: &data{}, family: 4}
	c.SmallestDB = 1.5
	e := &Entry{inFamily: true, heard: &contest{level: contrast.Level{Blocks: 12, SigmaDB: 2}}, IntervalDB: &Range{&low, &high}}
	require.Equal(t, "; a new trial of about 35 blocks would find a difference of 1.5 dB four times out of five", c.plan(e))
	require.Equal(t, 35, *e.BlocksNeeded)
	// Alone: (1.95996 + 0.8416)^2 = 7.849; 7.849 * 2.798 + 1.921 = 23.9
	e.inFamily = false
	c.plan(e)
	require.Equal(t, 24, *e.BlocksNeeded)
	// Of shares: 20 points from 12 blocks may be 25.09; (3.3393 * 25.09/10)^2 + 3.1 = 70.2 + 3.1
	e = &Entry{
		inFamily: true, audience: &audience{result: contrast.HeardBy{Blocks: 12, SigmaPoints: 20}},
		HeardBy: &HeardBy{SmallestPoints: 10, IntervalPoints: &Range{&low, &high}},
	}
	require.Contains(t, c.planHeardBy(e), "a new trial of about 74 blocks would find a difference of 10 percentage points")
	require.Equal(t, 74, *e.BlocksNeeded)
}

// Ends go outward to 0.01, a hundredth stays one; numbers go to the nearest, and no p is 0.
func TestRounding(t *testing.T) {
	ends := func(low, high float64) [2]float64 {
		r := outward(contrast.Interval{LowDB: low, HighDB: high})
		return [2]float64{*r[0], *r[1]}
	}
	require.Equal(t, [2]float64{0.12, 0.13}, ends(0.1234, 0.1234))
	require.Equal(t, [2]float64{-0.13, -0.12}, ends(-0.1234, -0.1234))
	require.Equal(t, [2]float64{-1.12, 2.35}, ends(-1.12, 2.35))
	require.Equal(t, [2]float64{-1.13, 2.36}, ends(-1.12001, 2.35001))
	require.Equal(t, [2]float64{0, 0}, ends(-1e-12, 1e-12))
	open := outward(contrast.Interval{LowDB: math.Inf(-1), HighDB: 1.001})
	require.Nil(t, open[0])
	require.Equal(t, 1.01, *open[1])
	require.Nil(t, outward(contrast.Interval{LowDB: 1, HighDB: 2, Empty: true}))
	require.Equal(t, [2]float64{-12.35, 6.79}, func() [2]float64 {
		r := outwardPoints(contrast.PointRange{Low: -12.3411, High: 6.7811})
		return [2]float64{*r[0], *r[1]}
	}())
	for v, want := range map[float64]float64{0.12344: 0.1234, 0.12346: 0.1235, -0.12346: -0.1235} {
		require.Equal(t, want, *round4(v))
	}
	for p, want := range map[float64]float64{0.1234564: 0.123456, 0.1234566: 0.123457, 4e-7: 1e-6, 0: 1e-6, 1: 1} {
		require.Equal(t, want, *roundP(p))
	}
}

// Of two harmonics the upper ends are added as they are shown: 0.871 and 0.432 are 0.88 and 0.44.
func TestSwingByHand(t *testing.T) {
	require.Equal(t, 1.32, *swing([]contrast.Lobe{{HighDB: 0.871}, {HighDB: 0.432}}))
	require.Nil(t, swing([]contrast.Lobe{{HighDB: 0.871}, {HighDB: math.Inf(1)}}))
}

// A direction keeps four decimals, its arc goes outward to whole degrees, over north and half a turn too.
func TestDirectionOfALobe(t *testing.T) {
	for _, c := range []struct {
		lobe   contrast.Lobe
		toward float64
		arc    [2]float64
		words  string
	}{
		{contrast.Lobe{Harmonic: 1, TowardDeg: 90.00004, FromDeg: 80.4, ToDeg: 99.2}, 90, [2]float64{80, 100}, " toward 90 degrees"},
		{contrast.Lobe{Harmonic: 1, TowardDeg: 359.7, FromDeg: 350.5, ToDeg: 359.3}, 359.7, [2]float64{350, 0}, " toward 0 degrees"},
		{contrast.Lobe{Harmonic: 2, TowardDeg: 30.25, FromDeg: 21.9, ToDeg: 40.1}, 30.25, [2]float64{21, 41}, " in the directions 30 and 210 degrees"},
		{contrast.Lobe{Harmonic: 2, TowardDeg: 179.99999, FromDeg: 170.2, ToDeg: 179.5}, 0, [2]float64{170, 0}, " in the directions 0 and 180 degrees"},
	} {
		e := &Entry{Directivity: &Directivity{Lobe: &LobeEntry{}}}
		require.Equal(t, c.words, e.fillDirection(c.lobe, true))
		require.Equal(t, c.toward, *e.Directivity.Lobe.TowardDeg)
		require.Equal(t, c.arc, *e.Directivity.Lobe.TowardIn)
	}
}

// Of the power 10^-0.25 = 56.2 % are left after 2.5 dB.
func TestLineLossInWords(t *testing.T) {
	some, more := 1.2, 2.5
	e := &Entry{}
	e.warnOfLineLoss([]reading{{arm: "low", mhz: 14.1, lineLossDB: &some}, {arm: "low", mhz: 14.2, lineLossDB: &more}, {arm: "low", mhz: 14.3}})
	require.Equal(t, []Warning{{"line_loss", "low: with its mismatch the feedline loses 2.5 dB at 14.2 MHz, 44 % of the power"}}, e.Warnings)
}

// The region of a lobe in table lobes goes outward to 0.01 dB, at every azimuth.
func TestRegionOfALobeGoesOutward(t *testing.T) {
	var stations []contrast.Station
	var reports []contrast.Report
	for s := range 16 {
		az := float64(s) * math.Pi / 8
		stations = append(stations, contrast.Station{AzimuthRad: az, HasAzimuth: true, Region: s})
		for b := range 9 {
			noise := 0.37 * float64((7*s+5*b+s*b)%5-2)
			reports = append(reports, contrast.Report{Block: b, Station: s, First: true, DitheredDB: 2*math.Cos(az) + noise}, contrast.Report{Block: b, Station: s, Slot: 1, DitheredDB: 0})
		}
	}
	trial, err := contrast.New(stations, reports, contrast.Params{Blocks: 9, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1})
	require.NoError(t, err)
	d := trial.Directivity(contrast.OneSided)
	rows := 0
	for r := table.NewReader(lobeTable([]*Entry{{shownLobe: &d}})); r.Next(); rows++ {
		fit, region := d.Toward(r.Float("azimuth_deg") * math.Pi / 180)
		require.InDelta(t, fit, r.Float("fit_db"), 0.5e-4)
		require.LessOrEqual(t, r.Float("low_db"), region.LowDB+1e-9)
		require.Greater(t, r.Float("low_db"), region.LowDB-0.01)
		require.GreaterOrEqual(t, r.Float("high_db"), region.HighDB-1e-9)
		require.Less(t, r.Float("high_db"), region.HighDB+0.01)
	}
	require.Equal(t, 72, rows)
}

// Five stations report at 0, n and 3n min in one dwell, n = 1 to 5: shortest times of n, of which 1 min is the 20 % quantile;
// medians of n. A sixth reports twice, 30 s apart: too seldom for the first figure. Half of 0.5, 1, 2, 3, 4, 5 are at most 2
// min.
func TestGapsByHand(t *testing.T) {
	const minute = 60_000
	var all []reception
	for n := int64(1); n <= 5; n++ {
		for _, at := range []int64{3 * n, 0, n} {
			all = append(all, reception{session: 1, number: 1, arm: "low", station: int(n), slotMs: at * minute})
		}
	}
	all = append(all, reception{session: 1, number: 1, arm: "low", station: 6}, reception{session: 1, number: 1, arm: "low", station: 6, slotMs: minute / 2})
	usual, spacing := gaps(all)
	require.Equal(t, [2]float64{1 * minute, 2 * minute}, [2]float64{usual, spacing})
	for i := range all { // the last report of each comes in the next dwell: gaps within one are n
		if all[i].slotMs == int64(3*all[i].station*minute) {
			all[i].arm = "high"
		}
	}
	usual, spacing = gaps(all)
	require.Equal(t, [2]float64{1 * minute, 2 * minute}, [2]float64{usual, spacing})
}

// Thirty bearings, 18 one way and 12 the other: the resultant is 6, and p = exp(sqrt(1 + 4n + 4(n^2 - R^2)) - (1 + 2n)) (Zar,
// Biostatistical Analysis, the chapter on circular distributions, from memory), which is exp(sqrt(3577) - 61) = 0.304. Doubled,
// a quarter turn is the other way.
func TestNaiveBearingsByHand(t *testing.T) {
	for shape, turn := range map[string]float64{"one-sided": math.Pi, "two-sided": math.Pi / 2} {
		var bearings []float64
		for i := range 30 {
			if i < 18 {
				bearings = append(bearings, 0.4)
			} else {
				bearings = append(bearings, 0.4+turn)
			}
		}
		e := &Entry{claim: Claim{Shape: shape}}
		e.naiveLobe(bearings)
		require.InDelta(t, 0.304, *e.Naive.UniformP, 0.003, shape)
		e.Naive = nil
		e.naiveLobe(bearings[:5])
		require.Nil(t, e.Naive, "too few")
	}
}
