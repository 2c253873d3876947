package experiments

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/pipeline/diag"
)

// withFile are the keys of [schedule] that stay legal when the schedule is read from a file.
var withFile = []string{"file", "order", "settle_min", "spot_interval_min", "stopping", "changeover"}

func (d *decoder) schedule() {
	t := d.root.in("schedule")
	if t == nil {
		return
	}
	s := &d.e.Schedule
	s.Stopping, s.Changeover = d.str(t, "schedule.stopping"), d.str(t, "schedule.changeover")
	s.SpotInterval = d.length(t, "schedule.spot_interval_min")
	d.settle(t)
	if d.given(t, "schedule.file") {
		d.scheduleFile(t)
		return
	}
	d.ownSchedule(t)
}

// settle is one slot unless stated, and never less.
func (d *decoder) settle(t *node) {
	s, slot := &d.e.Schedule, d.e.Fixed.Slot
	if !d.given(t, "schedule.settle_min") {
		s.Settle = slot
		return
	}
	s.Settle = d.length(t, "schedule.settle_min")
	if n := t.child("settle_min"); !n.bad && slot > 0 && s.Settle < slot {
		d.refuse(n, fmt.Sprintf("settle_min = %s is less than one slot of %s s", n.shown(), plain(slot.Seconds())),
			"write settle_min = "+short(slot.Minutes()), d.modeAt()...)
	}
}

// modeAt gives the place of the slot's origin.
func (d *decoder) modeAt() []diag.Pos {
	for _, name := range []string{"slot_s", "mode"} {
		if n := d.root.in("fixed").child(name); n != nil {
			return []diag.Pos{n.at}
		}
	}
	return nil
}

func (d *decoder) scheduleFile(t *node) {
	file := t.child("file")
	for _, name := range t.names {
		if n := t.named[name]; !n.bad && !slices.Contains(withFile, name) {
			d.fault(n.key, fmt.Sprintf("%s stands beside file, and a schedule file brings its own", name),
				fmt.Sprintf("delete %s or file", name), file.key)
		}
	}
	if !d.given(t, "schedule.order") {
		d.missing(t, d.keys["schedule.order"], "with file")
	}
	d.e.Schedule.Order = d.str(t, "schedule.order")
	if file.bad {
		return
	}
	name := file.value.(string)
	if _, err := d.reading(name); err != nil {
		d.refuse(file, fmt.Sprintf("the schedule file %s can't be read", file.shown()), "put it into "+here+", or give start or sessions")
	}
	d.e.Schedule.File = name
}

func (d *decoder) ownSchedule(t *node) {
	s := &d.e.Schedule
	for _, path := range []string{"schedule.bands", "schedule.blocks", "schedule.dwell_min"} {
		if !d.given(t, path) {
			d.missing(t, d.keys[path], "")
		}
	}
	if n := t.child("order"); n != nil {
		d.fault(n.key, "order is given, and there is no file", "delete it; fairlobe draws the order itself")
	}
	s.Bands = d.bandList(t, "schedule.bands")
	s.Blocks = d.whole(t, "schedule.blocks")
	s.Dwell = d.length(t, "schedule.dwell_min")
	s.Pattern, s.Rotate = d.str(t, "schedule.pattern"), d.str(t, "schedule.rotate")
	s.ArmChange, s.BandChange = d.length(t, "schedule.arm_change_min"), d.length(t, "schedule.band_change_min")
	d.dwell(t)
	d.handsNeedTime(t)
	d.sessions(t)
	d.breaks(t)
	d.overlaps(t)
}

// bandList reads bands and finds those that are named twice.
func (d *decoder) bandList(t *node, path string) []string {
	list := d.strs(t, path)
	n := t.child("bands")
	if n != nil && n.kind == aList && len(n.items) == 0 {
		d.refuse(n, "bands is an empty list", `name the bands, for example bands = ["20m", "10m"]`)
	}
	for i, b := range list {
		if j := slices.Index(list, b); j < i {
			d.fault(n.items[i].at, fmt.Sprintf("band %q is named twice", b), "delete one of the two", n.items[j].at)
		}
	}
	return list
}

