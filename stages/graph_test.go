package stages

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/experiments"
	"fairlobe/stages/schedule"
)

// The experiment file is checked for sessions that run into each other before anything is drawn, by a rule of its own:
// it must give the end that the drawn schedule has.
func TestSessionEndIsThatOfTheSchedule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		minutes := func(name string, from, to int) time.Duration {
			return time.Duration(rapid.IntRange(from*4, to*4).Draw(t, name)) * 15 * time.Second
		}
		exp := &experiments.Experiment{Seed: rapid.Uint64().Draw(t, "seed"), Fixed: experiments.Fixed{Slot: 15 * time.Second}}
		for _, name := range []string{"a", "b", "c"}[:rapid.IntRange(2, 3).Draw(t, "arms")] {
			exp.Arms = append(exp.Arms, experiments.Arm{Name: name})
		}
		blocks := rapid.IntRange(1, 6).Draw(t, "blocks")
		exp.Schedule = experiments.Schedule{
			Bands: []string{"20m", "15m", "10m"}[:rapid.IntRange(1, 3).Draw(t, "bands")], Blocks: blocks,
			Dwell: minutes("dwell", 2, 8), Settle: 30 * time.Second,
			Pattern:   rapid.SampledFrom([]string{"pairs", "mirrored"}).Draw(t, "pattern"),
			Rotate:    rapid.SampledFrom([]string{"bands within arm", "arms within band"}).Draw(t, "rotate"),
			ArmChange: minutes("arm change", 0, 5) + 7*time.Second, BandChange: minutes("band change", 0, 5),
			Breaks:   []experiments.Break{{AfterBlock: rapid.IntRange(1, 6).Draw(t, "after"), Length: minutes("break", 0, 20)}},
			Sessions: []experiments.Session{{Start: time.Date(2026, 2, 28, 23, 40, rapid.IntRange(0, 59).Draw(t, "s"), 0, time.UTC), Blocks: blocks}},
		}
		planned, err := schedule.Draw(Plan(exp))
		require.NoError(t, err)
		require.Equal(t, planned[len(planned)-1].End, exp.SessionEnd(0))
	})
}
