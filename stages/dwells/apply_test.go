package dwells

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule"
)

func params() Params {
	return Params{SlotMs: 15_000, SettleMs: 30_000, Sends: schedule.EvenSlots, File: "switches.csv"}
}

// plan lays out blocks by hand, so that no test depends on a draw: "low high | high low" are two blocks.
// Dwells last 6 min with 3 min between them, on each band 1 min after the other.
func plan(session int, start string, bands []string, orders string) []schedule.Dwell {
	var out []schedule.Dwell
	at := at(start)
	for n, block := range strings.Split(orders, " | ") {
		for position, arm := range strings.Fields(block) {
			for i, band := range bands {
				if i > 0 {
					at = at.Add(time.Minute)
				}
				out = append(out, schedule.Dwell{
					Session: session, Band: band, Block: n + 1, Position: position + 1, Arm: arm,
					Start: at, SettleEnd: at.Add(30 * time.Second), End: at.Add(6 * time.Minute),
				})
				at = at.Add(6 * time.Minute)
			}
			at = at.Add(3 * time.Minute)
		}
	}
	return out
}

// smallPlan has two sessions of two blocks on one band: in the first, dwells start at 04:00 low, 04:09 high,
// 04:18 high, 04:27 low and the last ends at 04:33.
func smallPlan() []schedule.Dwell {
	band := []string{"20m"}
	return append(plan(1, "04:00:00", band, "low high | high low"), plan(2, "2026-09-13T04:00:00Z", band, "high low | low high")...)
}

func apply(t require.TestingT, planned []schedule.Dwell, log string) (Outcome, diag.List) {
	return Apply(planned, readLog(t, head+log), params())
}

// ev writes one line of a log: clock time of 2026-09-12 or a full one, then the rest from the event on.
func ev(clock, rest string) string {
	return stamp(at(clock)) + ",," + rest + strings.Repeat(",", 6-strings.Count(rest, ",")) + "\n"
}

func clocks(o Outcome) string {
	var out []string
	for _, d := range o.Dwells {
		out = append(out, d.Start.Format("15:04:05"))
	}
	return strings.Join(out, " ")
}

func reasons(o Outcome) []string {
	var out []string
	for _, d := range o.Dwells {
		out = append(out, d.Reason)
	}
	return out
}

func codes(list diag.List) []string {
	var out []string
	for _, d := range list {
		if d.Code != CodeUnconfirmed {
			out = append(out, d.Code)
		}
	}
	return out
}

func TestWithoutALogThePlanCounts(t *testing.T) {
	o, list := Apply(smallPlan(), nil, params())
	require.Len(t, list, 1)
	assert.Equal(t, CodeNoLog, list[0].Code)
	assert.Equal(t, diag.Warning, list[0].Severity)
	for i, d := range smallPlan() {
		assert.Equal(t, Applied{Dwell: d, Kept: true}, o.Dwells[i])
	}
	assert.False(t, o.Ended || o.EndedEarly)
	assert.Equal(t, []Loss{{Band: "20m", Scheduled: 4, LossP: 1, ByArm: []ArmLoss{{"high", 0}, {"low", 0}}}}, o.Losses)

	o, list = Apply(nil, readLog(t, head+ev("04:00:00", "start,1")), params())
	assert.Empty(t, o.Dwells)
	assert.Empty(t, list)
}

