package dwells

import (
	"fmt"
	"time"

	"fairlobe/pipeline/diag"
)

// applyEnds cuts off the blocks that were not complete at a logged end.
func (t *trial) applyEnds() {
	for s := range t.sessions {
		for _, e := range t.of(s, End) {
			t.sessions[s].Ended = true
			if t.sessions[s].end == nil {
				t.sessions[s].end = e
			}
		}
	}
	trialEnd := t.trialEnd()
	for i := range t.blocks {
		b := &t.blocks[i]
		over := t.blockEnd(*b)
		ended := t.sessions[b.session].end
		if ended != nil && over.After(ended.Time) || trialEnd != nil && over.After(trialEnd.Time) {
			b.reason, b.arm, b.cut, b.pending = NotRun+": ended before", "", true, false
		}
	}
	t.warnAfterEnd(trialEnd)
}

// trialEnd is the first event that ends the trial, and not a session alone; nil if there is none.
func (t *trial) trialEnd() *Event {
	for i := range t.events {
		if t.events[i].endsTrial {
			return &t.events[i]
		}
	}
	return nil
}

func (t *trial) warnAfterEnd(trialEnd *Event) {
	for _, e := range t.events {
		if trialEnd != nil && (e.Kind == Start || e.Kind == Connected) && e.Time.After(trialEnd.Time) {
			t.warn(*trialEnd, colSession, CodeAfterEnd,
				fmt.Sprintf("the trial ended here, and the log goes on with session %d: what follows does not count", e.Session),
				"give this line the number of its session if only the session ended")
			return
		}
	}
}

// ended tells whether the log ends the trial, or the session that begins last.
func (t *trial) ended() bool {
	last := 0
	for s := range t.sessions {
		if t.start(s).After(t.start(last)) {
			last = s
		}
	}
	return t.trialEnd() != nil || t.sessions[last].Ended
}

// checkOverlap refuses sessions that the log pushed into each other: a report would then have two arms.
func (t *trial) checkOverlap() {
	for a := range t.sessions {
		for b := range t.sessions {
			from, to := t.run(a)
			otherFrom, otherTo := t.run(b)
			if a == b || otherFrom.Before(from) || !otherFrom.Before(to) || !otherFrom.Before(otherTo) {
				continue
			}
			t.list = append(t.list, t.overlapFault(a, b, to))
		}
	}
}

// run gives the span of a session's blocks that were not left out as not run; two equal times if there is
// none.
func (t *trial) run(s int) (from, to time.Time) {
	for _, b := range t.blocks {
		if b.session != s || b.cut || b.pending {
			continue
		}
		if from.IsZero() || t.blockStart(b).Before(from) {
			from = t.blockStart(b)
		}
		if t.blockEnd(b).After(to) {
			to = t.blockEnd(b)
		}
	}
	return from, to
}

func (t *trial) overlapFault(a, b int, to time.Time) diag.Diag {
	pos := diag.Pos{File: t.p.File}
	for _, s := range []int{b, a} {
		for _, e := range t.of(s, Start, Pause, Resume) {
			pos = e.pos(t.p.File, colTime)
		}
	}
	first, second := t.sessions[a].Session.Session, t.sessions[b].Session.Session
	return diag.Diag{
		Pos:  pos,
		Code: CodeOverlap,
		Msg: fmt.Sprintf("session %d lasts to %s by the log, and session %d begins at %s",
			first, stamp(to), second, stamp(t.start(b))),
		Mend: fmt.Sprintf("append the start of session %d with its real first slot, or the end of session %d", second, first),
	}
}
