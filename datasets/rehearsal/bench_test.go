package rehearsal_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/rehearsal"
)

func BenchmarkInvent(b *testing.B) {
	exp, planned := load(b, base+aTable)
	truth, err := rehearsal.ParseTruth(exp, bandsOf(planned), []string{"high +2 dB"})
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		_, err := rehearsal.Invent(exp, planned, rehearsal.Options{Truth: truth, Mishaps: true, Adjust: onLand()})
		require.NoError(b, err)
	}
}
