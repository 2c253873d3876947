package field

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule"
)

// plan is a trial of two arms: dwells of 6 min with 30 s of settling, in slots of 15 s of which the even ones are sent
// in, so that a dwell has 11 own slots (0:30, 1:00 ... 5:30); 3 min between dwells, so that a block takes 18 min.
func plan(t *testing.T, bands ...string) Trial {
	t.Helper()
	const minute = 60_000
	p := schedule.Plan{Seed: 7, Arms: []string{"low", "high"}, Bands: bands, DwellMs: 6 * minute, SettleMs: minute / 2, ArmChangeMs: 3 * minute,
		BandChangeMs: minute, SlotMs: 15_000, Pattern: schedule.Pairs, Rotate: schedule.BandsWithinArm,
		Sessions: []schedule.Session{{StartMs: moment("04:00:00").UnixMilli(), Blocks: 6}, {StartMs: moment("04:00:00").AddDate(0, 0, 1).UnixMilli(), Blocks: 2}}}
	planned, err := schedule.Draw(p)
	require.NoError(t, err)
	return Trial{Planned: planned, SlotMs: p.SlotMs, SettleMs: p.SettleMs, Sends: schedule.EvenSlots}
}

// moment is a clock time on the day of the trial.
func moment(clock string) time.Time {
	t, err := time.Parse(time.RFC3339, "2026-09-12T"+clock+"Z")
	if err != nil {
		panic(err)
	}
	return t
}

func logIn(t *testing.T, dir string) *Log {
	t.Helper()
	log, err := OpenLog(filepath.Join(dir, "log", "switches.csv"))
	require.NoError(t, err)
	t.Cleanup(func() { log.Close() })
	return log
}

// lines are what the log has, without its header.
func lines(t *testing.T, log Recorder) []string {
	t.Helper()
	text, err := os.ReadFile(log.Path())
	require.NoError(t, err)
	all := strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")
	require.Equal(t, strings.Join(dwells.Header(), ","), all[0])
	return all[1:]
}

// step is one thing typed at one time, and what is said to it.
type step struct{ at, typed, says string }

func drive(t *testing.T, k *Keeper, steps []step) {
	t.Helper()
	for _, s := range steps {
		now := moment(s.at)
		k.Tick(now)
		said := strings.Join(k.Enter(now, s.typed), "\n") + "\n? " + k.Prompt()
		require.Contains(t, said, s.says, "%s %q", s.at, s.typed)
	}
}

func keeper(t *testing.T, trial Trial, log Recorder, now string) *Keeper {
	t.Helper()
	k, err := NewKeeper(trial, log, 1)
	require.NoError(t, err)
	k.Begin(moment(now))
	return k
}

