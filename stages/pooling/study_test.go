package pooling

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/judge"
)

func TestWhoDoesNotEnter(t *testing.T) {
	good := level(1, 0.5)
	for want, change := range map[string]func(f *Finding){
		"described, not tested (evidence: compared)": func(f *Finding) { f.Evidence = judge.Compared },
		"described, not tested (evidence: none)":     func(f *Finding) { f.Evidence = "" },
		"refused there: too few stations":            func(f *Finding) { f.Verdict, f.Reason = judge.Refused, "too few stations" },
		"added after the seal":                       func(f *Finding) { f.AddedAfterSeal = true },
		"the trial is not over: 5 of 16 blocks":      func(f *Finding) { f.ReasonCode, f.Blocks = "unfinished", 5 },
		"no interval with two ends":                  func(f *Finding) { f.Interval = &[2]*float64{of(0.0), nil} },
		"fewer than two blocks":                      func(f *Finding) { f.Blocks = 1 },
		"no width":                                   func(f *Finding) { f.Interval = &[2]*float64{of(1.0), of(1.0)} },
		"its lobe has no interval:":                  func(f *Finding) { *f = lobe(1, 0, 0.3, 0); f.Interval = nil },
		"its lobe has no interval with two ends":     func(f *Finding) { *f = lobe(1, 0, 0.3, 0); f.Interval[1] = nil },
		"no lobe could be fitted":                    func(f *Finding) { *f = lobe(1, 0, 0.3, 0); f.Fits = nil },
	} {
		bad, beside := good, good
		change(&bad)
		if bad.Kind == "directivity" {
			beside = lobe(1, 0, 0.3, 0)
		}
		c := pooledOf(t, study(1, beside), study(2, bad), study(3, beside)).Claims[0]
		require.Len(t, c.LeftOut, 1, want)
		require.Contains(t, c.LeftOut[0].Reason, want)
		require.Equal(t, 2, c.Operators)
		require.Contains(t, codes(c.Warnings), "two_studies")
	}
	found := good
	found.Verdict = judge.Different
	c := pooledOf(t, study(1, found), study(2, func() Finding { f := good; f.Evidence = judge.Observed; return f }())).Claims[0]
	require.Equal(t, judge.Undecided, c.Verdict, "a verdict of a pool speaks of two operators or more")
	require.Equal(t, oneOperator, c.ReasonCode)
	require.Contains(t, c.Reason, "its own verdict is different: the data allow much")
	require.InDelta(t, 100, c.Studies[0].Weight, 0)
}

func refusal(t *testing.T, studies ...Study) diag.List {
	t.Helper()
	_, err := Pool(studies, Options{})
	var list diag.List
	require.ErrorAs(t, err, &list)
	return list
}

func TestTheSameDataTwice(t *testing.T) {
	a, b := study(1, level(1, 0.5)), study(2, level(1, 0.5))
	b.Identity = a.Identity
	list := refusal(t, a, b)
	require.Equal(t, "same_bundle", list[0].Code)

	b = study(2, level(1, 0.5))
	b.Findings[0].Blocks = 12
	b.Receptions = append(slices.Clone(a.Receptions[:11]), b.Receptions[:9]...)
	slices.Sort(b.Receptions)
	for _, order := range [][]Study{{a, b}, {b, a}} {
		list = refusal(t, order...)
		require.Len(t, list, 1)
		require.Equal(t, "same_data", list[0].Code)
		require.Equal(t, "b2.zip", list[0].Pos.File)
		require.Equal(t, "leave b2.zip out: the other one has more blocks, 16 against 12", list[0].Mend)
		require.Contains(t, list[0].Msg, "b1.zip: 11 of the 20 receptions")
	}
	b.Receptions = append(slices.Clone(a.Receptions[:10]), study(2).Receptions[:10]...)
	slices.Sort(b.Receptions)
	pooledOf(t, a, b) // half is not more than half
}

func TestOtherQuestions(t *testing.T) {
	a, b, c := study(1, level(1, 0.5)), study(2, level(1, 0.5)), study(3, level(1, 0.5))
	for name, change := range map[string]func(q *Question){
		"claim": func(q *Question) { q.Claim = "other" }, "kind": func(q *Question) { q.Kind = "null" }, "band": func(q *Question) { q.Band = "10m" },
		"arms": func(q *Question) { q.Arms = []string{"low", "high"} }, "direction": func(q *Question) { q.Direction = "received" },
		"distance": func(q *Question) { q.WithinKm = &[2]float64{0, 500} }, "step": func(q *Question) { q.StepDB = of(3.0) },
	} {
		other := b
		other.Findings = slices.Clone(b.Findings)
		change(&other.Findings[0].Question)
		require.Equal(t, "different_questions", refusal(t, a, other)[0].Code, name)
		doc := pooledOf(t, a, other, c)
		require.Len(t, doc.Claims, 1, name)
		require.Equal(t, 2, doc.Claims[0].Operators)
		require.Len(t, doc.Alone, 1)
		require.Contains(t, codes(doc.Warnings), "asks_something_else")
	}
	small := b
	small.Findings = slices.Clone(b.Findings)
	small.Findings[0].Smallest = 1
	got := pooledOf(t, a, small).Claims[0]
	require.InDelta(t, 1, got.Smallest, 0)
	require.Contains(t, codes(got.Warnings), "smallest_differs")
}

func TestCheck(t *testing.T) {
	require.NoError(t, level(1, 0.5).Check())
	require.NoError(t, lobe(1, 1, 0.3, 10).Check())
	for name, change := range map[string]func(f *Finding){
		"verdict":        func(f *Finding) { f.Verdict = "maybe" },
		"estimate":       func(f *Finding) { *f.Estimate = 1e300 },
		"NaN":            func(f *Finding) { *f.Estimate = math.NaN() },
		"end":            func(f *Finding) { f.Interval[1] = of(1e300) },
		"reversed":       func(f *Finding) { f.Interval[0], f.Interval[1] = f.Interval[1], f.Interval[0] },
		"outside":        func(f *Finding) { *f.Estimate = 9 },
		"smallest":       func(f *Finding) { f.Smallest = 0 },
		"points":         func(f *Finding) { f.Kind, *f.Estimate = "heard_by", 101 },
		"blocks":         func(f *Finding) { f.Blocks = -1 },
		"fit":            func(f *Finding) { f.Fits = []Fit{{1, 1e300, 0, 1, 1, 0}} },
		"variance":       func(f *Finding) { f.Fits = []Fit{{1, 1, 0, -1, 1, 0}} },
		"covariance":     func(f *Finding) { f.Fits = []Fit{{1, 1, 0, 1, 1, 1}} },
		"NaN covariance": func(f *Finding) { f.Fits = []Fit{{1, 1, 0, 1, 1, math.NaN()}} },
		"front to back":  func(f *Finding) { f.FrontToBack = &FrontToBack{0, of(1e9), nil} },
	} {
		f := level(1, 0.5)
		change(&f)
		require.Error(t, f.Check(), name)
	}
}
