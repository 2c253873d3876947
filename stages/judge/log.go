package judge

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"fairlobe/stages/internal/account"
)

// mostPowerDB is how far the logged powers of two arms may lie apart without a word.
const mostPowerDB = 0.3

// warnOfLog warns of what the switch log says. A line that names no band speaks of all.
func (c *court) warnOfLog(e *Entry) {
	e.passOn(c.trial.Warnings)
	c.warnOfPower(e)
	deviations := 0
	for _, event := range c.trial.Events {
		if event.Kind == account.Deviation && (event.Band == "" || event.Band == e.Band) {
			deviations++
		}
	}
	switch {
	case deviations == 1:
		e.warn("deviation", "the log notes 1 deviation from what was declared")
	case deviations > 1:
		e.warn("deviation", fmt.Sprintf("the log notes %d deviations from what was declared", deviations))
	}
}

// warnOfPower warns where the arms were sent with different powers. On receive the own power does not matter, and a
// known step may be made by it.
func (c *court) warnOfPower(e *Entry) {
	if e.claim.Direction != "sent" || e.Kind == "known_step" {
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
