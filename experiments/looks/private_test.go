package looks

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestPrivateLedger(t *testing.T) {
	at := time.Date(2026, 9, 13, 6, 0, 0, 0, time.UTC)
	all := []Look{{at, "sha256:d1", "sha256:old", 3, "a/20m=0.5"}, {at, "sha256:d2", "sha256:now", 4, ""}, {at, "sha256:d3", "sha256:older", 5, ""}, {at, "sha256:d4", "sha256:old", 6, ""}}
	text, err := Private(all, "sha256:now", "sha256:away")
	require.NoError(t, err)
	back, err := Parse("data/looks.csv", text)
	require.NoError(t, err)
	want := []string{"sha256:earlier-form-1", "sha256:away", "sha256:earlier-form-2", "sha256:earlier-form-1"}
	for i := range all {
		require.Equal(t, Look{all[i].Time, all[i].Data, want[i], all[i].Blocks, all[i].P}, back[i])
	}
	require.Equal(t, "sha256:old", all[0].Experiment, "the ledger at home is as it was")
	empty, err := Private(nil, "", "")
	require.NoError(t, err)
	require.Equal(t, "time,data,experiment,blocks,p\n", string(empty))
	_, err = Parse("data/looks.csv", []byte("x"))
	require.ErrorContains(t, err, "data/looks.csv:1:")
	_, err = Parse("data/looks.csv", make([]byte, maxBytes+1))
	require.ErrorContains(t, err, "larger than")
}