// What each key leads to. The slots left out are counted by hand from the plan's comment.
func TestKeys(t *testing.T) {
	for _, one := range []struct {
		name  string
		steps []step
		log   []string
		view  string // of Status at the last step
	}{
		{name: "in time, and twice",
			steps: []step{{"03:58:00", "", "No clock reading"}, {"03:59:10", "c", "connected: low on 20m"}, {"03:59:12", " ", "confirmed already"}, {"04:01:00", "c", "confirmed already"}},
			log:   []string{"2026-09-12T03:59:10Z,2026-09-12T03:59:10Z,connected,1,20m,1,low,,"},
			view:  "ON THE AIR: low on 20m; change at 04:06:00Z, in 5:00"},
		{name: "late within the settling time",
			steps: []step{{"03:58:00", "0.3", "clock: 0.3 s"}, {"04:00:20", "c", "20 s late, before the first slot that counts"}},
			log:   []string{"2026-09-12T03:58:00Z,2026-09-12T03:58:00Z,clock,1,,,,0.3,", "2026-09-12T04:00:20Z,2026-09-12T04:00:20Z,connected,1,20m,1,low,,"}},
		{name: "late: three slots go from every dwell of the block",
			steps: []step{{"03:58:00", "", ""}, {"04:01:35", "c", "Left out of every dwell of block 1 on 20m alike: the first 3 slots."}},
			log:   []string{"2026-09-12T04:01:35Z,2026-09-12T04:01:35Z,connected,1,20m,1,low,,"}},
		{name: "later: less than half is left",
			steps: []step{{"03:58:00", "", ""}, {"04:03:40", "c", "Block 1 on 20m does not count: late switch: low was connected 220 s after its dwell began, 4 of 11 slots left"}},
			log:   []string{"2026-09-12T04:03:40Z,2026-09-12T04:03:40Z,connected,1,20m,1,low,,"},
			view:  "this block is lost, go on all the same"},
		{name: "forgotten, written down later",
			steps: []step{{"03:58:00", "", ""}, {"04:07:00", "e", "When was low on 20m connected (planned 04:00:00Z)?"}, {"04:07:01", "4:61", "is no time"},
				{"04:07:02", "05:59", "can't belong"}, {"04:07:03", "04:08", "still to come"}, {"04:07:05", "04:00:10", "connected: low on 20m"}},
			log: []string{"2026-09-12T04:00:10Z,2026-09-12T04:07:05Z,connected,1,20m,1,low,,"}},
		{name: "a pause between blocks moves what follows",
			steps: []step{{"03:58:00", "", ""}, {"04:15:30", "p", "pause. Send nothing"}, {"04:20:00", "", "PAUSED"}, {"04:20:10", "p", "What follows moves by 5:00"}},
			log:   []string{"2026-09-12T04:15:30Z,2026-09-12T04:15:30Z,pause,1,,,,,", "2026-09-12T04:20:10Z,2026-09-12T04:20:10Z,resume,1,,,,,"},
			view:  "on the air at 04:23:00Z"},
		{name: "a pause inside a block asks first",
			steps: []step{{"03:58:00", "", ""}, {"04:02:00", "p", "A pause now drops block 1 on 20m"}, {"04:02:05", "", "Nothing written"}, {"04:02:10", "p", "?"}, {"04:02:15", "y", "Block 1 on 20m does not count: paused inside"}},
			log:   []string{"2026-09-12T04:02:15Z,2026-09-12T04:02:15Z,pause,1,,,,,"}},
		{name: "a drop needs a reason, and one that looks at signals is asked twice",
			steps: []step{{"03:58:00", "", ""}, {"04:02:00", "d", "Drop which block? Enter: 1 on 20m"}, {"04:02:05", "9", "no block"}, {"04:02:06", "", "Why drop block 1 on 20m?"},
				{"04:02:07", "signals were weak", "seems to look at signals"}, {"04:02:08", "n", "Nothing written"},
				{"04:02:09", "d", ""}, {"04:02:10", "all", "block 1 on every band"}, {"04:02:11", "", "Nothing written"},
				{"04:02:12", "d", ""}, {"04:02:13", "20M 1", "Why"}, {"04:02:14", "rain on the connector", "does not count: dropped: rain on the connector"}},
			log: []string{"2026-09-12T04:02:14Z,2026-09-12T04:02:14Z,drop,1,20m,1,,,rain on the connector"}},
		{name: "a drop of a block that is over asks when",
			steps: []step{{"03:58:00", "", ""}, {"04:30:00", "d", "Enter: 2 on 20m"}, {"04:30:05", "1", "Why"}, {"04:30:06", "wrong arm", "When did that happen"},
				{"04:30:07", "05:00", "not in that block"}, {"04:30:08", "04:10", "does not count"}},
			log: []string{"2026-09-12T04:10:00Z,2026-09-12T04:30:08Z,drop,1,20m,1,,,wrong arm"}},
		{name: "wrong arm noticed",
			steps: []step{{"03:58:00", "", ""}, {"04:02:00", "w", "Wrong arm: drop block 1 on 20m?"}, {"04:02:05", "x", "Nothing written"}, {"04:02:06", "w", ""}, {"04:02:07", "y", "dropped: wrong arm noticed"}},
			log:   []string{"2026-09-12T04:02:07Z,2026-09-12T04:02:07Z,drop,1,20m,1,,,wrong arm noticed"}},
		{name: "words and readings",
			steps: []step{{"03:58:00", "", ""}, {"04:02:00", "v", "other than planned"}, {"04:02:01", "far end at 1.5 m, \"tied\"", "deviation"}, {"04:02:02", "n", "Note"}, {"04:02:03", " ", "Nothing written"},
				{"04:02:04", "o", "W"}, {"04:02:05", "a lot", "is no number"}, {"04:02:06", "-3", "can't be"}, {"04:02:07", "4,5 w", "power: 4.5 W"}, {"04:02:08", "b", "V"}, {"04:02:09", "12.9", "battery: 12.9 V"},
				{"04:02:10", "r", "Radio's clock"}, {"04:02:11", "-0.2", "radio clock: -0.2 s"}},
			log: []string{`2026-09-12T04:02:01Z,2026-09-12T04:02:01Z,deviation,1,20m,1,low,,"far end at 1.5 m, ""tied"""`,
				"2026-09-12T04:02:07Z,2026-09-12T04:02:07Z,power,1,20m,1,low,4.5,", "2026-09-12T04:02:09Z,2026-09-12T04:02:09Z,battery,1,20m,1,low,12.9,",
				"2026-09-12T04:02:11Z,2026-09-12T04:02:11Z,radio_clock,1,,,,-0.2,"}},
		{name: "an end before the last block wants the word",
			steps: []step{{"03:58:00", "", ""}, {"04:02:00", "x", "open one for good"}, {"04:02:01", "y", "Nothing written"}, {"04:02:02", "x", ""}, {"04:02:03", "end", "Blocks that count: 0; lost: 0"}, {"04:02:04", "0.4", "clock"}},
			log:   []string{"2026-09-12T04:02:03Z,2026-09-12T04:02:03Z,end,1,,,,,", "2026-09-12T04:02:04Z,2026-09-12T04:02:04Z,clock,1,,,,0.4,"}},
		{name: "no such key", steps: []step{{"03:58:00", "", ""}, {"04:02:00", "z", `There is no key "z"`}, {"04:02:00", "?", "x end"}}},
	} {
		t.Run(one.name, func(t *testing.T) {
			log := logIn(t, t.TempDir())
			k := keeper(t, plan(t, "20m"), log, one.steps[0].at)
			drive(t, k, one.steps)
			require.Equal(t, append([]string{}, one.log...), append([]string{}, lines(t, log)...))
			if one.view != "" {
				require.Contains(t, strings.Join(k.Status(moment(one.steps[len(one.steps)-1].at)), "\n"), one.view)
			}
		})
	}
}

