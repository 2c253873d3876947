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
