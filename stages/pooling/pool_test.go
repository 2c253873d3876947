package pooling

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/datasets"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/signflip"
	"fairlobe/stages/judge"
)

// of gives a pointer.
func of[T any](v T) *T { return &v }

// level is a finding of 16 blocks: estimate, and half of the interval's length.
func level(estimate, half float64) Finding {
	return Finding{Question: Question{Claim: "lift helps", Kind: "level", Band: "20m", Arms: []string{"high", "low"}, Direction: "sent"},
		Smallest: 1.5, Verdict: judge.Undecided, Reason: "the data allow much", ReasonCode: "undecided", Reach: "these receivers", Evidence: judge.Randomised,
		Estimate: &estimate, Interval: &[2]*float64{of(estimate - half), of(estimate + half)}, Tested: true, Blocks: 16, BlocksPlanned: 16, Regions: 12, Stations: 40}
}

// lobe is a finding of a directivity claim, shape one-sided: the vector from north, its standard error, and the azimuth of the wire.
func lobe(cos, sin, se, azimuth float64) Finding {
	f := level(0, 0)
	f.Question = Question{Claim: "lift favours the slope", Kind: "directivity", Band: "20m", Arms: []string{"high", "low"}, Direction: "sent", Shape: "one-sided"}
	f.Estimate, f.Interval = of(math.Hypot(cos, sin)), &[2]*float64{of(0.0), of(math.Hypot(cos, sin) + 3*se)}
	f.Fits = []Fit{{1, cos, sin, se * se, se * se, 0}}
	f.Azimuths = [2]*float64{&azimuth, &azimuth}
	return f
}

// study is a study of an operator of its own, in a square of its own, with receptions of its own.
func study(n int, findings ...Finding) Study {
	s := Study{File: fmt.Sprintf("b%d.zip", n), Name: "ridge-wire", Identity: fmt.Sprintf("sha256:%064x", n*7919), Title: "Ridge wire", Operator: fmt.Sprintf("%016x", n),
		Square: fmt.Sprintf("M%c%02d", 'A'+n/100, n%100), Seal: "sha256:" + strings.Repeat("ab", 32), SealedBeforeData: true, Looks: 1, Findings: findings}
	for i := range 20 {
		s.Receptions = append(s.Receptions, uint64(1000*n+i))
	}
	return s
}

func pooledOf(t *testing.T, studies ...Study) *Document {
	t.Helper()
	doc, err := Pool(studies, Options{Tool: "fairlobe test"})
	require.NoError(t, err)
	valid(t, doc)
	return doc
}

var compiled = sync.OnceValue(func() *jsonschema.Schema {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(datasets.PooledSchema))
	if err != nil {
		panic(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("pooled.schema.json", doc); err != nil {
		panic(err)
	}
	return c.MustCompile("pooled.schema.json")
})

// valid holds a document against the schema.
func valid(t *testing.T, doc *Document) {
	t.Helper()
	text, err := json.Marshal(doc) // fails on NaN and infinities
	require.NoError(t, err)
	back, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, compiled().Validate(back))
}

// The schema asks for every key and knows no other.
func TestTheSchemaCanRefuse(t *testing.T) {
	text, err := json.Marshal(pooledOf(t, study(1, level(1, 0.5)), study(2, level(2, 0.5))))
	require.NoError(t, err)
	for _, change := range [][2]string{{`"format":1`, `"format":2`}, {`"tool":`, `"tools":`}, {`"unit":"dB"`, `"unit":"km"`}, {`"p":0.`, `"p":7.`}, {`"tau":`, `"sigma":`},
		{`"verdict":"undecided"`, `"verdict":"maybe"`}, {`"sha256:`, `"md5:`}} {
		changed := strings.Replace(string(text), change[0], change[1], 1)
		require.NotEqual(t, string(text), changed, change[0])
		back, err := jsonschema.UnmarshalJSON(strings.NewReader(changed))
		require.NoError(t, err)
		require.Error(t, compiled().Validate(back), change[1])
	}
}

func codes(warnings []Warning) []string {
	var out []string
	for _, w := range warnings {
		out = append(out, w.Code)
	}
	return out
}

