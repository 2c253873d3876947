package trials

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// The tables of a trial are those that its verdicts rest on: as many receptions as the report counts.
func TestTablesAreThoseOfTheTrial(t *testing.T) {
	s := settingsOf(t, "testdata/one-band.toml", "high +3 dB")
	s.Trials, s.Kinds, s.AlsoLevel = 1, []string{"level"}, 0.0125
	report, err := Run(context.Background(), s)
	require.NoError(t, err)
	tables, err := Tables(context.Background(), s, 0)
	require.NoError(t, err)
	require.InDelta(t, report.Results[0].Receptions, float64(tables["receptions"].NumRows()), 1e-9)
	require.Equal(t, int64(1), tables["verdicts"].NumRows())

	power := report.Results[0].Power.P
	require.Len(t, power, 3)
	require.InDelta(t, 0.0125, power[2].Level, 0)
	s.AlsoLevel = 0
	report, err = Run(context.Background(), s)
	require.NoError(t, err)
	require.Len(t, report.Results[0].Power.P, 2)
}
