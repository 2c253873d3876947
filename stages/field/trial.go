package field

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule"
)

// Trial is what is to be kept.
type Trial struct {
	// Planned is sorted by start.
	Planned          []schedule.Dwell
	SlotMs, SettleMs int64
	Sends            string // as in package schedule
	// Codes hides the arms' names behind these; nil = names are shown.
	Codes []Code
}

// Recorder is the switch log as the keeper sees it; *Log is one.
type Recorder interface {
	// Append returns without an error once nothing can lose the line any more.
	Append(dwells.Event) error
	Events() []dwells.Event
	Path() string
}

// apply moves the plan to what the events say.
func (t Trial) apply(events []dwells.Event, file string) (dwells.Outcome, diag.List) {
	return dwells.Apply(t.Planned, events, dwells.Params{SlotMs: t.SlotMs, SettleMs: t.SettleMs, Sends: t.Sends, File: file})
}

// name is what the operator is shown for an arm.
func (t Trial) name(arm string) string {
	for _, c := range t.Codes {
		if c.Arm == arm {
			return c.Shown
		}
	}
	return arm
}

// Hide puts the codes into a sentence that names arms.
func (t Trial) Hide(text string) string {
	if len(t.Codes) == 0 {
		return text
	}
	codes := slices.Clone(t.Codes)
	slices.SortFunc(codes, func(a, b Code) int { return len(b.Arm) - len(a.Arm) }) // "high" before "hi"
	var names []string
	for _, c := range codes {
		names = append(names, regexp.QuoteMeta(c.Arm))
	}
	word := regexp.MustCompile(`(^|[^\pL\pN_])(` + strings.Join(names, "|") + `)($|[^\pL\pN_])`)
	return word.ReplaceAllStringFunc(text, func(m string) string {
		part := word.FindStringSubmatch(m)
		return part[1] + t.name(part[2]) + part[3]
	})
}

// span is one session as the log has it.
type span struct {
	session    int
	start, end time.Time
	began      bool // something was connected or started in it
	ended      bool // the log has its end
}

func (t Trial) spans(out dwells.Outcome, events []dwells.Event) []span {
	var spans []span
	for _, s := range out.Sessions {
		one := span{session: s.Session, ended: s.Ended}
		for _, d := range out.Dwells {
			if d.Session != s.Session {
				continue
			}
			if one.start.IsZero() {
				one.start = d.Start
			}
			one.end, one.began = d.End, one.began || d.Confirmed
		}
		for _, e := range events {
			one.began = one.began || e.Session == s.Session && (e.Kind == dwells.Start || e.Kind == dwells.Connected)
		}
		spans = append(spans, one)
	}
	return spans
}

// Choice asks for a session.
type Choice struct {
	Session int // 0 = the one that is on or next
	// FromNow takes the one that was due last and has not begun, rather than one that is still to come.
	FromNow bool
	// Past allows a session that is over by the clock, for writing down what stands on paper.
	Past bool
}

// Choose picks a session and says in words what the operator should know of it. An error is a diag.List.
func (t Trial) Choose(log Recorder, want Choice, now time.Time) (session int, told []string, err error) {
	out, list := t.apply(log.Events(), log.Path())
	if err := list.Err(); err != nil {
		return 0, nil, err
	}
	if len(out.Dwells) == 0 {
		return 0, nil, refused(log, "the schedule has no dwells", "give [schedule] at least one session with a block")
	}
	spans := t.spans(out, log.Events())
	if endsTrial(log.Events()) {
		return 0, nil, refused(log, "the log says that the trial has ended", "fairlobe run judges it; a new trial is a new experiment file")
	}
	at := pick(spans, want, now)
	if want.Session != 0 {
		at = slices.IndexFunc(spans, func(s span) bool { return s.session == want.Session })
		if at < 0 {
			return 0, nil, refused(log, fmt.Sprintf("the schedule has no session %d", want.Session), "name one of "+numbers(spans))
		}
	}
	if at < 0 {
		last := spans[len(spans)-1]
		return 0, nil, refused(log, fmt.Sprintf("no session is left: the last one, %d, was over at %s", last.session, day(last.end)),
			fmt.Sprintf("--from now --session %d starts one late, --transcribe writes down what stands on paper, fairlobe run judges what is there", last.session))
	}
	s := spans[at]
	switch over := !now.Before(s.end); {
	case s.ended && !want.Past:
		return 0, nil, refused(log, fmt.Sprintf("session %d has ended, says the log", s.session), "--session N takes another one, of "+numbers(spans))
	case over && !s.began && !want.FromNow && !want.Past:
		return 0, nil, refused(log, fmt.Sprintf("session %d was over at %s, and nothing of it is in the log", s.session, day(s.end)),
			"--from now starts it late; --transcribe writes down what stands on paper")
	case want.FromNow && s.began && hasConnected(log.Events(), s.session):
		return 0, nil, refused(log, fmt.Sprintf("session %d has begun already: another start would move what was done", s.session),
			"leave out --from now; keys p (pause) and p (go on) move what follows")
	}
	if want.Past && now.Before(s.start) {
		told = append(told, fmt.Sprintf("Session %d is still to come, at %s.", s.session, day(s.start)))
	}
	for _, other := range spans[:at] {
		if other.began && !other.ended {
			told = append(told, fmt.Sprintf("Session %d has no end in the log; --session %d goes back to it.", other.session, other.session))
		}
	}
	return s.session, told, nil
}

// pick gives the index of the session that is meant if none was named, -1 if none is left.
func pick(spans []span, want Choice, now time.Time) int {
	open := func(s span) bool { return !s.ended }
	if want.FromNow {
		for i := len(spans) - 1; i >= 0; i-- {
			if s := spans[i]; open(s) && !s.began && !s.start.After(now) {
				return i
			}
		}
	}
	if want.Past { // what stands on paper was done
		for i, s := range spans {
			if open(s) && !s.start.After(now) {
				return i
			}
		}
	}
	for i, s := range spans {
		if open(s) && now.Before(s.end) {
			return i
		}
	}
	if last := len(spans) - 1; open(spans[last]) && spans[last].began {
		return last // its end is still to be written
	}
	return -1
}

func endsTrial(events []dwells.Event) bool {
	return slices.ContainsFunc(events, func(e dwells.Event) bool { return e.Kind == dwells.End && e.Session == 0 })
}

func hasConnected(events []dwells.Event, session int) bool {
	return slices.ContainsFunc(events, func(e dwells.Event) bool { return e.Kind == dwells.Connected && e.Session == session })
}

func refused(log Recorder, msg, mend string) error {
	return diag.List{{Pos: diag.Pos{File: log.Path()}, Msg: msg, Mend: mend}}
}

func numbers(spans []span) string {
	var out []string
	for _, s := range spans {
		out = append(out, fmt.Sprint(s.session))
	}
	return strings.Join(out, ", ")
}

func day(t time.Time) string { return t.UTC().Format("2006-01-02 15:04Z") }

func clock(t time.Time) string { return t.UTC().Format("15:04:05Z") }

// length writes a length of time as minutes and seconds, with hours from one hour on. Parts of a second
// count as a whole one, so that 0:00 means now.
func length(d time.Duration) string {
	s := int64((d + time.Second - 1) / time.Second)
	if d < 0 {
		s = 0
	}
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
