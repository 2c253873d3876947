package judge_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/stages/judge"
)

// otherBound is the greatest count of n chances of p that is still inside 99.9 % of the binomial distribution.
func otherBound(n int, p float64) int {
	x := distuv.Binomial{N: float64(n), P: p}
	k := 0
	for x.CDF(float64(k)) < 0.999 {
		k++
	}
	return k
}

// otherTrials is a number of trials, a fifth of it (8 at least) with -short. A count is held against the bound of its own number of
// trials, so the short test is as right and only less sharp.
func otherTrials(n int) int {
	if testing.Short() {
		return max(8, n/10)
	}
	return n
}

func otherLevel() judge.Claim {
	return judge.Claim{Name: "other", Kind: "level", Arms: []string{"high", "low"}, Direction: "sent", Bands: []string{"20m"}}
}

func otherLobe(shape string) judge.Claim {
	return judge.Claim{Name: "other", Kind: "directivity", Arms: []string{"high", "low"}, Direction: "sent", Bands: []string{"20m"}, Shape: shape}
}

// uneven is an antenna's table with no rule in it; the arms have it in common.
var uneven = table12{-0.5, 0.8, 1.9, -1.2, 0.4, -2.6, 1.1, 0.3, -0.9, 2.2, -1.7, 0.2}

func (t table12) plus(db float64) table12 {
	for i := range t {
		t[i] += db
	}
	return t
}

func (t table12) and(more table12) table12 {
	for i := range t {
		t[i] += more[i]
	}
	return t
}

func ordinary(seed uint64) otherworld {
	return otherworld{seed: seed, blocks: 8, slots: 4, receivers: 26, low: uneven, high: uneven, meanDB: -9}
}

// The interval holds the difference of the tables, which is the same at all receivers, in 95 % of the trials, and the
// estimate is on average where it should be.
func TestOtherWorldLevelIsCovered(t *testing.T) {
	t.Parallel()
	const truth = 2.5
	o := ordinary(5000)
	o.high = o.low.plus(truth)
	missed, different := 0, 0
	var estimates []float64
	n := o.trials(t, otherTrials(200), otherLevel(), func(e judge.Entry) {
		low, high := e.IntervalDB[0], e.IntervalDB[1]
		if low != nil && *low > truth || high != nil && *high < truth {
			missed++
		}
		if e.Verdict == judge.Different {
			different++
		}
		estimates = append(estimates, *e.EstimateDB)
	})
	mean, spread := stat.MeanStdDev(estimates, nil)
	t.Logf("%d trials: missed %d (bound %d), different %d, estimate %.3f +- %.3f dB", n, missed, otherBound(n, 0.05), different, mean, spread)
	require.LessOrEqual(t, missed, otherBound(n, 0.05))
	require.Greater(t, different, n/2)
	// Four standard errors of the mean, and 0.1 dB for reports that stop at a greatest figure.
	require.InDelta(t, truth, mean, 0.1+4*spread/math.Sqrt(float64(n)))
}

// Arms of one table differ nowhere: a p that is small enough is a false alarm.
func TestOtherWorldNoDifference(t *testing.T) {
	t.Parallel()
	alarms, same := 0, 0
	n := ordinary(6000).trials(t, otherTrials(200), otherLevel(), func(e judge.Entry) {
		if *e.PAdjusted <= 0.05 { // also where the interval is so narrow that the verdict is "practically the same"
			alarms++
		}
		if e.Verdict == judge.Same {
			same++
		}
	})
	t.Logf("%d trials: false alarms %d (bound %d), practically the same %d", n, alarms, otherBound(n, 0.05), same)
	require.LessOrEqual(t, alarms, otherBound(n, 0.05))
	require.Greater(t, same, n/2, "trials of this size can tell that nothing is there")
}

// leaning is greatest in the sectors from 120 to 180 degrees: there the lobe points, give or take a sector, though
// receivers have differences of their own besides.
func TestOtherWorldLobePointsToItsSide(t *testing.T) {
	t.Parallel()
	o := ordinary(7000)
	o.high = o.low.and(leaning)
	o.ownSD = 1
	found, aside := 0, 0
	n := o.trials(t, otherTrials(50), otherLobe("one-sided"), func(e judge.Entry) {
		if e.Verdict != judge.Different {
			return
		}
		found++
		if toward := *e.Directivity.Lobe.TowardDeg; toward < 90 || toward > 210 {
			aside++
		}
	})
	t.Logf("%d trials: found %d, of which to another side %d", n, found, aside)
	require.Greater(t, found, n/2)
	require.Zero(t, aside)
}

// The judge is told the other arm first: numbers are those of the same trial, turned.
func TestOtherWorldSwappedArmsTurnTheNumbers(t *testing.T) {
	t.Parallel()
	o := ordinary(8000)
	o.high = o.low.and(leaning).plus(4)
	for _, claim := range []judge.Claim{otherLevel(), otherLobe("one-sided")} {
		one, err := o.judged(claim)
		require.NoError(t, err)
		claim.Arms = []string{claim.Arms[1], claim.Arms[0]}
		two, err := o.judged(claim)
		require.NoError(t, err)
		require.Equal(t, judge.Different, one.Verdict, "else there is less to turn")
		require.Equal(t, one.Verdict, two.Verdict)
		require.Equal(t, one.P, two.P)
		require.Equal(t, -*one.EstimateDB, *two.EstimateDB)
		if claim.Kind == "level" {
			require.Equal(t, -*one.IntervalDB[0], *two.IntervalDB[1])
			require.Equal(t, -*one.IntervalDB[1], *two.IntervalDB[0])
			continue
		}
		a, b := one.Directivity.Lobe, two.Directivity.Lobe
		require.Equal(t, a.AmplitudeDB, b.AmplitudeDB)
		require.InDelta(t, 180, math.Abs(*a.TowardDeg-*b.TowardDeg), 1e-4, "rounded to 4 decimals")
	}
}
