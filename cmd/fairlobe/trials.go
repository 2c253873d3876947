package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"fairlobe/datasets/rehearsal"
	"fairlobe/experiments"
	"fairlobe/pipeline"
	"fairlobe/stages/trials"
)

// manyOptions are the options of a rehearsal of many trials.
type manyOptions struct {
	trials, blocks, jobs int
	kinds                []string
	look, json, markdown bool
}

// The limits of a rehearsal of many trials.
const (
	mostTrials = 1_000_000
	mostBlocks = 500
)

// simulatedKinds are the kinds of claim that can be simulated.
func simulatedKinds() []string {
	return []string{"level", "directivity", "heard_by", "reciprocity", "repeat", "null", "known_step"}
}

const manyLong = `
MANY TRIALS
With --trials the experiment is carried out so many times, each with an order of
the arms, a world and sign flips of its own. Nothing is written; you see how
often each verdict came, and how often the numbers held the truth, each share
with its standard error.

    fairlobe rehearse ridge-wire.toml --trials 200 --truth "20m: high +2.5 dB"

    false alarms  where there is nothing to find: how often p was at most 0.05
                  and 0.01, how often the verdict said "different", and the
                  most that 5 and 1 % allow in so many trials (99.9 %)
    power         the same where there is something to find
    coverage      how often each interval held the truth
    bias          mean of estimate less truth

Where receivers differ for themselves (scenario regional) a level is held to
what it says of receivers beyond those heard. --look-each-block makes the trial
an open one that is judged after every block and is over when its verdict is
"different"; what is counted is the whole path. The same seed gives the same
numbers, whatever --jobs. Claims about the match are left out.
`

// checkMany finds what is wrong with the options of many trials before anything is read.
func (opt rehearseOptions) checkMany(given func(flag string) bool) error {
	m := opt.many
	if !given("trials") {
		for _, flag := range []string{"blocks", "claims", "look-each-block", "jobs", "json", "markdown"} {
			if given(flag) {
				return usage("--%s goes with --trials", flag)
			}
		}
		return nil
	}
	for _, flag := range []string{"out", "data-only", "mishaps"} {
		if given(flag) {
			return usage("--%s does not go with --trials, which writes nothing", flag)
		}
	}
	switch {
	case m.trials < 1 || m.trials > mostTrials:
		return usage("--trials is %d; give 1 to %d", m.trials, mostTrials)
	case given("blocks") && (m.blocks < 1 || m.blocks > mostBlocks):
		return usage("--blocks is %d; give 1 to %d", m.blocks, mostBlocks)
	case m.json && m.markdown:
		return usage("--json and --markdown are two forms; give one of them")
	case m.jobs < 0:
		return usage("--jobs is %d; give 1 or more", m.jobs)
	}
	for _, kind := range m.kinds {
		if !slices.Contains(simulatedKinds(), kind) {
			return usage("--claims names %q; the kinds of claim that can be simulated are %s", kind, strings.Join(simulatedKinds(), ", "))
		}
	}
	return nil
}

// runMany simulates many trials of the experiment and prints what came.
func runMany(ctx context.Context, exp *experiments.Experiment, truth *rehearsal.Truth, opt rehearseOptions, std streams) error {
	m := opt.many
	bar := newProgress(std.err)
	defer bar.clear()
	report, err := trials.Run(ctx, trials.Settings{Experiment: exp, Truth: truth, Scenario: opt.scenario, Stations: opt.stations, Seed: opt.seed,
		Trials: m.trials, Blocks: m.blocks, Kinds: m.kinds, LookEachBlock: m.look, Jobs: m.jobs,
		Progress: func(done int) { bar.show(pipeline.Event{Done: done, Total: m.trials, Stage: "trials"}) }})
	bar.clear()
	if err != nil {
		return err
	}
	if m.json {
		text, err := json.MarshalIndent(report, "", "  ")
		if err != nil {
			return fmt.Errorf("writing the report: %w", err)
		}
		_, err = fmt.Fprintf(std.out, "%s\n", text)
		return err
	}
	lines := report.Words()
	if m.markdown {
		lines = report.Markdown()
	}
	for _, line := range lines {
		if _, err := fmt.Fprintln(std.out, line); err != nil {
			return err
		}
	}
	return nil
}
