package judge

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"fairlobe/stages/internal/account"
	"fairlobe/stages/internal/contrast"
)

// mostPowerDB is how far the logged powers of two arms may lie apart without a word.
const mostPowerDB = 0.3

// warnOfPower warns where the arms were sent with different powers. On receive the own power does not matter, and a
// known step may be made by it.
func (c *court) warnOfPower(e *Entry) {
	if e.claim.Direction != "sent" || e.Kind == "known_step" || len(e.Arms) != 2 {
		return
	}
	first, second, _ := c.canonical(e.Arms)
	db := c.loggedPower(first, e.Band) - c.loggedPower(second, e.Band)
	if db < 0 {
		first, second, db = second, first, -db
	}
	if db > mostPowerDB { // false for NaN
		e.warn("power_differs", fmt.Sprintf("the logged power of %s is %.2f dB above that of %s: the comparison is arm and power together; the verdict is not corrected", first, db, second))
	}
}

// correctPower puts a second figure beside the estimate of a claim that was warned of different powers: the difference
// less that of the powers, in dB, and the interval moved by the same. The verdict does not rest on it: a power that the
// operator read is not as sure as an order that was drawn.
func (c *court) correctPower(e *Entry) {
	if !e.warned("power_differs") || e.EstimateDB == nil {
		return
	}
	db := c.loggedPower(e.Arms[0], e.Band) - c.loggedPower(e.Arms[1], e.Band)
	e.PowerCorrectedDB = round4(*e.EstimateDB - db)
	if i := e.IntervalDB; i != nil {
		e.PowerCorrectedIn = outward(contrast.Interval{LowDB: bound(i[0], -1) - db, HighDB: bound(i[1], 1) - db})
	}
}

// bound is an end of an interval; infinite, with that sign, where there is none.
func bound(end *float64, sign int) float64 {
	if end == nil {
		return math.Inf(sign)
	}
	return *end
}

// loggedPower is the mean of an arm's logged powers on a band in dB above 1 W; NaN of none. A power of 0 has no value in
// dB, and does not count.
func (c *court) loggedPower(arm, band string) float64 {
	var all []float64
	for _, e := range c.trial.Events {
		if e.Kind == account.Power && e.Arm == arm && (e.Band == "" || e.Band == band) && e.Value != nil && *e.Value > 0 {
			all = append(all, 10*math.Log10(*e.Value))
		}
	}
	if len(all) == 0 {
		return math.NaN()
	}
	return stat.Mean(all, nil)
}