// A clock that is off: the log's limits are 0.5 s and half the settling time, here 15 s.
func TestClock(t *testing.T) {
	t.Run("too far off before anything is logged: it is set, nothing is written", func(t *testing.T) {
		log := logIn(t, t.TempDir())
		k := keeper(t, plan(t, "20m"), log, "03:58:00")
		drive(t, k, []step{{"03:58:05", "90", "The log's clock was 90 s ahead of UTC"}, {"03:57:00", "0.1", "clock: 0.1 s"}})
		require.Equal(t, []string{"2026-09-12T03:57:00Z,2026-09-12T03:57:00Z,clock,1,,,,0.1,"}, lines(t, log))
	})
	t.Run("too far off with times in the log: the truth is written if the operator says so, and refused from then on", func(t *testing.T) {
		log := logIn(t, t.TempDir())
		k := keeper(t, plan(t, "20m"), log, "03:58:00")
		drive(t, k, []step{{"03:58:05", "", ""}, {"03:59:00", "c", "connected"}, {"03:59:10", "k", "Clock check"}, {"03:59:20", "90", "Write it?"}, {"03:59:21", "n", "Clock check"},
			{"03:59:22", "90", "Write it?"}, {"03:59:23", "y", "add \u221290 s to each time of session 1"}})
		require.True(t, k.Left())
		require.Len(t, lines(t, log), 2)
		_, err := NewKeeper(plan(t, "20m"), log, 1)
		require.ErrorContains(t, err, "switches.csv:3:")
		require.ErrorContains(t, err, "90 s ahead of UTC, more than half the settling time")
	})
	t.Run("corrected: what is shown is UTC", func(t *testing.T) {
		log := logIn(t, t.TempDir())
		k := keeper(t, plan(t, "20m"), log, "03:58:00")
		drive(t, k, []step{{"03:58:05", "10", "corrected by -10 s"}, {"04:00:15", "c", "5 s late"}})
		require.Equal(t, moment("04:00:05"), k.View(moment("04:00:15")).Clock)
		require.InDelta(t, 5, k.all[0].LateS, 1e-9)
	})
	t.Run("set back: the log's order is kept", func(t *testing.T) {
		log := logIn(t, t.TempDir())
		k := keeper(t, plan(t, "20m"), log, "03:58:00")
		drive(t, k, []step{{"03:58:05", "", ""}, {"03:59:00", "n", ""}, {"03:59:00", "early", "remark"}, {"03:57:30", "c", "This clock is 1:30 behind the log's last line"}})
		require.Equal(t, "2026-09-12T03:57:30Z,2026-09-12T03:59:00Z,connected,1,20m,1,low,,", lines(t, log)[1])
		log.Close()
		logIn(t, filepath.Dir(filepath.Dir(log.Path())))
	})
}

