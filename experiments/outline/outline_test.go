package outline

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
)

func answers() Answers {
	return Answers{
		Folder: "my wire", Call: "Q1RDG/P", Locator: "MN83kp", Mode: "FT8", Bands: []string{"20m", "10m"}, PowerW: 4, SmallestDB: 2,
		SpotIntervalMin: 5, ChangeMin: 2, Start: time.Date(2028, 2, 29, 22, 0, 0, 0, time.UTC), Seed: 1<<53 - 1,
	}
}

// Each starting point is a good experiment file that says what was answered.
func TestEachPassesTheCheck(t *testing.T) {
	kinds := map[string][]string{
		"height": {"level"}, "turned": {"directivity", "level"}, "wires": {"level", "heard_by"}, "choke": {"level", "match"}, "counterpoise": {"level", "match"},
		"null": {"null"}, "step": {"known_step"}, "both-ways": {"reciprocity", "level", "level"},
	}
	require.Len(t, All(), len(kinds))
	for _, o := range All() {
		t.Run(o.Name, func(t *testing.T) {
			text, err := o.Text(answers())
			require.NoError(t, err)
			e, list := experiments.Parse("my-wire.toml", text, nil)
			require.NoError(t, list.Err(), "%s", text)
			require.Equal(t, "Q1RDG/P", e.Station.Call)
			require.Equal(t, uint64(1<<53-1), e.Seed)
			require.Equal(t, 2.0, e.SmallestDB)
			require.Equal(t, []string{"20m", "10m"}, e.Schedule.Bands)
			require.Equal(t, 6*time.Minute, e.Schedule.Dwell, "a minute more than the reports take")
			var have []string
			for _, c := range e.Claims {
				have = append(have, c.Kind)
			}
			require.Equal(t, kinds[o.Name], have)
			for _, line := range strings.Split(string(text), "\n") {
				require.LessOrEqual(t, strings.Index(line, "  #"), commentColumn)
				require.NotContains(t, line, "<no value>")
			}
		})
	}
}

func TestDwellWithoutInterval(t *testing.T) {
	a := answers()
	a.SpotIntervalMin = 0
	text, err := All()[0].Text(a)
	require.NoError(t, err)
	require.Contains(t, string(text), "\ndwell_min = 2 ")
}

func TestUnknownStartingPoint(t *testing.T) {
	for _, name := range []string{"", "frame", "sources", "../outline"} {
		_, err := Outline{Name: name}.Text(answers())
		require.EqualError(t, err, fmt.Sprintf("there is no starting point %q", name))
	}
}

func TestSources(t *testing.T) {
	text, err := Sources{Measured: []string{"low", "wire 2 (long)"}, PowerTold: true}.Text()
	require.NoError(t, err)
	require.Contains(t, string(text), `power_w = { column = "power_w", unit = "W" } }`)
	require.Contains(t, string(text), "arm = \"low\"\nfiles = [\"sweeps/low-*.s1p\"]\n")
	require.Contains(t, string(text), "arm = \"wire 2 (long)\"\nfiles = [\"sweeps/arm-2-*.s1p\"]\n", "a name that no file can have")
	bare, err := Sources{}.Text()
	require.NoError(t, err)
	require.NotContains(t, string(bare), "sweeps")
	require.NotContains(t, string(bare), "power_w")
	require.Equal(t, 2, strings.Count(string(bare), "[[spots]]"))
	require.Contains(t, string(bare), "switches = \"log/switches.csv\"")
}
