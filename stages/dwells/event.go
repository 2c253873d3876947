package dwells

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule/rows"
)

// The kinds of events.
const (
	Start      = "start"       // the session's first slot begins at time
	Connected  = "connected"   // the arm was connected and ready at time
	Pause      = "pause"       // nothing is sent from time on
	Resume     = "resume"      // the pause is over
	End        = "end"         // the session is over, or the trial if no session is named
	Drop       = "drop"        // the block shall not count; note holds the reason
	Deviation  = "deviation"   // something was other than declared
	Power      = "power"       // value: W
	Battery    = "battery"     // value: V
	Clock      = "clock"       // value: s, the log's clock minus UTC
	RadioClock = "radio_clock" // value: s, the radio's clock minus UTC
	Remark     = "remark"
)

// Kinds gives all kinds of events.
func Kinds() []string {
	return []string{Start, Connected, Pause, Resume, End, Drop, Deviation, Power, Battery, Clock, RadioClock, Remark}
}

// The columns of a switch log, in order.
const (
	colTime = iota
	colEntered
	colEvent
	colSession
	colBand
	colBlock
	colArm
	colValue
	colNote
)

// Header gives the column names of a switch log.
func Header() []string {
	return []string{"time", "entered", "event", "session", "band", "block", "arm", "value", "note"}
}

// Event is one line of the switch log.
type Event struct {
	// Line counts from 1, the header being line 1; 0 if the event stands in no file.
	Line int
	// Time is when it happened, Entered when it was written down. An empty one takes the other's value.
	Time, Entered time.Time
	Kind          string
	// Session and Block are 0, Band and Arm "" where the line names none.
	Session int
	Band    string
	Block   int
	Arm     string
	// Value is in W, V or s, by kind; HasValue tells whether the line has one.
	Value    float64
	HasValue bool
	Note     string

	columns   [colNote + 1]int // where the values stand in the line; 0 = unknown
	endsTrial bool             // an end that names no session
	// correction is what a clock reading added to Time.
	correction time.Duration
}

// pos gives the place of one of the event's values.
func (e Event) pos(file string, column int) diag.Pos {
	return diag.Pos{File: file, Line: e.Line, Column: e.columns[column]}
}

// needs names the columns that a kind of event can't do without.
func needs(kind string) []int {
	switch kind {
	case Connected:
		return []int{colArm}
	case Drop:
		return []int{colSession, colBlock, colNote}
	case Power, Battery, Clock, RadioClock:
		return []int{colValue}
	}
	return nil
}

// ReadLog reads a switch log: columns as in Header, lines only ever appended. The list holds every fault
// with its place; lines at fault are left out.
func ReadLog(r io.Reader, file string) ([]Event, diag.List) {
	table, list := rows.Read(r, file, Header())
	var out []Event
	var last time.Time
	for _, row := range table {
		e, faults := readEvent(row)
		if fault, bad := backInTime(row, e, last); len(faults) == 0 && bad {
			faults = diag.List{fault}
		}
		list = append(list, faults...)
		if len(faults) == 0 {
			out, last = append(out, e), e.Entered
		}
	}
	return out, rows.Cap(list.Sort(), file)
}

// backInTime judges a line against the moment at which the line above was written.
func backInTime(row rows.Row, e Event, last time.Time) (diag.Diag, bool) {
	if !e.Entered.Before(last) {
		return diag.Diag{}, false
	}
	column := colEntered
	if row.Value(colEntered) == "" {
		column = colTime
	}
	return diag.Diag{
		Pos:  row.Pos(column),
		Msg:  fmt.Sprintf("the log goes back in time, from %s to %s", stamp(last), stamp(e.Entered)),
		Mend: "append lines at the end only; what happened earlier keeps its time, and entered says when it was written down",
	}, true
}

