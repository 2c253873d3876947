package rehearsal_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The truth is high +2 dB with one lobe on 20m, and +1 dB on 10m; the smallest difference is 1.5 dB.
func TestBeside(t *testing.T) {
	text := replaced(t, base, `["20m"]`, `["20m", "10m"]`, "[log]", `[[claim]]
name = "step"
kind = "known_step"
compare = ["high", "low"]
step_db = 1
[[claim]]
name = "match"
kind = "match"
arms = ["low"]
swr_at_most = 2.0
[log]`) + aTable + "[[sweeps]]\narm = \"low\"\nfiles = [\"low.s1p\"]\n"
	r := rehearse(t, text, false, "20m: high +2 dB, lobe 3 dB toward 300", "20m: low lobe 1 dB toward 120", "10m: high +1 dB")
	const arms = `"arms": ["high", "low"], "direction": "sent", "smallest_difference_db": 1.5`
	for _, c := range []struct{ entry, truth, found string }{
		{`"kind": "level", "band": "10m", "verdict": "different", "estimate_db": 1.2, "interval_db": [0.5, null], ` + arms, "+1 dB", "different; right; the interval 0.50 to +Inf dB holds the truth"},
		{`"kind": "level", "band": "10m", "verdict": "different", "estimate_db": -1.2, "interval_db": [-2, -0.1], ` + arms, "+1 dB", "different; WRONG; the interval −2.00 to −0.10 dB misses the truth"},
		{`"kind": "level", "band": "10m", "verdict": "practically the same", "estimate_db": 0.2, "interval_db": null, ` + arms, "+1 dB", "practically the same; right"},
		{`"kind": "level", "band": "10m", "verdict": "undecided", "estimate_db": null, "interval_db": null, ` + arms, "+1 dB", "undecided"},
		{`"kind": "level", "band": "20m", "verdict": "undecided", ` + arms, "+2 dB all round, and lobe 4 dB toward 300", "undecided; the average over the receivers heard depends on where they are"},
		{`"kind": "directivity", "shape": "one-sided", "band": "20m", "verdict": "different", ` + arms, "lobe 4 dB toward 300", "different; right"},
		{`"kind": "directivity", "shape": "one-sided", "band": "20m", "verdict": "practically the same", ` + arms, "lobe 4 dB toward 300", "practically the same; WRONG"},
		{`"kind": "directivity", "shape": "two-sided", "band": "20m", "verdict": "different", ` + arms, "lobe 4 dB toward 300", "different; WRONG"},
		{`"kind": "directivity", "shape": "any", "band": "10m", "verdict": "different", ` + arms, "no lobe", "different; WRONG"},
		{`"kind": "directivity", "shape": "any", "band": "10m", "verdict": "refused", ` + arms, "no lobe", "refused"},
		{`"kind": "null", "band": "10m", "verdict": "holds", ` + arms, "+1 dB", "holds; right"},
		{`"kind": "null", "band": "10m", "verdict": "fails", ` + arms, "+1 dB", "fails; WRONG"},
		{`"kind": "reciprocity", "band": "10m", "verdict": "refused", "arms": ["high"]`, "no truth is stated for this kind of claim", "refused"},
	} {
		band := "10m"
		if strings.Contains(c.entry, "20m") {
			band = "20m"
		}
		lines, err := r.Beside([]byte(`{"claims": [{"claim": "it", ` + c.entry + `}]}`))
		require.NoError(t, err)
		require.Equal(t, []string{"it, " + band, "    true:  " + c.truth, "    found: " + c.found}, lines, c.entry)
	}
	for verdict, remark := range map[string]string{"holds": "holds; right", "fails": "fails; WRONG", "undecided": "undecided"} {
		lines, err := r.Beside(fmt.Appendf(nil, `{"claims": [{"claim": "step", "kind": "known_step", "band": "10m", "verdict": %q, %s}]}`, verdict, arms))
		require.NoError(t, err)
		require.Equal(t, "    found: "+remark, lines[2])
		lines, err = r.Beside(fmt.Appendf(nil, `{"claims": [{"claim": "match", "kind": "match", "band": "10m", "verdict": %q, "arms": ["low"]}]}`, verdict))
		require.NoError(t, err)
		require.Equal(t, fmt.Sprintf("    true:  an SWR of at most %.2f at the feedpoint", r.HighestSWR(1, "low")), lines[1])
		require.Equal(t, "    found: "+remark, lines[2])
	}
	_, err := r.Beside([]byte("{"))
	require.ErrorContains(t, err, "reading the verdicts")
}
