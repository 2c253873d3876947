package experiments

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const minute = time.Minute

func TestSessionEnd(t *testing.T) {
	start := time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)
	ft8 := 15 * time.Second
	tests := []struct {
		name     string
		schedule Schedule
		arms     int
		slot     time.Duration
		want     time.Duration
		source   string
	}{
		{"one block, one band", Schedule{Bands: []string{"20m"}, Dwell: 6 * minute, ArmChange: 3 * minute}, 2, ft8,
			15 * minute, "by hand: 6 + 3 + 6"},
		{"two bands within arm", Schedule{Bands: []string{"20m", "10m"}, Dwell: 6 * minute, ArmChange: 3 * minute, BandChange: minute}, 2, ft8,
			29 * minute, "by hand: 6 + 1 + 6 + 3 + 6 + 1 + 6"},
		{"arms within band", Schedule{Bands: []string{"20m", "10m"}, Dwell: 6 * minute, ArmChange: 3 * minute, BandChange: 4 * minute, Rotate: "arms within band"}, 2, ft8,
			34 * minute, "by hand: 6 + 3 + 6, max(3, 4), 6 + 3 + 6"},
		{"mirrored", Schedule{Bands: []string{"20m"}, Dwell: 6 * minute, ArmChange: 3 * minute, Pattern: "mirrored"}, 2, ft8,
			30 * minute, "by hand: 6 + 3 + 6 + 0 + 6 + 3 + 6"},
		{"mirrored, three arms", Schedule{Bands: []string{"20m"}, Dwell: 6 * minute, ArmChange: minute, Pattern: "mirrored"}, 3, ft8,
			40 * minute, "by hand: 6 dwells of 6, 4 changes of 1"},
		{"starts on slot edges", Schedule{Bands: []string{"20m"}, Dwell: 6 * minute, ArmChange: 3 * minute}, 2, 2 * minute,
			16 * minute, "by hand: 6, the change ends at 9, the next edge is 10, 10 + 6"},
	}
	for _, tt := range tests {
		tt.schedule.Sessions = []Session{{Start: start, Blocks: 1}, {Start: start, Blocks: 3}}
		e := &Experiment{Schedule: tt.schedule, Arms: make([]Arm, tt.arms), Fixed: Fixed{Slot: tt.slot}}
		assert.Equal(t, start.Add(tt.want), e.SessionEnd(0), "%s (%s)", tt.name, tt.source)
		e.Schedule.Breaks = []Break{{AfterBlock: 1, Length: 20 * minute}, {AfterBlock: 3, Length: time.Hour}}
		if tt.slot == ft8 {
			// The break of 20 minutes takes the place of the change, for it is longer.
			between := tt.schedule.ArmChange
			if len(tt.schedule.Bands) > 1 {
				between = max(between, tt.schedule.BandChange)
			}
			want := start.Add(3*tt.want + between + 20*minute)
			assert.Equal(t, want, e.SessionEnd(1), "%s: three blocks, a break after the first, none after the last", tt.name)
		}
	}
}

func TestRoundUp(t *testing.T) {
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, s)
		require.NoError(t, err)
		return v
	}
	assert.Equal(t, at("2026-09-12T04:00:07.5Z"), roundUp(at("2026-09-12T04:00:00.001Z"), 7500*time.Millisecond))
	assert.Equal(t, at("2026-09-12T04:00:00Z"), roundUp(at("2026-09-12T04:00:00Z"), 15*time.Second))
	assert.Equal(t, at("2026-09-13T00:00:00Z"), roundUp(at("2026-09-12T23:59:59Z"), 2*time.Minute))
}

func TestOwnSlots(t *testing.T) {
	for _, tt := range []struct {
		dwell, settle, slot float64 // s
		sends               string
		want                int
		source              string
	}{
		{360, 30, 15, "every slot", 22, "by hand: 24 slots, 2 in the settle time"},
		{360, 30, 15, "even slots", 11, "by hand: every other of 22"},
		{60, 30, 15, "odd slots", 1, "by hand: every other of 2"},
		{75, 30, 15, "odd slots", 1, "by hand: of 3 slots one or two are odd, and the smaller count holds"},
		{60, 31, 15, "as logged", 1, "by hand: the settle time takes 3 of 4 slots"},
		{119, 0, 120, "every slot", 0, "by hand: no whole slot"},
		{60, 120, 15, "every slot", 0, "by hand: the settle time is longer"},
	} {
		s := func(v float64) time.Duration { return time.Duration(v * float64(time.Second)) }
		assert.Equal(t, tt.want, ownSlots(s(tt.dwell), s(tt.settle), s(tt.slot), tt.sends), tt.source)
	}
}

