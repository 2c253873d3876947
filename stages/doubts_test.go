package stages

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
)

const sound = `
fairlobe = 1
smallest_difference_db = 1.5
seed = 7
question = "does height help?"
[station]
call = "Q1RDG"
locator = "MN83kp"
[fixed]
mode = "FT8"
sends = "even slots"
[[arm]]
name = "low"
feedpoint_height_m = 4
[[arm]]
name = "high"
feedpoint_height_m = 9
[schedule]
bands = ["20m", "10m"]
blocks = 8
dwell_min = 6
settle_min = 0.5
spot_interval_min = 5
start = 2026-09-12T04:00:00Z
[[claim]]
name = "height helps"
kind = "level"
compare = ["high", "low"]
[[spots]]
files = ["*.adi"]
format = "adif"
seen_from = "me"
[log]
switches = "switches.csv"
`

func load(t *testing.T, changes ...string) *experiments.Experiment {
	dir := t.TempDir()
	path := filepath.Join(dir, "x.toml")
	text := strings.NewReplacer(changes...).Replace(sound)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	exp, list := experiments.Load(path)
	require.NoError(t, list.Err())
	return exp
}

func TestDoubts(t *testing.T) {
	for _, tt := range []struct {
		name    string
		changes []string
		code    string // "" for none
		at      int    // line
	}{
		{"a sound plan", nil, "", 0},
		// Two questions: the least p with 7 blocks is 2/2^7 = 0.0156, twice that is within 0.05; with 6 it is 0.0625.
		{"blocks enough for two questions", []string{"blocks = 8", "blocks = 7"}, "", 0},
		{"too few blocks for two questions", []string{"blocks = 8", "blocks = 6"}, "few_blocks", 20},
		{"dwells shorter than reports are passed on", []string{"spot_interval_min = 5", "spot_interval_min = 30"}, "short_dwell", 23},
		{"nothing differs", []string{"feedpoint_height_m = 4", "feedpoint_height_m = 9"}, "no_difference", 28},
		{"nothing differs, on purpose", []string{"feedpoint_height_m = 4", "feedpoint_height_m = 9", `kind = "level"`, `kind = "null"`}, "", 0},
		{"erections that are not declared", []string{`kind = "level"`, `kind = "repeat"`, `compare = [`, `arms = [`}, "few_erections", 27},
		{"no slot to listen in", []string{`"even slots"`, `"every slot"`, `kind = "level"`, "kind = \"level\"\ndirection = \"received\""}, "never_listens", 28},
	} {
		t.Run(tt.name, func(t *testing.T) {
			exp := load(t, tt.changes...)
			planned, err := Schedule(exp)
			require.NoError(t, err)
			list := Doubts(exp, planned)
			if tt.code == "" {
				require.Empty(t, list)
				return
			}
			require.Len(t, list, 1, list.Error())
			require.Equal(t, tt.code, list[0].Code)
			require.Equal(t, tt.at, list[0].Pos.Line, list[0].String())
			require.NotEmpty(t, list[0].Mend)
			require.Empty(t, list.Faults())
		})
	}
}

// Only drops that were written down after the first look count; without a look or a log none do.
func TestDropsAfterTheFirstLook(t *testing.T) {
	exp := load(t)
	first := time.Date(2026, 9, 12, 12, 0, 0, 0, time.UTC)
	data, err := Find(exp)
	require.NoError(t, err)
	require.Empty(t, data.dropsAfter(first), "there is no log")
	log := "time,entered,event,session,band,block,arm,value,note\n" +
		"2026-09-12T04:10:00Z,2026-09-12T04:11:00Z,drop,1,20m,1,,,plug came loose\n" +
		"2026-09-12T04:40:00Z,2026-09-12T13:00:00Z,drop,1,20m,2,,,rain\n" +
		"2026-09-12T04:41:00Z,2026-09-12T13:01:00Z,remark,1,20m,2,,,wind\n"
	require.NoError(t, os.WriteFile(filepath.Join(exp.DataDir, "switches.csv"), []byte(log), 0o644))
	data, err = Find(exp)
	require.NoError(t, err)
	require.Equal(t, []int{3}, data.dropsAfter(first), "the line of the log")
	require.Empty(t, data.dropsAfter(time.Time{}), "nobody has looked")
}
