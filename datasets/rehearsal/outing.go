package rehearsal

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"fairlobe/datasets/world"
	"fairlobe/stages/schedule"
)

// outing is what goes otherwise than planned, by places in the plan. Its zero value is: as planned, and logged in full.
type outing struct {
	// late is how much later than planned a session begins, by session; whole periods of the station's own slots.
	late map[int]time.Duration
	// pauses follow a dwell with which every block that had begun is over.
	pauses map[int]pause
	// connected is how long after a dwell's start its arm was there.
	connected map[int]time.Duration
	// silent are dwells from which on nothing was sent in their block, with the reason that stands in the log.
	silent map[int]string
	// unlogged are dwells whose change of arm was not written down.
	unlogged map[int]bool
	// clockS is what the log's clock shows more than UTC, seconds.
	clockS float64
}

// pause is a stop of whole periods of the station's own slots.
type pause struct {
	length time.Duration
	note   string
}

// How much goes wrong, where there is room for it.
const (
	longestLate   = 5 * time.Minute
	pauseLength   = 12 * time.Minute
	lateSwitch    = 40 * time.Second
	roomSessions  = 30 * time.Minute // free time before the next session
	blocksForLoss = 8                // blocks of which one may be lost
	loggedOfOne   = 14               // one change of arm in so many is not written down
)

// mishaps draws what goes wrong on an outing: sessions that begin late, a pause, a block that is lost, an arm connected
// late, changes that nobody wrote down. periodMs is that of the station's own slots.
func mishaps(random *rand.Rand, planned []schedule.Dwell, periodMs int64) outing {
	period := time.Duration(periodMs) * time.Millisecond
	o := outing{late: map[int]time.Duration{}, pauses: map[int]pause{}, connected: map[int]time.Duration{},
		silent: map[int]string{}, unlogged: map[int]bool{}, clockS: 0.2}
	rest := restPoints(planned)
	for i, d := range planned {
		if (i == 0 || planned[i-1].Session != d.Session) && hasRoom(planned, d.Session) {
			o.late[d.Session] = period * time.Duration(1+random.Int64N(max(1, int64(longestLate/period))))
		}
	}
	if len(rest) > 0 {
		at := rest[random.IntN(len(rest))]
		o.pauses[at] = pause{(pauseLength + period - 1) / period * period, "rain shower, everybody under the tarpaulin"}
	}
	blocks := schedule.Blocks(planned)
	order := random.Perm(len(blocks))
	if len(blocks) >= blocksForLoss {
		lost := blocks[order[0]]
		o.silent[lost[len(lost)-1]] = "supply plug came loose, nothing sent in this dwell"
	}
	if len(blocks) > 1 {
		group := blocks[order[1]]
		if i := group[len(group)-1]; planned[i].End.Sub(planned[i].Start) >= 6*lateSwitch {
			o.connected[i] = lateSwitch
		}
	}
	for range len(planned) / loggedOfOne {
		i := random.IntN(len(planned))
		_, late := o.connected[i]
		o.unlogged[i] = !late && o.silent[i] == ""
	}
	return o
}

// hasRoom tells whether a session may end later than planned.
func hasRoom(planned []schedule.Dwell, session int) bool {
	for i, d := range planned[:max(0, len(planned)-1)] {
		next := planned[i+1]
		if d.Session == session && next.Session != session && next.Start.Sub(d.End) < roomSessions {
			return false
		}
	}
	return true
}

// restPoints gives the dwells after which no block of the session is open, and the session goes on and has room.
func restPoints(planned []schedule.Dwell) []int {
	left := map[string]int{}
	key := func(d schedule.Dwell) string { return fmt.Sprintf("%d %d %s", d.Session, d.Block, d.Band) }
	for _, d := range planned {
		left[key(d)]++
	}
	var out []int
	open := map[string]bool{}
	for i, d := range planned {
		k := key(d)
		left[k]--
		open[k] = true
		if left[k] == 0 {
			delete(open, k)
		}
		goesOn := i+1 < len(planned) && planned[i+1].Session == d.Session
		if len(open) == 0 && goesOn && hasRoom(planned, d.Session) {
			out = append(out, i)
		}
	}
	return out
}

// carry carries out the planned dwells, sorted by start: it gives the real ones in the same order.
func (o outing) carry(planned []schedule.Dwell) []world.Dwell {
	out := make([]world.Dwell, len(planned))
	var by time.Duration
	for i, d := range planned {
		if i == 0 || planned[i-1].Session != d.Session {
			by = o.late[d.Session]
		}
		out[i] = world.Dwell{Session: d.Session, Band: d.Band, Block: d.Block, Position: d.Position, Arm: d.Arm,
			Start: d.Start.Add(by), Settle: d.SettleEnd.Add(by), End: d.End.Add(by), Silent: o.isSilent(planned, i)}
		if late, ok := o.connected[i]; ok {
			out[i].Connected = out[i].Start.Add(late)
			if i > 0 && planned[i-1].Session == d.Session {
				out[i].Before = planned[i-1].Arm
			}
		}
		by += o.pauses[i].length
	}
	return out
}

// isSilent tells whether nothing was sent in a dwell: in it, or earlier in its block, something failed.
func (o outing) isSilent(planned []schedule.Dwell, i int) bool {
	d := planned[i]
	for k := range planned[:i+1] {
		p := planned[k]
		if o.silent[k] != "" && p.Session == d.Session && p.Band == d.Band && p.Block == d.Block {
			return true
		}
	}
	return false
}