// The clock alone: bells at both ends of a dwell, a word a minute before, the reminder after five blocks.
func TestTick(t *testing.T) {
	log := logIn(t, t.TempDir())
	k := keeper(t, plan(t, "20m"), log, "03:59:58")
	k.Cancel()
	type told struct {
		at   string
		bell bool
		says string
	}
	var got []told
	for now := moment("03:59:58"); !now.After(moment("04:09:02")); now = now.Add(time.Second) {
		if said, bell := k.Tick(now); len(said) > 0 {
			got = append(got, told{now.Format("15:04:05"), bell, strings.Join(said, "\n")})
		}
	}
	require.Equal(t, []told{
		{"04:00:00", true, "04:00:00Z  ON THE AIR: low on 20m until 04:06:00Z; NOT CONFIRMED yet (c)"},
		{"04:05:00", false, "04:05:00Z  in 1:00: connect high on 20m"},
		{"04:06:00", true, "low on 20m was not confirmed: it counts as planned, with a mark. Key e writes it down later.\n04:06:00Z  CHANGE: connect high on 20m, on the air at 04:09:00Z"},
		{"04:09:00", true, "04:09:00Z  ON THE AIR: high on 20m until 04:15:00Z; NOT CONFIRMED yet (c)"},
	}, got)
	k.Tick(moment("05:26:59"))
	said, bell := k.Tick(moment("05:27:00"))
	require.True(t, bell)
	require.Equal(t, "Block 5 is done. Copy the log away now: "+log.Path(), said[len(said)-1])
	said, _ = k.Tick(moment("07:00:00"))
	require.Contains(t, strings.Join(said, "\n"), "The last dwell is over.")
	drive(t, k, []step{{"07:00:01", "c", "The last dwell is over"}, {"07:00:02", "p", "nothing to pause"}, {"07:00:03", "x", "Blocks that count: 6; lost: 0"}, {"07:00:04", "", ""}})
	require.True(t, k.Left())
	require.True(t, k.Ended())
}

// A restart rebuilds the state from schedule and log.
func TestRestart(t *testing.T) {
	dir := t.TempDir()
	log := logIn(t, dir)
	k := keeper(t, plan(t, "20m", "10m"), log, "03:58:00")
	drive(t, k, []step{{"03:58:01", "0", ""}, {"03:59:00", "c", "low on 20m"}, {"04:06:40", "c", "low on 10m"}, {"04:10:00", "d", ""}, {"04:10:01", "", ""}, {"04:10:02", "rain", ""}, {"04:15:05", "c", "high on 20m"}})
	for _, at := range []string{"04:10:30", "04:15:30", "04:20:00", "04:22:30", "05:00:00"} {
		require.NoError(t, log.Close())
		log = logIn(t, dir)
		again := keeper(t, plan(t, "20m", "10m"), log, at)
		require.Empty(t, again.Prompt(), "the clock was read already")
		require.Equal(t, k.View(moment(at)), again.View(moment(at)))
		require.Equal(t, k.Screen(moment(at), nil, 40, 30), again.Screen(moment(at), nil, 40, 30))
	}
}

