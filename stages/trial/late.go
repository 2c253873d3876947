package trial

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fairlobe/stages/dwells"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/schedule"
)

// lateSwitches makes one warning for each band on which late changes took slots away. A change that came late but before
// the first slot that counts took none.
func (p Carried) lateSwitches(all []dwells.Applied) []account.Warning {
	shortened, dropped := map[string]int{}, map[string]int{}
	var bands []string
	for _, d := range all {
		if !p.costSlots(d) {
			continue
		}
		if !slices.Contains(bands, d.Band) {
			bands = append(bands, d.Band)
		}
		if d.Kept {
			shortened[d.Band]++
		} else {
			dropped[d.Band]++
		}
	}
	slices.Sort(bands)
	var out []account.Warning
	for _, band := range bands {
		out = append(out, account.Warning{Code: dwells.CodeLateSwitch, Band: band, Text: lateText(shortened[band], dropped[band])})
	}
	return out
}

// costSlots tells whether a dwell's own late change took slots from its block.
func (p Carried) costSlots(d dwells.Applied) bool {
	if d.LateS <= 0 || d.LeadingSlotsRemoved == 0 && !strings.HasPrefix(d.Reason, dwells.LateSwitch) {
		return false
	}
	planned := d.Dwell
	removed := time.Duration(int64(d.LeadingSlotsRemoved)*schedule.PeriodMs(p.SlotMs, p.Sends)) * time.Millisecond
	planned.SettleEnd = planned.SettleEnd.Add(-removed)
	connected := d.Start.Add(time.Duration(d.LateS * float64(time.Second)))
	for slot := range schedule.OwnSlots(planned, p.SlotMs, p.Sends) {
		return slot.Before(connected)
	}
	return false
}

func lateText(shortened, dropped int) string {
	var parts []string
	switch {
	case shortened == 1:
		parts = append(parts, "1 late change shortened all dwells of its block alike")
	case shortened > 1:
		parts = append(parts, fmt.Sprintf("%d late changes shortened their blocks alike", shortened))
	}
	switch {
	case dropped == 1:
		parts = append(parts, "1 late change left too little of a dwell, and its block does not count")
	case dropped > 1:
		parts = append(parts, fmt.Sprintf("%d late changes left too little of a dwell, and their blocks do not count", dropped))
	}
	return strings.Join(parts, "; ")
}