// The numbers are those of R 4.2.2, package metafor 3.8.1: rma(c(1.2, 0.4, 2.1), c(0.1, 0.25, 0.16), method = "REML", test = "knha"), invented data.
func TestAgreesWithThePackage(t *testing.T) {
	y, v := []float64{1.2, 0.4, 2.1}, []float64{0.1, 0.25, 0.16}
	var studies []Study
	for i := range y {
		half := math.Sqrt(v[i]) * distuv.StudentsT{Sigma: 1, Nu: 15}.Quantile(0.975)
		studies = append(studies, study(i+1, level(y[i], half)))
	}
	c := pooledOf(t, studies...).Claims[0]
	require.InDelta(t, 1.26636730292194, *c.Estimate, 1e-4)
	require.Equal(t, [2]float64{-0.79, 3.33}, *c.Interval, "-0.787910598143529 and 3.32064520398742, rounded outward")
	require.Equal(t, [2]float64{-2.38, 4.91}, *c.Prediction, "-2.37004715539973 and 4.90278176124362")
	require.InDelta(t, 0.11759284398492, *c.P, 1e-6)
	require.InDelta(t, 0.486336072434228, c.Heterogeneity.Tau2, 1e-4)
	require.InDelta(t, 75.3822885132108, *c.Heterogeneity.I2, 1e-3)
	require.InDelta(t, 7.3320987654321, c.Heterogeneity.Q, 1e-4)
	for i, p := range c.Studies {
		require.InDelta(t, math.Sqrt(v[i]), *p.SE, 1e-4, "the variance comes back from the interval")
	}
	require.Equal(t, judge.Undecided, c.Verdict)
	require.Contains(t, codes(c.Warnings), "few_studies")
}

// Verdicts of a level by size, for five operators.
func TestVerdictsOfALevel(t *testing.T) {
	for name, c := range map[string]struct {
		estimates []float64
		half      float64
		verdict   string
		code      string
		says      string
	}{
		"far beyond":           {[]float64{3.0, 3.4, 2.8, 3.3, 3.1}, 0.5, judge.Different, "different", "by more than the 1.5 dB that matter"},
		"beyond zero only":     {[]float64{1.0, 2.0, 1.4, 1.9, 1.2}, 0.5, judge.Different, "different", "the size is not settled"},
		"the other way round":  {[]float64{-3.0, -3.4, -2.8, -3.3, -3.1}, 0.5, judge.Different, "different", "low is 3.12 dB stronger than high"},
		"small":                {[]float64{0.1, -0.2, 0.3, 0.0, 0.1}, 0.4, judge.Same, "practically_the_same", "any difference is smaller than 1.5 dB"},
		"small but there":      {[]float64{0.7, 0.8, 0.6, 0.7, 0.75}, 0.3, judge.Same, "practically_the_same", "in favour of high"},
		"wide":                 {[]float64{-2, 3, 0, 2, -1}, 0.5, judge.Undecided, "undecided", "no difference, and also differences that matter"},
		"agree by chance only": {[]float64{2.00, 2.01, 2.02, 2.01, 2.00}, 4.5, judge.Undecided, onlyPlain, "agree more closely"},
	} {
		t.Run(name, func(t *testing.T) {
			var studies []Study
			for i, y := range c.estimates {
				studies = append(studies, study(i+1, level(y, c.half)))
			}
			got := pooledOf(t, studies...).Claims[0]
			require.Equal(t, c.verdict, got.Verdict, got.Reason)
			require.Equal(t, c.code, got.ReasonCode)
			require.Contains(t, got.Reason, c.says)
			require.LessOrEqual(t, got.Guarded[0], got.Interval[0])
			require.GreaterOrEqual(t, got.Guarded[1], got.Interval[1])
			require.Len(t, got.WithoutOne, 5)
			require.Len(t, got.Sensitivity, 2)
			require.Equal(t, Reach, *got.Reach)
		})
	}
}

