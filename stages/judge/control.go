package judge

import (
	"fmt"
	"slices"
)

// A control station that sends in the same slots takes steady openings out of what one arm shows, but not those that turn
// during the trial, and nothing tells the antenna from the control's own, its place and its power. So what is found is
// described and not tested.

// describeControl shows the arm minus the control station over the stations that heard both; false where no station did.
// Stations that heard one of the two alone are left out: of those that never heard us nothing is told here.
func (c *court) describeControl(e *Entry, own []reception) (bool, error) {
	blocks := c.blocksOf(e.Band, 0)
	control := inBlocks(c.selectFrom(c.controlled, e, e.Arms[0]), blocks)
	minuend, subtrahend := heardToo(own, control), heardToo(control, own)
	if len(minuend) == 0 {
		return false, nil
	}
	for i := range subtrahend {
		subtrahend[i].arm = "" // no arm's
	}
	trial, err := c.trialOf(append(minuend, subtrahend...), blocks, e.Arms[0], place.forDirectivity)
	if err != nil {
		return false, err
	}
	d := trial.Gates(shapeOf(e.claim.Shape))
	if d.Stations == 0 {
		return false, nil
	}
	evidence := Compared
	e.Evidence = &evidence
	e.Stations, e.Regions = d.Stations, d.Regions
	e.Directivity.Sectors = []SectorEntry{}
	e.fillSectors(&d)
	e.conclude(Refused, "control_not_random", fmt.Sprintf("%s is compared with the control station in the same slots, at the %d stations that heard both: antenna, place and power together, described, not tested; turn this wire in random blocks",
		e.Arms[0], d.Stations))
	return true, nil
}

// heardToo gives those of some receptions whose station stands among the others' stations, too.
func heardToo(some, others []reception) []reception {
	heard := map[int]bool{}
	for _, r := range others {
		heard[r.station] = true
	}
	return slices.DeleteFunc(slices.Clone(some), func(r reception) bool { return !heard[r.station] })
}

// unheardControl says that the control station that is named tells nothing.
func (c *court) unheardControl() string {
	if !c.Control {
		return ""
	}
	return " that is heard: no station heard both this one and the control station in its slots"
}
