package world

import (
	"cmp"
	"math"
	"slices"
	"time"
)

const (
	everySlot = "every slot"
	evenSlots = "even slots"
	oddSlots  = "odd slots"
	asLogged  = "as logged"
)

// slot is one slot of a dwell.
type slot struct {
	start time.Time
	dwell int
	arm   string // on the air; "": none
	odd   bool
	sends bool // the own station sends; else it listens, if there is an arm
	rank  int  // among the slots of all bands
}

// slotsOf lists the slots that fit into the dwells of a band, by time.
func (p Params) slotsOf(t Trial, band string) []slot {
	operator := t.stream("operator", band, 0)
	var slots []slot
	for _, i := range t.dwellsOf(band) {
		d := t.Dwells[i]
		start := d.Start.Truncate(t.Slot)
		if start.Before(d.Start) {
			start = start.Add(t.Slot)
		}
		for ; !start.Add(t.Slot).After(d.End); start = start.Add(t.Slot) {
			s := slot{start: start, dwell: i, arm: d.armAt(start)}
			s.odd = !start.Truncate(2 * t.Slot).Equal(start)
			s.sends = t.sendsIn(s.odd, operator.Float64() < p.LoggedShare) && s.arm != ""
			slots = append(slots, s)
		}
	}
	return slots
}

// armAt is the arm that is on the air, "" if none.
func (d Dwell) armAt(at time.Time) string {
	switch {
	case d.Silent:
		return ""
	case at.Before(d.Connected):
		return d.Before
	default:
		return d.Arm
	}
}

func (t Trial) sendsIn(odd, logged bool) bool {
	switch t.Sends {
	case everySlot:
		return true
	case oddSlots:
		return odd
	case asLogged:
		return !odd && logged
	default:
		return !odd
	}
}

// rank numbers the slots of all bands by time, then band, and gives their number.
func rank(bands [][]slot) int {
	var all []*slot
	for i := range bands {
		for j := range bands[i] {
			all = append(all, &bands[i][j])
		}
	}
	slices.SortStableFunc(all, func(a, b *slot) int { return a.start.Compare(b.start) })
	for i, s := range all {
		s.rank = i
	}
	return len(all)
}

// steps are the correlations of a Gauss-Markov process from one slot to the next, and the size of its renewal.
type steps struct{ keep, renew []float64 }

// stepsOf gives the steps for a correlation time. They are exact whatever the gap (Uhlenbeck and Ornstein, On the
// theory of the Brownian motion, Physical Review 36, 1930).
func stepsOf(slots []slot, correlation time.Duration) steps {
	s := steps{make([]float64, len(slots)), make([]float64, len(slots))}
	for i := range slots {
		if i > 0 {
			s.keep[i] = math.Exp(-slots[i].start.Sub(slots[i-1].start).Seconds() / correlation.Seconds())
		}
		s.renew[i] = math.Sqrt(1 - float64(s.keep[i]*s.keep[i]))
	}
	return s
}

// inOrder turns what was found on each band into things in the order of the slots' ranks; within a slot they keep their
// order (a counting sort, for there may be hundreds of thousands).
func inOrder[F, T any](bands [][]slot, ranks int, found [][]F, slotOf func(F) int, thing func(band int, s *slot, f F) T) []T {
	at := make([]int, ranks+1)
	for band, these := range found {
		for _, f := range these {
			at[bands[band][slotOf(f)].rank+1]++
		}
	}
	for i := range ranks {
		at[i+1] += at[i]
	}
	out := make([]T, at[ranks])
	for band, these := range found {
		for _, f := range these {
			s := &bands[band][slotOf(f)]
			out[at[s.rank]] = thing(band, s, f)
			at[s.rank]++
		}
	}
	return out
}

// armNames lists the arms of a band by name.
func (b Band) armNames() []string {
	names := make([]string, 0, len(b.Arms))
	for name := range b.Arms {
		names = append(names, name)
	}
	slices.SortFunc(names, cmp.Compare[string])
	return names
}
