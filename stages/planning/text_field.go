package planning

import (
	"fmt"
	"math"
	"time"

	"fairlobe/stages/schedule"
)

// slotWords are on slots, parity, settling and the reports that are passed on.
func (p *Plan) slotWords() []string {
	exp := p.in.Experiment
	slot := exp.Fixed.Slot
	sends := map[string]string{
		schedule.EvenSlots: "sending in even slots", schedule.OddSlots: "sending in odd slots", schedule.EverySlot: "sending in every slot",
		schedule.AsLogged: "sending as logged",
	}[exp.Fixed.Sends]
	out := []string{fmt.Sprintf("%s: slots of %g s, %s, the same for every arm: who listens in the other slots is another set of receivers.", exp.Fixed.Mode, slot.Seconds(), sends)}
	if len(p.in.Planned) == 0 {
		return out
	}
	settle := p.in.Planned[0].SettleEnd.Sub(p.in.Planned[0].Start)
	out = append(out, fmt.Sprintf("The first %g min of a dwell, %s, are the guard after a change and do not count; there is no other. A late change shortens all dwells of its block.",
		settle.Minutes(), counted(int(settle/slot), "slot")))
	dwell, every := p.shortestDwell(), exp.Schedule.SpotInterval
	switch {
	case every == 0:
		out = append(out, "Every decode is passed on: a dwell needs no more than a few own slots.")
	case dwell < every:
		out = append(out, fmt.Sprintf("WARNING: a dwell of %g min is shorter than the %g min between the reports of a receiver. Most can report one arm of a block only; simulated, a difference of 1.5 dB was then found in 6 of 100 trials, and in 99 with dwells as long as the gap.", dwell.Minutes(), every.Minutes()))
	default:
		out = append(out, fmt.Sprintf("A receiver passes on one report in %g min, and the shortest dwell is %g min: each can report both arms of a block.", every.Minutes(), dwell.Minutes()))
	}
	return out
}

// effortWords are on hours, changes and energy.
func (p *Plan) effortWords() []string {
	s := p.summary
	all, longest := p.ampHours()
	watts, stated := p.watts()
	power := fmt.Sprintf("%g W", watts)
	if !stated {
		power += " (not declared, assumed)"
	}
	out := []string{fmt.Sprintf("%.1f h in %s, %s of the arm and %d of the band.", s.TotalHours, counted(len(s.Sessions), "session"), counted(s.ArmChanges, "change"), s.BandChanges)}
	out = append(out, fmt.Sprintf("About %.1f Ah from the battery, %.1f Ah in the longest session: %s at %.0f %% efficiency from %g V, %g A on receive (common practice, no source; small sets at low power take more). Bring half as much again.",
		all, longest, power, 100*efficiency, batteryVolts, receiveAmps))
	out = append(out, "Note voltage or power in each block: 13.8 to 12.4 V is 0.9 dB where the output follows the voltage.")
	return out
}

// sunWords are on the sun, in words and without a forecast.
func (p *Plan) sunWords(w *writer) {
	days := p.daylight()
	if len(days) == 0 {
		return
	}
	w.head("Sun (elevation in degrees at the start and the end; no forecast)")
	for _, d := range days {
		w.say("  ", "    ", fmt.Sprintf("session %d, %s to %s: %s", d.Session, d.Start.Format("2006-01-02 15:04Z"), d.End.Format("15:04Z"), d.riseWords()))
		for _, at := range d.At {
			w.line("    %-24s %+4.0f to %+4.0f   %s", at.Place, at.Start, at.End, light(at))
		}
	}
	w.say("  ", "  ", "As a rule 20 m and the bands above it reach far while the path is light, 40 m and the bands below it while it is dark (common practice, no source). All sessions at like hours compare best.")
}

func (d Daylight) riseWords() string {
	switch {
	case d.Rise.IsZero() && d.Set.IsZero() && d.Up:
		return "the sun does not set"
	case d.Rise.IsZero() && d.Set.IsZero():
		return "the sun does not rise"
	case d.Rise.IsZero():
		return "no sunrise, sunset " + d.Set.Format("15:04Z")
	case d.Set.IsZero():
		return "sunrise " + d.Rise.Format("15:04Z") + ", no sunset"
	}
	return fmt.Sprintf("sunrise %s, sunset %s", d.Rise.Format("15:04Z"), d.Set.Format("15:04Z"))
}

// light says in words what the sun does between start and end.
func light(s SunAt) string {
	start, end := s.Start > riseDeg, s.End > riseDeg
	switch {
	case start && end:
		return "light at both"
	case start:
		return "gets dark"
	case end:
		return "gets light"
	}
	return "dark at both"
}

// exposureWords state a formula's distance and where the formula is not valid.
func (p *Plan) exposureWords(w *writer) {
	all := p.exposures()
	if len(all) == 0 {
		return
	}
	watts, stated := p.watts()
	w.head("RF exposure: an estimate, no permission and no proof of safety")
	for _, e := range all {
		text := fmt.Sprintf("%s: the formula gives %.1f m", e.Band, math.Ceil(e.MetresAt*10)/10)
		if near := p.nearField(e); e.MetresAt < near {
			text += fmt.Sprintf(", and is not valid nearer than %.1f m: within that it says nothing", math.Ceil(near*10)/10)
		}
		w.item(text + ".")
	}
	power := fmt.Sprintf("%g W", watts)
	if !stated {
		power += " (not declared, assumed)"
	}
	w.say("  ", "  ", fmt.Sprintf("S = F EIRP/(4 pi r2), F = 4, a half-wave dipole, %s sending %.0f %% of the time, limits of 47 CFR 1.1310 for the public. Your own country's limits and its way to evaluate come first, and below 30 MHz other rules have limits of both fields.",
		power, 100*p.duty()))
}

// nearField is the distance from which on the formula is valid: lambda/(2 pi), and the length of the wire.
func (p *Plan) nearField(e Exposure) float64 {
	near := e.FieldFrom
	for _, a := range p.in.Experiment.Arms {
		if m, ok := p.in.Experiment.Number(a.Name, "wire_length_m"); ok {
			near = max(near, m)
		}
	}
	return near
}

// cautions hold for every outing.
func (p *Plan) cautions() []string {
	out := []string{
		"Place mast, wire and guys so that nothing comes near a power line, falling any way. Treat every line as live.",
		"Leave when you hear thunder, and wait half an hour after the last.",
		"The ends of a wire carry high voltage on transmit, even at a few watts: insulated and out of reach. Mark wires and guys where people walk.",
		"Your licence decides on bands, power, identification and on unattended or automatic sending. fairlobe keys no transmitter.",
	}
	if p.in.Experiment.Schedule.Changeover == "by hand" {
		out = append(out, "Changes by hand: power off before anyone touches the antenna, each time.")
	}
	return append(out, "Local codes, the owner of the land and licensed practice come before all that stands here.")
}

// shortestDwell is the least length of a dwell.
func (p *Plan) shortestDwell() (least time.Duration) {
	for i, d := range p.in.Planned {
		if one := d.End.Sub(d.Start); i == 0 || one < least {
			least = one
		}
	}
	return least
}
