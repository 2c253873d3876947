package judge

import (
	"math"
	"slices"

	"fairlobe/stages/internal/contrast"
)

// perSession calculates each session by itself, where there is more than one. Its intervals are of the kind that the
// verdict rests on; a session of too few blocks has none.
func (c *court) perSession(t *contest, all []reception, band, first string) error {
	numbers := sessionsOf(c.blocksOf(band, 0))
	if len(numbers) < 2 {
		return nil
	}
	low, high := math.Inf(-1), math.Inf(1)
	for _, n := range numbers {
		blocks := c.blocksOf(band, n)
		trial, err := c.trialOf(all, blocks, first, nil)
		if err != nil {
			return err
		}
		s := SessionEntry{Session: int(n), Blocks: len(blocks)}
		if level := trial.Level(); level.Estimated {
			if level.Sized {
				s.EstimateDB = round4(level.EstimateDB)
			}
			interval := level.Interval
			if c.open() {
				interval = level.Running.Interval
			}
			if len(blocks) >= contrast.FewestBlocks(alpha, 1) {
				s.IntervalDB = outward(interval)
				low, high = max(low, interval.LowDB), min(high, interval.HighDB)
			}
		}
		t.sessions = append(t.sessions, s)
	}
	t.disagree = low > high
	return nil
}

func sessionsOf(blocks []block) []int64 {
	var numbers []int64
	for _, b := range blocks {
		numbers = append(numbers, b.session)
	}
	slices.Sort(numbers)
	return slices.Compact(numbers)
}

// sessions copies the estimates by session, turned round if the claim is, and their intervals if they may be shown.
func (e *Entry) sessions(t *contest, turned, intervals bool) {
	for _, s := range t.sessions {
		if !intervals {
			s.IntervalDB = nil
		}
		if turned {
			s.EstimateDB, s.IntervalDB = negated(s.EstimateDB), turnedRange(s.IntervalDB)
		}
		e.Sessions = append(e.Sessions, s)
	}
	if t.disagree && intervals {
		e.warn("sessions_differ", "the intervals of single sessions do not overlap: something changed between them")
	}
}
