package spots

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"fairlobe/pipeline/diag"
)

// tooManyMisplaced is the share of a file's reports of the own station that may lie in slots in which it did not
// send before the file's times are doubted.
const tooManyMisplaced = 0.10

// fewRows is the number of reports below which a share means little.
const fewRows = 10

// doubtTimes doubts the times of a file in which too many reports of this station, of those made during its dwells, lie
// in slots without a transmission, and proposes the shift that would mend it. Nothing is shifted here.
func (s *placing) doubtTimes(n int, rows []placed) diag.List {
	var during []placed
	misplaced := 0
	for _, r := range rows {
		if r.direction != sent || !s.duringDwell(&r) {
			continue
		}
		during = append(during, r)
		if r.fate == notOwnSlot || r.fate == noSlot {
			misplaced++
		}
	}
	if len(during) < fewRows || float64(misplaced) <= tooManyMisplaced*float64(len(during)) {
		return nil
	}
	d := diag.Diag{Pos: diag.Pos{File: s.names[n]}, Severity: diag.Warning, Code: "misplaced",
		Msg:  fmt.Sprintf("%d of %d reports of this station made during its dwells lie in slots in which it did not send", misplaced, len(during)),
		Mend: "check the clock of whoever wrote the file, time_is in [[spots]], and sends in [fixed]"}
	if shift, share, ok := s.bestShift(during); ok {
		d.Mend = fmt.Sprintf("adding %s to its times would put %.0f %% of them into own slots; if that is what happened, correct the file", inWords(shift), 100*share)
	}
	return diag.List{d}
}

// duringDwell tells whether a row was made during a dwell of its band, also if it fits no slot of it.
func (s *placing) duringDwell(r *placed) bool {
	if r.fate != noSlot {
		return r.dwell != nowhere
	}
	at := s.calendar.at(r.at)
	return at != nowhere && s.calendar.dwells[at].band == s.band(r)
}

// insideSchedule refuses a trial of which rows were read and none lies in the schedule.
func (s *placing) insideSchedule() error {
	if len(s.rows) == 0 || len(s.calendar.dwells) == 0 {
		return nil
	}
	reasons := map[fate]int{}
	var ours []placed
	for _, r := range s.rows {
		if s.duringDwell(&r) {
			return nil
		}
		reasons[r.fate]++
		if r.fate != noReport && r.direction != other {
			ours = append(ours, r)
		}
	}
	from, to := s.calendar.span()
	most := slices.MaxFunc(slices.Sorted(maps.Keys(reasons)), func(a, b fate) int { return cmp.Compare(reasons[a], reasons[b]) })
	d := diag.Diag{Pos: diag.Pos{File: s.names[s.rows[0].file]}, Code: "none_in_schedule",
		Msg: fmt.Sprintf("rows were read and none lies in the schedule: the rows go from %s to %s, the schedule from %s to %s; %d of %d: %s",
			clock(time.UnixMicro(s.rows[0].at)), clock(time.UnixMicro(s.rows[len(s.rows)-1].at)), clock(from), clock(to), reasons[most], len(s.rows), most),
		Mend: "check the dates of the schedule, the bands and the mode, and that the times of the files are UTC"}
	if len(ours) == 0 {
		d.Mend = fmt.Sprintf("no row has a report of %s: check call and also in [station], and the files", strings.Join(s.Calls, " or "))
	} else if shift, share, ok := s.bestShift(ours); ok {
		d.Mend = fmt.Sprintf("adding %s to the times would put %.0f %% of the reports of this station into the schedule: were they written in local time? let the files be in UTC",
			inWords(shift), 100*share)
	}
	return diag.List{d}
}

func clock(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05Z") }

// mostTried bounds the rows on which shifts are tried.
const mostTried = 2000

// bestShift tries the shifts that clocks and time zones make. It answers only if most of the reports would then count.
func (s *placing) bestShift(rows []placed) (shift time.Duration, share float64, ok bool) {
	rows = thin(rows)
	for _, by := range s.shifts(rows) {
		if now := s.shareAfter(rows, by); now > share {
			shift, share = by, now
		}
	}
	return shift, share, len(rows) >= fewRows && share > 0.5
}

// thin takes rows evenly spread over all, if there are too many to try shifts on.
func thin(rows []placed) []placed {
	if len(rows) <= mostTried {
		return rows
	}
	some := make([]placed, mostTried)
	for i := range some {
		some[i] = rows[i*len(rows)/mostTried]
	}
	return some
}

// shifts gives a few slots either way, whole and half hours as time zones have them, and what would put the middle one
// of the rows onto the edge of a slot, and of the next ones.
func (s *placing) shifts(rows []placed) []time.Duration {
	slot := time.Duration(s.SlotMs) * time.Millisecond
	var out []time.Duration
	for n := time.Duration(1); n <= 4; n++ {
		out = append(out, -n*slot, n*slot)
	}
	for n := time.Duration(1); n <= 28; n++ {
		out = append(out, -n*30*time.Minute, n*30*time.Minute)
	}
	var past []int64
	for _, r := range rows {
		past = append(past, ((r.at%slot.Microseconds())+slot.Microseconds())%slot.Microseconds())
	}
	slices.Sort(past)
	back := -(time.Duration(past[len(past)/2]) * time.Microsecond).Round(time.Second)
	if back == 0 {
		return out
	}
	return append(out, back, back+slot, back-slot, back+2*slot)
}

func (s *placing) shareAfter(rows []placed, by time.Duration) float64 {
	counted := 0
	for _, r := range rows {
		said := s.files[r.file].row(int(r.row))
		moved := r
		moved.at += by.Microseconds()
		s.place(&moved, &said)
		switch moved.fate {
		case used, settling, blockDropped, droppedLate:
			counted++
		}
	}
	return float64(counted) / float64(len(rows))
}

// inWords writes a shift as "+5 h 30 min" or "-15 s".
func inWords(d time.Duration) string {
	sign := "+"
	if d < 0 {
		sign, d = "-", -d
	}
	parts := []string{}
	h, m, sec := int(d.Hours()), int(math.Mod(d.Minutes(), 60)), math.Mod(d.Seconds(), 60)
	if h > 0 {
		parts = append(parts, fmt.Sprintf("%d h", h))
	}
	if m > 0 {
		parts = append(parts, fmt.Sprintf("%d min", m))
	}
	if sec > 0 {
		parts = append(parts, fmt.Sprintf("%g s", sec))
	}
	return sign + strings.Join(parts, " ")
}
