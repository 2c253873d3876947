package handover

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/pipeline/table"
	"fairlobe/stages/schedule"
)

// block is one block of one band.
type block struct {
	session, number int64
	band            string
}

// span is the time of a dwell as it was kept.
type span struct{ start, end time.Time }

// plan is what the tables of a trial are held against.
type plan struct {
	arms   []string
	blocks map[block]bool
	dwells map[block]map[string][]span // by arm, from table dwells
}

// CheckTrial holds tables against the schedule: those who read them rely on it that every row belongs to a dwell that was planned, to
// an arm that there is, and to the time in which that arm was on. CheckTables has gone before.
func CheckTrial(tables map[string]arrow.Record, arms []string, planned []schedule.Dwell) error {
	p := plan{arms: arms, blocks: map[block]bool{}, dwells: map[block]map[string][]span{}}
	for _, d := range planned {
		p.blocks[block{int64(d.Session), int64(d.Block), d.Band}] = true
	}
	if err := p.readDwells(tables["dwells"], planned); err != nil {
		return err
	}
	for _, name := range []string{"receptions", "late_receptions", "control_receptions"} {
		if err := p.checkReceptions(name, tables[name]); err != nil {
			return err
		}
	}
	for _, name := range []string{"listening", "cells", "paths"} {
		if err := p.checkKeys(name, tables[name]); err != nil {
			return err
		}
	}
	if err := checkStations(tables["stations"]); err != nil {
		return err
	}
	return p.checkSweeps(tables["sweeps"])
}

func rowFault(name string, row int, format string, args ...any) error {
	return fault(Parquet(name), fmt.Sprintf("row %d: ", row+1)+fmt.Sprintf(format, args...))
}

// step is what is fixed of a dwell beforehand.
type step struct {
	block
	position int64
	arm      string
}

// readDwells asks that the dwells are the planned ones, in whatever times.
func (p plan) readDwells(rec arrow.Record, planned []schedule.Dwell) error {
	left := map[step]int{}
	for _, d := range planned {
		left[step{block{int64(d.Session), int64(d.Block), d.Band}, int64(d.Position), d.Arm}]++
	}
	for r := table.NewReader(rec); r.Next(); {
		b := blockOf(r)
		s := step{b, r.Int("position"), r.Str("arm")}
		if left[s]--; left[s] < 0 {
			return rowFault("dwells", r.Row(), "session %d, %q, block %d, position %d, arm %q is not in the schedule, or twice here",
				b.session, cut(b.band), b.number, s.position, cut(s.arm))
		}
		start, settled, end := r.Time("start"), r.Time("settle_end"), r.Time("end")
		if !inTime(start) || settled.Before(start) || end.Before(settled) || end.Sub(start) > mostDwell {
			return rowFault("dwells", r.Row(), "its start, settle_end and end do not follow one another within a day")
		}
		if p.dwells[b] == nil {
			p.dwells[b] = map[string][]span{}
		}
		p.dwells[b][s.arm] = append(p.dwells[b][s.arm], span{start, end})
	}
	if n := int(rec.NumRows()); n != len(planned) {
		return fault(Parquet("dwells"), fmt.Sprintf("it has %d of the %d dwells of the schedule", n, len(planned)))
	}
	return nil
}

// mostDwell is the longest dwell of a schedule.
const mostDwell = 24 * time.Hour

// inTime tells whether a moment is one that an experiment may have.
func inTime(t time.Time) bool { return t.Year() >= 1970 && t.Year() <= 2200 }

func blockOf(r *table.Reader) block {
	return block{r.Int("session"), r.Int("block"), r.Str("band")}
}

// Limits of a report: no receiver tells less or more, and sums of such numbers stay numbers.
const (
	mostSNRDB  = 200
	mostDither = 0.5
)