func TestClockTimes(t *testing.T) {
	const second = "04:00:00 04:09:00 04:18:00 04:27:00" // session 2 stays
	for _, c := range []struct{ reason, log, want string }{
		{"start moves one session", ev("04:20:00", "start,1"), "04:20:00 04:29:00 04:38:00 04:47:00 " + second},
		{"start may be early", ev("03:40:00", "start,1"), "03:40:00 03:49:00 03:58:00 04:07:00 " + second},
		{"start moves up to a slot edge", ev("04:20:01", "start,1"), "04:20:15 04:29:15 04:38:15 04:47:15 " + second},
		{"start without session: the nearest", ev("04:20:00", "start"), "04:20:00 04:29:00 04:38:00 04:47:00 " + second},
		{"the start written last counts", ev("04:20:00", "start,1") + ev("04:21:00", "start,1"), "04:21:00 04:30:00 04:39:00 04:48:00 " + second},
		{"a pause moves what begins after it", ev("04:16:00", "pause,1") + ev("04:36:00", "resume,1"), "04:00:00 04:09:00 04:38:00 04:47:00 " + second},
		{"a pause at the very start of a dwell moves it", ev("04:18:00", "pause,1") + ev("04:20:00", "resume,1"), "04:00:00 04:09:00 04:20:00 04:29:00 " + second},
		{"15 s become two slots: even slots stay even", ev("04:16:00", "pause,1") + ev("04:16:15", "resume,1"), "04:00:00 04:09:00 04:18:30 04:27:30 " + second},
		{"31 s become four slots", ev("04:16:00", "pause,1") + ev("04:16:31", "resume,1"), "04:00:00 04:09:00 04:19:00 04:28:00 " + second},
		{"a start on the edge by a clock that was behind", ev("03:59:00", "clock,1,,,,-1.2") + ev("04:20:00", "start,1"), "04:20:00 04:29:00 04:38:00 04:47:00 " + second},
		{"a start on the edge by a clock that was ahead", ev("03:59:00", "clock,1,,,,1.2") + ev("04:20:00", "start,1"), "04:20:00 04:29:00 04:38:00 04:47:00 " + second},
		{"a start by a clock that was a slot behind", ev("03:59:00", "clock,1,,,,-15") + ev("04:20:00", "start,1"), "04:20:15 04:29:15 04:38:15 04:47:15 " + second},
		{"two pauses add up", ev("04:16:00", "pause") + ev("04:17:00", "resume") + ev("04:26:00", "pause") + ev("04:28:00", "resume"), "04:00:00 04:09:00 04:19:00 04:30:00 " + second},
		{"a pause before the logged start moves nothing", ev("03:50:00", "pause,1") + ev("04:10:00", "resume,1") + ev("04:15:00", "start,1"), "04:15:00 04:24:00 04:33:00 04:42:00 " + second},
		{"a pause before the planned start moves it", ev("03:55:00", "pause,1") + ev("04:10:00", "resume,1"), "04:15:00 04:24:00 04:33:00 04:42:00 " + second},
		{"an evening's pause ends nearer to the next session", ev("04:16:00", "pause") + ev("2026-09-12T20:16:00Z", "resume"), "04:00:00 04:09:00 20:18:00 20:27:00 " + second},
		{"a resume without a pause", ev("04:16:00", "resume,1"), "04:00:00 04:09:00 04:18:00 04:27:00 " + second},
	} {
		t.Run(c.reason, func(t *testing.T) {
			o, list := apply(t, smallPlan(), c.log)
			require.NoError(t, list.Err())
			assert.Equal(t, c.want, clocks(o))
			for i, d := range o.Dwells {
				assert.Equal(t, smallPlan()[i].Arm, d.Arm)
				assert.Equal(t, 6*time.Minute, d.End.Sub(d.Start))
				assert.Equal(t, 30*time.Second, d.SettleEnd.Sub(d.Start))
			}
		})
	}
}

