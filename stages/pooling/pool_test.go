package pooling

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/datasets"
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
