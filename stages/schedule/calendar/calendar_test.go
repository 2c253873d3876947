package calendar

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/schedule"
)

var update = flag.Bool("update", false, "write the golden files anew")

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

func dwell(session int, band string, block, position int, arm, start string) schedule.Dwell {
	from := at(start)
	return schedule.Dwell{Session: session, Band: band, Block: block, Position: position, Arm: arm,
		Start: from, SettleEnd: from.Add(30 * time.Second), End: from.Add(6 * time.Minute)}
}

// small has two sessions over midnight and the end of a year, and names that need escaping and folding.
func small() ([]schedule.Dwell, Params) {
	long := `höch, "Höhe" 9 m; links\rechts — über dem Südhang am Felsen, wo die Leine hängt`
	return []schedule.Dwell{
		dwell(1, "20m", 1, 1, "low", "2026-12-31T23:54:00Z"),
		dwell(1, "10m", 1, 1, "low", "2027-01-01T00:00:00Z"),
		dwell(1, "20m", 1, 2, long, "2027-01-01T00:09:00Z"),
		dwell(1, "10m", 1, 2, long, "2027-01-01T00:15:00Z"),
		dwell(2, "20m", 1, 1, long, "2027-01-02T04:00:00Z"),
		dwell(2, "20m", 1, 2, "low", "2027-01-02T04:09:00Z"),
	}, Params{Title: "Ridge wire: low, high; slope\nsecond line\tand a tab", Call: "Q1RDG", Name: "ridge-wire"}
}

func written(t *testing.T, dwells []schedule.Dwell, p Params) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Write(&out, dwells, p))
	return out.String()
}

func TestWriteGolden(t *testing.T) {
	dwells, p := small()
	got := written(t, dwells, p)
	if *update {
		require.NoError(t, os.WriteFile("testdata/small.ics", []byte(got), 0o644))
	}
	want, err := os.ReadFile("testdata/small.ics")
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

// RFC 5545, 3.1: lines end in CR LF and hold at most 75 octets; a cut within a character would break UTF-8.
func TestLines(t *testing.T) {
	dwells, p := small()
	for shift := range 8 {
		p.Title = strings.Repeat("x", shift) + strings.Repeat("ö—𝄞", 60)
		got := written(t, dwells, p)
		require.True(t, strings.HasSuffix(got, "END:VCALENDAR\r\n"))
		folded := 0
		for _, line := range strings.Split(strings.TrimSuffix(got, "\r\n"), "\r\n") {
			require.LessOrEqual(t, len(line), 75)
			require.True(t, utf8.ValidString(line), "%q", line)
			require.NotContains(t, line, "\n")
			if strings.HasPrefix(line, " ") {
				folded++
			}
		}
		require.Greater(t, folded, 20)
		require.Contains(t, strings.ReplaceAll(got, "\r\n ", ""), p.Title)
	}
}

func TestText(t *testing.T) {
	for _, c := range []struct{ reason, in, want string }{
		{"RFC 5545, 3.3.11: these four are escaped", "a,b;c\\d\ne", `a\,b\;c\\d\ne`},
		{"a colon and quotation marks are not", `say: "now"`, `say: "now"`},
		{"control characters are not allowed", "a\x00b\r\nc", `a b \nc`},
		{"nor is what is not UTF-8", "a\xffb", "a\uFFFDb"},
	} {
		assert.Equal(t, c.want, text(c.in), c.reason)
	}
}

var uids = regexp.MustCompile(`(?m)^(?:UID|SEQUENCE):(.*)\r$`)

// A schedule that is put off must take the place of the old one: same UIDs, greater SEQUENCE (RFC 5546, 2.1.5).
func TestMovedScheduleReplaces(t *testing.T) {
	dwells, p := small()
	before := uids.FindAllStringSubmatch(written(t, dwells, p), -1)
	for i := range dwells {
		d := &dwells[i]
		d.Start, d.SettleEnd, d.End = d.Start.Add(48*time.Hour), d.SettleEnd.Add(48*time.Hour), d.End.Add(48*time.Hour)
	}
	p.Title = "another title"
	after := uids.FindAllStringSubmatch(written(t, dwells, p), -1)
	require.Len(t, after, 12)
	seen := map[string]bool{}
	for i := 0; i < len(after); i += 2 {
		require.Equal(t, before[i][1], after[i][1])
		require.False(t, seen[after[i][1]], "two events with one UID")
		seen[after[i][1]] = true
		require.Greater(t, after[i+1][1], before[i+1][1])
	}
	p.Name = "other-wire"
	require.NotContains(t, written(t, dwells, p), after[0][1], "another trial has other events")
}

func TestWriteTellsOfAFullDisk(t *testing.T) {
	dwells, p := small()
	require.ErrorContains(t, Write(full{}, dwells, p), "writing the calendar: no room")
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errNoRoom }

type noRoom string

func (e noRoom) Error() string { return string(e) }

const errNoRoom = noRoom("no room")

// An independent reader, Debian's python3-icalendar, must find what was put in. FAIRLOBE_ICALENDAR=required makes
// its absence a failure.
func TestAnotherReader(t *testing.T) {
	python := pythonWithICalendar()
	if python == "" {
		if os.Getenv("FAIRLOBE_ICALENDAR") == "required" {
			t.Fatal("FAIRLOBE_ICALENDAR=required, and there is no python3-icalendar")
		}
		t.Skip("no python3-icalendar: the calendar is not read by another reader")
	}
	const script = `
import sys, json, datetime, icalendar
cal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
assert cal["VERSION"] == "2.0" and cal["PRODID"], cal
out = []
for e in cal.walk("VEVENT"):
    assert not e.errors, e.errors
    alarm, = e.walk("VALARM")
    assert e["DTSTAMP"].dt.tzinfo is not None
    out.append({"uid": str(e["UID"]), "start": e["DTSTART"].dt.isoformat(), "end": e["DTEND"].dt.isoformat(),
        "summary": str(e["SUMMARY"]), "description": str(e["DESCRIPTION"]), "sequence": int(e["SEQUENCE"]),
        "action": str(alarm["ACTION"]), "before_s": alarm["TRIGGER"].dt.total_seconds()})
json.dump(out, sys.stdout)
`
	dwells, p := small()
	cmd := exec.Command(python, "-c", script)
	cmd.Stdin = strings.NewReader(written(t, dwells, p))
	raw, err := cmd.Output()
	require.NoError(t, err)
	var events []struct {
		UID, Start, End, Summary, Description, Action string
		Sequence                                      int64
		BeforeS                                       float64 `json:"before_s"`
	}
	require.NoError(t, json.Unmarshal(raw, &events))
	require.Len(t, events, len(dwells))
	for i, e := range events {
		d := dwells[i]
		require.True(t, d.Start.Equal(at(e.Start)), e.Start)
		require.True(t, d.End.Equal(at(e.End)), e.End)
		require.True(t, strings.HasPrefix(e.Summary, "connect "+d.Arm+", "+d.Band+", block 1 of 1, session "), e.Summary)
		require.True(t, strings.HasPrefix(e.Description, "Ridge wire: low, high; slope\nsecond line and a tab\n"), e.Description)
		require.Equal(t, "DISPLAY", e.Action)
		require.Equal(t, -60.0, e.BeforeS)
		require.Equal(t, d.Start.Unix()/60, e.Sequence)
	}
}

// pythonWithICalendar gives the first Python that has the package; "" if none has. Debian's stands beside another one
// in some images.
func pythonWithICalendar() string {
	for _, python := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(python, "-c", "import icalendar").Run() == nil {
			return python
		}
	}
	return ""
}