// TestDwellForIsShortest: the proposed dwell leaves the wanted slots, and one that is a slot shorter does not.
func TestDwellForIsShortest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slot := rapid.SampledFrom([]time.Duration{7500 * time.Millisecond, 15 * time.Second, time.Minute, 2 * time.Minute}).Draw(t, "slot")
		settle := time.Duration(rapid.Int64Range(0, int64(10*time.Minute)).Draw(t, "settle"))
		sends := rapid.SampledFrom([]string{"every slot", "even slots", "odd slots", "as logged"}).Draw(t, "sends")
		d := dwellFor(2, settle, slot, sends)
		assert.Equal(t, 2, ownSlots(d, settle, slot, sends))
		assert.Less(t, ownSlots(d-slot, settle, slot, sends), 2)
	})
}

func TestCutFor(t *testing.T) {
	for _, tt := range []struct {
		mode  string
		slot  time.Duration
		want  float64
		known bool
	}{
		{"FT4", 7500 * time.Millisecond, -14.5, true},
		{"FT8", 15 * time.Second, -18, true},
		{"JT9", time.Minute, -21, true},
		{"WSPR", 2 * time.Minute, -25, true},
		{"FST4", 2 * time.Minute, 0, false}, // a two-way mode
		{"FST4W", 5 * time.Minute, 0, false},
		{"OWN", 15 * time.Second, 0, false},
	} {
		cut, known := cutFor(tt.mode, tt.slot)
		assert.Equal(t, tt.known, known, tt.mode)
		if known {
			assert.Equal(t, tt.want, cut, tt.mode)
		}
	}
}

func TestDistance(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"abc", "", 3}, {"kitten", "sitting", 3}, {"blokcs", "blocks", 1}, {"ab", "ba", 1}, {"ca", "abc", 3},
	} {
		assert.Equal(t, tt.want, distance(tt.a, tt.b), "%s %s: by hand", tt.a, tt.b)
		assert.Equal(t, tt.want, distance(tt.b, tt.a), "%s %s: by hand", tt.b, tt.a)
	}
}

func TestNumberIn(t *testing.T) {
	c := newChecker()
	for _, tt := range []struct{ text, path, want string }{
		{"1,5", "smallest_difference_db", "1.5"},
		{"90 s", "schedule.dwell_min", "1.5"},
		{"36 dBm", "fixed.power_w", "3.98107"}, // 10^((36-30)/10)
		{"20 ft", "fixed.feedpoint_height_m", "6.096"},
		{"20 kg", "fixed.feedpoint_height_m", ""},
		{"16.5", "schedule.blocks", ""},
		{"900", "schedule.dwell_min", ""}, // outside its limits
		{"soon", "schedule.dwell_min", ""},
	} {
		got, ok := numberIn(tt.text, c.keys[tt.path])
		assert.Equal(t, tt.want != "", ok, tt.text)
		if ok {
			assert.Equal(t, tt.want, got, tt.text)
		}
	}
}

func TestBands(t *testing.T) {
	for i, b := range bands {
		assert.Less(t, b.fromMHz, b.toMHz, b.name)
		assert.True(t, i == 0 || bands[i-1].toMHz <= b.fromMHz, b.name)
	}
	b, ok := findBand("20M")
	require.True(t, ok)
	assert.InDelta(t, 21.149, b.wavelengthM(), 0.001, "299.792458 / 14.175, by hand; three digits are written")
}