func (p plan) checkReceptions(name string, rec arrow.Record) error {
	for r := table.NewReader(rec); r.Next(); {
		b, arm, slot := blockOf(r), r.Str("arm"), r.Time("slot")
		switch dither := r.Float("dither_db"); {
		case !slices.Contains(p.arms, arm):
			return rowFault(name, r.Row(), "there is no arm %q", cut(arm))
		case !slices.ContainsFunc(p.dwells[b][arm], func(d span) bool { return !slot.Before(d.start) && slot.Before(d.end) }):
			return rowFault(name, r.Row(), "its slot lies in no dwell of arm %q in session %d, %q, block %d",
				cut(arm), b.session, cut(b.band), b.number)
		case r.Str("direction") != "sent" && r.Str("direction") != "received":
			return rowFault(name, r.Row(), "%q is no direction", cut(r.Str("direction")))
		case math.Abs(r.Float("snr_db")) > mostSNRDB:
			return rowFault(name, r.Row(), "snr_db = %g is no report of a receiver", r.Float("snr_db"))
		case math.Abs(dither) > mostDither:
			return rowFault(name, r.Row(), "dither_db = %g is not from -0.5 to 0.5", dither)
		case !r.Null("power_w") && r.Float("power_w") < 0:
			return rowFault(name, r.Row(), "power_w = %g is no power", r.Float("power_w"))
		}
	}
	return nil
}

// checkKeys asks that each row belongs to a block that was planned and, where it names an arm, to one that there is.
func (p plan) checkKeys(name string, rec arrow.Record) error {
	withArm := rec.Schema().HasField("arm")
	for r := table.NewReader(rec); r.Next(); {
		b := blockOf(r)
		if !p.blocks[b] {
			return rowFault(name, r.Row(), "session %d, %q, block %d is not in the schedule", b.session, cut(b.band), b.number)
		}
		if withArm && !slices.Contains(p.arms, r.Str("arm")) {
			return rowFault(name, r.Row(), "there is no arm %q", cut(r.Str("arm")))
		}
	}
	return nil
}

// farthestKm is half a meridian, rounded up (WGS 84).
const farthestKm = 20010

func checkStations(rec arrow.Record) error {
	within := func(r *table.Reader, column string, lo, hi float64) bool {
		return r.Null(column) || r.Float(column) >= lo && r.Float(column) <= hi
	}
	for r := table.NewReader(rec); r.Next(); {
		if !within(r, "latitude", -90, 90) || !within(r, "longitude", -180, 180) || !within(r, "bearing_deg", 0, 360) ||
			!within(r, "distance_km", 0, farthestKm) || !within(r, "position_radius_km", 0, farthestKm) {
			return rowFault("stations", r.Row(), "it lies nowhere on the Earth")
		}
		if place := r.Null("position_radius_km"); place != r.Null("bearing_deg") || place != r.Null("distance_km") {
			return rowFault("stations", r.Row(), "bearing_deg, distance_km and position_radius_km are known together or not at all")
		}
	}
	return nil
}

func (p plan) checkSweeps(rec arrow.Record) error {
	for r := table.NewReader(rec); r.Next(); {
		swr := r.FloatOrNil("swr")
		switch {
		case !slices.Contains(p.arms, r.Str("arm")):
			return rowFault("sweeps", r.Row(), "there is no arm %q", cut(r.Str("arm")))
		case r.Str("plane") != "radio" && r.Str("plane") != "feedpoint":
			return rowFault("sweeps", r.Row(), "%q is no plane of a measurement", cut(r.Str("plane")))
		case r.Float("frequency_mhz") <= 0 || r.Float("z0_ohm") <= 0 || swr != nil && *swr < 1:
			return rowFault("sweeps", r.Row(), "frequency and impedance are above 0, an SWR is 1 or more")
		}
	}
	return nil
}

// cut is a text of a table short enough for a message, where %q spells out what is no letter.
func cut(text string) string {
	const most = 60
	if len(text) > most {
		return text[:most] + "..."
	}
	return text
}