func TestNullStepAndShares(t *testing.T) {
	three := func(f func(estimate float64) Finding, estimates ...float64) ClaimEntry {
		var studies []Study
		for i, y := range estimates {
			studies = append(studies, study(i+1, f(y)))
		}
		return pooledOf(t, studies...).Claims[0]
	}
	kind := func(kind string, half float64, change func(*Finding)) func(float64) Finding {
		return func(y float64) Finding {
			f := level(y, half)
			f.Kind = kind
			change(&f)
			return f
		}
	}
	null := kind("null", 0.3, func(f *Finding) {})
	require.Equal(t, judge.Holds, three(null, 0.1, -0.1, 0.05).Verdict)
	require.Equal(t, judge.Fails, three(null, 2.1, 2.2, 2.0).Verdict)
	require.Equal(t, judge.Undecided, three(null, 2.1, -2.2, 0).Verdict)
	step := kind("known_step", 0.3, func(f *Finding) { f.StepDB = of(3.0) })
	require.Equal(t, judge.Holds, three(step, 2.9, 3.1, 3.0).Verdict)
	require.Equal(t, judge.Fails, three(step, 1.1, 1.0, 0.9).Verdict)
	require.Equal(t, judge.Undecided, three(step, 5, 1, -2).Verdict)
	shares := kind("heard_by", 5, func(f *Finding) { f.Smallest = 10 })
	c := three(shares, 22, 25, 24)
	require.Equal(t, "points", c.Unit)
	require.Contains(t, c.Reason, "percentage points more hear high than low")
	offset := kind("reciprocity", 1, func(f *Finding) { f.Arms, f.Regions = []string{"high"}, 9 })
	c = three(offset, -6, -6.2, -5.9)
	require.Contains(t, c.Reason, "weaker than what is received")
	require.InDelta(t, 1/2.306004135, *c.Studies[0].SE, 1e-4, "nine regions: t with 8 degrees of freedom")
}

// Holm over the questions in the family: with p of 0.02 and 0.4 the first becomes 0.04, and with another question that none could
// answer 0.06.
func TestFamily(t *testing.T) {
	other := func(y float64, claim string) Finding {
		f := level(y, 0.5)
		f.Claim = claim
		return f
	}
	refused := other(0, "refused everywhere")
	refused.Verdict, refused.Estimate, refused.Interval, refused.Tested = judge.Refused, nil, nil, false
	two := func(more ...Finding) *Document {
		var studies []Study
		for i, y := range []float64{2, 1.2, 2.6} {
			studies = append(studies, study(i+1, append([]Finding{level(y, 0.5), other(float64(1-i), "nothing")}, more...)...))
		}
		return pooledOf(t, studies...)
	}
	doc := two()
	require.Equal(t, 2, *doc.Claims[0].FamilySize)
	require.InDelta(t, 2**doc.Claims[0].P, *doc.Claims[0].PAdjusted, 2e-6)
	doc = two(refused)
	require.Equal(t, 3, *doc.Claims[0].FamilySize)
	require.InDelta(t, 3**doc.Claims[0].P, *doc.Claims[0].PAdjusted, 3e-6)
	require.Equal(t, judge.Refused, doc.Claims[2].Verdict)
	require.Nil(t, doc.Claims[2].PAdjusted)
	require.Len(t, doc.Claims[2].LeftOut, 3)
}

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

// A lobe of one arm is never tested; a bundle that says so all the same is not taken at its word.
func TestLobeOfOneArm(t *testing.T) {
	f := lobe(3, 0, 0.1, 300)
	f.Arms, f.Azimuths[1] = []string{"high"}, nil
	for _, frame := range []string{"", North, Wire} {
		doc, err := Pool([]Study{study(1, f), study(2, f)}, Options{Frame: frame})
		require.NoError(t, err)
		require.Equal(t, noneEnters, doc.Claims[0].ReasonCode)
		require.Equal(t, "one arm alone is compared with nothing", doc.Claims[0].LeftOut[0].Reason)
	}
}

func TestOneBundle(t *testing.T) {
	doc := pooledOf(t, study(1, level(1, 0.5), lobe(1, 0, 0.3, 0)))
	require.Len(t, doc.Claims, 2)
	require.Empty(t, doc.Alone)
	for _, c := range doc.Claims {
		require.Equal(t, oneStudy, c.ReasonCode)
		require.Contains(t, c.Reason, "only one study, so there is nothing to pool")
		require.Len(t, c.Studies, 1)
		require.Nil(t, c.P)
	}
}

