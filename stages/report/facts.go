package report

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

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
	stand, they := "stations stand", "They are shown apart and enter"
	if len(near) == 1 {
		stand, they = "station stands", "It is shown apart and enters"
	}
	return fmt.Sprintf("%d %s in the square of this one, with %d of the rows used. %s no verdict: at so short a distance the wave takes another way.", len(near), stand, receptions, they)
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

// lateChanges tells of dwells that began late.
func lateChanges(late int) string {
	said := fmt.Sprintf("by the log: %s, shortened alike with the others of ", counted(late, "dwell"))
	if late == 1 {
		return said + "its block"
	}
	return said + "their blocks"
}

// counted writes a number with its noun, which has a regular plural.
func counted[T int | int64](n T, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// lobeDirection tells where a lobe points, with the interval of it. A two-sided lobe, of the second harmonic, points both
// ways: its angles repeat after half a turn.
func lobeDirection(harmonic int, towardDeg float64, in [2]float64) string {
	if harmonic != 2 {
		return fmt.Sprintf("%.0f degrees; from %.0f clockwise to %.0f", towardDeg, in[0], in[1])
	}
	const half = 180
	if in[1] < in[0] {
		in[1] += half
	}
	one := math.Mod(math.Round(towardDeg), half)
	return fmt.Sprintf("along %.0f and %.0f degrees; from %.0f to %.0f", one, one+half, in[0], in[1])
}

// armsWords names the arms of a claim, those that it compares with "against" between them.
func (e *entry) armsWords() string {
	if e.Kind == "match" || e.Kind == "reciprocity" {
		return strings.Join(e.Arms, ", ")
	}
	return strings.Join(e.Arms, " against ")
}

// Readings that ignore the design, by name.
const (
	naiveSpotT    = "t test over single reports"
	naiveBearings = "test whether the reports' bearings spread evenly"
)

func (p Params) cautions() []string { return append(Cautions(p.EndFed), cleanAll(p.Safety)...) }

// Cautions are the words on safety, for a station with a wire that is fed at an end or without; they say of nothing that
// it is safe or allowed.
func Cautions(endFed bool) []string {
	var said []string
	if endFed {
		said = append(said, "This wire is fed at an end. There, at the transformer, the voltage on transmit is the highest of the whole wire, even at a few watts: insulate it, keep it out of reach, and touch nothing while transmitting.")
	}
	return append(said,
		"Keep masts, wires and guys so far from power lines that nothing can touch them, falling any way. Leave when you hear thunder. The ends of a wire carry high voltage on transmit, even at a few watts: keep them out of reach. Keep people away from the antenna on transmit as your rules on RF exposure ask. Mark wires and guys where people walk.",
		"Local codes, the land owner and the terms of your licence come first: identification, power, bands, and who must be at the station. fairlobe does not say that something is safe or allowed, and never keys a transmitter.",
	)
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
