package dwells

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule"
	"fairlobe/stages/schedule/rows"
)

// trial is the plan while the log is applied to it.
type trial struct {
	p        Params
	dwells   []Applied
	blocks   []block
	sessions []session
	// numbers of sessions as text, bands and arms, all in alphabetical order
	numbers, bands, arms []string
	events               []Event // by time; all have a session
	list                 diag.List
	// confirmedBy says when the arm of a dwell was connected, if the dwell is confirmed.
	confirmedBy []Event
}

// block is one session's block on one band.
type block struct {
	session int // index
	band    string
	number  int
	dwells  []int // indices, in time order
	reason  string
	arm     string // connected when the reason occurred; "" = unknown
	cut     bool   // by a logged end: not lost but never due
	pending bool   // not run after a pause that nothing resumed
}

// session is one outing.
type session struct {
	Session
	dwells []int // indices, in time order
	ran    bool  // the log says that something was done in it
	end    *Event
}

func newTrial(planned []schedule.Dwell, p Params) *trial {
	t := &trial{p: p, confirmedBy: make([]Event, len(planned))}
	place := map[int]int{}
	names, bands := map[string]bool{}, map[string]bool{}
	for i, d := range planned {
		at, known := place[d.Session]
		if !known {
			at = len(t.sessions)
			place[d.Session] = at
			t.sessions = append(t.sessions, session{Session: Session{Session: d.Session}})
		}
		t.sessions[at].dwells = append(t.sessions[at].dwells, i)
		t.dwells = append(t.dwells, Applied{Dwell: d})
		names[d.Arm], bands[d.Band] = true, true
	}
	for _, group := range schedule.Blocks(planned) {
		d := planned[group[0]]
		t.blocks = append(t.blocks, block{session: place[d.Session], band: d.Band, number: d.Block, dwells: group})
	}
	t.arms, t.bands = slices.Sorted(maps.Keys(names)), slices.Sorted(maps.Keys(bands))
	for _, s := range t.sessions {
		t.numbers = append(t.numbers, fmt.Sprint(s.Session.Session))
	}
	slices.Sort(t.numbers)
	return t
}

func (t *trial) start(s int) time.Time { return t.dwells[t.sessions[s].dwells[0]].Start }

func (t *trial) end(s int) time.Time {
	indices := t.sessions[s].dwells
	return t.dwells[indices[len(indices)-1]].End
}

func (t *trial) blockStart(b block) time.Time { return t.dwells[b.dwells[0]].Start }

func (t *trial) blockEnd(b block) time.Time { return t.dwells[b.dwells[len(b.dwells)-1]].End }

func (t *trial) warn(e Event, column int, code, msg, mend string) {
	t.list = append(t.list, diag.Diag{
		Pos: e.pos(t.p.File, column), Severity: diag.Warning, Code: code, Msg: msg, Mend: mend,
	})
}

func (t *trial) fault(e Event, column int, code, msg, mend string) {
	t.list = append(t.list, diag.Diag{Pos: e.pos(t.p.File, column), Code: code, Msg: msg, Mend: mend})
}

// takeEvents checks the names in the log and gives every event its session.
func (t *trial) takeEvents(events []Event) {
	for _, e := range events {
		t.checkNames(e)
	}
	if len(t.list) > 0 {
		return
	}
	t.events = slices.Clone(events)
	moved := t.startShifts()
	paused := 0 // the session whose pause is open
	for i := range t.events {
		e := &t.events[i]
		e.endsTrial = e.Kind == End && e.Session == 0
		if e.Kind == Resume && e.Session == 0 {
			e.Session = paused // a long pause may bring its end nearer to another session
		}
		s := t.sessionOf(*e, moved)
		e.Session = t.sessions[s].Session.Session
		switch e.Kind {
		case Start, Connected:
			t.sessions[s].ran = true
		case Pause:
			paused = e.Session
		case Resume:
			paused = 0
		}
	}
}

func (t *trial) checkNames(e Event) {
	blockKnown := e.Block == 0
	for _, b := range t.blocks {
		inSession := e.Session == 0 || t.sessions[b.session].Session.Session == e.Session
		blockKnown = blockKnown || inSession && b.number == e.Block && (e.Band == "" || b.band == e.Band)
	}
	before := len(t.list)
	check := func(column int, what, name string, known []string) {
		if name != "" && !slices.Contains(known, name) {
			t.fault(e, column, CodeUnknown, "the schedule has no "+what+" "+rows.Quote(name), nameMend(name, known))
		}
	}
	if e.Session != 0 {
		check(colSession, "session", fmt.Sprint(e.Session), t.numbers)
	}
	check(colBand, "band", e.Band, t.bands)
	check(colArm, "arm", e.Arm, t.arms)
	if !blockKnown && len(t.list) == before {
		t.fault(e, colBlock, CodeUnknown, fmt.Sprintf("the schedule has no block %d there", e.Block),
			"blocks count from 1 within session and band: see `fairlobe design`")
	}
}

func nameMend(name string, known []string) string {
	if near := rows.Nearest(name, known); near != "" {
		return "write " + near
	}
	return "write " + rows.OneOf(known)
}

// startShifts gives for each session by how much its start moved, from the log's last start event for it.
func (t *trial) startShifts() []time.Duration {
	moved := make([]time.Duration, len(t.sessions))
	still := make([]time.Duration, len(t.sessions))
	for i := range t.events {
		e := &t.events[i]
		if e.Kind != Start {
			continue
		}
		s := t.sessionOf(*e, still)
		e.Session = t.sessions[s].Session.Session
		moved[s] = schedule.UpToEdge(e.Time, t.p.SlotMs).Sub(t.start(s))
	}
	return moved
}

// sessionOf gives the index of the event's session: the one it names, else the nearest in time.
func (t *trial) sessionOf(e Event, moved []time.Duration) int {
	best, least := 0, time.Duration(-1)
	for s := range t.sessions {
		if e.Session != 0 {
			if t.sessions[s].Session.Session == e.Session {
				return s
			}
			continue
		}
		from, to := t.start(s).Add(moved[s]), t.end(s).Add(moved[s])
		away := max(0, from.Sub(e.Time), e.Time.Sub(to))
		if least < 0 || away < least {
			best, least = s, away
		}
	}
	return best
}

// of gives the events of a session, by its index, that have one of the kinds.
func (t *trial) of(s int, kinds ...string) []*Event {
	var out []*Event
	for i := range t.events {
		if e := &t.events[i]; e.Session == t.sessions[s].Session.Session && slices.Contains(kinds, e.Kind) {
			out = append(out, e)
		}
	}
	return out
}

// drop takes a block out, unless it is out already.
func (b *block) drop(code, words, arm string) {
	if b.reason != "" {
		return
	}
	b.reason, b.arm = code, arm
	if words != "" {
		b.reason = code + ": " + strings.Join(strings.Fields(words), " ")
	}
}

// armAt gives the arm of the dwell of a session that had begun last at a moment; "" before the first
// dwell and after the last one.
func (t *trial) armAt(s int, at time.Time) string {
	arm := ""
	for _, i := range t.sessions[s].dwells {
		if !t.dwells[i].Start.After(at) {
			arm = t.dwells[i].Arm
		}
	}
	if at.After(t.end(s)) {
		return ""
	}
	return arm
}
