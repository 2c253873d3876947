package spots

import (
	"fmt"
	"math"
	"slices"
	"time"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/account"
)

// around is how long before the first dwell and after the last one a time may lie and still tell how far the data reach.
// One row with a wrong date must not finish a trial.
const around = 24 * time.Hour

// reach gathers how far the data of the trial's bands and mode go.
type reach struct {
	*placing
	from, to    int64 // what counts, Unix µs
	first, last int64 // of what counts; first > last without any
	late        int   // rows after to
	firstLate   diag.Pos
}

func (s *placing) newReach() *reach {
	r := &reach{placing: s, from: math.MinInt64, to: math.MaxInt64, first: math.MaxInt64, last: math.MinInt64}
	if len(s.calendar.dwells) > 0 {
		from, to := s.calendar.span()
		r.from, r.to = from.Add(-around).UnixMicro(), to.Add(around).UnixMicro()
	}
	return r
}

// add takes in the rows of a file, which stand in the order of its lines.
func (r *reach) add(n int, rows *rowTable) {
	for i := range rows.len() {
		line := rows.row(i)
		if !slices.Contains(r.Bands, line.band) || !r.sameMode(&line) {
			continue
		}
		at := line.at.UnixMicro()
		switch {
		case at > r.to:
			if r.late == 0 {
				r.firstLate = diag.Pos{File: r.names[n], Line: line.line}
			}
			r.late++
		case at >= r.from:
			r.first, r.last = min(r.first, at), max(r.last, at)
		}
	}
}

// tell sets the times of the account.
func (r *reach) tell(i *account.Intake) {
	if r.first > r.last {
		return
	}
	first, last := time.UnixMicro(r.first).UTC(), time.UnixMicro(r.last).UTC()
	i.First, i.Last = &first, &last
}

func (r *reach) notes() diag.List {
	if r.late == 0 {
		return nil
	}
	rows := "1 row has a time"
	if r.late > 1 {
		rows = fmt.Sprintf("%d rows, of which this is the first, have times", r.late)
	}
	return diag.List{{Pos: r.firstLate, Severity: diag.Warning, Code: "far_date",
		Msg:  fmt.Sprintf("%s more than a day after the schedule's end, %s; not counted for how far the data reach", rows, clock(time.UnixMicro(r.to).Add(-around))),
		Mend: "check the dates, or leave it if the file goes on after the trial"}}
}