// Experiments of one operator: y = 1 and 2 with standard errors s and s/2 have weights 1 and 4, so 1.8 with (s + 4 s/2)/5 = 0.6 s.
func TestOneOperator(t *testing.T) {
	a, b, c := study(1, level(1, 1)), study(2, level(2, 0.5)), study(3, level(1.5, 0.5))
	b.Operator = a.Operator
	doc := pooledOf(t, a, b, c)
	got := doc.Claims[0]
	require.Equal(t, 2, got.Operators)
	require.Equal(t, 3, got.Experiments)
	joint := got.Studies[0]
	require.Len(t, joint.Parts, 2)
	require.InDelta(t, 1.8, joint.Estimate, 1e-9)
	require.InDelta(t, 0.6**joint.Parts[0].SE, *joint.SE, 1e-4)
	require.Equal(t, 32, joint.Blocks)
	require.Contains(t, codes(doc.Warnings), "one_operator")

	got = pooledOf(t, a, b).Claims[0]
	require.Equal(t, oneOperator, got.ReasonCode)
	require.Equal(t, judge.Undecided, got.Verdict)

	b.Operator, b.Square = c.Operator[:15]+"f", a.Square
	require.Contains(t, codes(pooledOf(t, a, b).Warnings), "same_square")
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

func TestCounts(t *testing.T) {
	match := func(verdict string) Finding {
		f := level(0, 0)
		f.Kind, f.Estimate, f.Interval, f.Evidence, f.Verdict, f.Direction, f.SWRAtMost = "match", nil, nil, "", verdict, "", 2
		return f
	}
	c := pooledOf(t, study(1, match(judge.Holds)), study(2, match(judge.Fails)), study(3, match(judge.Holds))).Claims[0]
	require.Equal(t, Counted, c.Verdict)
	require.Contains(t, c.Reason, "holds at 2 of 3, fails at 1 of 3")
	require.Nil(t, c.FamilySize)
}

// Three lobes of 2 dB along their wires, which run toward 0, 120 and 240 degrees: nothing from north, a lobe of 2 dB in the frame of the wire.
func TestFrames(t *testing.T) {
	three := func(frame string) []Study {
		var out []Study
		for i, azimuth := range []float64{0, 120, 240} {
			sin, cos := math.Sincos(azimuth * math.Pi / 180)
			f := lobe(2*cos, 2*sin, 0.15, azimuth)
			f.Frame = frame
			f.FrontToBack = &FrontToBack{azimuth, of(4.0 + 0.1*float64(i)), &[2]*float64{of(3.0), of(5.3)}}
			out = append(out, study(i+1, f))
		}
		return out
	}
	c := pooledOf(t, three("")...).Claims[0]
	require.Equal(t, North, c.Directivity.Frame)
	require.Contains(t, codes(c.Warnings), "wires_differ")
	require.Equal(t, judge.Undecided, c.Verdict)
	require.InDelta(t, 0, *c.Estimate, 1e-4)
	require.Nil(t, c.Directivity.Lobes[0].TowardDeg)
	require.Equal(t, 4, c.Heterogeneity.QDF)

	c = pooledOf(t, three(Wire)...).Claims[0]
	require.Equal(t, Wire, c.Directivity.Frame)
	require.Empty(t, slices.DeleteFunc(codes(c.Warnings), func(s string) bool { return s == "few_studies" }))
	require.Equal(t, judge.Different, c.Verdict, c.Reason)
	require.InDelta(t, 2, *c.Estimate, 1e-4)
	require.InDelta(t, 0, math.Remainder(*c.Directivity.Lobes[0].TowardDeg, 360), 0.1)
	require.Contains(t, c.Reason, "toward 0 degrees clockwise from the way in which the wire runs, 2.00 dB")
	require.Equal(t, 3, c.Directivity.FrontToBack.Operators)
	require.InDelta(t, 4.1, *c.Directivity.FrontToBack.Estimate, 1e-4)

	doc, err := Pool(three(""), Options{Frame: Wire})
	require.NoError(t, err)
	require.Equal(t, judge.Different, doc.Claims[0].Verdict)

	mixed := three(Wire)
	mixed[1].Findings[0].Frame = ""
	c = pooledOf(t, mixed...).Claims[0]
	require.Equal(t, Wire, c.Directivity.Frame, "what one left open, the others decide")
	require.NotContains(t, codes(c.Warnings), "frames_differ")
	mixed[1].Findings[0].Frame = North
	require.Contains(t, codes(pooledOf(t, mixed...).Claims[0].Warnings), "frames_differ")
	mixed[1].Findings[0].Frame = Wire
	mixed[1].Findings[0].Azimuths[1] = of(90.0)
	c = pooledOf(t, mixed...).Claims[0]
	require.Len(t, c.LeftOut, 1)
	require.Contains(t, c.LeftOut[0].Reason, "they run toward 120 and 90 degrees")
	mixed[1].Findings[0].Azimuths[1] = nil
	require.Contains(t, pooledOf(t, mixed...).Claims[0].LeftOut[0].Reason, "it is not given")
}

// Two lobes of the second harmonic repeat after half a turn; the shape any asks both harmonics, and its p is twice the lesser.
func TestShapes(t *testing.T) {
	four := func(shape string, harmonics ...int) []Study {
		var out []Study
		for i := range 4 {
			f := lobe(0, 0, 0.2, 0)
			f.Shape = shape
			f.Fits = nil
			for _, h := range harmonics {
				sin, cos := math.Sincos(float64(h) * 100 * math.Pi / 180)
				f.Fits = append(f.Fits, Fit{h, 2*cos + 0.05*float64(i), 2 * sin, 0.04, 0.04, 0.01})
			}
			out = append(out, study(i+1, f))
		}
		return out
	}
	c := pooledOf(t, four("two-sided", 2)...).Claims[0]
	require.InDelta(t, 100, *c.Directivity.Lobes[0].TowardDeg, 2)
	require.Contains(t, c.Reason, "in the directions 1")
	require.Contains(t, codes(c.Warnings), "same_receivers")
	c = pooledOf(t, four("any", 1, 2)...).Claims[0]
	require.Len(t, c.Directivity.Lobes, 2)
	least := min(*c.Directivity.Lobes[0].P, *c.Directivity.Lobes[1].P)
	require.InDelta(t, 2*least, *c.P, 2e-6)
	c = pooledOf(t, four("any", 1)...).Claims[0]
	require.Equal(t, noneEnters, c.ReasonCode, "both harmonics are needed")
}

// Flat lobes rest on as many stations as in a single trial.
func TestFewStationsRuleOutNoLobe(t *testing.T) {
	flat := func(stations int) ClaimEntry {
		var out []Study
		for i := range 4 {
			f := lobe(0.05*float64(i), 0, 0.1, 0)
			f.Stations = stations
			out = append(out, study(i+1, f))
		}
		return pooledOf(t, out...).Claims[0]
	}
	require.Equal(t, judge.Same, flat(3).Verdict)
	require.Equal(t, "few_to_rule_out", flat(2).ReasonCode)
}

// A level that is small on average is not the same where a lobe is there.
func TestSmallLevelThatDependsOnTheDirection(t *testing.T) {
	var with, said []Study
	for i := range 4 {
		with = append(with, study(i+1, level(0.1, 0.3), lobe(2, 0.05*float64(i), 0.1, 0)))
		f := level(0.1, 0.3)
		f.Depends = i < 2
		said = append(said, study(i+1, f))
	}
	require.Equal(t, "depends_on_direction", pooledOf(t, with...).Claims[0].ReasonCode)
	require.Equal(t, "depends_on_direction", pooledOf(t, said...).Claims[0].ReasonCode)
	said[1].Findings[0].Depends = false
	require.Equal(t, judge.Same, pooledOf(t, said...).Claims[0].Verdict, "one of four is less than half")
}

func TestSensitivityAndLeaveOneOut(t *testing.T) {
	var studies []Study
	for i, y := range []float64{3, 3.2, 2.9, -8} {
		studies = append(studies, study(i+1, level(y, 0.4)))
	}
	studies[3].SealedBeforeData, studies[3].Seal = false, ""
	studies[3].Origin = &Origin{Kind: Varied}
	studies[0].Origin = &Origin{Kind: Direct}
	c := pooledOf(t, studies...).Claims[0]
	require.Equal(t, judge.Undecided, c.Verdict)
	require.Equal(t, judge.Different, c.WithoutOne[3].Verdict)
	require.Equal(t, judge.Undecided, c.WithoutOne[0].Verdict)
	for _, s := range c.Sensitivity {
		require.Equal(t, 3, s.Operators, s.What)
		require.Equal(t, judge.Different, s.Verdict, s.What)
	}
}

// The order of the bundles changes nothing, nor do equal names.
func TestOrder(t *testing.T) {
	var studies []Study
	for i := range 6 {
		f := lobe(1, 0.1*float64(i), 0.3, float64(10*i))
		studies = append(studies, study(i+1, level(float64(i), 0.5), f))
	}
	studies[4].Operator = studies[1].Operator
	studies[5].Square, studies[5].Name = studies[2].Square, studies[2].Name
	want, err := json.Marshal(pooledOf(t, studies...))
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		rng.Shuffle(len(studies), func(i, j int) { studies[i], studies[j] = studies[j], studies[i] })
		got, err := json.Marshal(pooledOf(t, studies...))
		require.NoError(t, err)
		require.Equal(t, string(want), string(got))
	}
}

