package rehearsal_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/dwells"
)

// The written log, applied to the plan by the analysis, gives the times that the reports were made by, and loses the
// block in which nothing was sent.
func TestTheLogTellsWhatHappened(t *testing.T) {
	for name, text := range map[string]string{
		"by hand":        base + aTable,
		"longer":         replaced(t, base, "blocks = 6", "blocks = 16", "blocks = 3", "blocks = 8", "blocks = 3", "blocks = 8") + aTable,
		"two bands":      replaced(t, base, `["20m"]`, `["20m", "10m"]`) + aTable,
		"within band":    replaced(t, base, `["20m"]`, `["20m", "10m"]`, "blocks = 6\n", "blocks = 6\nrotate = \"arms within band\"\n") + aTable,
		"no time at all": replaced(t, base, "arm_change_min = 2", "arm_change_min = 0\nchangeover = \"switch\"") + aTable,
		"mirrored":       replaced(t, base, "blocks = 6\n", "blocks = 6\npattern = \"mirrored\"\n") + aTable,
		"120 s": replaced(t, base, `"FT8"`, `"WSPR"`, `"even slots"`, `"every slot"`, "dwell_min = 5", "dwell_min = 20",
			"settle_min = 0.5", "settle_min = 2") + aTable,
		"7.5 s":          replaced(t, base, `"FT8"`, `"FT4"`) + aTable,
		"close sessions": replaced(t, base, "2026-09-13T04:00:00Z", "2026-09-12T04:50:00Z") + aTable,
	} {
		for _, mishaps := range []bool{false, true} {
			t.Run(name, func(t *testing.T) {
				r := rehearse(t, text, mishaps, "none")
				got := applied(t, r)
				silent := map[string]bool{}
				for i, want := range r.Dwells() {
					d := got.Dwells[i]
					require.Equal(t, want.Start, d.Start, "dwell %d", i)
					require.Equal(t, want.End, d.End, "dwell %d", i)
					require.False(t, want.Silent && d.Kept, "dwell %d counts, and nothing was sent", i)
					require.False(t, d.SettleEnd.Before(want.Settle), "dwell %d", i)
					if !d.Kept {
						silent[d.Reason] = true
					}
					late := time.Duration(d.LateS * float64(time.Second))
					if want.Connected.IsZero() {
						require.Zero(t, late, "dwell %d", i)
					} else {
						require.Equal(t, want.Connected.Sub(want.Start), late, "dwell %d", i)
					}
				}
				require.LessOrEqual(t, len(silent), 1, "no block is lost but the one in which nothing was sent")
				require.True(t, got.Ended)
				require.False(t, got.EndedEarly)
				require.Less(t, got.Unconfirmed, 0.2)
				if !mishaps {
					require.Zero(t, got.Unconfirmed)
					require.Empty(t, silent)
					require.Empty(t, r.Happened)
				}
			})
		}
	}
}

func applied(t *testing.T, r rehearsed) dwells.Outcome {
	for _, f := range r.Files {
		if f.Name != "log/switches.csv" {
			continue
		}
		events, faults := dwells.ReadLog(bytes.NewReader(f.Data), f.Name)
		require.Empty(t, faults)
		fixed := r.exp.Fixed
		got, list := dwells.Apply(r.planned, events, dwells.Params{SlotMs: fixed.Slot.Milliseconds(),
			SettleMs: r.exp.Schedule.Settle.Milliseconds(), Sends: fixed.Sends, File: f.Name})
		require.NoError(t, list.Err())
		return got
	}
	t.Fatal("there is no log")
	return dwells.Outcome{}
}

// With mishaps the trial has what a real one has, and says so.
func TestMishapsAreTold(t *testing.T) {
	r := rehearse(t, replaced(t, base, "blocks = 6", "blocks = 16", "blocks = 3", "blocks = 8", "blocks = 3", "blocks = 8")+aTable, true, "none")
	told := strings.Join(r.Happened, "\n")
	for _, part := range []string{"session 1: began ", "session 2: began ", "connected 40 s late", "dropped in the dwell of", "a pause of 12 min", "not written down: "} {
		require.Contains(t, told, part)
	}
	rows, refused, done := r.read(t)
	for _, reason := range []string{"between other stations", "outside the schedule", "slot in which the station did not send", "merged"} {
		require.True(t, hasFate(rows, reason), reason)
	}
	require.GreaterOrEqual(t, len(refused), 5, "each way of being unusable: %v", refused)
	used := 0
	for _, x := range rows {
		if x.fate == "used" {
			used++
		}
	}
	require.Greater(t, used, 3*len(rows)/5, "most rows are of use")
	require.NotNil(t, done)
}

func hasFate(rows []row, fate string) bool {
	for _, x := range rows {
		if x.fate == fate {
			return true
		}
	}
	return false
}

// Without a log nothing could be told of what went wrong, so nothing does.
func TestWithoutALogThePlanIsKept(t *testing.T) {
	r := rehearse(t, replaced(t, base, "[log]\nswitches = \"log/switches.csv\"\n", "")+aTable, true, "none")
	require.Empty(t, r.Happened)
	for i, d := range r.Dwells() {
		require.Equal(t, r.planned[i].Start, d.Start)
	}
}
