package dwells

import (
	"fmt"
	"time"

	"fairlobe/stages/schedule"
)

// applyPauses moves what follows each pause, and drops the blocks that were under way.
func (t *trial) applyPauses() {
	for s := range t.sessions {
		var open *Event
		for _, e := range t.of(s, Pause, Resume) {
			switch {
			case e.Kind == Pause && open == nil:
				open = e
			case e.Kind == Resume && open != nil:
				t.pause(s, t.notBeforeStart(s, open.Time), e.Time)
				open = nil
			default:
				t.warn(*e, colEvent, CodePauseOrder,
					fmt.Sprintf("a %s where there is %s: it does nothing", e.Kind, map[bool]string{true: "no pause", false: "a pause already"}[open == nil]),
					"name the session that was meant, or append the line that is missing")
			}
		}
		if open != nil {
			t.pauseForGood(s, *open)
		}
	}
}

// notBeforeStart gives the later of a moment and the session's logged start: that start is the real one,
// so that a pause before it has moved nothing.
func (t *trial) notBeforeStart(s int, at time.Time) time.Time {
	if first := t.start(s); len(t.of(s, Start)) > 0 && at.Before(first) {
		return first
	}
	return at
}

func (t *trial) pause(s int, from, to time.Time) {
	if to.Before(from) {
		return
	}
	t.dropUnderWay(s, from)
	// An even number of slots keeps even slots even: each dwell keeps its slots to send in.
	unit := time.Duration(schedule.PeriodMs(t.p.SlotMs, t.p.Sends)) * time.Millisecond
	by := (to.Sub(from) + unit - 1) / unit * unit
	before := t.end(s)
	t.shift(s, from, by)
	t.sessions[s].PausedS += seconds(t.end(s).Sub(before))
}

// dropUnderWay drops the blocks of a session that had begun and were not over at a moment.
func (t *trial) dropUnderWay(s int, at time.Time) {
	for i := range t.blocks {
		b := &t.blocks[i]
		if b.session == s && t.blockStart(*b).Before(at) && at.Before(t.blockEnd(*b)) {
			b.drop(PausedInside, "", t.armAt(s, at))
		}
	}
}

// pauseForGood handles a pause that nothing resumed. If an end follows, the trial or the session ended
// with the pause. Else all that follows is not run, later sessions too unless the log shows that they were.
func (t *trial) pauseForGood(s int, from Event) {
	for _, e := range t.of(s, End) {
		if !e.Time.Before(from.Time) {
			e.Time = from.Time
			return
		}
	}
	t.dropUnderWay(s, from.Time)
	for i := range t.blocks {
		b := &t.blocks[i]
		later := b.session != s && t.start(b.session).After(t.start(s)) && !t.sessions[b.session].ran
		if later || b.session == s && !t.blockStart(*b).Before(from.Time) {
			b.drop(NotRun, "paused and not resumed", t.armAt(s, from.Time))
			b.pending = true
		}
	}
}
