package field

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule"
)

// remindEvery is after how many blocks the operator is told to copy the log away.
const remindEvery = 5

// silentClockS is the clock error, in seconds, that package dwells lets pass.
const silentClockS = 0.5

// Keeper keeps one session. It is not safe for use by several goroutines.
type Keeper struct {
	trial   Trial
	log     Recorder
	session int

	outcome dwells.Outcome
	all     []dwells.Applied // the session's dwells by time
	ask     *question
	ticked  time.Time // corrected; up to when changes have been told
	left    bool
	setBack bool // the clock that was set back has been spoken of
}

// question is something that the operator has been asked.
type question struct {
	prompt string
	answer func(now time.Time, text string) []string
}

// NewKeeper takes up a session where the log has left it. An error is the diag.List of a log that can't be
// applied.
func NewKeeper(trial Trial, log Recorder, session int) (*Keeper, error) {
	k := &Keeper{trial: trial, log: log, session: session}
	out, list := trial.apply(log.Events(), log.Path())
	if err := list.Err(); err != nil {
		return nil, err
	}
	k.take(out)
	return k, nil
}

func (k *Keeper) take(out dwells.Outcome) {
	k.outcome, k.all = out, nil
	for _, d := range out.Dwells {
		if d.Session == k.session {
			k.all = append(k.all, d)
		}
	}
	slices.SortStableFunc(k.all, func(a, b dwells.Applied) int { return a.Start.Compare(b.Start) })
}

// Session is the number of the session.
func (k *Keeper) Session() int { return k.session }

// Prompt is the question that is open; "" means that a key is waited for.
func (k *Keeper) Prompt() string {
	if k.ask == nil {
		return ""
	}
	return k.ask.prompt
}

// Left tells whether the operator is done: the session was ended, or left to be taken up later.
func (k *Keeper) Left() bool { return k.left }

// Ended tells whether the log has the session's end.
func (k *Keeper) Ended() bool {
	i := slices.IndexFunc(k.outcome.Sessions, func(s dwells.Session) bool { return s.Session == k.session })
	return k.outcome.Sessions[i].Ended
}

// Begin says where the session stands, and asks for the clock if the session has no reading yet.
func (k *Keeper) Begin(now time.Time) []string {
	k.ticked = k.utc(now)
	said := []string{fmt.Sprintf("Session %d: %s to %s, %d dwells.", k.session, day(k.all[0].Start), clock(k.all[len(k.all)-1].End), len(k.all))}
	if last := k.lastEntered(); last.After(now) {
		said = append(said, fmt.Sprintf("WRONG CLOCK? The log was last written at %s, later than this clock's %s.", day(last), day(now)))
	}
	if late := k.ticked.Sub(k.all[0].Start); late > time.Minute && !hasConnected(k.log.Events(), k.session) && !k.started() {
		said = append(said, fmt.Sprintf("The session began by plan %s ago and the log has nothing of it. If nothing was sent: leave (q) and start again with --from now.", length(late)))
	}
	if k.latestClock() == nil {
		k.askClock(nil)
	}
	return said
}

func (k *Keeper) started() bool {
	return slices.ContainsFunc(k.log.Events(), func(e dwells.Event) bool { return e.Kind == dwells.Start && e.Session == k.session })
}

func (k *Keeper) lastEntered() time.Time {
	if events := k.log.Events(); len(events) > 0 {
		return events[len(events)-1].Entered
	}
	return time.Time{}
}

// latestClock is the session's latest clock reading, nil without one.
func (k *Keeper) latestClock() *dwells.Event {
	var latest *dwells.Event
	for _, e := range k.log.Events() {
		if e.Kind == dwells.Clock && e.Session == k.session && (latest == nil || !e.Time.Before(latest.Time)) {
			latest = &e
		}
	}
	return latest
}

// ahead is by how much the machine's clock is ahead of UTC, as far as it is corrected for.
func (k *Keeper) ahead() time.Duration {
	if c := k.latestClock(); c != nil && math.Abs(c.Value) > silentClockS {
		return time.Duration(math.Round(c.Value * float64(time.Second)))
	}
	return 0
}

// utc takes the clock's known error off.
func (k *Keeper) utc(now time.Time) time.Time { return now.UTC().Add(-k.ahead()) }

// pausedAt gives the corrected moment of a pause that nothing has resumed.
func (k *Keeper) pausedAt() (at time.Time, paused bool) {
	for _, e := range k.log.Events() {
		if e.Session != k.session && e.Session != 0 {
			continue
		}
		switch {
		case e.Kind == dwells.Pause && !paused:
			at, paused = k.utc(e.Time), true
		case e.Kind == dwells.Resume:
			paused = false
		}
	}
	return at, paused
}