func TestFromNow(t *testing.T) {
	for _, one := range []struct{ at, first string }{
		// Shifts are whole periods of 30 s, so that every dwell keeps its slots.
		{"04:20:00", "04:20:00"}, {"04:20:01", "04:20:30"}, {"04:20:16", "04:20:30"}, {"03:30:10", "03:30:30"},
	} {
		log := logIn(t, t.TempDir())
		k, err := NewKeeper(plan(t, "20m"), log, 1)
		require.NoError(t, err)
		require.Contains(t, strings.Join(k.StartNow(moment(one.at)), "\n"), "start of session 1")
		require.Equal(t, moment(one.first), k.all[0].Start)
		require.Equal(t, 11, schedule.CountOwn(k.all[0].Dwell, 15_000, schedule.EvenSlots))
		require.Equal(t, []string{"2026-09-12T" + one.first + "Z,2026-09-12T" + one.at + "Z,start,1,,,,,"}, lines(t, log))
	}
}

// A start that would push a session into the next is not written.
func TestStartInsideTheNextSession(t *testing.T) {
	log := logIn(t, t.TempDir())
	k, err := NewKeeper(plan(t, "20m"), log, 1)
	require.NoError(t, err)
	said := strings.Join(k.StartNow(moment("03:30:00").AddDate(0, 0, 1)), "\n")
	require.Contains(t, said, "NOT WRITTEN: session 1 lasts to")
	require.Empty(t, lines(t, log))
}

func TestChoose(t *testing.T) {
	connected := "2026-09-12T04:00:10Z,,connected,1,20m,1,low,,"
	end := "2026-09-12T06:00:00Z,,end,1,,,,,"
	for _, one := range []struct {
		name  string
		log   []string
		want  Choice
		at    time.Time
		takes int
		told  string
		fault string
	}{
		{name: "before the first", at: moment("01:00:00"), takes: 1},
		{name: "on", at: moment("05:00:00"), takes: 1},
		{name: "the next", at: moment("08:00:00"), takes: 2},
		{name: "one without an end", log: []string{connected}, at: moment("08:00:00"), takes: 2, told: "Session 1 has no end in the log"},
		{name: "named, over", want: Choice{Session: 1}, at: moment("08:00:00"), fault: "session 1 was over at 2026-09-12 05:45Z, and nothing of it is in the log"},
		{name: "named, over, begun", log: []string{connected}, want: Choice{Session: 1}, at: moment("08:00:00"), takes: 1},
		{name: "named, ended", log: []string{connected, end}, want: Choice{Session: 1}, at: moment("06:30:00"), fault: "session 1 has ended"},
		{name: "no such", want: Choice{Session: 9}, at: moment("01:00:00"), fault: "the schedule has no session 9"},
		{name: "none left", at: moment("01:00:00").AddDate(0, 1, 0), fault: "no session is left: the last one, 2, was over at 2026-09-13 04:33Z"},
		{name: "late", want: Choice{FromNow: true}, at: moment("08:00:00"), takes: 1},
		{name: "late, but begun", log: []string{connected}, want: Choice{FromNow: true, Session: 1}, at: moment("04:30:00"), fault: "session 1 has begun already"},
		{name: "early", want: Choice{FromNow: true}, at: moment("01:00:00"), takes: 1},
		{name: "from paper", want: Choice{Past: true}, at: moment("23:00:00"), takes: 1},
		{name: "the trial has ended", log: []string{"2026-09-12T06:00:00Z,,end,,,,,,"}, at: moment("06:30:00"), fault: "the trial has ended"},
	} {
		t.Run(one.name, func(t *testing.T) {
			dir := t.TempDir()
			text := strings.Join(append([]string{strings.Join(dwells.Header(), ",")}, one.log...), "\n") + "\n"
			require.NoError(t, os.Mkdir(filepath.Join(dir, "log"), 0o755))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "log", "switches.csv"), []byte(text), 0o644))
			session, told, err := plan(t, "20m").Choose(logIn(t, dir), one.want, one.at)
			if one.fault != "" {
				require.ErrorContains(t, err, one.fault)
				require.ErrorContains(t, err, "mend: ")
				return
			}
			require.NoError(t, err)
			require.Equal(t, one.takes, session)
			require.Contains(t, strings.Join(told, "\n"), one.told)
		})
	}
}