func TestDifferences(t *testing.T) {
	text := `fairlobe = 1
question = "Does lifting help?"
smallest_difference_db = 1
[station]
call = "Q1RDG"
locator = "MN83kp"
[fixed]
mode = "FT8"
wire_length_m = 10
far_end_height_m = 3
feedline_length_m = 8
feed_at = 0.5
other = { guys = 3 }
[[arm]]
name = "low"
feedpoint_height_m = 3
arm_spacing_m = 10
[[arm]]
name = "high"
feedpoint_height_m = 9
arm_spacing_m = 20
other = { guys = 4 }
[schedule]
bands = ["20m"]
blocks = 16
dwell_min = 6
changeover = "switch"
spot_interval_min = 5
start = 2026-09-12T04:00:00Z
[[claim]]
name = "more height, more signal"
kind = "level"
compare = ["high", "low"]
`
	e, list := Parse("x.toml", []byte(text), nil)
	require.NotNil(t, e, list.Error())
	var got []string
	for _, d := range e.Differences() {
		got = append(got, fmt.Sprintf("%s (%s %v)", d, d.Unit, d.Derived))
	}
	assert.Equal(t, []string{
		"arm_spacing_m: low 10, high 20 (m false)",
		"feedpoint_height_m: low 3, high 9 (m false)",
		"guys: low 3, high 4 ( false)",
		"slope_angle_deg: low 0, high 36.87 (deg true)",               // asin(6/10)
		"ground_run_m: low 10, high 8 (m true)",                       // a triangle of 6, 8, 10
		"hanging_feedline_m: low 3, high 6 (m true)",                  // fed in the middle of 3 and 9
		"arm_spacing_wavelengths on 20m: low 0.47, high 0.95 ( true)", // 10 and 20 times 14.175 / 299.792458
	}, got)
	assert.Empty(t, e.Differences("low"))
	assert.Empty(t, e.Differences("low", "low"))

	unnamed := e.Unnamed()
	assert.Equal(t, 6, len(unnamed), "all but the height: %s", unnamed)
	assert.Equal(t, `x.toml:33:1: warning: arms differ in guys, and neither a claim nor the question names it (guys: high 4, low 3)
    mend: hold it the same, or name it in the question: a difference that is found may come from it`, unnamed[3].String())

	named := strings.Replace(text, "Does lifting help?", "Do height, spacing, slope, run of ground, guys and hanging line help?", 1)
	e, list = Parse("x.toml", []byte(named), nil)
	require.NotNil(t, e, list.Error())
	assert.Empty(t, e.Unnamed())
}

func TestDifferenceText(t *testing.T) {
	d := Difference{Name: "x", Arms: []string{"a", "b", "c", "d", "e"},
		Values: []any{nil, Loss{DB: 4, AtMHz: 14}, make([]Wire, 2), "glass fibre", true}}
	assert.Equal(t, "x: a not given, b 4 dB at 14 MHz, c 2 wires, d glass fibre, e true", d.String())
}

// TestOneArm: an experiment may have one arm, and then compares nothing.
func TestOneArm(t *testing.T) {
	text := small(t)
	text = strings.Replace(text, "[[arm]]\nname = \"high\"\nfeedpoint_height_m = 9.0\n", "", 1)
	text = strings.Replace(text, "kind = \"level\"\ncompare = [\"high\", \"low\"]", "kind = \"directivity\"\nshape = \"any\"\narms = [\"low\"]", 1)
	e, list := Parse("x.toml", []byte(text), nil)
	require.NotNil(t, e, list.Error())
	assert.Empty(t, list)
	assert.False(t, e.Claims[0].Compares)
	assert.Empty(t, e.Differences())
	assert.Empty(t, e.Unnamed())
}

// TestWarnings: what is doubtful is told, and the file is read.
func TestWarnings(t *testing.T) {
	base := small(t)
	for _, tt := range []struct{ old, new, code string }{
		{"arm_change_min = 3", "arm_change_min = 0", "no_time_to_change"},
		{"power_w = 4\n\n[[arm]]\nname = \"low\"", "\n[[arm]]\nname = \"low\"\npower_w = 4", "partly_given"},
		{"power_w = 4\n\n[[arm]]\nname = \"low\"\nfeedpoint_height_m = 4.5\n\n[[arm]]\nname = \"high\"",
			"[[arm]]\nname = \"low\"\npower_w = 2\n[[arm]]\nname = \"high\"\npower_w = 4", "power_differs"},
		{`kind = "level"`, `kind = "null"`, "null_differs"},
		{"[[claim]]\nname = \"lift helps\"\nkind = \"level\"\ncompare = [\"high\", \"low\"]\n", "", "no_claim"},
		{"[[spots]]\nfiles = [\"spots/*.adi\"]\nformat = \"adif\"\nseen_from = \"me\"\n", "", "no_spots"},
		{"kind = \"level\"\ncompare", "kind = \"match\"\nswr_at_most = 2\narms", "no_sweeps"},
	} {
		require.Contains(t, base, tt.old)
		e, list := Parse("x.toml", []byte(strings.Replace(base, tt.old, tt.new, 1)), nil)
		require.NotNil(t, e, list.Error())
		var codes []string
		for _, d := range list.Warnings() {
			codes = append(codes, d.Code)
		}
		assert.Contains(t, codes, tt.code)
	}
	_, list := Parse("x.toml", []byte(base), nil)
	assert.Empty(t, list)
}

func TestLogMayBeMissing(t *testing.T) {
	text := small(t) + "\n[log]\nswitches = \"log/switches.csv\"\n"
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("x.toml", []byte(text), 0o644))
	e, list := Load("x.toml")
	require.NotNil(t, e)
	assert.Equal(t, `x.toml:42:1: warning: the switch log log/switches.csv is not there, so that the planned times count
    mend: make the file before the trial (fairlobe help log has its form); after it, check the name and the data folder`, list.Error())
}