func TestBlocksLeftOut(t *testing.T) {
	const first, second, day2 = "2026-09-13T04:03:00Z", "2026-09-13T04:16:00Z", "2026-09-13T05:00:00Z"
	for _, c := range []struct {
		reason, log string
		want        [4]string // one reason a block
		lost        int
		early       bool
	}{
		{"a pause within a dwell", ev("04:10:00", "pause,1") + ev("04:11:00", "resume,1"), [4]string{PausedInside}, 1, false},
		{"a pause between the dwells of a block", ev("04:07:00", "pause,1") + ev("04:08:00", "resume,1"), [4]string{PausedInside}, 1, false},
		{"a pause of no length", ev("04:10:00", "pause,1") + ev("04:10:00", "resume,1"), [4]string{PausedInside}, 1, false},
		{"a pause between blocks", ev("04:16:00", "pause,1") + ev("04:17:00", "resume,1"), [4]string{}, 0, false},
		{"a pause when a block is just over", ev("04:15:00", "pause,1") + ev("04:17:00", "resume,1"), [4]string{}, 0, false},
		{"paused and not resumed: the rest may still come", ev("04:10:00", "pause,1"),
			[4]string{PausedInside, "not run: paused and not resumed", "not run: paused and not resumed", "not run: paused and not resumed"}, 1, false},
		{"not resumed, and the next session ran", ev("04:16:00", "pause,1") + ev(first, "connected,2,20m,1,high"), [4]string{"", "not run: paused and not resumed"}, 1, false},
		{"paused, then ended: the end counts from the pause", ev("04:16:00", "pause,1") + ev("06:00:00", "end,1"), [4]string{"", "not run: ended before"}, 0, true},
		{"the trial ends", ev("04:20:00", "end"), [4]string{"", "not run: ended before", "not run: ended before", "not run: ended before"}, 0, true},
		{"a session ends", ev("04:20:00", "end,1"), [4]string{"", "not run: ended before"}, 0, true},
		{"the end as a block ends", ev("04:15:00", "end,1"), [4]string{"", "not run: ended before"}, 0, true},
		{"the end within a block", ev(second, "end,2"), [4]string{"", "", "", "not run: ended before"}, 0, true},
		{"the end after the last dwell", ev(day2, "end"), [4]string{}, 0, false},
		{"a drop", ev("04:20:00", "drop,1,20m,2,,,rain  on the connector"), [4]string{"", "dropped: rain on the connector"}, 1, false},
		{"a drop of a block that was paused inside", ev("04:10:00", "pause,1") + ev("04:11:00", "resume,1") + ev("04:20:00", "drop,1,,1,,,rain"), [4]string{PausedInside}, 1, false},
		{"a drop of a block that never came", ev("04:16:00", "end") + ev("04:20:00", "drop,1,,2,,,rain"), [4]string{"", "not run: ended before", "not run: ended before", "not run: ended before"}, 0, true},
		{"a switch 40 s late leaves ten of eleven", ev("04:09:40", "connected,1,20m,1,high"), [4]string{}, 0, false},
		{"a switch too late", ev("04:13:30", "connected,1,20m,1,high"), [4]string{"late switch: high was connected 270 s after its dwell began, 3 of 11 slots left"}, 1, false},
		{"a switch after the dwell, named", ev("04:16:30", "connected,1,20m,1,high"), [4]string{"late switch: high was connected 450 s after its dwell began, 0 of 11 slots left"}, 1, false},
		{"a switch after the dwell, not named", ev("04:16:30", "connected,,,,low"), [4]string{}, 0, false},
	} {
		t.Run(c.reason, func(t *testing.T) {
			o, list := apply(t, smallPlan(), c.log)
			require.NoError(t, list.Err())
			w := c.want
			assert.Equal(t, []string{w[0], w[0], w[1], w[1], w[2], w[2], w[3], w[3]}, reasons(o))
			assert.Equal(t, c.lost, o.Losses[0].Lost)
			assert.Equal(t, c.early, o.EndedEarly)
		})
	}
}

func TestEnded(t *testing.T) {
	for log, want := range map[string]bool{
		ev("04:20:00", "start,1"):                     false,
		ev("04:40:00", "end,1"):                       false,
		ev("04:40:00", "end"):                         true,
		ev("2026-09-13T05:00:00Z", "end,2"):           true,
		ev("2026-09-13T05:00:00Z", "end"):             true,
		ev("2026-09-13T05:00:00Z", "remark,2"):        false,
		ev("2026-09-13T05:00:00Z", "battery,2,,,,11"): false,
	} {
		o, list := apply(t, smallPlan(), log)
		require.NoError(t, list.Err())
		assert.Equal(t, want, o.Ended, log)
	}
}