// dwell checks that a dwell leaves own slots behind its settle time.
func (d *decoder) dwell(t *node) {
	s, f := d.e.Schedule, d.e.Fixed
	n := t.child("dwell_min")
	if n == nil || n.bad || f.Slot == 0 || s.Settle < f.Slot || f.Sends == "" {
		return
	}
	related := append(d.settleAt(t), d.modeAt()...)
	settleMin := short(s.Settle.Minutes())
	enough := short(dwellFor(2, s.Settle, f.Slot, f.Sends).Minutes())
	if s.Settle >= s.Dwell {
		d.fault(n.at, fmt.Sprintf("dwell_min = %s ends within its settle time of %s min", n.shown(), settleMin),
			"write dwell_min = "+enough, related...)
		return
	}
	if own := ownSlots(s.Dwell, s.Settle, f.Slot, f.Sends); own < 2 {
		d.fault(n.at, fmt.Sprintf("dwell_min = %s leaves too few own slots behind a settle time of %s min: %d of %s s (%s), and 2 are the least",
			n.shown(), settleMin, own, plain(f.Slot.Seconds()), f.Sends), "write dwell_min = "+enough, related...)
	}
}

func (d *decoder) settleAt(t *node) []diag.Pos {
	if n := t.child("settle_min"); n != nil {
		return []diag.Pos{n.at}
	}
	return nil
}

func (d *decoder) handsNeedTime(t *node) {
	s := d.e.Schedule
	if s.Changeover != "by hand" || s.ArmChange > 0 || len(d.e.Arms) < 2 || t.child("arm_change_min") != nil && t.child("arm_change_min").bad {
		return
	}
	at := t.key
	if n := t.child("arm_change_min"); n != nil {
		at = n.at
	} else if n := t.child("changeover"); n != nil {
		at = n.at
	}
	d.warn("no_time_to_change", at, "arms are changed by hand, and arm_change_min leaves no time for it",
		`give the minutes of a change, for example arm_change_min = 3, or write changeover = "switch"`)
}

func (d *decoder) breaks(t *node) {
	most := 0
	for _, s := range d.e.Schedule.Sessions {
		most = max(most, s.Blocks)
	}
	seen := map[int]*node{}
	for _, b := range d.tables(t, "schedule.breaks") {
		after := d.whole(b, "schedule.breaks[].after_block")
		d.e.Schedule.Breaks = append(d.e.Schedule.Breaks, Break{AfterBlock: after, Length: d.length(b, "schedule.breaks[].min")})
		n := b.child("after_block")
		switch {
		case n == nil || n.bad:
		case most > 0 && after >= most:
			d.refuse(n, fmt.Sprintf("after_block = %d, and no session has a block behind it", after),
				d.breakMend(most), d.blocksAt(t)...)
		case seen[after] != nil:
			d.refuse(n, fmt.Sprintf("two breaks after block %d", after), "make one of them", seen[after].at)
		default:
			seen[after] = n
		}
	}
	slices.SortStableFunc(d.e.Schedule.Breaks, func(a, b Break) int { return a.AfterBlock - b.AfterBlock })
}

func (d *decoder) breakMend(most int) string {
	if most < 2 {
		return "delete the break"
	}
	return fmt.Sprintf("write after_block = %d or less", most-1)
}

func (d *decoder) blocksAt(t *node) []diag.Pos {
	if n := t.child("blocks"); n != nil {
		return []diag.Pos{n.at}
	}
	return nil
}

// sessions reads the outings; start alone is one session with all blocks.
func (d *decoder) sessions(t *node) {
	start, list := t.child("start"), t.child("sessions")
	switch {
	case start != nil && list != nil:
		d.fault(list.key, "sessions stands beside start", "delete one of the two", start.key)
	case start == nil && list == nil:
		k := d.keys["schedule.start"]
		d.fault(t.key, "[schedule] has none of start, sessions and file", k.suggestion())
	case start != nil:
		if at, ok := d.get(t, "schedule.start").(time.Time); ok {
			d.addSession(nil, at, d.e.Schedule.Blocks)
		}
	default:
		d.sessionList(t, list)
	}
}

