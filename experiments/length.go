package experiments

import "time"

// SessionEnd gives the planned end of session i, exclusive, without pauses of the log.
//
// A dwell starts on the next slot edge, counted from 00:00 UTC. "bands within arm": each position of a block (one for
// each arm; with "mirrored" twice as many) goes through all bands. "arms within band": each band goes through all
// positions. Between two dwells lies the longer of the changes that both differ in: ArmChange between positions and
// between blocks, even when the drawn order leaves the same arm connected, so that the length does not depend on the
// draw, but not between the two middle positions of a mirrored block; BandChange between bands, and between blocks if
// there are several bands. A break takes the place of the change between its two blocks if it is longer.
func (e *Experiment) SessionEnd(i int) time.Time {
	s := e.Schedule
	c := clock{now: s.Sessions[i].Start, slot: e.Fixed.Slot, dwell: s.Dwell}
	for block := 1; block <= s.Sessions[i].Blocks; block++ {
		if block > 1 {
			c.wait(s.gapAfter(block - 1))
		}
		s.block(&c, len(e.Arms))
	}
	return c.now
}

// gapAfter gives the time between a block and the next.
func (s Schedule) gapAfter(block int) time.Duration {
	gap := s.ArmChange
	if len(s.Bands) > 1 {
		gap = max(gap, s.BandChange)
	}
	for _, b := range s.Breaks {
		if b.AfterBlock == block {
			gap = max(gap, b.Length)
		}
	}
	return gap
}

// clock adds dwells and gaps.
type clock struct {
	now         time.Time
	slot, dwell time.Duration
}

func (c *clock) wait(gap time.Duration) { c.now = c.now.Add(gap) }

func (c *clock) stay() { c.now = roundUp(c.now, c.slot).Add(c.dwell) }

// roundUp gives the first edge at or after a time. Slots divide the day, so that edges counted from 1970 are
// edges counted from midnight.
func roundUp(t time.Time, slot time.Duration) time.Time {
	if slot <= 0 {
		return t
	}
	past := time.Duration(t.UnixNano()) % slot
	if past == 0 {
		return t
	}
	return t.Add(slot - past)
}

// block goes through the dwells of one block.
func (s Schedule) block(c *clock, arms int) {
	positions := arms
	if s.Pattern == "mirrored" {
		positions *= 2
	}
	if s.Rotate == "arms within band" {
		for b := range s.Bands {
			if b > 0 {
				c.wait(max(s.ArmChange, s.BandChange))
			}
			for p := range positions {
				c.wait(s.gapBefore(p, arms))
				c.stay()
			}
		}
		return
	}
	for p := range positions {
		gap := s.gapBefore(p, arms)
		if p > 0 && len(s.Bands) > 1 {
			gap = max(gap, s.BandChange)
		}
		c.wait(gap)
		for b := range s.Bands {
			if b > 0 {
				c.wait(s.BandChange)
			}
			c.stay()
		}
	}
}

// gapBefore gives the change of arm before a position of a block.
func (s Schedule) gapBefore(position, arms int) time.Duration {
	if position == 0 || s.Pattern == "mirrored" && position == arms {
		return 0
	}
	return s.ArmChange
}