// words says what went otherwise than planned, one line each.
func (o outing) words(planned []schedule.Dwell) []string {
	var out []string
	at := func(i int) string {
		d := planned[i]
		return fmt.Sprintf("session %d, %s, block %d", d.Session, d.Band, d.Block)
	}
	seen := 0
	for i, d := range planned {
		if d.Session != seen && o.late[d.Session] > 0 {
			out = append(out, fmt.Sprintf("session %d: began %s late", d.Session, minutes(o.late[d.Session])))
		}
		seen = d.Session
		if late, ok := o.connected[i]; ok {
			out = append(out, fmt.Sprintf("%s: %s was connected %.0f s late", at(i), d.Arm, late.Seconds()))
		}
		if note := o.silent[i]; note != "" {
			out = append(out, fmt.Sprintf("%s: dropped in the dwell of %s (%s)", at(i), d.Arm, note))
		}
		if p, ok := o.pauses[i]; ok {
			out = append(out, fmt.Sprintf("session %d, after block %d: a pause of %s (%s)", d.Session, d.Block, minutes(p.length), p.note))
		}
	}
	if n := o.forgotten(); n > 0 {
		out = append(out, fmt.Sprintf("changes of the arm that were not written down: %d", n))
	}
	return out
}

func (o outing) forgotten() int {
	n := 0
	for _, is := range o.unlogged {
		if is {
			n++
		}
	}
	return n
}

func minutes(d time.Duration) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", d.Minutes()), ".0") + " min"
}

// event is one line of the switch log. Zero numbers and empty texts stand for empty fields.
type event struct {
	time, entered time.Time
	kind          string
	session       int
	band          string
	block         int
	arm           string
	value         string // W, V or s
	note          string
}

// after sets when an event was written down.
func (e event) after(d time.Duration) event {
	e.entered = e.time.Add(d)
	return e
}

// diary is what the operator wrote down about dwells that were carried out, by time of entry. powerW gives the power
// that was measured with an arm; 0: none was.
func (o outing) diary(dwells []world.Dwell, powerW func(arm string) float64) []event {
	var log []event
	for i, d := range dwells {
		if i == 0 || dwells[i-1].Session != d.Session {
			log = append(log, o.opening(d)...)
		}
		log = append(log, o.during(i, dwells, powerW(d.Arm))...)
		if i+1 == len(dwells) || dwells[i+1].Session != d.Session {
			log = append(log, battery(d.End.Add(20*time.Second), d.Session, "12.9"))
		} else if p, ok := o.pauses[i]; ok {
			gap := dwells[i+1].Start.Sub(d.End) - p.length
			at := d.End.Add(min(time.Minute, gap/2).Truncate(time.Second))
			log = append(log,
				event{time: at, kind: "pause", session: d.Session, note: p.note}.after(5*time.Second),
				event{time: at.Add(p.length), kind: "resume", session: d.Session}.after(5*time.Second))
		}
	}
	if n := len(dwells); n > 0 {
		log = append(log, event{time: dwells[n-1].End.Add(time.Minute), kind: "end", note: "all blocks done"}.after(10*time.Second))
	}
	slices.SortStableFunc(log, func(a, b event) int { return a.entered.Compare(b.entered) })
	return log
}

// opening is what the operator writes when a session begins.
func (o outing) opening(first world.Dwell) []event {
	at := first.Start
	return []event{
		event{time: at.Add(-3 * time.Minute), kind: "clock", session: first.Session, value: fmt.Sprintf("%.1f", o.clockS),
			note: "against a satellite receiver"}.after(20 * time.Second),
		battery(at.Add(-2*time.Minute), first.Session, "13.2"),
		event{time: at, kind: "start", session: first.Session}.after(5 * time.Second),
	}
}

// during is what the operator writes about one dwell: the change of the arm, the power in a session's first block, and a
// drop.
func (o outing) during(i int, dwells []world.Dwell, powerW float64) []event {
	d := dwells[i]
	line := event{session: d.Session, band: d.Band, block: d.Block, arm: d.Arm}
	with := func(kind string, at time.Time, value, note string) event {
		e := line
		e.kind, e.time, e.value, e.note = kind, at, value, note
		return e
	}
	length := d.End.Sub(d.Start)
	var log []event
	if !d.Silent && !o.unlogged[i] {
		e := with("connected", d.Start.Add(-o.ready(i, dwells)), "", "")
		if !d.Connected.IsZero() {
			e = with("connected", d.Connected, "", "halyard jammed")
		}
		log = append(log, e.after(10*time.Second))
	}
	if d.Block == 1 && powerW > 0 && !d.Silent {
		log = append(log, with("power", d.Start.Add(min(2*time.Minute, length/2).Truncate(time.Second)), plainNumber(powerW, 3), "").after(30*time.Second))
	}
	if note := o.silent[i]; note != "" {
		log = append(log, with("drop", d.Start.Add(min(90*time.Second, length/2).Truncate(time.Second)), "", note).after(15*time.Second))
	}
	return log
}

// ready is how long before a dwell its arm was there: 20 s, or less where there is less time between dwells.
func (o outing) ready(i int, dwells []world.Dwell) time.Duration {
	const usual = 20 * time.Second
	if i == 0 || dwells[i-1].Session != dwells[i].Session {
		return usual
	}
	return min(usual, dwells[i].Start.Sub(dwells[i-1].End)/3).Truncate(time.Second)
}

func battery(at time.Time, session int, volts string) event {
	return event{time: at, kind: "battery", session: session, value: volts}.after(10 * time.Second)
}
