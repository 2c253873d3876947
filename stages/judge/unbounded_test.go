package judge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/contrast"
)

// A region without a bound has no ends: with 4 blocks the least p is 1/8, so that no lobe is ruled out.
func TestLobeWithoutBoundHasNoEnds(t *testing.T) {
	var stations []contrast.Station
	var reports []contrast.Report
	for s := range 12 {
		stations = append(stations, contrast.Station{AzimuthRad: float64(s) * math.Pi / 6, HasAzimuth: true, Region: s})
		for b := range 4 {
			reports = append(reports, contrast.Report{Block: b, Station: s, First: true, DitheredDB: float64((7*s+3*b)%5) - 5}, contrast.Report{Block: b, Station: s, Slot: 1, DitheredDB: -5})
		}
	}
	trial, err := contrast.New(stations, reports, contrast.Params{Blocks: 4, CutDB: -18, Seed: 1})
	require.NoError(t, err)
	d := trial.Directivity(contrast.OneSided)
	e := &Entry{Directivity: &Directivity{}}
	e.fillLobe(&d, true)
	require.Nil(t, e.Lobe.AmplitudeIn[1])
	require.Nil(t, e.Lobe.SwingHighDB)
	rows := 0
	for r := table.NewReader(lobeTable([]*Entry{e})); r.Next(); rows++ {
		require.True(t, r.Null("low_db") && r.Null("high_db"))
		require.False(t, r.Null("fit_db"))
	}
	require.Equal(t, 72, rows)
}

// Without any bound there is nothing that the data allow in particular, and no number of blocks can be told.
func TestNoBoundOnEitherSide(t *testing.T) {
	low, high := -1.0, 3.0
	for want, i := range map[string]*Range{
		"the data set no bound on either side: no difference, and also any that matters":   {},
		"the data allow −1.00 to 3.00 dB: no difference, and also differences that matter": {&low, &high},
		"the data allow 3.00 dB or less: no difference, and also differences that matter":  {nil, &high},
		"the data allow −1.00 dB or more: no difference, and also differences that matter": {&low, nil},
	} {
		require.Equal(t, want, allowed(span(i), i, "difference", "differences"))
	}
	c := &court{data: &data{}}
	c.SmallestDB = 1.5
	e := &Entry{heard: &contest{level: contrast.Level{Blocks: 12, SigmaDB: 2}}, IntervalDB: &Range{}}
	require.Empty(t, c.plan(e))
	require.Nil(t, e.BlocksNeeded)
	e.IntervalDB = &Range{&low, &high}
	require.Contains(t, c.plan(e), "a new trial of about")
}
