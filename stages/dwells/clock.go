package dwells

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fairlobe/stages/schedule"
)

// silentS is the clock error, in seconds, that is let pass without a word.
const silentS = 0.5

// correctClocks takes the clock readings of each session off the times of its events, then sorts all
// events by time.
func (t *trial) correctClocks() {
	limit := max(silentS, float64(t.p.SettleMs)/2000)
	for s := range t.sessions {
		readings := t.clockReadings(s, limit)
		for _, e := range t.of(s, Kinds()...) {
			if v := nearestReading(readings, e.Time); math.Abs(v) > silentS {
				e.correction = -time.Duration(math.Round(v * float64(time.Second)))
				e.Time = e.Time.Add(e.correction)
			}
		}
	}
	for _, e := range t.events {
		if e.Kind == RadioClock && math.Abs(e.Value) > silentS {
			t.warn(e, colValue, CodeRadioClock,
				fmt.Sprintf("the radio's clock was %s", offBy(e.Value)),
				"set the clock of the device that keeps the slots, within 0.5 s")
		}
	}
	slices.SortStableFunc(t.events, func(a, b Event) int { return a.Time.Compare(b.Time) })
}

// reading is one comparison of the log's clock with UTC.
type reading struct {
	at      time.Time
	offsetS float64
}

func (t *trial) clockReadings(s int, limit float64) []reading {
	var out []reading
	for _, e := range t.of(s, Clock) {
		out = append(out, reading{e.Time, e.Value})
		if math.Abs(e.Value) > math.Abs(t.sessions[s].ClockOffsetS) {
			t.sessions[s].ClockOffsetS = e.Value
		}
		switch off := math.Abs(e.Value); {
		case off > limit:
			t.fault(*e, colValue, CodeClock,
				fmt.Sprintf("the log's clock was %s, more than half the settling time", offBy(e.Value)),
				fmt.Sprintf("add %s s to each time of session %d that this clock gave, and write 0 here", signedS(-e.Value), e.Session))
		case off > silentS:
			t.warn(*e, colValue, CodeClock,
				fmt.Sprintf("the log's clock was %s: the times of session %d near this reading are corrected by %s s",
					offBy(e.Value), e.Session, signedS(-e.Value)),
				"set the clock before the next session")
		}
	}
	return out
}

func nearestReading(readings []reading, at time.Time) float64 {
	value, least := 0.0, time.Duration(-1)
	for _, r := range readings {
		if away := r.at.Sub(at).Abs(); least < 0 || away < least {
			value, least = r.offsetS, away
		}
	}
	return value
}

// signedS writes seconds with their sign, a true minus.
func signedS(s float64) string { return strings.Replace(fmt.Sprintf("%+.4g", s), "-", "\u2212", 1) }

func offBy(s float64) string {
	if s < 0 {
		return fmt.Sprintf("%.4g s behind UTC", -s)
	}
	return fmt.Sprintf("%.4g s ahead of UTC", s)
}

// shiftStarts moves each session to its real first slot. Of two starts of one session the line written
// later counts.
func (t *trial) shiftStarts() {
	for s := range t.sessions {
		starts := t.of(s, Start)
		if len(starts) == 0 {
			continue
		}
		last := slices.MaxFunc(starts, func(a, b *Event) int {
			if c := a.Entered.Compare(b.Entered); c != 0 {
				return c
			}
			return a.Line - b.Line
		})
		if len(starts) > 1 {
			t.warn(*last, colEvent, CodeStartTwice,
				fmt.Sprintf("session %d has %d starts: the one written last counts", last.Session, len(starts)),
				"name the session that was meant, if it is another")
		}
		shift := firstSlot(*last, t.p.SlotMs).Sub(t.start(s))
		t.sessions[s].ShiftS = seconds(shift)
		t.shift(s, t.start(s), shift)
	}
}

// edgeTolerance is how far a start may lie behind the edge that it marks, if a correction put it there.
const edgeTolerance = 2500 * time.Millisecond

// firstSlot gives the edge that a start marks: the next one. A start that stood on the edge by a clock that
// was a little behind lies past the edge once it is corrected, and still marks it.
func firstSlot(e Event, slotMs int64) time.Time {
	return schedule.UpToEdge(e.Time.Add(-min(edgeTolerance, max(0, e.correction))), slotMs)
}

// shift moves the dwells of a session that begin at or after a moment.
func (t *trial) shift(s int, from time.Time, by time.Duration) {
	for _, i := range t.sessions[s].dwells {
		if d := &t.dwells[i]; !d.Start.Before(from) {
			d.Start, d.SettleEnd, d.End = d.Start.Add(by), d.SettleEnd.Add(by), d.End.Add(by)
		}
	}
}