// With two bands a block is one band's: 20m from 04:00 to 04:22, 10m from 04:07 to 04:29.
func TestEachBandHasItsOwnBlocks(t *testing.T) {
	planned := plan(1, "04:00:00", []string{"20m", "10m"}, "low high")
	for _, c := range []struct {
		reason, log string
		want        string // 20m, 10m
	}{
		{"a pause while both are under way", ev("04:15:00", "pause") + ev("04:16:00", "resume"), "paused inside, paused inside"},
		{"a pause before 10m has begun", ev("04:06:30", "pause") + ev("04:07:30", "resume"), "paused inside, "},
		{"a pause after 20m is over", ev("04:22:30", "pause") + ev("04:23:30", "resume"), ", paused inside"},
		{"a drop of one band", ev("04:15:00", "drop,1,10m,1,,,tuner hot"), ", dropped: tuner hot"},
		{"a drop of all bands", ev("04:15:00", "drop,1,,1,,,rain"), "dropped: rain, dropped: rain"},
		{"a late switch on one band", ev("04:20:30", "connected,1,20m,1,high"), "late switch: high was connected 270 s after its dwell began, 3 of 11 slots left, "},
		{"the end between the bands", ev("04:22:30", "end"), ", not run: ended before"},
	} {
		t.Run(c.reason, func(t *testing.T) {
			o, list := apply(t, planned, c.log)
			require.NoError(t, list.Err())
			assert.Equal(t, c.want, o.Dwells[0].Reason+", "+o.Dwells[1].Reason)
			assert.Equal(t, o.Dwells[0].Reason, o.Dwells[2].Reason)
			assert.Equal(t, o.Dwells[1].Reason, o.Dwells[3].Reason)
		})
	}
}

func TestLateSwitchShortensAllDwellsAlike(t *testing.T) {
	for _, c := range []struct {
		reason, clock, sends string
		slots                int
		late                 float64
	}{
		{"in time", "04:08:50", schedule.EvenSlots, 0, 0},
		{"within settling", "04:09:30", schedule.EvenSlots, 0, 30},
		{"a moment after settling", "04:09:30.001", schedule.EvenSlots, 1, 30.001},
		{"40 s: the slot at 30 s goes", "04:09:40", schedule.EvenSlots, 1, 40},
		{"at the edge of a slot, that slot stays", "04:10:00", schedule.EvenSlots, 1, 60},
		{"61 s: two go", "04:10:01", schedule.EvenSlots, 2, 61},
		{"every slot: those at 30 s, 45 s and 60 s go", "04:10:01", schedule.EverySlot, 3, 61},
		{"odd slots: that at 45 s goes", "04:10:01", schedule.OddSlots, 1, 61},
		{"as logged: as every slot", "04:10:01", schedule.AsLogged, 3, 61},
	} {
		t.Run(c.reason, func(t *testing.T) {
			p := params()
			p.Sends = c.sends
			events := readLog(t, head+ev(c.clock, "connected,1,20m,1,high"))
			o, list := Apply(smallPlan(), events, p)
			require.NoError(t, list.Err())
			assert.InDelta(t, c.late, o.Dwells[1].LateS, 1e-9)
			assert.True(t, o.Dwells[1].Confirmed)
			for i, was := range smallPlan() {
				now := o.Dwells[i]
				gone := 0
				if was.Session == 1 && was.Block == 1 {
					gone = c.slots
				}
				assert.True(t, now.Kept)
				assert.Equal(t, gone, now.LeadingSlotsRemoved)
				assert.Equal(t, gone, schedule.CountOwn(was, p.SlotMs, p.Sends)-schedule.CountOwn(now.Dwell, p.SlotMs, p.Sends))
				assert.Equal(t, was.End, now.End)
				assert.Equal(t, was.Start, now.Start)
			}
			assert.Equal(t, c.slots > 0, len(codes(list)) == 1, "a warning tells what was left out")
		})
	}
}