// frozen is the corrected time on the schedule: it stands still in a pause, since what follows will move.
func (k *Keeper) frozen(now time.Time) time.Time {
	if at, paused := k.pausedAt(); paused {
		return at
	}
	return k.utc(now)
}

// running gives the index of the dwell at a corrected moment, -1 between dwells; next that of the first dwell
// that begins later, len(k.all) after the last one.
func (k *Keeper) running(at time.Time) (running, next int) {
	running, next = -1, len(k.all)
	for i, d := range k.all {
		if !at.Before(d.Start) && at.Before(d.End) {
			running = i
		}
		if at.Before(d.Start) {
			return running, i
		}
	}
	return running, next
}

// place gives the dwell that a remark or a drop belongs to: the running one, else the one that was last, else
// the first.
func (k *Keeper) place(now time.Time) dwells.Applied {
	running, next := k.running(k.frozen(now))
	if running >= 0 {
		return k.all[running]
	}
	return k.all[max(0, next-1)]
}

// over tells whether the last dwell has ended.
func (k *Keeper) over(now time.Time) bool {
	running, next := k.running(k.frozen(now))
	return running < 0 && next == len(k.all)
}

// event makes an entry of this session at this moment.
func (k *Keeper) event(now time.Time, kind string) dwells.Event {
	return dwells.Event{Time: now, Entered: now, Kind: kind, Session: k.session}
}

// at sets an entry into a dwell.
func at(e dwells.Event, d dwells.Applied) dwells.Event {
	e.Band, e.Block, e.Arm = d.Band, d.Block, d.Arm
	return e
}

// tryOut tells what an entry would do.
func (k *Keeper) tryOut(e dwells.Event) (dwells.Outcome, diag.List) {
	return k.trial.apply(append(slices.Clone(k.log.Events()), e), k.log.Path())
}

// write appends an entry and says what follows from it. An entry that would make the log unusable, or that
// the disk did not take, is not in the log, and that is said first.
func (k *Keeper) write(e dwells.Event, done string) []string {
	if _, list := k.tryOut(e); len(list.Faults()) > 0 {
		return k.notWritten(list.Faults())
	}
	if err := k.log.Append(e); err != nil {
		return []string{"NOT WRITTEN: " + err.Error() + ". Note it on paper."}
	}
	out, list := k.trial.apply(k.log.Events(), k.log.Path())
	if len(list.Faults()) > 0 { // what was tried out is what was written
		return k.notWritten(list.Faults())
	}
	before := k.outcome
	k.take(out)
	said := []string{done}
	if entered := k.lastEntered(); entered.After(e.Entered) && !k.setBack {
		k.setBack = true
		said = append(said, fmt.Sprintf("This clock is %s behind the log's last line. Was it set back? entered keeps the log's order.", length(entered.Sub(e.Entered))))
	}
	return append(said, k.consequences(before)...)
}

func (k *Keeper) notWritten(faults diag.List) []string {
	d := faults.Sort()[0]
	return []string{"NOT WRITTEN: " + k.trial.Hide(d.Msg) + ".", "Mend: " + k.trial.Hide(d.Mend) + "."}
}

// consequences says what differs from the outcome before.
func (k *Keeper) consequences(before dwells.Outcome) []string {
	var said []string
	for _, group := range schedule.Blocks(k.trial.Planned) {
		was, is := before.Dwells[group[0]], k.outcome.Dwells[group[0]]
		block := fmt.Sprintf("block %d on %s", is.Block, is.Band)
		if is.Session != k.session {
			block += fmt.Sprintf(" of session %d", is.Session)
		}
		switch {
		case notRun(is) || notRun(was):
		case was.Kept && !is.Kept:
			said = append(said, fmt.Sprintf("%s does not count: %s. Keep to the schedule; the other blocks count.", upperFirst(block), k.trial.Hide(is.Reason)))
		case is.Kept && was.LeadingSlotsRemoved != is.LeadingSlotsRemoved:
			said = append(said, fmt.Sprintf("Left out of every dwell of %s alike: the first %s.", block, plural(is.LeadingSlotsRemoved, "slot")))
		}
	}
	for i, s := range k.outcome.Sessions {
		if by := s.PausedS - before.Sessions[i].PausedS; by != 0 && s.Session == k.session {
			said = append(said, "What follows moves by "+length(time.Duration(by*float64(time.Second)))+".")
		}
		if s.ShiftS != before.Sessions[i].ShiftS && s.Session == k.session {
			said = append(said, "The session's first slot is at "+clock(k.all[0].Start)+".")
		}
	}
	return said
}

