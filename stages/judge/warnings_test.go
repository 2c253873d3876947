package judge_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/account"
)

// inputCases are warnings of the spot files, of drops, and of what the log notes.
func inputCases() []ruleCase {
	const rule = "9: warnings have codes and triggers"
	of := func(name string, change func(*world), warns ...string) ruleCase {
		return ruleCase{rule: rule, name: name, world: with(plain(), change), verdict: "practically the same", code: "practically_the_same", reach: beyond, warns: append([]string{}, warns...)}
	}
	log := func(events ...account.LogEvent) func(*world) {
		return func(w *world) { w.trial.Events = events }
	}
	on := func(band string, e account.LogEvent) account.LogEvent {
		e.Band = band
		return e
	}
	low, high, weak := logged("power", 1, "low", 5, ""), logged("power", 2, "high", 5, ""), logged("power", 3, "high", 4, "")
	slack := logged("deviation", 4, "high", 0, "guy rope slack")
	doubts := func(w *world) {
		w.intake.Warnings = []account.Warning{{Code: "times_doubtful", Text: "of all bands"}, {Code: "constant_snr", Text: "of this band", Band: "20m"}, {Code: "constant_snr", Text: "of another", Band: "10m"}}
		w.intake.Read, w.intake.Used = 1000, 1000
	}
	onRefused := ruleCase{rule: rule, name: "of the spot files, on a refused claim", world: with(with(plain(), doubts), func(w *world) { w.blocks = 2 }), verdict: "refused", code: "too_few_blocks", warns: []string{"constant_snr", "times_doubtful"}}
	received := of("powers on receive", func(w *world) {
		log(low, weak)(w)
		w.direction, w.claims[0].Direction = "received", "received"
	})
	step := ruleCase{rule: rule, name: "powers of a known step", world: asking(with(plain().differ(3), log(low, weak)), kind("known_step", 3)), verdict: "holds", code: "holds", reach: here, warns: []string{}}
	return []ruleCase{
		onRefused, received, step,
		of("of the spot files", doubts, "constant_snr", "times_doubtful"),
		of("a drop after a look", droppedAfterLook(3), "dropped_after_look"),
		of("the same power", log(low, high)),
		of("5 W and 4 W: 0.97 dB", log(low, weak), "power_differs"),
		of("means of dB: 0.48 dB", log(low, high, weak), "power_differs"),
		of("5 W and 4.68 W: 0.29 dB", log(low, logged("power", 1, "high", 4.68, ""))),
		of("5 W and 4.66 W: 0.31 dB", log(low, logged("power", 1, "high", 4.66, "")), "power_differs"),
		of("the power of one arm alone", log(low)),
		of("no power sent", log(low, logged("power", 1, "high", -1, ""))),
		of("powers of another band", log(low, on("10m", weak))),
		of("deviations, one of another band", log(slack, on("20m", slack), on("10m", slack)), "deviation"),
	}
}

func TestWordsOfWarnings(t *testing.T) {
	w := plain()
	droppedAfterLook(3, 4)(w)
	w.trial.Events = []account.LogEvent{logged("power", 1, "low", 5, ""), logged("power", 1, "high", 4, ""), logged("deviation", 1, "", 0, "x"), logged("deviation", 2, "", 0, "y")}
	var texts []string
	for _, warning := range w.one(t).Warnings {
		texts = append(texts, warning.Text)
	}
	require.Equal(t, []string{
		"the log notes 2 deviations from what was declared",
		"2 blocks were dropped after the data had been looked at; with them the verdict is the same",
		"the logged power of low is 0.97 dB above that of high: the comparison is arm and power together; the verdict is not corrected", // 10 lg (5/4) = 0.969
	}, texts)
}
