package planning

import (
	"math"

	"fairlobe/stages/schedule"
)

// What the energy of an outing is reckoned with: common practice, no source. A transmitter takes 2.5 times what it sends,
// and a receiver the same current all the time.
const (
	efficiency   = 0.4
	batteryVolts = 13.0
	receiveAmps  = 0.4
	defaultWatts = 5.0
)

// effort is what a number of blocks takes.
type effort struct {
	hours   float64
	outings int
}

// effortFor is that of so many blocks a band, at the pace of the schedule.
func (p *Plan) effortFor(blocks int) effort {
	most, all := 0, 0
	for _, b := range p.summary.Bands {
		all = max(all, b.Blocks)
	}
	for _, n := range p.blocksOfSessions() {
		most = max(most, n)
	}
	if all == 0 || most == 0 || blocks == beyondReach {
		return effort{math.Inf(1), beyondReach}
	}
	return effort{p.summary.TotalHours * float64(blocks) / float64(all), (blocks + most - 1) / most}
}

// blocksOfSessions gives the blocks of each session on the band that has most of them there.
func (p *Plan) blocksOfSessions() []int {
	type place struct {
		session int
		band    string
	}
	count := map[place]int{}
	for _, group := range schedule.Blocks(p.in.Planned) {
		d := p.in.Planned[group[0]]
		count[place{d.Session, d.Band}]++
	}
	out := make([]int, len(p.summary.Sessions))
	for i, s := range p.summary.Sessions {
		for _, b := range p.summary.Bands {
			out[i] = max(out[i], count[place{s.Session, b.Band}])
		}
	}
	return out
}

// watts is the greatest declared power of an arm; stated is false where none is declared.
func (p *Plan) watts() (w float64, stated bool) {
	for _, a := range p.in.Experiment.Arms {
		if one, ok := p.in.Experiment.Number(a.Name, "power_w"); ok {
			w, stated = max(w, one), true
		}
	}
	if !stated {
		return defaultWatts, false
	}
	return w, true
}

// sendingHours are those of all own slots, also in the part of a dwell that does not count.
func (p *Plan) sendingHours() float64 {
	counting := p.summary.DwellHours - p.summary.SettleHours
	if counting <= 0 {
		return p.summary.TransmitHours
	}
	return p.summary.TransmitHours * p.summary.DwellHours / counting
}

// ampHours is the charge that the whole trial takes from the battery, and that of the longest session.
func (p *Plan) ampHours() (all, longest float64) {
	w, _ := p.watts()
	all = p.sendingHours()*w/(efficiency*batteryVolts) + (p.summary.TotalHours-p.sendingHours())*receiveAmps
	hours := 0.0
	for _, s := range p.summary.Sessions {
		hours = max(hours, s.Hours)
	}
	if p.summary.TotalHours > 0 {
		longest = all * hours / p.summary.TotalHours
	}
	return all, longest
}

// duty is the share of its time in which the station sends, within a dwell.
func (p *Plan) duty() float64 {
	switch p.in.Experiment.Fixed.Sends {
	case schedule.EvenSlots, schedule.OddSlots:
		return 0.5
	}
	return 1
}
