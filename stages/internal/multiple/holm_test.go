package multiple

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func pointers(p []float64) []*float64 {
	out := make([]*float64, len(p))
	for i := range p {
		out[i] = &p[i]
	}
	return out
}

// Cases of R 4.2.2 stats::p.adjust, see testdata/README.md.
func TestHolmCases(t *testing.T) {
	raw, err := os.ReadFile("testdata/holm.json")
	require.NoError(t, err)
	var cases []struct {
		ID       string    `json:"id"`
		P        []float64 `json:"p"`
		Holm     []float64 `json:"holm"`
		Rejected int       `json:"rejected_0.05"`
		Tol      float64   `json:"tol_rel"`
	}
	require.NoError(t, json.Unmarshal(raw, &cases))
	require.Len(t, cases, 6)
	for _, c := range cases {
		t.Run(c.ID, func(t *testing.T) {
			got := Holm(pointers(c.P))
			rejected := 0
			for i, want := range c.Holm {
				require.InEpsilon(t, want, *got[i], c.Tol)
				if *got[i] <= 0.05 {
					rejected++
				}
			}
			require.Equal(t, c.Rejected, rejected)
		})
	}
}

// R 4.2.2, pairwise.t.test on the warp breaks of Tippett, Technological Applications of Statistics,
// 1950, p. 106.
func TestHolmWarpBreaks(t *testing.T) {
	got := Holm(pointers([]float64{0.000500860481793261, 0.238614375332875, 0.0147169626666854}))
	for i, want := range []float64{0.00150258144537978, 0.238614375332875, 0.0294339253333708} {
		require.InEpsilon(t, want, *got[i], 1e-10)
	}
}

func TestRefusedQuestionsCount(t *testing.T) {
	p := 0.02
	got := Holm([]*float64{nil, &p, nil})
	require.Nil(t, got[0])
	require.Nil(t, got[2])
	require.InDelta(t, 0.06, *got[1], 1e-15)
	require.Empty(t, Holm(nil))
}

// Leaving an entry out (nil) is the same as giving it p = 1; the adjustment never lowers a p, keeps
// the order, and does not depend on the places of the entries.
func TestHolmProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 12).Draw(t, "p")
		missing := rapid.SliceOfN(rapid.Bool(), len(p), len(p)).Draw(t, "missing")
		holed, filled := pointers(p), pointers(append([]float64(nil), p...))
		reversed := make([]*float64, len(p))
		for i := range p {
			if missing[i] {
				holed[i] = nil
				*filled[i] = 1
			}
			reversed[len(p)-1-i] = holed[i]
		}
		got, want, back := Holm(holed), Holm(filled), Holm(reversed)
		for i := range p {
			if missing[i] {
				require.Nil(t, got[i])
				continue
			}
			require.Equal(t, *want[i], *got[i])
			require.Equal(t, *back[len(p)-1-i], *got[i])
			require.GreaterOrEqual(t, *got[i], p[i])
			for j := range p {
				if !missing[j] && p[i] < p[j] {
					require.LessOrEqual(t, *got[i], *got[j])
				}
			}
		}
	})
}
