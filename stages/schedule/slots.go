package schedule

import (
	"fmt"
	"iter"
	"time"

	"fairlobe/pipeline/diag"
)

// In which slots the station transmits.
const (
	EverySlot = "every slot"
	EvenSlots = "even slots" // number 0 begins at 00:00 UTC
	OddSlots  = "odd slots"
	AsLogged  = "as logged" // not known beforehand: every slot is possible
)

// What the stamp of a report marks.
const (
	SlotStart  = "slot start"
	SlotEnd    = "slot end"
	WithinSlot = "within slot"
)

// How far a stamp may lie from the edge that it marks. Slots under 15 s have the smaller tolerance.
const (
	edgeToleranceUs      = 2_500_000
	shortEdgeToleranceUs = 1_000_000
	shortSlotMs          = 15_000
)

// ValidSlot tells whether slots of that many milliseconds divide the day into equal parts.
func ValidSlot(slotMs int64) bool { return slotMs > 0 && dayMs%slotMs == 0 }

// PeriodMs is the time from one own slot to the next: two slots when the station sends in even or odd
// ones, else one.
func PeriodMs(slotMs int64, sends string) int64 {
	if sends == EvenSlots || sends == OddSlots {
		return 2 * slotMs
	}
	return slotMs
}

// UpToEdge gives the first edge of a slot at or after t.
func UpToEdge(t time.Time, slotMs int64) time.Time {
	ms := t.UnixMilli()
	if t.After(time.UnixMilli(ms)) {
		ms++
	}
	return utc(upToEdge(ms, slotMs))
}

// upToEdge counts from 1970-01-01T00:00Z, which gives the same edges as from 00:00 of each day, since
// slots divide the day.
func upToEdge(ms, slotMs int64) int64 { return ms + floorMod(-ms, slotMs) }

// floorMod is the remainder from 0 to n-1, also of negative numbers.
func floorMod(a, n int64) int64 { return ((a % n) + n) % n }

// Sends tells whether the station sends in the slot that begins at that edge.
func Sends(slotStart time.Time, slotMs int64, sends string) bool {
	switch sends {
	case EvenSlots, OddSlots:
		number := floorMod(slotStart.UnixMilli(), dayMs) / slotMs
		return (number%2 == 1) == (sends == OddSlots)
	default:
		return true
	}
}

// Owns tells whether the slot that begins at that edge counts for the dwell: it begins at or after
// SettleEnd, ends by End, and the station sends in it.
func Owns(d Dwell, slotStart time.Time, slotMs int64, sends string) bool {
	slot := time.Duration(slotMs) * time.Millisecond
	return !slotStart.Before(d.SettleEnd) && !slotStart.Add(slot).After(d.End) && Sends(slotStart, slotMs, sends)
}

// OwnSlots gives the starts of the slots that count for the dwell, in time order. The slots must divide
// the day (ValidSlot).
func OwnSlots(d Dwell, slotMs int64, sends string) iter.Seq[time.Time] {
	slot := time.Duration(slotMs) * time.Millisecond
	return func(yield func(time.Time) bool) {
		for at := UpToEdge(d.SettleEnd, slotMs); !at.Add(slot).After(d.End); at = at.Add(slot) {
			if Sends(at, slotMs, sends) && !yield(at) {
				return
			}
		}
	}
}

// CountOwn is the number of slots that count for the dwell.
func CountOwn(d Dwell, slotMs int64, sends string) int {
	n := 0
	for range OwnSlots(d, slotMs, sends) {
		n++
	}
	return n
}

// SlotOf gives the start of the slot that a report's stamp means.
//
//	slot start   the nearest edge, at most 2.5 s away (1 s for slots under 15 s)
//	slot end     the same edge, minus one slot
//	within slot  the slot that holds the stamp
//
// It gives false for a stamp too far from an edge, for slots that do not divide the day, and for any
// other timeIs. Of two edges equally near the earlier is taken.
func SlotOf(t time.Time, slotMs int64, timeIs string) (time.Time, bool) {
	if !ValidSlot(slotMs) {
		return time.Time{}, false
	}
	slotUs := slotMs * 1000
	after := floorMod(t.UnixMicro(), slotUs)
	before := t.UnixMicro() - after
	if timeIs == WithinSlot {
		return time.UnixMicro(before).UTC(), true
	}
	edge, off := before, after
	if slotUs-after < after {
		edge, off = before+slotUs, slotUs-after
	}
	tolerance := int64(edgeToleranceUs)
	if slotMs < shortSlotMs {
		tolerance = shortEdgeToleranceUs
	}
	switch {
	case off > tolerance:
		return time.Time{}, false
	case timeIs == SlotStart:
		return time.UnixMicro(edge).UTC(), true
	case timeIs == SlotEnd:
		return time.UnixMicro(edge - slotUs).UTC(), true
	default:
		return time.Time{}, false
	}
}

// LeastOwnSlots is how many own slots a dwell needs.
const LeastOwnSlots = 2

// CheckSlots gives a fault at pos if a dwell has fewer than LeastOwnSlots, with the length that would do.
func CheckSlots(dwells []Dwell, slotMs int64, sends string, pos diag.Pos) diag.List {
	for _, d := range dwells {
		n := CountOwn(d, slotMs, sends)
		if n >= LeastOwnSlots {
			continue
		}
		// One period more than the slots themselves holds them wherever the dwell begins.
		need := d.SettleEnd.Sub(d.Start) + time.Duration((LeastOwnSlots+1)*PeriodMs(slotMs, sends))*time.Millisecond
		return diag.List{{
			Pos:  pos,
			Code: "few_slots",
			Msg: fmt.Sprintf("the dwell of %s on %s at %s has too few slots to send in after settling: %d, at least %d are needed",
				d.Arm, d.Band, stamp(d.Start), n, LeastOwnSlots),
			Mend: fmt.Sprintf("make each dwell at least %.4g minutes long, or the settling time shorter", need.Minutes()),
		}}
	}
	return nil
}
