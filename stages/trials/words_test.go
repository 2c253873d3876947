package trials

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// report is one made by hand, with every part that is printed.
func report() *Report {
	return &Report{Trials: 1000, Scenario: "usual", Seed: 7, LookEachBlock: true, Truth: []string{"20m: high none"}, Results: []Result{
		{Claim: "stronger", Kind: "level", Band: "20m", Truth: "no difference", Stations: 58.25, Receptions: 1970, Blocks: 15.5,
			Verdicts:    []Counted{{"undecided", shareOf(900, 1000)}, {"different, beyond", shareOf(100, 1000)}},
			Reasons:     []Counted{{"undecided", shareOf(1000, 1000)}},
			FalseAlarms: &Alarms{P: []Tested{{0.05, shareOf(50, 1000), 74}, {0.01, shareOf(9, 1000), 22}}, Different: shareOf(100, 1000)},
			Coverage:    []Covered{{"interval_db", shareOf(950, 1000), 1.25, "dB"}},
			Bias:        []Bias{{"interval_db", -0.004, 0.01, 0.3, 1000, "dB"}}},
		{Claim: "a lobe", Kind: "directivity", Shape: "one-sided", Band: "20m", Truth: "a lobe",
			Power: &Alarms{P: []Tested{{0.05, shareOf(800, 1000), 74}, {0.01, shareOf(700, 1000), 22}}, Different: shareOf(750, 1000)}},
	}, AnyFalse: &Tested{0.05, shareOf(100, 1000), 74}}
}

// The figures are those of the report: 0.05 has the error sqrt(0.05*0.95/1000) = 0.69 %.
func TestWords(t *testing.T) {
	require.Equal(t, `1000 trials, scenario usual, seed 7, judged after every block until the verdict is "different"
  true: 20m: high none

stronger, 20m (level); true: no difference
  verdicts      undecided 90.00 +- 0.95 %; different, beyond 10.00 +- 0.95 %
  reasons       undecided 100.00 +- 0.00 %
  false alarms  p <= 0.05: 5.00 +- 0.69 % (5 % allow 7.40); p <= 0.01: 0.90 +- 0.30 % (1 % allow 2.20); verdict: 10.00 +- 0.95 %
  coverage      interval_db 95.00 +- 0.69 % (width 1.25 dB)
  bias          interval_db -0.004 +- 0.010 dB (SD 0.30)
  on average    58.2 stations, 1970 receptions, 15.5 blocks

a lobe, 20m (directivity, one-sided); true: a lobe
  verdicts      
  reasons       
  power         p <= 0.05: 80.00 +- 1.26 %; p <= 0.01: 70.00 +- 1.45 %; verdict: 75.00 +- 1.37 %
  on average    0.0 stations, 0 receptions, 0.0 blocks

Trials with any false "different" or "fails": 10.00 +- 0.95 % (5 % allow 7.40)`, strings.Join(report().Words(), "\n"))
}

func TestMarkdown(t *testing.T) {
	lines := report().Markdown()
	require.Len(t, lines, 4)
	for _, line := range lines {
		require.Equal(t, strings.Count(lines[0], "|"), strings.Count(line, "|"), line)
	}
	require.Equal(t, "| usual, looked at after each block | no difference | level, 20m | 1000 | 15.5 | 5.00 of 7.40 | 0.90 of 2.20 | 10.00 +- 0.95 % |"+
		" interval_db 95.00 +- 0.69 % | interval_db -0.004 +- 0.010 dB |", lines[2])
}
