package trial

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
	"fairlobe/stages/schedule"
)

// lineOf gives the number of the log's first line that holds some words, the header being line 1.
func lineOf(t *testing.T, log, words string) int {
	t.Helper()
	before, _, found := strings.Cut(log, words)
	require.True(t, found)
	return 1 + strings.Count(before, "\n")
}

// Block 1 of session 1 was connected 65 s late on 20m, so that without its drop it would count shortened by two slots;
// block 2 was dropped in time, too.
func TestDropsAfterTheFirstLookAreMarked(t *testing.T) {
	text, planned := draw(t)
	late := func(d schedule.Dwell) float64 {
		if d.Session == 1 && d.Band == "20m" && d.Block == 1 && d.Position == 1 {
			return 65
		}
		return -20
	}
	at := func(minutes int) string {
		return start.Add(time.Duration(minutes) * time.Minute).Format(time.RFC3339)
	}
	log := logged(planned, late, at(60)+",,drop,1,,1,,,late rain", at(61)+",,drop,1,,2,,,rain", at(62)+",,drop,1,,2,,,late again")
	p := carried()
	p.LateDrops = []int{lineOf(t, log, "late rain"), lineOf(t, log, "late again")}
	res, facts, err := carry(t, p, text, log)
	require.NoError(t, err)
	require.Equal(t, 2, facts.Late.Blocks, "block 1, on two bands")
	require.InDelta(t, 0.5, facts.Losses[0].Share, 1e-12, "two of four blocks")
	require.InDelta(t, 0.25, facts.Late.Losses[0].Share, 1e-12, "one of four without the late drops")
	reasons := map[string]string{}
	for r := table.NewReader(res.Tables[TableDwells]); r.Next(); {
		if r.Bool("kept") {
			continue
		}
		require.Zero(t, r.Int("slots"))
		key := r.Str("band") + string(rune('0'+r.Int("block")))
		reasons[key] = r.Str("reason")
		settle := r.Time("settle_end").Sub(r.Time("start"))
		if key == "20m1" {
			require.Equal(t, 90*time.Second, settle, "as long as it would count: the slots at 30 s and 60 s are gone")
		} else {
			require.Equal(t, 30*time.Second, settle)
		}
	}
	require.Equal(t, map[string]string{"20m1": "dropped after the first look: late rain", "10m1": "dropped after the first look: late rain", "20m2": "dropped: rain", "10m2": "dropped: rain"}, reasons)

	p.LateDrops = []int{lineOf(t, log, "late again")}
	_, facts, err = carry(t, p, text, log)
	require.NoError(t, err)
	require.Nil(t, facts.Late, "the block is out in any case")
}
