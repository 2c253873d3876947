package spots

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// merge keeps the best report of each key and marks the others. It counts those that told another SNR than the one
// kept. Which of several is kept depends on what they say alone, never on the order of rows or files; only of reports
// that say the same in everything the first is kept.
func (s *placing) merge() (clashes int) {
	var order []int32
	for i := range s.rows {
		if f := s.rows[i].fate; f == used || f == droppedLate {
			order = append(order, int32(i))
		}
	}
	slices.SortFunc(order, func(i, j int32) int {
		a, b := &s.rows[i], &s.rows[j]
		if c := s.compareKeys(a, b); c != 0 {
			return c
		}
		return s.compareWorth(a, b)
	})
	for n := 1; n < len(order); n++ {
		best, r := &s.rows[order[n-1]], &s.rows[order[n]]
		if s.compareKeys(best, r) != 0 {
			continue
		}
		if r.fate = merged; best.snrDB != r.snrDB {
			clashes++
		}
		order[n] = order[n-1]
	}
	return clashes
}

// compareKeys compares the keys of two reports: slot, transmitter, receiver, band.
func (s *placing) compareKeys(a, b *placed) int {
	if a.slot != b.slot {
		return cmp.Compare(a.slot, b.slot)
	}
	if c := s.compareCalls(a, b); c != 0 {
		return c
	}
	return cmp.Compare(s.band(a), s.band(b))
}

// compareWorth puts the report that is kept first: the greatest SNR, then what tells its place most exactly, then by
// all that the rows say, and last by where they stand.
func (s *placing) compareWorth(a, b *placed) int {
	if a.snrDB != b.snrDB {
		return cmp.Compare(b.snrDB, a.snrDB)
	}
	x, y := s.files[a.file].row(int(a.row)), s.files[b.file].row(int(b.row))
	here, there := a.direction.far(&x), b.direction.far(&y)
	return cmp.Or(
		compareToldFirst(here.lat, there.lat), compareToldFirst(here.lon, there.lon),
		cmp.Compare(len(there.locator), len(here.locator)), cmp.Compare(here.locator, there.locator),
		cmp.Compare(a.at, b.at),
		compareToldFirst(x.frequencyMHz, y.frequencyMHz), compareToldFirst(x.powerW, y.powerW),
		cmp.Compare(y.mode, x.mode), cmp.Compare(y.submode, x.submode),
		s.compareOrigin(a, b),
	)
}

// compareToldFirst puts a number that is told before one that is not, then the smaller one first.
func compareToldFirst(a, b float64) int {
	switch x, y := math.IsNaN(a), math.IsNaN(b); {
	case x && y:
		return 0
	case x:
		return 1
	case y:
		return -1
	}
	return cmp.Compare(a, b)
}

func (s *placing) encode() arrow.Record {
	b := table.NewBuilder(datasets.Spots())
	for i := range s.rows {
		p := &s.rows[i]
		r := s.files[p.file].row(int(p.row))
		far := p.direction.far(&r)
		var slot, session, block, position, arm any
		if p.hasSlot {
			slot = time.UnixMicro(p.slot).UTC()
		}
		if p.dwell != nowhere {
			d := &s.calendar.dwells[p.dwell]
			session, block, position, arm = d.session, d.block, d.position, d.arm
		}
		fate := p.fate.String()
		if p.fate == noReport {
			fate += ": " + r.noReport
		}
		b.Append(s.names[p.file], r.line, p.direction.String(), r.at, slot, s.transmitter(p), s.receiver(p),
			toldText(far.locator), told(far.lat), told(far.lon),
			toldText(r.band), told(r.frequencyMHz), told(r.snrDB), told(r.powerW), toldText(r.mode), toldText(r.submode),
			session, block, position, arm, fate)
	}
	return b.Record()
}
