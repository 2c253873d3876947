package judge_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"fairlobe/stages/judge"
	"fairlobe/stages/report"
)

func again(arms ...string) judge.Claim {
	return judge.Claim{Name: "comes out the same", Kind: "repeat", Arms: arms, Direction: "sent", Bands: []string{"20m"}}
}

// outings is a trial of some sessions, in each of which both arms were put up again, with a difference of their own.
func outings(db ...float64) *world {
	w := asking(plain(), again("high", "low"), level())
	w.sessions, w.blocks = len(db), 6
	w.diffDB = func(at place) float64 { return db[at.session-1] }
	return w
}

func TestRepeat(t *testing.T) {
	once := func(arm string) func(int, string) int { // that arm stands all the time
		return func(session int, a string) int {
			if a == arm {
				return 1
			}
			return session
		}
	}
	for _, c := range []struct {
		name          string
		world         *world
		verdict, code string
		says          []string
	}{
		{"all alike", outings(2, 2, 2, 2, 2), "holds", "holds", []string{"for high against low", "for low against high", "below the 1.5 dB that matter"}},
		{"far apart", outings(-8, 0, 8, 3), "fails", "fails", []string{"above the 1.5 dB that matter"}},
		{"the truth is 1 dB, of four", outings(2.8, 1, 3, 1.2), "undecided", "undecided", []string{"put it up more often"}},
		{"twice", outings(2, 2), "undecided", "few_erections", []string{"high was put up twice; low was put up twice", "at least 3"}},
		{"once", outings(2), "undecided", "few_erections", []string{"high was put up once"}},
		{"one arm stands all the time", with(outings(2, 2, 2, 2), func(w *world) { w.erection = once("low") }), "undecided", "few_erections", []string{"low was put up once"}},
		{"and is not asked about", with(outings(2, 2, 2, 2, 2), func(w *world) { w.erection, w.claims[0] = once("low"), again("high") }), "holds", "holds", []string{"for high against low"}},
		{"the order was not drawn", with(outings(2, 2, 2), func(w *world) { w.params.OrderFile = true }), "refused", "order_not_random", []string{"described, not tested"}},
		{"open", with(outings(2, 2, 2), func(w *world) { w.params.Stopping = "open" }), "undecided", "open_trial", []string{"plan a fixed number"}},
		{"not over", with(outings(2, 2, 2), func(w *world) { w.last = began.Add(24 * time.Hour) }), "undecided", "unfinished", nil},
		{"too few blocks", with(outings(2), func(w *world) { w.blocks = 3 }), "refused", "too_few_blocks", nil},
		{"one arm in all", with(outings(2, 2, 2), func(w *world) {
			w.arms, w.params.Arms, w.claims = []string{"high"}, []string{"high"}, []judge.Claim{again("high")}
		}), "refused", "no_comparison", []string{"add an arm that both outings have"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := c.world.judged(t)[0]
			require.Equal(t, c.verdict, e.Verdict, e.Reason)
			require.Equal(t, c.code, e.ReasonCode)
			for _, words := range c.says {
				require.Contains(t, e.Reason, words)
			}
			require.Nil(t, e.P)
		})
	}
}

// The erections are those that the sessions show, and both intervals follow from them.
func TestThisDesignAndTheseErections(t *testing.T) {
	all := outings(2.8, 1, 3, 1.2).judged(t)
	repeat, level := all[0], all[1]
	require.Equal(t, level.EstimateDB, repeat.EstimateDB)
	require.Equal(t, level.IntervalDB, repeat.IntervalDB, "these erections")
	var db []float64
	for i, s := range level.Sessions {
		db = append(db, *s.EstimateDB)
		one := repeat.Repeated[0].Erections[i]
		require.Equal(t, []any{i + 1, 6, *s.EstimateDB}, []any{one.Erection, one.Blocks, *one.EstimateDB})
	}
	mean, variance := stat.MeanVariance(db, nil)
	half := 3.1824 * math.Sqrt(variance/4) // t(0.975; 3)
	for _, e := range []entry{repeat, level} {
		require.InDelta(t, mean-half, *e.DesignIn[0], 0.011, "rounded outward to 0.01 dB")
		require.InDelta(t, mean+half, *e.DesignIn[1], 0.011)
		require.Less(t, *e.DesignIn[0], *e.IntervalDB[0])
		require.Greater(t, *e.DesignIn[1], *e.IntervalDB[1])
	}
	require.Equal(t, "high", repeat.Repeated[0].Arm)
	require.Equal(t, []string{"low"}, repeat.Repeated[0].Against)
	require.InDelta(t, math.Sqrt(variance), *repeat.Repeated[0].SpreadDB, 0.05, "blocks of 0.3 dB, six each, add little")
}

