package spots

import (
	"fmt"
	"time"

	"fairlobe/pipeline/diag"
)

// tooManyMisplaced is the share of a file's reports of the own station that may lie in slots in which it did not
// send before the file's times are doubted.
const tooManyMisplaced = 0.10

// fewRows is the number of reports below which a share means little.
const fewRows = 10

// shiftNotes doubts the times of a file in which too many reports lie in slots without a transmission, and
// proposes the shift that would mend it. Nothing is shifted here.
func (p Params) shiftNotes(rows []placed, f Source, dwells []dwell) diag.List {
	ours, misplaced := 0, 0
	for _, r := range rows {
		if r.direction != directionSent || r.noReport != "" {
			continue
		}
		ours++
		if r.fate == fateNotOwn || r.fate == fateNoSlot {
			misplaced++
		}
	}
	if ours < fewRows || float64(misplaced) <= tooManyMisplaced*float64(ours) {
		return nil
	}
	d := diag.Diag{Pos: diag.Pos{File: f.Name}, Severity: diag.Warning, Code: "misplaced",
		Msg: fmt.Sprintf("%d of %d reports of this station lie in slots in which it did not send", misplaced, ours)}
	d.Mend = "check the clock of whoever wrote the file, time_is in [[spots]], and sends in [fixed]"
	if shift, share, ok := p.bestShift(rows, f, dwells); ok {
		d.Mend = fmt.Sprintf("adding %s to its times would put %.0f %% of them into own slots; if that is what happened, correct the file", shift, 100*share)
	}
	return diag.List{d}
}

// insideSchedule refuses a trial in which reports of the own station were read and none lies in the schedule.
func (p Params) insideSchedule(all []placed, dwells []dwell) error {
	if len(all) == 0 || len(dwells) == 0 {
		return nil
	}
	var first, last time.Time
	var ours []placed
	for _, r := range all {
		if r.dwell != nil {
			return nil
		}
		if r.noReport != "" {
			continue
		}
		if first.IsZero() || r.at.Before(first) {
			first = r.at
		}
		if r.at.After(last) {
			last = r.at
		}
		if r.direction != directionNone {
			ours = append(ours, r)
		}
	}
	d := diag.Diag{Pos: diag.Pos{File: all[0].source}, Code: "none_in_schedule",
		Msg: fmt.Sprintf("rows were read and none lies in the schedule: the rows go from %s to %s, the schedule from %s to %s",
			clock(first), clock(last), clock(dwells[0].start), clock(dwells[len(dwells)-1].dwellEnd)),
		Mend: "check the dates of the schedule, the station's call and bands, and that the times of the files are UTC"}
	if first.IsZero() {
		d.Msg = "rows were read and none of them holds a report in dB"
		d.Mend = "name the files that hold the reports"
	}
	if len(ours) == 0 && !first.IsZero() {
		d.Msg += fmt.Sprintf("; none of them speaks of %s", p.Calls[0])
	} else if shift, share, ok := p.bestShift(ours, Source{TimeIs: "slot start"}, dwells); ok {
		d.Mend = fmt.Sprintf("adding %s to the times would put %.0f %% of them into own slots: were they written in local time? let the files be in UTC", shift, 100*share)
	}
	return diag.List{d}
}

func clock(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05Z") }

// bestShift tries a few slots either way, and whole and half hours as time zones have them. It answers only if
// most of the reports would then count.
func (p Params) bestShift(rows []placed, f Source, dwells []dwell) (shift string, share float64, ok bool) {
	slot := time.Duration(p.SlotMs) * time.Millisecond
	var tries []time.Duration
	for n := time.Duration(1); n <= 4; n++ {
		tries = append(tries, -n*slot, n*slot)
	}
	for n := time.Duration(1); n <= 28; n++ {
		tries = append(tries, -n*30*time.Minute, n*30*time.Minute)
	}
	var best time.Duration
	ours := 0
	for _, r := range rows {
		if r.direction == directionSent {
			ours++
		}
	}
	for _, by := range tries {
		if s := p.shareAfter(rows, f, dwells, by, ours); s > share {
			best, share = by, s
		}
	}
	return signed(best), share, ours >= fewRows && share > 0.5
}

func (p Params) shareAfter(rows []placed, f Source, dwells []dwell, by time.Duration, ours int) float64 {
	counted := 0
	for _, r := range rows {
		if r.direction != directionSent {
			continue
		}
		moved := placed{row: r.row, source: r.source}
		moved.at = r.at.Add(by)
		switch p.fate(&moved, f, dwells) {
		case FateUsed, fateSettling, fateDropped:
			counted++
		}
	}
	return float64(counted) / float64(max(ours, 1))
}

func signed(d time.Duration) string {
	if d < 0 {
		return "-" + (-d).String()
	}
	return d.String()
}