// Exactly half may remain: 11 own slots in a dwell; 5 of them is less than half, 6 more.
func TestLateSwitchKeepsHalf(t *testing.T) {
	o, _ := apply(t, smallPlan(), ev("04:12:00", "connected,1,20m,1,high")) // slots at 30, 60, .. 150 s go
	assert.True(t, o.Dwells[0].Kept)
	assert.Equal(t, 5, o.Dwells[0].LeadingSlotsRemoved)
	o, _ = apply(t, smallPlan(), ev("04:12:01", "connected,1,20m,1,high"))
	assert.Equal(t, "late switch: high was connected 181 s after its dwell began, 5 of 11 slots left", o.Dwells[0].Reason)
}

func TestConnected(t *testing.T) {
	for _, c := range []struct {
		reason, log string
		confirmed   string // one letter a dwell of session 1: y or n
		code        string
	}{
		{"named", ev("04:08:00", "connected,1,20m,1,high"), "nynn", ""},
		{"not named: the dwell in progress", ev("04:00:10", "connected,,,,low"), "ynnn", ""},
		{"not named: the dwell to come", ev("04:07:00", "connected,,,,high"), "nynn", ""},
		{"another arm than scheduled", ev("04:03:00", "connected,,,,high"), "nynn", CodeWrongArm},
		{"another arm, named", ev("04:10:00", "connected,1,20m,2,low"), "nnny", CodeWrongArm},
		{"between dwells, not the next arm", ev("04:07:00", "connected,,,,low"), "nnnn", CodeWrongArm},
		{"the first of two lines counts", ev("04:08:00", "connected,1,20m,1,high") + ev("04:14:00", "connected,1,20m,1,high"), "nynn", ""},
	} {
		t.Run(c.reason, func(t *testing.T) {
			o, list := apply(t, smallPlan(), c.log)
			require.NoError(t, list.Err())
			got := ""
			for i, d := range o.Dwells[:4] {
				got += map[bool]string{true: "y", false: "n"}[d.Confirmed]
				assert.Equal(t, smallPlan()[i].Arm, d.Arm, "the log never changes the arm")
				assert.True(t, d.Kept)
			}
			assert.Equal(t, c.confirmed, got)
			assert.Equal(t, c.code, strings.Join(codes(list), " "))
		})
	}
}

func TestOneConnectionServesAllBandsOfAPosition(t *testing.T) {
	planned := plan(1, "04:00:00", []string{"20m", "10m"}, "low high | low high")
	o, _ := apply(t, planned, ev("04:00:10", "connected,1,,1,low"))
	assert.True(t, o.Dwells[0].Confirmed && o.Dwells[1].Confirmed)
	assert.Equal(t, []float64{10, 0}, []float64{o.Dwells[0].LateS, o.Dwells[1].LateS})
	assert.False(t, o.Dwells[2].Confirmed || o.Dwells[4].Confirmed)

	o, _ = apply(t, planned, ev("04:00:10", "connected,1,20m,1,low"))
	assert.False(t, o.Dwells[1].Confirmed, "a line that names its band confirms that band alone")
}

