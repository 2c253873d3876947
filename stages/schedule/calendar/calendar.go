// Package calendar writes a schedule as a calendar file, so that a phone reminds the operator of each change.
//
// Each dwell is one event with an alarm a minute before it. All that the file holds comes from the schedule:
// the same schedule gives the same bytes.
//
// A calendar knows an event again by its UID, which is drawn from who and what the trial is and from the
// dwell's place in it, not from its time: if the schedule is moved and imported again, its events take the
// place of the old ones. Among two versions of an event the greater SEQUENCE counts; here it is the minute of
// the dwell's start, so that a trial which is put off comes after what it replaces. For one that is moved to an
// earlier time some calendars keep what they have: there the old events must be deleted first.
//
// The package knows nothing of the switch log: what shifts in the field is not shown.
//
// Source: Desruisseaux, Internet Calendaring and Scheduling Core Object Specification (iCalendar), RFC 5545,
// 2009.
package calendar

import (
	"bufio"
	"crypto/sha256"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"fairlobe/stages/schedule"
)

// Params tell what the events speak of.
type Params struct {
	// Title is the experiment's, for people.
	Title string
	// Call and Name are the station's call and the experiment's name: the identity that all versions of one
	// trial share.
	Call, Name string
}

// longestLine is the most octets of a line without its ending (RFC 5545, 3.1).
const longestLine = 75

// Write writes the dwells, which must be sorted by start, as one calendar. Times are whole seconds, those of
// slots that begin within a second a part of it early. It gives the errors of w.
func Write(w io.Writer, dwells []schedule.Dwell, p Params) error {
	out := &writer{w: bufio.NewWriter(w)}
	out.line("BEGIN", "VCALENDAR")
	out.line("VERSION", "2.0")
	out.line("PRODID", "-//fairlobe//schedule//EN")
	out.line("CALSCALE", "GREGORIAN")
	t := newTrial(dwells, p)
	for i := range dwells {
		t.event(out, i)
	}
	out.line("END", "VCALENDAR")
	if err := out.w.Flush(); err != nil {
		return fmt.Errorf("writing the calendar: %w", err)
	}
	return nil
}

// trial is the schedule with what its events need to know of the whole.
type trial struct {
	p        Params
	dwells   []schedule.Dwell
	blocks   map[int]int       // session -> highest number of a block
	start    map[int]time.Time // session -> its first dwell's start
	identity string
}

func newTrial(dwells []schedule.Dwell, p Params) trial {
	t := trial{p: p, dwells: dwells, blocks: map[int]int{}, start: map[int]time.Time{}, identity: fmt.Sprintf("%q %q", p.Call, p.Name)}
	for _, d := range dwells {
		t.blocks[d.Session] = max(t.blocks[d.Session], d.Block)
		if _, known := t.start[d.Session]; !known {
			t.start[d.Session] = d.Start
		}
	}
	return t
}

func (t trial) event(out *writer, i int) {
	d := t.dwells[i]
	summary := fmt.Sprintf("connect %s, %s, block %d of %d", d.Arm, d.Band, d.Block, t.blocks[d.Session])
	if len(t.start) > 1 {
		summary += fmt.Sprintf(", session %d", d.Session)
	}
	out.line("BEGIN", "VEVENT")
	out.line("UID", t.uid(d))
	out.line("DTSTAMP", stamp(t.start[d.Session]))
	out.line("SEQUENCE", fmt.Sprint(max(0, d.Start.Unix()/60)))
	out.line("DTSTART", stamp(d.Start))
	out.line("DTEND", stamp(d.End))
	out.line("SUMMARY", text(summary))
	out.line("DESCRIPTION", text(t.description(i)))
	out.line("BEGIN", "VALARM")
	out.line("ACTION", "DISPLAY")
	out.line("TRIGGER", "-PT1M")
	out.line("DESCRIPTION", text(summary))
	out.line("END", "VALARM")
	out.line("END", "VEVENT")
}

func (t trial) uid(d schedule.Dwell) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %d %q %d %d", t.identity, d.Session, d.Band, d.Block, d.Position))
	return fmt.Sprintf("%x@fairlobe.invalid", sum[:16])
}

func (t trial) description(i int) string {
	d := t.dwells[i]
	said := []string{t.p.Title}
	if i > 0 && t.dwells[i-1].Session == d.Session {
		before := t.dwells[i-1]
		switch {
		case before.Arm == d.Arm && before.Band == d.Band:
			said = append(said, "Arm and band stay.")
		case before.Arm == d.Arm:
			said = append(said, "The arm stays, the band changes.")
		}
	}
	said = append(said, fmt.Sprintf("On the air from %s to %s UTC. Write into the switch log when it is connected.",
		d.Start.UTC().Format(time.TimeOnly), d.End.UTC().Format(time.TimeOnly)))
	return strings.Join(said, "\n")
}

func stamp(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

// text escapes a value of the type TEXT (RFC 5545, 3.3.11). Control characters other than line feeds, which it
// can't hold, become blanks.
func text(s string) string {
	s = strings.Map(func(r rune) rune {
		if r != '\n' && unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
}

// writer writes content lines. bufio keeps the first error for Flush.
type writer struct{ w *bufio.Writer }

// line writes one property, folded so that no line is too long and no character is cut.
func (o *writer) line(name, value string) {
	rest := name + ":" + value
	for room := longestLine; len(rest) > room; room = longestLine - 1 { // a blank stands before what follows
		cut := room
		for !utf8.RuneStart(rest[cut]) {
			cut--
		}
		o.w.WriteString(rest[:cut] + "\r\n ")
		rest = rest[cut:]
	}
	o.w.WriteString(rest + "\r\n")
}
