package contrast

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// tangledTrial has 48 stations all round in 24 regions, 12 blocks, no censoring. The logarithm of the distance is south of
// 1.0 plus a part of its own, and the difference is lobe*cos(az - 180) + slope * log distance + noise of each station.
func tangledTrial(seed uint64, lobe, slope float64) *Trial {
	r := rand.New(rand.NewPCG(seed, 5))
	const n, blocks = 48, 12
	var stations []Station
	var reports []Report
	for i := range n {
		az := 2 * math.Pi * float64(i) / n
		z := -math.Cos(az) + 0.6*float64(i%2*2-1)
		stations = append(stations, Station{AzimuthRad: az, HasAzimuth: true, LogDistance: z, Region: i/4*2 + i%2})
	}
	for b := range blocks {
		shared := 0.3 * r.NormFloat64()
		for i, st := range stations {
			diff := float64(lobe*-math.Cos(st.AzimuthRad)) + float64(slope*st.LogDistance) + shared + 0.8*r.NormFloat64()
			reports = append(reports, Report{Block: b, Station: i, First: true, DitheredDB: diff}, Report{Block: b, Station: i, Slot: 1, DitheredDB: 0})
		}
	}
	trial, err := New(stations, reports, Params{Blocks: blocks, CutDB: -40, CeilingDB: math.Inf(1), Seed: seed})
	if err != nil {
		panic(err)
	}
	return trial
}

// The correlation of -cos(az) with -cos(az) +- 0.6 is 1/sqrt(2) over sqrt(1/2 + 0.36): 0.7625.
func TestTangleOfALobeAndTheDistance(t *testing.T) {
	d := tangledTrial(1, 4, 0).Directivity(OneSided)
	require.InDelta(t, math.Sqrt(0.5/0.86), d.Tangle.Correlation, 0.01)
	require.True(t, d.Tangle.Tangled)
	require.LessOrEqual(t, d.P, Alpha, "a lobe that is there survives")

	flipped := tangledTrial(1, -4, 0).Directivity(OneSided)
	require.InDelta(t, -d.Tangle.Correlation, flipped.Tangle.Correlation, 0.02)

	even := evenTrial(t, 16, 12, 1).Directivity(OneSided)
	require.Equal(t, Tangle{}, even.Tangle, "all stations are equally far")
}

// A difference that follows the distance alone looks like a lobe to both gates, and is none beyond the distance. Counted over
// 400 trials: at most 5 % and 3.1 standard errors of 1.09 points.
func TestDistanceAloneIsNoLobe(t *testing.T) {
	trials := 400
	if testing.Short() {
		trials = 40 // under the race detector
	}
	most := 0.05 + 3.1*math.Sqrt(0.05*0.95/float64(trials))
	fooled, found := 0, 0
	for seed := range uint64(trials) {
		trial := tangledTrial(seed, 0, 1.5)
		g := trial.Gates(OneSided)
		if g.P <= Alpha {
			fooled++
		}
		s := trial.Located().newScore(OneSided)
		_, beta := s.fit(fitRounds)
		if tangle := s.tangle(OneSided, beta); !tangle.Tangled || max(tangle.Gate1, tangle.Gate2) <= Alpha {
			found++
		}
	}
	require.Greater(t, float64(fooled)/float64(trials), 0.9, "the gates alone are fooled")
	require.LessOrEqual(t, float64(found)/float64(trials), most)
}

// And a lobe of 2.5 dB beside a slope is found all the same, in nearly all of 60 trials.
func TestALobeBeyondTheDistanceIsFound(t *testing.T) {
	found := 0
	for seed := range uint64(60) {
		trial := tangledTrial(seed, 2.5, 1)
		s := trial.Located().newScore(OneSided)
		_, beta := s.fit(fitRounds)
		if tangle := s.tangle(OneSided, beta); !tangle.Tangled || max(tangle.Gate1, tangle.Gate2) <= Alpha {
			found++
		}
	}
	require.GreaterOrEqual(t, found, 55)
}