func TestUnconfirmed(t *testing.T) {
	log := ev("04:00:00", "connected,1,20m,1,low") + ev("04:09:00", "connected,1,20m,1,high") + ev("04:18:00", "connected,1,20m,2,high")
	events := readLog(t, head+log)
	o, list := Apply(smallPlan(), events, params())
	assert.InDelta(t, 5/8., o.Unconfirmed, 1e-15)
	require.Len(t, list, 1)
	assert.Equal(t, "switches.csv: warning: 62 % of the dwells have no connected event: they count as planned", strings.Split(list[0].String(), "\n")[0])

	p := params()
	p.UntilMs = at("04:20:00").UnixMilli()
	o, list = Apply(smallPlan(), events, p)
	assert.Zero(t, o.Unconfirmed, "dwells that have not begun are not unconfirmed")
	assert.Empty(t, list)

	p.UntilMs = at("04:27:00").UnixMilli()
	o, list = Apply(smallPlan(), events, p)
	assert.InDelta(t, 1/4., o.Unconfirmed, 1e-15)
	assert.Len(t, list, 1)

	planned := plan(1, "04:00:00", []string{"20m"}, "low high | high low | low")
	o, list = apply(t, planned, log+ev("04:27:00", "connected,1,20m,2,low"))
	assert.InDelta(t, 1/5., o.Unconfirmed, 1e-15)
	assert.Empty(t, codes(list))
	assert.Empty(t, list, "20 % is not over 20 %%")
}

func TestClocks(t *testing.T) {
	late := ev("04:10:30", "connected,1,20m,1,high") // 90 s late: slots at 30 and 60 s go
	for _, c := range []struct {
		reason, value string
		lateS         float64
		code          string
		fault         string
	}{
		{"0.5 s is silent", "0.5", 90, "", ""},
		{"-0.5 s is silent", "-0.5", 90, "", ""},
		{"a clock that is ahead", "12", 78, CodeClock, ""},
		{"a clock that is behind", "-12", 102, CodeClock, ""},
		{"half the settling time", "15", 75, CodeClock, ""},
		{"more than that", "15.1", 0, CodeClock, "the log's clock was 15.1 s ahead of UTC, more than half the settling time\n    mend: add −15.1 s to each time of session 1"},
		{"more than that, behind", "-60", 0, CodeClock, "the log's clock was 60 s behind UTC, more than half the settling time\n    mend: add +60 s to each time of session 1"},
	} {
		t.Run(c.reason, func(t *testing.T) {
			o, list := apply(t, smallPlan(), ev("03:59:00", "clock,,,,,"+c.value)+late)
			if c.fault != "" {
				assert.ErrorContains(t, list.Err(), c.fault)
				assert.ErrorContains(t, list.Err(), "switches.csv:2:33")
				return
			}
			require.NoError(t, list.Err())
			assert.InDelta(t, c.lateS, o.Dwells[1].LateS, 1e-9)
			assert.Equal(t, c.code == CodeClock, strings.Contains(strings.Join(codes(list), " "), CodeClock))
			assert.Equal(t, c.value, fmt.Sprint(o.Sessions[0].ClockOffsetS))
			assert.Zero(t, o.Sessions[1].ClockOffsetS)
		})
	}
}

func TestNearestClockReadingCorrects(t *testing.T) {
	o, _ := apply(t, smallPlan(),
		ev("03:59:00", "clock,1,,,,2")+ev("04:00:20", "connected,1,20m,1,low")+
			ev("04:27:20", "connected,1,20m,2,low")+ev("04:40:00", "clock,1,,,,6")+
			ev("2026-09-13T04:00:20Z", "connected,2,20m,1,high"))
	assert.InDelta(t, 18, o.Dwells[0].LateS, 1e-9)
	assert.InDelta(t, 14, o.Dwells[3].LateS, 1e-9)
	assert.InDelta(t, 20, o.Dwells[4].LateS, 1e-9, "another session's readings do not count")
	assert.Equal(t, 6.0, o.Sessions[0].ClockOffsetS)
}

