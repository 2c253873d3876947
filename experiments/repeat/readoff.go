package repeat

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"fairlobe/experiments"
	"fairlobe/stages/schedule"
)

// form is the form of the repeat's schedule, on its own days: the original's, or what can be read off the file in which the
// original's stood. The notes say what could not be carried over.
func (p Plan) form() (experiments.Schedule, []string) {
	s := p.Original.Schedule
	var notes []string
	if s.File != "" {
		s, notes = p.readOff()
	}
	if len(s.Sessions) == 0 {
		return s, notes
	}
	by := p.Start.Sub(s.Sessions[0].Start)
	sessions := slices.Clone(s.Sessions)
	for i := range sessions {
		sessions[i].Start = sessions[i].Start.Add(by)
	}
	s.Sessions = sessions
	return s, notes
}

// NextDay gives the first moment after the day of now that has the clock time of another one, both in UTC.
func NextDay(first, now time.Time) time.Time {
	first, now = first.UTC(), now.UTC()
	midnight := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC)
	clock := first.Sub(time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, time.UTC))
	return midnight.AddDate(0, 0, 1).Add(clock)
}

// readOff draws up the schedule that comes nearest to the dwells of a file.
func (p Plan) readOff() (experiments.Schedule, []string) {
	s := p.Original.Schedule
	o := off{dwells: p.Dwells, arms: len(p.Original.Arms)}
	notes := []string{"the original's order stood in a file: yours is drawn, with bands, blocks and lengths read off that file"}
	note := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }

	s.File, s.Order = "", ""
	s.Bands = o.bands()
	var uneven bool
	if s.Sessions, uneven = o.sessions(); uneven {
		note("the original had fewer blocks on some bands than on others; the repeat has the most of them on every band")
	}
	for _, one := range s.Sessions {
		s.Blocks += one.Blocks
	}
	var mixed bool
	if s.Dwell, mixed = o.length(func(d schedule.Dwell) time.Duration { return d.End.Sub(d.Start) }); mixed {
		note("the original's dwells had several lengths; the repeat has the one that came most often, %s min", number(s.Dwell.Minutes()))
	}
	if s.Settle, mixed = o.length(func(d schedule.Dwell) time.Duration { return d.SettleEnd.Sub(d.Start) }); mixed {
		note("the original's dwells settled for several lengths; the repeat has the one that came most often, %s min", number(s.Settle.Minutes()))
	}
	s.Settle = max(s.Settle, p.Original.Fixed.Slot)
	s.Pattern = schedule.Pairs
	switch mirrored, all := o.mirrored(); {
	case all:
		s.Pattern = schedule.Mirrored
	case mirrored || o.longBlocks():
		note("some blocks of the original were no plain turn of the arms; in the repeat each arm comes once in a block")
	}
	s.Rotate = o.rotation()
	s.ArmChange, s.BandChange = o.changes()
	note("breaks of the original were not carried over, and all arms count as left standing between sessions: " +
		"mend breaks and erection where yours differ")
	return s, notes
}

// off reads dwells, which are sorted by start.
type off struct {
	dwells []schedule.Dwell
	arms   int
}

func (o off) bands() []string {
	var out []string
	for _, d := range o.dwells {
		if !slices.Contains(out, d.Band) {
			out = append(out, d.Band)
		}
	}
	return out
}

// sessions have the most blocks that they had on a band, at the start of their first dwell.
func (o off) sessions() (out []experiments.Session, uneven bool) {
	blocks, start := map[int]map[string]int{}, map[int]time.Time{}
	for _, d := range o.dwells {
		if blocks[d.Session] == nil {
			blocks[d.Session], start[d.Session] = map[string]int{}, d.Start
		}
		blocks[d.Session][d.Band] = max(blocks[d.Session][d.Band], d.Block)
	}
	for _, n := range slices.Sorted(maps.Keys(blocks)) {
		most := 0
		for _, band := range o.bands() {
			most = max(most, blocks[n][band])
		}
		for _, band := range o.bands() {
			uneven = uneven || blocks[n][band] != most
		}
		out = append(out, experiments.Session{Start: start[n], Blocks: most})
	}
	slices.SortStableFunc(out, func(a, b experiments.Session) int { return a.Start.Compare(b.Start) })
	return out, uneven
}

// length is the length that came most often, the longer of two; mixed tells that there were others.
func (o off) length(of func(schedule.Dwell) time.Duration) (usual time.Duration, mixed bool) {
	times := map[time.Duration]int{}
	for _, d := range o.dwells {
		times[of(d)]++
	}
	for length, n := range times {
		if c := cmp.Compare(n, times[usual]); c > 0 || c == 0 && length > usual {
			usual = length
		}
	}
	return usual, len(times) > 1
}

// orders are the arms of each block by position.
func (o off) orders() [][]string {
	var out [][]string
	for _, block := range schedule.Blocks(o.dwells) {
		inPosition := slices.Clone(block)
		slices.SortStableFunc(inPosition, func(a, b int) int { return cmp.Compare(o.dwells[a].Position, o.dwells[b].Position) })
		var arms []string
		for _, i := range inPosition {
			arms = append(arms, o.dwells[i].Arm)
		}
		out = append(out, arms)
	}
	return out
}

// mirrored tells whether any and whether all blocks are an order of the arms and then its mirror image.
func (o off) mirrored() (some, all bool) {
	all = true
	for _, arms := range o.orders() {
		back := slices.Clone(arms)
		slices.Reverse(back)
		is := len(arms) == 2*o.arms && slices.Equal(arms, back)
		some, all = some || is, all && is
	}
	return some, all
}

func (o off) longBlocks() bool {
	return slices.ContainsFunc(o.orders(), func(arms []string) bool { return len(arms) != o.arms })
}

// rotation tells whether the bands took turns while an arm stayed, or the arms while the band stayed: whichever the dwells that
// follow one another within a block say more often.
func (o off) rotation() string {
	bands, arms := 0, 0
	for i := 1; i < len(o.dwells); i++ {
		a, b := o.dwells[i-1], o.dwells[i]
		if a.Session != b.Session || a.Block != b.Block {
			continue
		}
		switch {
		case a.Band != b.Band && a.Arm == b.Arm:
			bands++
		case a.Band == b.Band && a.Arm != b.Arm:
			arms++
		}
	}
	if arms > bands {
		return schedule.ArmsWithinBand
	}
	return schedule.BandsWithinArm
}

// changes are the shortest times between dwells of a session in which the arm, or the band alone, was changed.
func (o off) changes() (arm, band time.Duration) {
	arm, band = -1, -1
	for i := 1; i < len(o.dwells); i++ {
		a, b := o.dwells[i-1], o.dwells[i]
		if a.Session != b.Session {
			continue
		}
		to := &arm
		switch {
		case a.Arm == b.Arm && a.Band == b.Band:
			continue
		case a.Arm == b.Arm:
			to = &band
		}
		if gap := b.Start.Sub(a.End); *to < 0 || gap < *to {
			*to = gap
		}
	}
	return max(arm, 0), max(band, 0)
}
