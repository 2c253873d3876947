package dwells

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const head = "time,entered,event,session,band,block,arm,value,note\n"

func at(text string) time.Time {
	if len(text) <= len("04:00:00.000") {
		text = "2026-09-12T" + text + "Z"
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		panic(err)
	}
	return t
}

func readLog(t require.TestingT, text string) []Event {
	events, list := ReadLog(strings.NewReader(text), "switches.csv")
	require.Empty(t, list)
	return events
}

func TestReadLog(t *testing.T) {
	got := readLog(t, head+
		"2026-09-12T04:00:00Z,2026-09-12T04:00:03Z,start,1,,,,,\r\n"+
		"2026-09-12T04:00:10.5Z,,connected,1,20m,1,low,,\r\n"+
		",2026-09-12T04:10:00Z,power,,,,,3.9,\"meter, at the radio\"\r\n"+
		"2026-09-12T04:05:00Z,2026-09-12T04:11:00Z,drop,1,,2,,,rain\r\n")
	for i := range got {
		got[i].columns = [colNote + 1]int{}
	}
	assert.Equal(t, []Event{
		{Line: 2, Time: at("04:00:00"), Entered: at("04:00:03"), Kind: Start, Session: 1},
		{Line: 3, Time: at("04:00:10.5"), Entered: at("04:00:10.5"), Kind: Connected, Session: 1, Band: "20m", Block: 1, Arm: "low"},
		{Line: 4, Time: at("04:10:00"), Entered: at("04:10:00"), Kind: Power, Value: 3.9, HasValue: true, Note: "meter, at the radio"},
		{Line: 5, Time: at("04:05:00"), Entered: at("04:11:00"), Kind: Drop, Session: 1, Block: 2, Note: "rain"},
	}, got, "a drop may be written down later than it happened")
}

func TestReadLogNamesFaults(t *testing.T) {
	const time0 = "2026-09-12T04:00:00Z"
	for _, c := range []struct{ reason, text, want, mend string }{
		{"another header", "time,event\n", `switches.csv:1:1: the first line is "time,event"`, head[:len(head)-1]},
		{"an unknown event", time0 + ",,conected,1,,,low,,\n", `switches.csv:2:23: there is no event "conected"`, "write connected"},
		{"nothing like an event", time0 + ",,zzzz,,,,,,\n", `there is no event "zzzz"`, "write one of start connected"},
		{"no time at all", ",,start,1,,,,,\n", "switches.csv:2:1: the line has no time", "in UTC with Z"},
		{"local time", "2026-09-12T06:00:00+02:00,,start,1,,,,,\n", "switches.csv:2:1: time =", "write UTC with Z: 2026-09-12T04:00:00Z"},
		{"a bad moment of writing", time0 + ",now,start,1,,,,,\n", `switches.csv:2:22: entered = "now"`, "write UTC"},
		{"a session of words", time0 + ",,start,first,,,,,\n", `switches.csv:2:29: session = "first" is not`, "count from 1"},
		{"a value of words", time0 + ",,power,,,,,four,\n", `switches.csv:2:33: value = "four" is not a number`, "W for power"},
		{"no number", time0 + ",,power,,,,,NaN,\n", `value = "NaN" is not a number`, "W for power"},
		{"connected without arm", time0 + ",,connected,1,,,,,\n", "the event connected needs the column arm", "name the arm"},
		{"drop without session", time0 + ",,drop,,,2,,,rain\n", "switches.csv:2:28: the event drop needs the column session", "number of the session"},
		{"drop without block", time0 + ",,drop,1,,,,,rain\n", "switches.csv:2:31: the event drop needs the column block", "dropped whole"},
		{"drop without reason", time0 + ",,drop,1,,2,,,\n", "switches.csv:2:35: the event drop needs the column note", "give the reason"},
		{"power without value", time0 + ",,power,,,,,,\n", "the event power needs the column value", "a number in W"},
		{"battery without value", time0 + ",,battery,,,,,,\n", "the event battery needs the column value", "a number in V"},
		{"clock without value", time0 + ",,clock,,,,,,\n", "the event clock needs the column value", "a number in s"},
		{"back in time", time0 + ",,start,1,,,,,\n2026-09-12T03:59:00Z,,connected,1,,,low,,\n",
			"switches.csv:3:1: the log goes back in time, from 2026-09-12T04:00:00Z to 2026-09-12T03:59:00Z", "append lines at the end only"},
		{"back in time by entered", time0 + ",2026-09-12T04:00:00Z,start,1,,,,,\n2026-09-12T04:01:00Z,2026-09-12T03:59:00Z,remark,,,,,,x\n",
			"switches.csv:3:22: the log goes back in time", "append lines"},
	} {
		t.Run(c.reason, func(t *testing.T) {
			text := c.text
			if !strings.HasPrefix(text, "time,") {
				text = head + text
			}
			_, list := ReadLog(strings.NewReader(text), "switches.csv")
			require.Len(t, list, 1)
			assert.Contains(t, list[0].String(), c.want)
			assert.Contains(t, list[0].Mend, c.mend)
		})
	}
}

func TestReadLogNamesAllFaultsAndKeepsTheRest(t *testing.T) {
	events, list := ReadLog(strings.NewReader(head+
		"x,y,z,0,,0,,w,\n"+
		"2026-09-12T04:00:00Z,,start,1,,,,,\n"+
		"1,2\n"), "switches.csv")
	assert.Len(t, list, 7, "six bad values of one line and a short line")
	assert.Len(t, events, 1)
}

func TestBeforeLook(t *testing.T) {
	look := at("06:00:00")
	line := func(kind, happened, entered string) Event {
		return Event{Kind: kind, Time: at(happened), Entered: at(entered)}
	}
	for _, c := range []struct {
		reason string
		event  Event
		after  bool
	}{
		{"a drop written before", line(Drop, "05:00:00", "05:59:00"), false},
		{"a drop written after", line(Drop, "05:00:00", "06:01:00"), true},
		{"a drop of what came after, written after", line(Drop, "06:30:00", "06:31:00"), true},
		{"a pause put in afterwards", line(Pause, "05:00:00", "06:01:00"), true},
		{"a pause that came after", line(Pause, "06:01:00", "06:01:00"), false},
		{"a late confirmation put in afterwards", line(Connected, "05:00:00", "06:01:00"), true},
		{"a remark shapes nothing", line(Remark, "05:00:00", "06:01:00"), false},
	} {
		before, after := BeforeLook([]Event{c.event}, look)
		assert.Equal(t, c.after, len(after) == 1, c.reason)
		assert.Equal(t, 1, len(before)+len(after), c.reason)
	}
}

func FuzzReadLog(f *testing.F) {
	golden, err := os.ReadFile("testdata/switches.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(golden)
	f.Add([]byte(head + "x,y,z,0,,0,,w,\n"))
	f.Add([]byte(head + "2026-09-12T04:00:00Z,,pause,,,,,,\n2026-09-12T04:30:00Z,,end,,,,,,\n"))
	f.Add([]byte(head + "2026-09-12T04:00:00Z,,clock,1,,,,1e5,\n\n\"open"))
	f.Fuzz(func(t *testing.T, text []byte) {
		events, list := ReadLog(bytes.NewReader(text), "switches.csv")
		for i := 1; i < len(events); i++ {
			if events[i].Entered.Before(events[i-1].Entered) {
				t.Fatalf("line %d was let go back in time", events[i].Line)
			}
		}
		if len(list) == 0 {
			checkOutcome(t, smallPlan(), events, params())
		}
	})
}
