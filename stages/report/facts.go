package report

import (
	"encoding/json"
	"fmt"
	"slices"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/internal/station"
)

// Facts that the text and the page both tell.

// ownSquare speaks of the stations in the own station's square; "" if there are none.
func ownSquare(in *pipeline.Input) string {
	near := map[int64]bool{}
	for r := table.NewReader(in.Table("stations")); r.Next(); {
		if r.Str("region") == station.RegionOwnSquare {
			near[r.Int("number")] = true
		}
	}
	if len(near) == 0 {
		return ""
	}
	receptions := int64(0)
	for r := table.NewReader(in.Table("cells")); r.Next(); {
		if near[r.Int("station")] {
			receptions += r.Int("receptions")
		}
	}
	return fmt.Sprintf("%d stations stand in the square of this one, with %d of the rows used. They are shown apart and enter no verdict: at so short a distance the wave takes another way.", len(near), receptions)
}

// lostBlocks tells which blocks do not count, and how many dwells began late.
func lostBlocks(r *table.Reader) (lost []string, late int) {
	for r.Next() {
		if r.Float("late_s") > 0 {
			late++
		}
		if r.Bool("kept") {
			continue
		}
		said := fmt.Sprintf("session %d, %s, block %d: %s", r.Int("session"), clean(r.Str("band")), r.Int("block"), clean(word(r, "reason")))
		if !slices.Contains(lost, said) {
			lost = append(lost, said)
		}
	}
	return lost, late
}

// cautions are the general words; they say of nothing that it is safe or allowed.
func cautions() []string {
	return []string{
		"Keep masts, wires and guys so far from power lines that nothing can touch them, falling any way. Leave when you hear thunder. The ends of a wire carry high voltage on transmit, even at a few watts: keep them out of reach. Keep people away from the antenna on transmit as your rules on RF exposure ask. Mark wires and guys where people walk.",
		"Local codes, the land owner and the terms of your licence come first: identification, power, bands, and who must be at the station. fairlobe does not say that something is safe or allowed, and never keys a transmitter.",
	}
}

// logEvents gives what the switch log notes: deviations first, then remarks, then powers, each in the order of time, so
// that many powers don't hide a deviation.
func logEvents(file []byte) ([]account.LogEvent, error) {
	var trial account.Trial
	if err := json.Unmarshal(file, &trial); err != nil {
		return nil, fmt.Errorf("reading trial.json: %w", err)
	}
	rank := []string{account.Deviation, account.Remark, account.Power}
	events := slices.DeleteFunc(trial.Events, func(e account.LogEvent) bool { return !slices.Contains(rank, e.Kind) })
	slices.SortStableFunc(events, func(a, b account.LogEvent) int { return slices.Index(rank, a.Kind) - slices.Index(rank, b.Kind) })
	return events, nil
}
