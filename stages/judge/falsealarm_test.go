package judge_test

import (
	"flag"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

// The trials of this file are those of another world (see otherworld). Each is judged alone, on one claim: a family of
// one. The number of false alarms is held against the 99.9 % binomial bound of 5 % of the trials judged, whatever
// their number. Judging the shape any takes ten times as long as the others, so fewer of its trials run by default; with
// -short there is a fifth of each (8 at least). Enough of them to quote:
//
//	go test ./stages/judge -run DirectivityFalse -v -falsealarms 400
var falseAlarmTrials = flag.Int("falsealarms", 0, "how many trials of each shape are judged for false alarms; 0: as many as are quick")

// facing makes signals from one side stronger, so that how much is lost below the threshold depends on the direction.
var facing = table12{-7, -9, -6, -2, 3, 6, 8, 6, 4, 1, -2, -5}

// crossed has two opposite sides, and a mean of 0.
var crossed = table12{2.6, 0.3, -2.4, -3.1, -0.6, 2.9, 3.0, 0.5, -2.2, -2.8, -0.9, 2.7}

// apart are arms that differ by 4 dB in every direction.
func apart(seed uint64, blocks int) otherworld {
	return otherworld{
		seed: seed, blocks: blocks, slots: 2, receivers: 18, low: uneven, high: uneven.plus(4), strength: facing, meanDB: -13,
	}
}

// differing are arms with one table, and receivers of which each has its own difference, and each region one more, in no order.
func differing(seed uint64, blocks int) otherworld {
	return otherworld{
		seed: seed, blocks: blocks, slots: 2, receivers: 18, low: uneven, high: uneven, meanDB: -9, ownSD: 2, regionSD: 2,
	}
}

// lobed are arms whose difference is a table with a shape.
func lobed(seed uint64, blocks int, difference table12) otherworld {
	return otherworld{
		seed: seed, blocks: blocks, slots: 2, receivers: 18, low: uneven, high: uneven.and(difference), meanDB: -9,
	}
}

// The shape any asks for 12 blocks.
var lobeShapes = []struct {
	shape          string
	blocks, trials int
	difference     table12
}{
	{"one-sided", 8, 400, leaning},
	{"two-sided", 8, 400, crossed},
	{"any", 12, 24, leaning},
}

func TestDirectivityFalseAlarms(t *testing.T) {
	for n, s := range lobeShapes {
		seed := uint64(100_000 * (n + 1))
		for _, c := range []struct {
			name  string
			world otherworld
		}{
			{"a common difference, censored by direction", apart(seed, s.blocks)},
			{"receivers and regions differ", differing(seed+10_000, s.blocks)},
		} {
			t.Run(s.shape+"/"+c.name, func(t *testing.T) {
				t.Parallel()
				trials := otherTrials(s.trials)
				if *falseAlarmTrials > 0 {
					trials = *falseAlarmTrials
				}
				alarms, gate1 := 0, 0
				judged := c.world.trials(t, trials, otherLobe(s.shape), func(e judge.Entry) {
					if e.Verdict == judge.Different {
						alarms++
					}
					if *e.Directivity.PGate1 <= 0.05 {
						gate1++
					}
				})
				bound := otherBound(judged, 0.05)
				t.Logf("%d trials: false alarms %d (bound %d), gate 1 alone %d", judged, alarms, bound, gate1)
				require.LessOrEqual(t, alarms, bound)
			})
		}
	}
}

// A shape that is there is found, in trials of the size that must give no false alarms.
func TestDirectivityThatIsThere(t *testing.T) {
	for n, s := range lobeShapes {
		t.Run(s.shape, func(t *testing.T) {
			t.Parallel()
			found := 0
			judged := lobed(uint64(500_000+100_000*n), s.blocks, s.difference).trials(t, otherTrials(max(6, s.trials/10)), otherLobe(s.shape), func(e judge.Entry) {
				if e.Verdict == judge.Different {
					found++
				}
			})
			t.Logf("%d trials: found %d", judged, found)
			require.Greater(t, found, judged/2)
		})
	}
}
