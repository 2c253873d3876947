package synth

import (
	"fmt"
	"slices"
	"time"
)

// Outing is how a trial was really carried out. Its zero value is: as planned, and logged in full.
type Outing struct {
	// Late is how much later than planned a session began, by session; whole slots of the station's own.
	Late map[int]time.Duration
	// Pauses come between two blocks.
	Pauses []Pause
	// LateSwitches are dwells in which the arm was changed after the dwell's start.
	LateSwitches []LateSwitch
	// Drops are blocks that the operator gave up, with the reason that stands in the log.
	Drops []Drop
	// Unlogged are dwells (places in the planned order, from 0) whose change the operator did not write down.
	Unlogged []int
	// ClockS is what the log's clock shows more than UTC, in seconds.
	ClockS float64
	// PowerW is the measured power; 0: not measured.
	PowerW float64
}

// Pause is a stop after a block, on all bands, of whole slots of the station's own.
type Pause struct {
	Session, AfterBlock int
	Length              time.Duration
	Note                string
}

// LateSwitch is a change of arm that came late.
type LateSwitch struct {
	Session  int
	Band     string
	Block    int
	Position int
	By       time.Duration
}

// Drop is a block of one band that was given up: nothing was sent from Position on.
type Drop struct {
	Session  int
	Band     string
	Block    int
	Position int
	Note     string
}

// Event is one line of the switch log. Zero numbers and empty texts stand for empty fields.
type Event struct {
	Time, Entered time.Time
	Event         string
	Session       int
	Band          string
	Block         int
	Arm           string
	Value         string // W, V or s
	Note          string
}

// Carry carries out the planned dwells, sorted by start: it gives the real ones in the same order, and the
// operator's log, by time of entry.
func (o Outing) Carry(planned []Dwell) ([]Dwell, []Event) {
	carried := slices.Clone(planned)
	var log []Event
	for i := range carried {
		first := i == 0 || carried[i-1].Session != carried[i].Session
		o.move(&carried[i])
		o.spoil(&carried[i])
		if first {
			log = append(log, o.opening(carried[i])...)
		}
		log = append(log, o.during(i, carried[i])...)
		if i+1 == len(carried) || planned[i+1].Session != carried[i].Session {
			log = append(log, battery(carried[i].End.Add(20*time.Second), carried[i].Session, "12.9"))
		} else if planned[i+1].Block != carried[i].Block {
			log = append(log, o.between(carried[i])...)
		}
	}
	if n := len(carried); n > 0 {
		log = append(log, entered(Event{Time: carried[n-1].End.Add(time.Minute), Event: "end", Note: "all blocks done"}, 10*time.Second))
	}
	slices.SortStableFunc(log, func(a, b Event) int { return a.Entered.Compare(b.Entered) })
	return carried, log
}

// move shifts a dwell by the late start of its session and the pauses before it.
func (o Outing) move(d *Dwell) {
	by := o.Late[d.Session]
	for _, p := range o.Pauses {
		if p.Session == d.Session && d.Block > p.AfterBlock {
			by += p.Length
		}
	}
	d.Start, d.Settle, d.End = d.Start.Add(by), d.Settle.Add(by), d.End.Add(by)
}

// spoil does to a dwell what went wrong in it.
func (o Outing) spoil(d *Dwell) {
	for _, l := range o.LateSwitches {
		if l.Session == d.Session && l.Band == d.Band && l.Block == d.Block && l.Position == d.Position {
			d.Connected = d.Start.Add(l.By)
		}
	}
	for _, x := range o.Drops {
		if x.Session == d.Session && x.Band == d.Band && x.Block == d.Block && d.Position >= x.Position {
			d.Silent = true
		}
	}
}

// opening is what the operator writes when a session begins.
func (o Outing) opening(first Dwell) []Event {
	at := first.Start
	return []Event{
		entered(Event{Time: at.Add(-3 * time.Minute), Event: "clock", Session: first.Session,
			Value: fmt.Sprintf("%.1f", o.ClockS), Note: "against a satellite receiver"}, 20*time.Second),
		battery(at.Add(-2*time.Minute), first.Session, "13.2"),
		entered(Event{Time: at, Event: "start", Session: first.Session}, 5*time.Second),
	}
}

// during is what the operator writes about one dwell: the change of the arm, the power in the first block, and
// a drop.
func (o Outing) during(number int, d Dwell) []Event {
	var log []Event
	line := Event{Session: d.Session, Band: d.Band, Block: d.Block, Arm: d.Arm}
	if !d.Silent && !slices.Contains(o.Unlogged, number) {
		e := line
		e.Event, e.Time = "connected", d.Start.Add(-20*time.Second)
		if !d.Connected.IsZero() {
			e.Time, e.Note = d.Connected, "halyard jammed"
		}
		log = append(log, entered(e, 10*time.Second))
	}
	if d.Block == 1 && o.PowerW > 0 {
		e := line
		e.Event, e.Time, e.Value = "power", d.Start.Add(2*time.Minute), fmt.Sprintf("%.1f", o.PowerW)
		log = append(log, entered(e, 30*time.Second))
	}
	for _, x := range o.Drops {
		if x.Session == d.Session && x.Band == d.Band && x.Block == d.Block && x.Position == d.Position {
			e := line
			e.Event, e.Time, e.Note = "drop", d.Start.Add(90*time.Second), x.Note
			log = append(log, entered(e, 15*time.Second))
		}
	}
	return log
}

// between is what the operator writes after a block's last dwell.
func (o Outing) between(last Dwell) []Event {
	var log []Event
	for _, p := range o.Pauses {
		if p.Session == last.Session && p.AfterBlock == last.Block {
			at := last.End.Add(time.Minute)
			log = append(log,
				entered(Event{Time: at, Event: "pause", Session: p.Session, Note: p.Note}, 5*time.Second),
				entered(Event{Time: at.Add(p.Length), Event: "resume", Session: p.Session}, 5*time.Second))
		}
	}
	return log
}

func battery(at time.Time, session int, volts string) Event {
	return entered(Event{Time: at, Event: "battery", Session: session, Value: volts}, 10*time.Second)
}

func entered(e Event, after time.Duration) Event {
	e.Entered = e.Time.Add(after)
	return e
}