func TestWarnings(t *testing.T) {
	for _, c := range []struct{ reason, log, code, want string }{
		{"the radio's clock", ev("04:00:00", "radio_clock,,,,,0.6"), CodeRadioClock, "switches.csv:2:39: warning: the radio's clock was 0.6 s ahead of UTC"},
		{"the radio's clock is right", ev("04:00:00", "radio_clock,,,,,-0.5"), "", ""},
		{"two starts", ev("04:00:00", "start,1") + ev("04:01:00", "start,1"), CodeStartTwice, "switches.csv:3:23: warning: session 1 has 2 starts"},
		{"two pauses", ev("04:16:00", "pause,1") + ev("04:16:10", "pause,1") + ev("04:17:00", "resume,1"), CodePauseOrder, "switches.csv:3:23: warning: a pause where there is a pause already"},
		{"a resume alone", ev("04:16:00", "resume,1"), CodePauseOrder, "switches.csv:2:23: warning: a resume where there is no pause"},
		{"going on after the end", ev("04:40:00", "end") + ev("2026-09-13T04:00:00Z", "start,2"), CodeAfterEnd, "switches.csv:2:27: warning: the trial ended here, and the log goes on with session 2"},
		{"a deviation is a note", ev("04:00:00", "connected,1,20m,1,low") + ev("04:01:00", "deviation,1,,,,,guy rope slack"), "", ""},
		{"a reason that looks at signals", ev("04:20:00", "drop,1,,2,,,only -20 dB"), CodeDropReason, "switches.csv:2:35: warning: block 2 of session 1 is dropped for a reason that seems to look at signals"},
	} {
		t.Run(c.reason, func(t *testing.T) {
			_, list := apply(t, smallPlan(), c.log)
			require.NoError(t, list.Err())
			assert.Equal(t, c.code, strings.Join(codes(list), " "))
			assert.Contains(t, list.Error(), c.want)
		})
	}
}

func TestNoDwellFits(t *testing.T) {
	planned := append(plan(1, "04:00:00", []string{"20m"}, "low"), plan(2, "2026-09-13T04:00:00Z", []string{"20m"}, "high")...)
	_, list := apply(t, planned, ev("03:59:00", "connected,1,20m,1,high"))
	assert.Equal(t, []string{CodeNoDwell}, codes(list))
}

func TestReasonsThatLookAtSignals(t *testing.T) {
	for note, want := range map[string]bool{
		"rain on the connector": false, "rig off": false, "no transmission": false, "wrong arm": false, "strong wind": false,
		"a stronger gust": false, "lightning within 10 km": false, "reporter's visit": false, "mast fell": false,
		"only -20 dB": true, "5dB down": true, "bad SNR": true, "weak": true, "weaker than before": true, "too strong": true,
		"strong wind, weak signals": true, "no reports": true, "nobody reported": true, "few spots": true, "no decodes": true, "fading": true,
	} {
		assert.Equal(t, want, speaksOfSignals(note), note)
	}
}

func TestUnknownNamesAreFaults(t *testing.T) {
	for _, c := range []struct{ log, want, mend string }{
		{ev("04:00:00", "start,3"), `the schedule has no session "3"`, "write 1 or 2"},
		{ev("04:00:00", "connected,1,20,1,low"), `the schedule has no band "20"`, "write 20m"},
		{ev("04:00:00", "connected,1,20m,1,hihg"), `the schedule has no arm "hihg"`, "write high"},
		{ev("04:00:00", "drop,1,,3,,,rain"), "switches.csv:2:31: the schedule has no block 3 there", "blocks count from 1"},
	} {
		_, list := apply(t, smallPlan(), c.log)
		require.Len(t, list, 1)
		assert.ErrorContains(t, list.Err(), c.want)
		assert.Contains(t, list[0].Mend, c.mend)
		assert.Equal(t, CodeUnknown, list[0].Code)
	}
}

func TestSessionsPushedIntoEachOtherAreAFault(t *testing.T) {
	push := ev("04:16:00", "pause,1") + ev("2026-09-13T03:50:00Z", "resume,1")
	_, list := apply(t, smallPlan(), push)
	assert.ErrorContains(t, list.Err(), "switches.csv:3:1: session 1 lasts to 2026-09-13T04:07:00Z by the log, and session 2 begins at 2026-09-13T04:00:00Z")

	_, list = apply(t, smallPlan(), push+ev("2026-09-13T06:00:00Z", "start,2"))
	assert.NoError(t, list.Err(), "the mend works")
}
