package experiments

import (
	"time"
)

// SessionEnd gives the planned end of session i, exclusive, without pauses of the log.
//
// A dwell starts on the next slot edge, counted from 00:00 UTC. "bands within arm": each position of a block (one for
// each arm; with "mirrored" twice as many) goes through all bands with BandChange between them; ArmChange stands
// between positions. "arms within band": each band goes through all positions with ArmChange between them; the
// longer of both changes stands between bands. ArmChange stands between blocks too. It is counted even when the
// drawn order leaves the same arm connected, so that the length does not depend on the draw; only between the two middle
// positions of a mirrored block it is 0. A break comes on top of the change between its two blocks.
func (e *Experiment) SessionEnd(i int) time.Time {
	s := e.Schedule
	c := clock{now: s.Sessions[i].Start, slot: e.Fixed.Slot, dwell: s.Dwell}
	for block := 1; block <= s.Sessions[i].Blocks; block++ {
		if block > 1 {
			c.wait(s.ArmChange)
		}
		s.block(&c, len(e.Arms))
		for _, b := range s.Breaks {
			if b.AfterBlock == block && block < s.Sessions[i].Blocks {
				c.wait(b.Length)
			}
		}
	}
	return c.now
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
		c.wait(s.gapBefore(p, arms))
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