// The design is never known better than these erections: the wider one holds the other.
func TestTheDesignIntervalHoldsTheOther(t *testing.T) {
	w := outings(2, 2, 2, 2, 2, 2, 2, 2)
	w.blockSD = 2
	e := w.judged(t)[1]
	require.LessOrEqual(t, *e.DesignIn[0], *e.IntervalDB[0])
	require.GreaterOrEqual(t, *e.DesignIn[1], *e.IntervalDB[1])
}

// Erections that sessions share are not independent: three of each arm in a chain are one group.
func TestADesignNeedsIndependentErections(t *testing.T) {
	for _, c := range []struct {
		name     string
		sessions int
		number   func(session int, arm string) int
		known    bool
	}{
		{"all new", 3, nil, true},
		{"two of each", 2, nil, false},
		{"one arm stands", 3, func(s int, arm string) int { return map[string]int{"low": 1, "high": s}[arm] }, false},
		{"a chain", 5, func(s int, arm string) int { return map[string]int{"low": (s + 1) / 2, "high": s/2 + 1}[arm] }, false},
		{"two outings each", 6, func(s int, _ string) int { return (s + 1) / 2 }, true},
	} {
		w := outings(make([]float64, c.sessions)...)
		w.erection = c.number
		require.Equal(t, c.known, w.judged(t)[1].DesignIn != nil, c.name)
	}
}

func TestRepeatTurnsWithTheArms(t *testing.T) {
	one, turned := outings(2.8, 1, 3, 1.2), outings(2.8, 1, 3, 1.2)
	turned.swapped = true
	a, b := one.judged(t), turned.judged(t)
	require.Equal(t, a[0].Verdict, b[0].Verdict)
	require.Equal(t, a[0].Repeated[0], b[0].Repeated[1])
	require.Equal(t, a[0].Repeated[1], b[0].Repeated[0])
	for i := range a {
		require.InDelta(t, *a[i].EstimateDB, -*b[i].EstimateDB, 0)
		require.InDelta(t, *a[i].DesignIn[0], -*b[i].DesignIn[1], 0)
	}
	for i, r := range a[0].Repeated[1].Erections {
		require.InDelta(t, *a[0].Repeated[0].Erections[i].EstimateDB, -*r.EstimateDB, 0, "low against high is high against low, turned")
	}
}

// Three arms: each is held against the other two, and there is no one difference.
func TestRepeatOfThreeArms(t *testing.T) {
	w := asking(outings(2, 2, 2, 2), again("low", "high", "mid"))
	w.arms, w.params.Arms = []string{"low", "mid", "high"}, []string{"low", "mid", "high"}
	w.last = began.Add(30 * 24 * time.Hour) // a block of three arms takes longer than others
	e := w.judged(t)[0]
	require.Equal(t, "holds", e.Verdict, e.Reason)
	require.Nil(t, e.EstimateDB)
	require.Equal(t, []string{"low", "high"}, e.Repeated[2].Against, "in the order of the experiment file")
	require.InDelta(t, 1, math.Abs(*e.Repeated[0].Erections[0].EstimateDB), 0.3, "low is 0 and 2 dB below the others, whose reports are taken together")
	require.True(t, strings.HasPrefix(e.Reason, "put up again, "))
}

// What stands beside the numbers is in the report, too.
func TestFiguresBesideInTheReport(t *testing.T) {
	w := outings(2.8, 1, 3, 1.2)
	w.sweeps = append(lossRows("high", "h", 0.5, db(0.1), db(0.9)), lossRows("low", "l", 3, db(0.2), db(3.1))...)
	droppedAfterLook(1)(w)
	out := written(t, w, params())
	text := strings.Join(strings.Fields(out[report.FileText]), " ")
	for _, words := range []string{
		"of the design, however often it is put up: ", "high against low: erection 1 +", "standard deviation from one erection to the next: 1.",
		"mismatch and line loss by the sweeps explain: +2.30 dB", "without the drops entered after the first look: ",
	} {
		require.Contains(t, text, words)
	}
	readable(t, out[report.FileText])
}
