package judge

import (
	"fmt"

	"fairlobe/stages/internal/account"
)

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