// notRun tells of a block that an end cut off, or that waits for a pause to be over.
func notRun(d dwells.Applied) bool { return strings.HasPrefix(d.Reason, dwells.NotRun) }

// tally counts the session's blocks whose last dwell is over.
func (k *Keeper) tally(at time.Time) (counting, lost int) {
	for _, group := range schedule.Blocks(k.trial.Planned) {
		first, last := k.outcome.Dwells[group[0]], k.outcome.Dwells[group[len(group)-1]]
		switch {
		case first.Session != k.session || notRun(first):
		case !first.Kept:
			lost++
		case !last.End.After(at):
			counting++
		}
	}
	return counting, lost
}

// Tick tells what has changed by the clock since the last call: dwells that began or ended. bell says that it
// asks for a hand.
func (k *Keeper) Tick(now time.Time) (said []string, bell bool) {
	if _, paused := k.pausedAt(); paused {
		k.ticked = k.utc(now)
		return nil, false
	}
	from, to := k.ticked, k.utc(now)
	if !to.After(from) {
		return nil, false
	}
	k.ticked = to
	passed := func(t time.Time) bool { return t.After(from) && !t.After(to) }
	for i, d := range k.all {
		soon := d.End.Add(-warnBefore)
		if passed(soon) && !passed(d.End) && i+1 < len(k.all) && d.End.Sub(d.Start) > 2*warnBefore {
			said = append(said, fmt.Sprintf("%s  in %s: %s", clock(soon), length(d.End.Sub(to)), k.change(i, i+1)))
		}
		if passed(d.End) {
			said, bell = append(said, k.dwellOver(i)...), true
		}
		if passed(d.Start) {
			said, bell = append(said, k.dwellBegins(d)), true
		}
	}
	if len(said) > mostTold {
		said = append([]string{"Much time has passed; the last of it:"}, said[len(said)-mostTold:]...)
	}
	return said, bell
}

// warnBefore is how long before the end of a dwell the change is told.
const warnBefore = time.Minute

// mostTold is how many lines are told at once of what happened while the machine slept.
const mostTold = 6

func (k *Keeper) dwellBegins(d dwells.Applied) string {
	what := fmt.Sprintf("%s  ON THE AIR: %s on %s until %s", clock(d.Start), k.trial.name(d.Arm), d.Band, clock(d.End))
	if !d.Confirmed {
		what += "; NOT CONFIRMED yet (c)"
	}
	return what
}

func (k *Keeper) dwellOver(i int) []string {
	d := k.all[i]
	var said []string
	if !d.Confirmed {
		said = append(said, fmt.Sprintf("%s on %s was not confirmed: it counts as planned, with a mark. Key e writes it down later.", k.trial.name(d.Arm), d.Band))
	}
	if i == len(k.all)-1 {
		said = append(said, clock(d.End)+"  The last dwell is over. Readings first if you have any (k, o, b); x ends the session.")
	} else if n := k.all[i+1]; n.Start.After(d.End) {
		said = append(said, fmt.Sprintf("%s  CHANGE: %s, on the air at %s", clock(d.End), k.change(i, i+1), clock(n.Start)))
	}
	if d.Block%remindEvery == 0 && k.lastOfBlock(i) {
		said = append(said, fmt.Sprintf("Block %d is done. Copy the log away now: %s", d.Block, k.log.Path()))
	}
	return said
}

// lastOfBlock tells whether no later dwell has the same block number, on any band.
func (k *Keeper) lastOfBlock(i int) bool {
	return !slices.ContainsFunc(k.all[i+1:], func(d dwells.Applied) bool { return d.Block == k.all[i].Block })
}

// change says what is to be done between two dwells; from is -1 before the first.
func (k *Keeper) change(from, to int) string {
	n := k.all[to]
	switch {
	case from >= 0 && k.all[from].Arm == n.Arm && k.all[from].Band == n.Band:
		return fmt.Sprintf("nothing, %s stays on %s", k.trial.name(n.Arm), n.Band)
	case from >= 0 && k.all[from].Arm == n.Arm:
		return fmt.Sprintf("go to %s, %s stays", n.Band, k.trial.name(n.Arm))
	}
	return fmt.Sprintf("connect %s on %s", k.trial.name(n.Arm), n.Band)
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