// Every screen of a session fits a terminal of 40 columns and of few lines, has no control characters, and a question
// is always seen.
func TestScreenFits(t *testing.T) {
	trial := plan(t, "20m", "10m")
	trial.Planned[0].Arm, trial.Planned[1].Arm = "low", "low"
	log := logIn(t, t.TempDir())
	k := keeper(t, trial, log, "03:58:00")
	said := []string{strings.Repeat("word ", 40), strings.Repeat("x", 90)}
	for _, size := range [][2]int{{40, 24}, {40, 12}, {40, 6}, {20, 10}, {80, 40}} {
		for now := moment("03:58:00"); now.Before(moment("05:00:00")); now = now.Add(37 * time.Second) {
			screen := k.Screen(now, said, size[0], size[1])
			require.LessOrEqual(t, len(screen), size[1])
			for _, line := range screen {
				require.LessOrEqual(t, utf8.RuneCountInString(line), size[0], "%q", line)
				require.NotContains(t, line, "\x1b")
			}
			if k.Prompt() != "" {
				last := strings.TrimSpace(screen[len(screen)-1])
				require.True(t, strings.HasSuffix(strings.TrimSpace(k.Prompt()), last), "%q", last)
			}
		}
	}
	k.Cancel()
	require.Equal(t, strings.Split(strings.TrimPrefix(`
03:58:00Z
Session 1, block 1 of 6, dwell 1 of 2

CONNECT
#      ###  #   #
#     #   # #   #
#     #   # # # #
#     #   # ## ##
#####  ###  #   #

low on 20m

On the air in 2:00, at 04:00:00Z
press c once it is connected
Then: go to 10m, low stays, on the air
at 04:07:00Z
Blocks done: 0, lost: 0
> the second last
> the last
c connected  e earlier  p pause  d drop
w wrong arm  v deviation  n note
o power  b battery  k clock
r radio clock  x end  q leave`, "\n"), "\n"), k.Screen(moment("03:58:00"), []string{"an older one", "the second last", "the last"}, 40, 23))
}

// In the middle of a mirrored block nothing is changed, and the dwell is confirmed all the same.
func TestMirroredMiddle(t *testing.T) {
	trial := plan(t, "20m")
	planned, err := schedule.Draw(schedule.Plan{Seed: 7, Arms: []string{"low", "high"}, Bands: []string{"20m"}, DwellMs: 360_000, SettleMs: 30_000, ArmChangeMs: 180_000,
		SlotMs: 15_000, Pattern: schedule.Mirrored, Rotate: schedule.BandsWithinArm, Sessions: []schedule.Session{{StartMs: moment("04:00:00").UnixMilli(), Blocks: 1}}})
	require.NoError(t, err)
	trial.Planned = planned
	log := logIn(t, t.TempDir())
	k := keeper(t, trial, log, "03:58:00")
	drive(t, k, []step{{"03:58:00", "", ""}, {"03:59:00", "c", ""}, {"04:08:00", "c", ""}, {"04:14:59", "c", "confirmed already"},
		{"04:15:05", "", "STAYS ON: high on 20m"}, {"04:15:10", "c", "10 s late, before the first slot that counts"}, {"04:23:00", "c", "connected: low"}})
	for _, d := range k.all {
		require.True(t, d.Confirmed && d.Kept, "%+v", d)
	}
}

// full is a disk that takes only a part.
type full struct {
	*os.File
	room int
}

func (f *full) Write(p []byte) (int, error) {
	if f.room < len(p) {
		n, _ := f.File.Write(p[:f.room])
		f.room = 0
		return n, errors.New("no space left")
	}
	f.room -= len(p)
	return f.File.Write(p)
}