// Exchanging the arms of a claim changes signs and nothing else.
func TestExchangedArms(t *testing.T) {
	var there, back []Study
	for i, y := range []float64{2.6, 3.1, 2.2, 4} {
		f := level(y, 0.5)
		g := level(-y, 0.5)
		g.Arms = []string{"low", "high"}
		there, back = append(there, study(i+1, f)), append(back, study(i+1, g))
	}
	a, b := pooledOf(t, there...).Claims[0], pooledOf(t, back...).Claims[0]
	require.Equal(t, a.Reason, b.Reason)
	require.Equal(t, a.Interval[0], -b.Interval[1])
	require.Equal(t, a.P, b.P)
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

// Whatever the findings are that Check lets pass, pooling ends in a document whose numbers exist or are null.
func TestAnyNumbers(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 50 {
		var studies []Study
		for i := range 1 + rng.IntN(5) {
			y, half := 1000*(rng.Float64()-0.5), math.Pow(10, 5*rng.Float64()-3)
			f := level(y, min(half, 400))
			f.Blocks = rng.IntN(20)
			v := math.Pow(10, 12*rng.Float64()-6)
			g := lobe(y, -y, 1, 360*rng.Float64())
			g.Fits[0].VarCos, g.Fits[0].VarSin = v, v*rng.Float64()
			if g.Check() != nil {
				continue
			}
			s := study(i+1, f, g)
			s.Operator = fmt.Sprintf("%016x", rng.IntN(3))
			studies = append(studies, s)
		}
		if len(studies) == 0 {
			continue
		}
		doc, err := Pool(studies, Options{})
		require.NoError(t, err)
		valid(t, doc)
	}
}

// How often the pooled intervals hold the mean of the places, with intervals of studies by inverted sign-flip tests over 10 blocks. The bound
// is four binomial standard errors below 95 %, 6.2 % with 200 simulated pools; the guarded interval may be as wide as it likes.
func TestCoverage(t *testing.T) {
	const blocks, operators = 10, 5
	pools := 200
	if testing.Short() {
		pools = 20
	}
	below := 0.95 - 4*math.Sqrt(0.05*0.95/float64(pools))
	plan := signflip.NewPlan(blocks, 1)
	rng := rand.New(rand.NewPCG(5, 6))
	flipInterval := func(mean, sd float64) (estimate, low, high float64) {
		var x [blocks]float64
		for b := range x {
			x[b] = mean + sd*rng.NormFloat64()
			estimate += x[b] / blocks
		}
		low, high = signflip.Interval(func(d float64) float64 {
			var g [blocks]float64
			for b := range g {
				g[b] = x[b] - d
			}
			return plan.Abs(g[:])
		}, estimate, 8*sd, 0.05, 9)
		return estimate, low, high
	}
	for _, tau := range []float64{0, 0.5, 1.5} {
		plain, guarded, singles := 0, 0, 0
		for range pools {
			var studies []Study
			for i := range operators {
				truth := 1 + tau*rng.NormFloat64()
				estimate, low, high := flipInterval(truth, 0.8+1.2*rng.Float64())
				if low <= truth && truth <= high {
					singles++
				}
				f := level(estimate, 1)
				f.Interval, f.Blocks = &[2]*float64{&low, &high}, blocks
				studies = append(studies, study(i+1, f))
			}
			doc, err := Pool(studies, Options{})
			require.NoError(t, err)
			c := doc.Claims[0]
			if contains(c.Interval, 1) {
				plain++
			}
			if contains(c.Guarded, 1) {
				guarded++
			}
		}
		share := func(n int) float64 { return float64(n) / float64(pools) }
		t.Logf("tau %g: single intervals %.1f %%, plain %.1f %%, guarded %.1f %%", tau, 100*share(singles)/operators, 100*share(plain), 100*share(guarded))
		require.GreaterOrEqual(t, share(plain), below, "tau %g", tau)
		require.GreaterOrEqual(t, share(guarded), below, "tau %g", tau)
	}
}
