package trials

import (
	"fmt"
	"strings"
)

// Words gives the report as lines of text. Shares are percents with their standard error.
func (r *Report) Words() []string {
	lines := []string{fmt.Sprintf("%s, scenario %s, seed %d", counted(r.Trials, "trial"), r.Scenario, r.Seed)}
	if r.LookEachBlock {
		lines[0] += ", judged after every block until the verdict is \"different\""
	}
	for _, t := range r.Truth {
		lines = append(lines, "  true: "+t)
	}
	for _, result := range r.Results {
		lines = append(append(lines, ""), result.words()...)
	}
	if r.AnyFalse != nil && len(r.Results) > 1 {
		lines = append(lines, "", fmt.Sprintf("Trials with any false \"different\" or \"fails\": %s", r.AnyFalse.words()))
	}
	return lines
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (r Result) words() []string {
	kind := r.Kind
	if r.Shape != "" {
		kind += ", " + r.Shape
	}
	lines := []string{fmt.Sprintf("%s, %s (%s); true: %s", r.Claim, r.Band, kind, r.Truth), line("verdicts", names(r.Verdicts)), line("reasons", names(r.Reasons))}
	if r.FalseAlarms != nil {
		lines = append(lines, line("false alarms", r.FalseAlarms.words(true)))
	}
	if r.Power != nil {
		lines = append(lines, line("power", r.Power.words(false)))
	}
	if len(r.Coverage) > 0 {
		lines = append(lines, line("coverage", coverageWords(r.Coverage)))
	}
	if len(r.Bias) > 0 {
		lines = append(lines, line("bias", biasWords(r.Bias)))
	}
	return append(lines, line("on average", fmt.Sprintf("%.1f stations, %.0f receptions, %.1f blocks", r.Stations, r.Receptions, r.Blocks)))
}

func line(head, text string) string { return fmt.Sprintf("  %-13s %s", head, text) }

// percent gives a share with its standard error.
func (s Share) percent() string { return fmt.Sprintf("%.2f +- %.2f %%", 100*s.Share, 100*s.Error) }

func names(all []Counted) string {
	var parts []string
	for _, c := range all {
		parts = append(parts, c.Name+" "+c.percent())
	}
	return strings.Join(parts, "; ")
}

// words of a test whose rejections are false: the bound is part of them.
func (t Tested) words() string {
	return fmt.Sprintf("%s (%g %% allow %.2f)", t.percent(), 100*t.Level, t.mostPercent())
}

func (t Tested) mostPercent() float64 { return 100 * float64(t.Most) / float64(max(1, t.Of)) }

func (a Alarms) words(bounded bool) string {
	var parts []string
	for _, t := range a.P {
		text := t.percent()
		if bounded {
			text = t.words()
		}
		parts = append(parts, fmt.Sprintf("p <= %g: %s", t.Level, text))
	}
	return strings.Join(append(parts, "verdict: "+a.Different.percent()), "; ")
}

func coverageWords(all []Covered) string {
	var parts []string
	for _, c := range all {
		text := c.Name + " " + c.percent()
		if c.Width > 0 {
			text += fmt.Sprintf(" (width %.2f %s)", c.Width, c.Unit)
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "; ")
}

func biasWords(all []Bias) string {
	var parts []string
	for _, b := range all {
		parts = append(parts, fmt.Sprintf("%s %+.3f +- %.3f %s (SD %.2f)", b.Name, b.Mean, b.Error, b.Unit, b.SD))
	}
	return strings.Join(parts, "; ")
}
