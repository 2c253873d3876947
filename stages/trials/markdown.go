package trials

import (
	"fmt"
	"strings"
)

// Markdown gives the report as the lines of a table: two of its head, then one for each claim and band. Shares are
// percents; those of false alarms stand beside the greatest that the level allows.
func (r *Report) Markdown() []string {
	lines := []string{
		"| scenario | true | claim | trials | blocks | p <= 0.05 | p <= 0.01 | verdict says so | intervals that hold the truth | bias |",
		"| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
	}
	for _, result := range r.Results {
		lines = append(lines, result.row(r))
	}
	return lines
}

func (r Result) row(of *Report) string {
	scenario, kind := of.Scenario, r.Kind
	if of.LookEachBlock {
		scenario += ", looked at after each block"
	}
	if r.Shape != "" {
		kind += " " + r.Shape
	}
	cells := []string{scenario, r.Truth, kind + ", " + r.Band, fmt.Sprint(of.Trials), fmt.Sprintf("%.1f", r.Blocks)}
	switch {
	case r.FalseAlarms != nil:
		for _, t := range r.FalseAlarms.P {
			cells = append(cells, fmt.Sprintf("%.2f of %.2f", 100*t.Share.Share, t.mostPercent()))
		}
		cells = append(cells, r.FalseAlarms.Different.percent())
	case r.Power != nil:
		for _, t := range r.Power.P {
			cells = append(cells, fmt.Sprintf("power %.2f", 100*t.Share.Share))
		}
		cells = append(cells, "power "+r.Power.Different.percent())
	default:
		cells = append(cells, "-", "-", names(r.Verdicts))
	}
	cells = append(cells, heldCells(r.Coverage), biasCells(r.Bias))
	return "| " + strings.Join(cells, " | ") + " |"
}

func heldCells(all []Covered) string {
	var parts []string
	for _, c := range all {
		parts = append(parts, c.Name+" "+c.percent())
	}
	return strings.Join(parts, "; ")
}

func biasCells(all []Bias) string {
	var parts []string
	for _, b := range all {
		parts = append(parts, fmt.Sprintf("%s %+.3f +- %.3f %s", b.Name, b.Mean, b.Error, b.Unit))
	}
	return strings.Join(parts, "; ")
}