func readEvent(row rows.Row) (Event, diag.List) {
	var list diag.List
	keep := func(fault *diag.Diag) {
		if fault != nil {
			list = append(list, *fault)
		}
	}
	count := func(column int) (n int) {
		if row.Value(column) != "" {
			var fault *diag.Diag
			n, fault = row.Count(column, Header()[column])
			keep(fault)
		}
		return n
	}
	e := Event{
		Line: row.Line(), Kind: row.Value(colEvent), Session: count(colSession), Band: row.Value(colBand),
		Block: count(colBlock), Arm: row.Value(colArm), Note: row.Value(colNote),
	}
	for column := range e.columns {
		e.columns[column] = row.Pos(column).Column
	}
	var faults diag.List
	e.Time, e.Entered, faults = readTimes(row)
	list = append(list, faults...)
	if text := row.Value(colValue); text != "" {
		var fault *diag.Diag
		e.Value, fault = readValue(row)
		e.HasValue = fault == nil
		keep(fault)
	}
	return e, append(list, checkNeeds(row, e.Kind)...)
}

func readTimes(row rows.Row) (happened, entered time.Time, list diag.List) {
	if row.Value(colTime) == "" && row.Value(colEntered) == "" {
		return happened, entered, diag.List{{
			Pos:  row.Pos(colTime),
			Msg:  "the line has no time",
			Mend: "write when it happened, in UTC with Z, for example 2026-09-12T04:00:00Z",
		}}
	}
	read := func(column int) (t time.Time) {
		if row.Value(column) != "" {
			var fault *diag.Diag
			if t, fault = row.Time(column, Header()[column]); fault != nil {
				list = append(list, *fault)
			}
		}
		return t
	}
	happened, entered = read(colTime), read(colEntered)
	if row.Value(colTime) == "" {
		happened = entered
	}
	if row.Value(colEntered) == "" {
		entered = happened
	}
	return happened, entered, list
}

// largestValue bounds watts, volts and seconds: beyond it lies a slip of the pen.
const largestValue = 1e6

func readValue(row rows.Row) (float64, *diag.Diag) {
	v, err := strconv.ParseFloat(row.Value(colValue), 64)
	if err != nil || !(v >= -largestValue && v <= largestValue) {
		return 0, &diag.Diag{
			Pos:  row.Pos(colValue),
			Msg:  "value = " + rows.Quote(row.Value(colValue)) + " is not a number between -1000000 and 1000000",
			Mend: "write a plain number with a decimal point: W for power, V for battery, s for clock and radio_clock",
		}
	}
	return v, nil
}

func checkNeeds(row rows.Row, kind string) diag.List {
	known := Kinds()
	if !slices.Contains(known, kind) {
		mend := "write one of " + strings.Join(known, " ")
		if near := rows.Nearest(kind, known); near != "" {
			mend = "write " + near
		}
		return diag.List{{Pos: row.Pos(colEvent), Msg: "there is no event " + rows.Quote(kind), Mend: mend}}
	}
	var list diag.List
	for _, column := range needs(kind) {
		if row.Value(column) == "" {
			list = append(list, diag.Diag{
				Pos:  row.Pos(column),
				Msg:  fmt.Sprintf("the event %s needs the column %s", kind, Header()[column]),
				Mend: needMend(kind, column),
			})
		}
	}
	return list
}

func needMend(kind string, column int) string {
	switch column {
	case colSession:
		return "give the number of the session, for example 1"
	case colBlock:
		return "give the number of the block, for example 3: a block is dropped whole"
	case colArm:
		return "name the arm that was connected"
	case colValue:
		return "give a number in " + map[string]string{Power: "W", Battery: "V", Clock: "s", RadioClock: "s"}[kind]
	}
	return `give the reason in note, for example "rain on the connector"`
}

// BeforeLook parts the events that a look at the data at that moment could not have shaped from those that
// it could have: drops written down after it, and other events that happened by then and were written
// down after it. Powers, voltages, deviations and remarks shape nothing.
func BeforeLook(events []Event, look time.Time) (before, after []Event) {
	for _, e := range events {
		late := e.Entered.After(look)
		switch e.Kind {
		case Drop:
		case Start, Connected, Pause, Resume, End, Clock:
			late = late && !e.Time.After(look)
		default:
			late = false
		}
		if late {
			after = append(after, e)
		} else {
			before = append(before, e)
		}
	}
	return before, after
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }
