package pooling

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

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
	return doc
}

func codes(warnings []Warning) []string {
	var out []string
	for _, w := range warnings {
		out = append(out, w.Code)
	}
	return out
}

// The numbers are those of R 4.2.2, metafor 3.8.1: rma(yi, vi, method = "REML", test = "knha") for the data inv_k3 of the checks of package
// meta: estimate, interval and prediction of case meta-060 there.
func TestAgreesWithThePackage(t *testing.T) {
	y, v := []float64{1.2, 0.4, 2.1}, []float64{0.1, 0.25, 0.16}
	var studies []Study
	for i := range y {
		half := math.Sqrt(v[i]) * distuv.StudentsT{Sigma: 1, Nu: 15}.Quantile(0.975)
		studies = append(studies, study(i+1, level(y[i], half)))
	}
	c := pooledOf(t, studies...).Claims[0]
	raw := readCase(t, "meta-060")
	require.InDelta(t, raw.Estimate, *c.Estimate, 1e-4)
	require.InDelta(t, raw.CI95[0], c.Interval[0], 0.0101)
	require.InDelta(t, raw.CI95[1], c.Interval[1], 0.0101)
	require.InDelta(t, raw.Tau2, c.Heterogeneity.Tau2, 1e-4)
	require.InDelta(t, raw.I2, *c.Heterogeneity.I2, 1e-3)
	require.LessOrEqual(t, c.Interval[0], raw.CI95[0], "rounded outward")
	require.NotNil(t, c.Prediction)
	require.InDelta(t, raw.Prediction[0], c.Prediction[0], 0.0101)
	for i, p := range c.Studies {
		require.InDelta(t, math.Sqrt(v[i]), *p.SE, 1e-4, "the variance comes back from the interval")
	}
}
