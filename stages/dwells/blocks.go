package dwells

import (
	"fmt"
	"regexp"
	"time"

	"fairlobe/stages/schedule"
)

// applyDrops drops the blocks that the log names, on every band if it names none.
func (t *trial) applyDrops() {
	for _, e := range t.events {
		if e.Kind != Drop {
			continue
		}
		if speaksOfSignals(e.Note) {
			t.warn(e, colNote, CodeDropReason,
				fmt.Sprintf("block %d of session %d is dropped for a reason that seems to look at signals", e.Block, e.Session),
				"a block may be dropped only for a reason that does not look at signals: rain, no transmission, wrong arm, rig off")
		}
		for i := range t.blocks {
			b := &t.blocks[i]
			if t.sessions[b.session].Session.Session == e.Session && b.number == e.Block && (e.Band == "" || e.Band == b.band) {
				b.drop(Dropped, e.Note, t.dropArm(b.session, e))
			}
		}
	}
}

func (t *trial) dropArm(s int, e Event) string {
	if e.Arm != "" {
		return e.Arm
	}
	return t.armAt(s, e.Time)
}

var (
	signalWords = regexp.MustCompile(`(?i)\b(\d*db|snr|weak\w*|strong\w*|signals?|reports?|reported|spots?|spotted|decod\w*|fad(e|es|ed|ing))\b`)
	// Weather is strong without any look at signals.
	strongWeather = regexp.MustCompile(`(?i)\bstrong(er)? (wind|winds|gust|gusts|rain|storm|gale|sun)\b`)
)

func speaksOfSignals(note string) bool {
	return signalWords.MatchString(strongWeather.ReplaceAllString(note, ""))
}

// applyConnected finds the dwell that each connected event speaks of. The arms of dwells stay as planned.
func (t *trial) applyConnected() {
	for _, e := range t.events {
		if e.Kind != Connected {
			continue
		}
		running := t.inProgress(e.Time)
		if running >= 0 && t.dwells[running].Arm != e.Arm {
			d := t.dwells[running]
			t.warn(e, colArm, CodeWrongArm,
				fmt.Sprintf("%s was connected while the schedule has %s on the air (session %d, %s, block %d): the reports count for %s",
					e.Arm, d.Arm, d.Session, d.Band, d.Block, d.Arm),
				"if the block is spoiled, append a drop for it with the reason")
		}
		i := t.meant(e)
		if i < 0 {
			t.warn(e, colArm, CodeNoDwell, fmt.Sprintf("no dwell of %s fits this line: it confirms nothing", e.Arm),
				"see `fairlobe design` for what is connected when")
			continue
		}
		named := e.Band != "" && e.Block != 0
		if over := !e.Time.Before(t.dwells[i].End); over && !named {
			t.strayed(e, running)
			continue
		}
		t.confirm(i, e)
	}
}

// strayed warns of an arm that was connected between dwells and is not the next one.
func (t *trial) strayed(e Event, running int) {
	if running < 0 {
		t.warn(e, colArm, CodeWrongArm,
			fmt.Sprintf("%s was connected after its dwell, and the next one is of another arm: it confirms nothing", e.Arm),
			"name session, band and block if an earlier dwell is meant")
	}
}

// inProgress gives the index of the dwell at a moment, -1 if there is none.
func (t *trial) inProgress(at time.Time) int {
	for i, d := range t.dwells {
		if !at.Before(d.Start) && at.Before(d.End) {
			return i
		}
	}
	return -1
}

// meant gives the index of the dwell that a connected event speaks of: among those of its arm that agree
// with all that it names, the one in progress, else the one whose start is nearest; -1 if there is none.
func (t *trial) meant(e Event) int {
	best, least := -1, time.Duration(0)
	for i, d := range t.dwells {
		if d.Arm != e.Arm || d.Session != e.Session || e.Band != "" && d.Band != e.Band || e.Block != 0 && d.Block != e.Block {
			continue
		}
		away := e.Time.Sub(d.Start).Abs()
		if !e.Time.Before(d.Start) && e.Time.Before(d.End) {
			away = 0
		}
		if best < 0 || away <= least {
			best, least = i, away
		}
	}
	return best
}

// confirm notes when the arm of a dwell was connected. If the event names no band, the arm serves all
// bands of the position that follow.
func (t *trial) confirm(at int, e Event) {
	first := t.dwells[at]
	for i, d := range t.dwells {
		same := d.Session == first.Session && d.Block == first.Block && d.Position == first.Position && d.Arm == first.Arm
		if i != at && (e.Band != "" || !same || d.Start.Before(first.Start)) {
			continue
		}
		if t.dwells[i].Confirmed {
			continue // events are in the order of time: the first one counts
		}
		t.dwells[i].Confirmed = true
		t.confirmedBy[i] = e
		t.dwells[i].LateS = max(0, seconds(e.Time.Sub(d.Start)))
	}
}

// applyLateSwitches shortens or drops the blocks in which an arm was confirmed after its dwell began.
func (t *trial) applyLateSwitches() {
	for i := range t.blocks {
		b := &t.blocks[i]
		late, slots := t.latest(*b)
		if b.reason != "" || slots == 0 {
			continue
		}
		d := t.dwells[late]
		words := fmt.Sprintf("%s was connected %.4g s after its dwell began", d.Arm, d.LateS)
		if left, of, enough := t.slotsLeft(*b, slots); !enough {
			b.drop(LateSwitch, fmt.Sprintf("%s, %d of %d slots left", words, left, of), d.Arm)
			continue
		}
		t.shorten(*b, slots)
		t.warn(t.confirmedBy[late], colTime, CodeLateSwitch,
			fmt.Sprintf("session %d, %s, block %d: %s; leading slots left out of each dwell of the block: %d", d.Session, d.Band, d.Block, words, slots),
			"leave more time between dwells (arm_change_min) in the next trial")
	}
}

// latest gives the dwell of a block that lost most slots before its arm was confirmed, and how many.
func (t *trial) latest(b block) (dwell, slots int) {
	for _, i := range b.dwells {
		n := 0
		for slot := range schedule.OwnSlots(t.dwells[i].Dwell, t.p.SlotMs, t.p.Sends) {
			if t.dwells[i].Confirmed && slot.Before(t.confirmedBy[i].Time) {
				n++
			}
		}
		if n > slots {
			dwell, slots = i, n
		}
	}
	return dwell, slots
}

// slotsLeft tells what the dwell with the fewest own slots keeps when so many leading ones go, and
// whether every dwell keeps at least half and enough for a dwell.
func (t *trial) slotsLeft(b block, gone int) (left, of int, enough bool) {
	of = -1
	for _, i := range b.dwells {
		if n := schedule.CountOwn(t.dwells[i].Dwell, t.p.SlotMs, t.p.Sends); of < 0 || n < of {
			of = n
		}
	}
	left = max(0, of-gone)
	return left, of, 2*left >= of && left >= schedule.LeastOwnSlots
}

// shorten takes as many leading own slots from every dwell of a block. From one own slot to the next it is
// always the same time, so that all dwells lose the same length too.
func (t *trial) shorten(b block, slots int) {
	by := time.Duration(int64(slots)*schedule.PeriodMs(t.p.SlotMs, t.p.Sends)) * time.Millisecond
	for _, i := range b.dwells {
		t.dwells[i].SettleEnd = t.dwells[i].SettleEnd.Add(by)
		t.dwells[i].LeadingSlotsRemoved = slots
	}
}