// A disk that is full is told, nothing torn stays, and later entries are taken again.
func TestFullDisk(t *testing.T) {
	path := filepath.Join(t.TempDir(), "switches.csv")
	disk := &full{room: 150}
	log, err := openLog(path, func(f *os.File) appender { disk.File = f; return disk })
	require.NoError(t, err)
	defer log.Close()
	k := keeper(t, plan(t, "20m"), log, "03:58:00")
	drive(t, k, []step{{"03:58:00", "", ""}, {"03:59:00", "c", "connected"}, {"04:02:00", "w", ""}, {"04:02:01", "y", "NOT WRITTEN: writing to the switch log: no space left. Note it on paper."}})
	require.True(t, k.all[0].Kept, "what was not written has no consequence")
	require.Len(t, lines(t, log), 1)
	disk.room = 1000
	drive(t, k, []step{{"04:02:02", "w", ""}, {"04:02:03", "y", "does not count"}})
	require.Len(t, lines(t, log), 2)
}

// Another program that changes the log while it is open is found before a line is lost to it.
func TestDisturbedLog(t *testing.T) {
	for name, disturb := range map[string]func(path string) error{
		"replaced": func(path string) error {
			text, err := os.ReadFile(path)
			return errors.Join(err, os.WriteFile(path+".new", text, 0o644), os.Rename(path+".new", path))
		},
		"lengthened": func(path string) error {
			f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			_, err = f.WriteString("x")
			return errors.Join(err, f.Close())
		},
		"removed": os.Remove,
	} {
		t.Run(name, func(t *testing.T) {
			log := logIn(t, t.TempDir())
			k := keeper(t, plan(t, "20m"), log, "03:58:00")
			require.NoError(t, disturb(log.Path()))
			drive(t, k, []step{{"03:58:00", "", ""}, {"03:59:00", "c", "NOT WRITTEN: "}, {"03:59:01", "c", "another program has changed"}})
			require.False(t, k.all[0].Confirmed)
		})
	}
}

func TestSecondProcess(t *testing.T) {
	log := logIn(t, t.TempDir())
	_, err := OpenLog(log.Path())
	require.ErrorContains(t, err, "another fairlobe field has this switch log open")
	require.NoError(t, log.Close())
	again, err := OpenLog(log.Path())
	require.NoError(t, err)
	require.NoError(t, again.Close())
}

// Codes are a permutation that the seed decides; no sentence shows a name.
func TestBlind(t *testing.T) {
	arms := []string{"low", "high", "mid"}
	orders := map[string]int{}
	for seed := range uint64(600) {
		codes := Blind(arms, seed)
		require.Equal(t, codes, Blind(arms, seed))
		var names []string
		for i, c := range codes {
			require.Equal(t, "X"+string(rune('1'+i)), c.Shown)
			names = append(names, c.Arm)
		}
		require.ElementsMatch(t, arms, names)
		orders[strings.Join(names, " ")]++
	}
	require.Len(t, orders, 6)
	for order, n := range orders {
		require.Greater(t, n, 60, "%s: 100 are expected, with a standard deviation of 9", order)
	}
	require.Equal(t, "Z1", Blind([]string{"x1", "y"}, 1)[0].Shown)

	trial := plan(t, "20m")
	trial.Codes = []Code{{"X1", "high"}, {"X2", "low"}}
	require.Equal(t, "X2 below (X1, X2 on) lower high-er X1", strings.ReplaceAll(trial.Hide("low below (high, low on) lower high-er high"), "X1-er", "high-er"))
	log := logIn(t, t.TempDir())
	k := keeper(t, trial, log, "03:58:00")
	said := k.Enter(moment("03:58:01"), "")
	for now := moment("04:03:40"); now.Before(moment("06:00:00")); now = now.Add(130 * time.Second) {
		told, _ := k.Tick(now)
		said = append(append(append(said, told...), k.Enter(now, "c")...), k.Screen(now, nil, 80, 60)...)
	}
	all := strings.Join(said, "\n")
	require.Empty(t, regexp.MustCompile(`\b(low|high)\b`).FindAllString(all, -1))
	require.Regexp(t, `does not count: late switch: X[12] was connected`, strings.Join(only(said, "does not count"), "\n"))
	require.Contains(t, strings.Join(lines(t, log), "\n"), ",low,", "the log has the true names")
}

func only(lines []string, with string) []string {
	var out []string
	for _, l := range lines {
		if strings.Contains(l, with) {
			out = append(out, l)
		}
	}
	return out
}