func (d *decoder) sessionList(t, list *node) {
	sum, complete := 0, list.kind == aList
	for _, s := range d.tables(t, "schedule.sessions") {
		at, ok := d.get(s, "schedule.sessions[].start").(time.Time)
		blocks := d.whole(s, "schedule.sessions[].blocks")
		d.addSession(s, at, blocks)
		complete = complete && ok && blocks > 0
		sum += blocks
	}
	if list.kind == aList && len(list.items) == 0 {
		d.refuse(list, "sessions is an empty list", "give each outing, for example sessions = "+d.keys["schedule.sessions"].example)
		return
	}
	n := t.child("blocks")
	if complete && n != nil && !n.bad && sum != d.e.Schedule.Blocks {
		d.fault(n.at, fmt.Sprintf("blocks = %s, and the sessions have %d together", n.shown(), sum),
			"write blocks = "+strconv.Itoa(sum)+", or mend the blocks of a session", list.key)
	}
}

// addSession adds an outing. An arm without an erection number counts as left standing, number 1: leaving it out must
// not make a verdict speak of more than it can.
func (d *decoder) addSession(t *node, start time.Time, blocks int) {
	sessions := &d.e.Schedule.Sessions
	s := Session{Start: start.UTC(), Blocks: blocks, Erection: map[string]int{}}
	for _, a := range d.e.Arms {
		s.Erection[a.Name] = 1
	}
	if erection := t.in("erection"); erection != nil {
		for _, arm := range erection.names {
			if number, ok := d.erection(erection.named[arm], arm); ok {
				s.Erection[arm] = number
			}
		}
	}
	*sessions = append(*sessions, s)
}

func (d *decoder) erection(n *node, arm string) (int, bool) {
	if !d.armKnown(n, arm, n.key) {
		return 0, false
	}
	one := key{path: "erection", kind: anInteger, span: from(1, 1000), doc: "the number of the putting-up", example: "{ " + arm + " = 1 }"}
	if d.value(n, one); n.bad {
		return 0, false
	}
	return int(n.value.(int64)), true
}

// armKnown tells of a name that no arm has.
func (d *decoder) armKnown(n *node, name string, at diag.Pos) bool {
	var names []string
	for _, a := range d.e.Arms {
		if a.Name == name {
			return true
		}
		names = append(names, a.Name)
	}
	mend := "the arms are " + quotedList(names)
	if near, ok := nearest(name, names); ok {
		mend = fmt.Sprintf("write %q", near)
	}
	if len(names) == 0 {
		mend = "add a table [[arm]] of this name"
	}
	n.bad = true
	if d.armUnsure {
		return false // its name may be one of those that had a fault
	}
	d.fault(at, fmt.Sprintf("there is no arm %q", printable(name)), mend)
	return false
}

// overlaps checks that sessions stand in order of time and that each ends before the next begins.
func (d *decoder) overlaps(t *node) {
	s := d.e.Schedule
	nodes := d.tables(t, "schedule.sessions")
	if !d.lengthKnown(t) || len(nodes) != len(s.Sessions) {
		return
	}
	for i := 1; i < len(nodes); i++ {
		n, before := nodes[i].child("start"), nodes[i-1].child("start")
		end := d.e.SessionEnd(i - 1)
		switch {
		case !s.Sessions[i].Start.After(s.Sessions[i-1].Start):
			d.fault(n.at, fmt.Sprintf("start = %s is not after the start of the session before", n.shown()),
				"put the sessions in order of time", before.at)
		case s.Sessions[i].Start.Before(end):
			d.fault(n.at, fmt.Sprintf("start = %s is before the end of the session before, %s", n.shown(), zulu(end)),
				"write start = "+zulu(roundUp(end, time.Minute))+" or later", before.at)
		}
	}
}

// lengthKnown tells whether all that the length of a session depends on is free of faults.
func (d *decoder) lengthKnown(t *node) bool {
	for _, n := range t.named {
		if n.bad {
			return false
		}
	}
	for _, list := range []string{"schedule.sessions", "schedule.breaks"} {
		for _, item := range d.tables(t, list) {
			if item.child("start") == nil && list == "schedule.sessions" || slices.ContainsFunc(item.names, func(name string) bool { return item.named[name].bad }) {
				return false
			}
		}
	}
	s, blocks := d.e.Schedule, 0
	for _, session := range s.Sessions {
		blocks += session.Blocks
	}
	// the upper limits bound the work for a hostile file
	return d.e.Fixed.Slot > 0 && s.Dwell > 0 && blocks <= 10000 &&
		len(s.Bands) > 0 && len(s.Bands) <= len(bands) && len(d.e.Arms) > 0 && len(d.e.Arms) <= maxArms
}

// short writes a number with at most 6 digits.
func short(v float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(v, 'g', 6, 64), ".0")
}
