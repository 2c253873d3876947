package report

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
	"fairlobe/stages/pooling"
)

// pooledStudies are so many invented studies with every kind of claim; name makes their names.
func pooledStudies(n int, name func(i int) string, words string) []pooling.Study {
	of := func(v float64) *float64 { return &v }
	both := []string{"high", "low"}
	if words != "" {
		both = []string{words + " high", words + " low"}
	}
	finding := func(q pooling.Question, estimate, half float64) pooling.Finding {
		return pooling.Finding{Question: q, Smallest: 1.5, Verdict: judge.Undecided, Reason: "the data allow much " + words, ReasonCode: "undecided", Reach: "these receivers",
			Evidence: judge.Randomised, Estimate: &estimate, Interval: &[2]*float64{of(estimate - half), of(estimate + half)}, Tested: true, Blocks: 12, BlocksPlanned: 12, Regions: 9, Stations: 40}
	}
	var out []pooling.Study
	for i := range n {
		x := float64(i%5) - 2
		s := pooling.Study{Name: name(i), Identity: fmt.Sprintf("sha256:%064x", 7919*(i+1)), Title: strings.TrimSpace("Ridge wire: feedpoint at 4.5 m against 9 m " + words),
			Operator: fmt.Sprintf("%016x", 77+i), Square: fmt.Sprintf("MN%02d", i%100), Seal: "sha256:" + strings.Repeat("0f", 32), SealedBeforeData: i != 1, Looks: 1 + i%2}
		if i > 0 {
			s.Origin = &pooling.Origin{Identity: fmt.Sprintf("sha256:%064x", 7919), Title: s.Title, Kind: []string{pooling.Direct, pooling.Varied}[i%2], Differences: []string{"power_w: 4 there, 10 here " + words}}
		}
		level := finding(pooling.Question{Claim: strings.TrimSpace("lift helps " + words), Kind: "level", Band: "20m", Arms: both, Direction: "sent"}, 2.2+0.4*x, 0.5+0.1*float64(i%3))
		wide := finding(pooling.Question{Claim: strings.TrimSpace("lift helps " + words), Kind: "level", Band: "10m", Arms: both, Direction: "sent"}, 3*x, 1)
		shares := finding(pooling.Question{Claim: strings.TrimSpace("more hear " + words), Kind: "heard_by", Band: "20m", Arms: both, Direction: "sent"}, 12+x, 8)
		shares.Smallest = 10
		lobe := finding(pooling.Question{Claim: strings.TrimSpace("lift favours the slope " + words), Kind: "directivity", Band: "20m", Arms: both, Direction: "sent", Shape: "one-sided"}, 1, 1)
		lobe.Fits = []pooling.Fit{{Harmonic: 1, CosDB: 1.8 + 0.2*x, SinDB: -0.4, VarCos: 0.05, VarSin: 0.08, Cov: 0.01}}
		lobe.FrontToBack = &pooling.FrontToBack{AxisDeg: 300, Estimate: of(3 + x), Interval: &[2]*float64{of(2 + x), of(4 + x)}}
		lobe.Azimuths = [2]*float64{of(float64(20 * i)), of(float64(20 * i))}
		match := finding(pooling.Question{Claim: strings.TrimSpace("match holds " + words), Kind: "match", Band: "20m", Arms: both, SWRAtMost: 2}, 0, 0)
		match.Verdict, match.Evidence, match.Estimate, match.Interval = []string{judge.Holds, judge.Fails}[i%2], "", nil, nil
		refused := finding(pooling.Question{Claim: strings.TrimSpace("received " + words), Kind: "level", Band: "20m", Arms: both, Direction: "received"}, 0, 1)
		if i%3 != 0 {
			refused.Verdict, refused.Reason = judge.Refused, "too few stations "+words
		}
		s.Findings = []pooling.Finding{level, wide, shares, lobe, match, refused}
		out = append(out, s)
	}
	if n > 3 {
		out[3].Operator = out[0].Operator
		own := finding(pooling.Question{Claim: strings.TrimSpace("nobody else asks " + words), Kind: "level", Band: "20m", Arms: both, Direction: "sent"}, 1, 1)
		out[3].Findings = append(out[3].Findings, own)
	}
	return out
}

func pooledCases(t *testing.T) map[string]*pooling.Document {
	t.Helper()
	ridge := func(int) string { return "ridge-wire" }
	out := map[string]*pooling.Document{}
	for name, studies := range map[string][]pooling.Study{
		"1 study": pooledStudies(1, ridge, ""), "2 studies": pooledStudies(2, ridge, ""), "3 studies": pooledStudies(3, ridge, ""), "15 studies": pooledStudies(15, ridge, ""),
		"long names": pooledStudies(4, func(i int) string { return strings.Repeat("verylongname", 5) }, strings.Repeat("verylongname", 10)+" "+strings.Repeat("many words ", 15)),
		"hostile":    pooledStudies(3, ridge, poison),
	} {
		doc, err := pooling.Pool(studies, pooling.Options{Tool: "fairlobe 0.2.0"})
		require.NoError(t, err)
		out[name] = doc
	}
	return out
}

func pooledHTML(t *testing.T, doc *pooling.Document) string {
	t.Helper()
	page, err := PooledPage(doc, "fairlobe pool BUNDLE...")
	require.NoError(t, err)
	return string(page)
}

func TestPooledPagesAreWellFormedAndLoadNothing(t *testing.T) {
	for name, doc := range pooledCases(t) {
		page := pooledHTML(t, doc)
		for _, e := range parse(t, page) {
			require.NotContains(t, []string{"script", "img", "link", "iframe", "object", "embed", "image", "form", "base"}, e.Name.Local, name)
			for _, a := range e.Attr {
				require.NotContains(t, []string{"src", "srcset", "action", "data", "onerror", "onclick", "onload"}, a.Name.Local, name)
			}
		}
		for _, s := range []string{"NaN", "Inf", "ZgotmplZ", "%!", "<nil>"} {
			require.NotContains(t, page, s, name)
		}
		_, whole := PooledText(doc, "fairlobe pool BUNDLE...")
		for _, s := range []string{"NaN", "Inf", "%!", "<nil>", "\u00a0"} {
			require.NotContains(t, string(whole), s, name)
		}
		for line := range strings.Lines(string(whole)) {
			require.LessOrEqual(t, len([]rune(strings.TrimSuffix(line, "\n"))), pageWidth, line)
		}
	}
}

func TestPooledHostileTextStaysText(t *testing.T) {
	doc := pooledCases(t)["hostile"]
	_, whole := PooledText(doc, "fairlobe pool BUNDLE...")
	page := pooledHTML(t, doc)
	for _, r := range "\u202e\u2066\x00\x1b\u2028" {
		require.NotContains(t, page, string(r))
		require.NotContains(t, string(whole), string(r))
	}
	require.NotContains(t, page, "<script")
	require.Contains(t, page, "&lt;script&gt;alert(1)", "it is shown, not dropped")
	require.Equal(t, 1, strings.Count(page, "</style>"))
}

// Every figure of a picture stands in the table below it: the picture has words and marks only.
func TestPooledFigures(t *testing.T) {
	doc := pooledCases(t)["15 studies"]
	page := pooledHTML(t, doc)
	for _, c := range doc.Claims {
		for _, p := range c.Studies {
			require.Contains(t, page, strings.ReplaceAll(ranged(&c, &p.Interval), "+", "&#43;"))
		}
		if c.Prediction != nil {
			require.Contains(t, page, strings.ReplaceAll(ranged(&c, c.Prediction), "+", "&#43;"))
		}
	}
}

// An operator who compares the pool with the own report finds another interval of the same lobe.
func TestPooledLobesTellWhyTheirIntervalsDiffer(t *testing.T) {
	const said = "may differ from the one that the operator&#39;s own report gives"
	for _, doc := range pooledCases(t) {
		lobes := 0
		for _, c := range doc.Claims {
			if c.Kind == "directivity" && len(c.Studies) > 0 {
				lobes++
			}
		}
		require.Equal(t, lobes, strings.Count(pooledHTML(t, doc), said))
	}
}

// A lobe of nearly the pooled size and direction would vanish below the pooled mark.
func TestNoOperatorBehindThePooledLobe(t *testing.T) {
	pictures := 0
	for name, doc := range pooledCases(t) {
		for i := range doc.Claims {
			picture := string(drawRose("rose", &doc.Claims[i]))
			if picture == "" {
				continue
			}
			pooled, first := strings.Index(picture, `class="pooled"`), strings.Index(picture, `class="estimate"`)
			require.Positive(t, pooled, name)
			require.Greater(t, first, pooled, name)
			pictures++
		}
	}
	require.Positive(t, pictures)
}

func TestPooledText(t *testing.T) {
	_, whole := PooledText(pooledCases(t)["3 studies"], "fairlobe pool BUNDLE...")
	golden := filepath.Join("testdata", "pooled.txt")
	if *update {
		require.NoError(t, os.WriteFile(golden, whole, 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), string(whole), "look at the text, then go test ./stages/report -update")
}

// A screen tells of a few one by one who does not enter; of many it tells the number and where the reasons stand.
func TestPooledTextTellsWhoDoesNotEnter(t *testing.T) {
	doc := &pooling.Document{Studies: make([]pooling.StudyEntry, 4), Claims: []pooling.ClaimEntry{{Claim: "lift helps", Kind: "level", Band: "20m", Verdict: judge.Refused}}}
	c := &doc.Claims[0]
	for _, label := range []string{"a", "b", "c"} {
		c.LeftOut = append(c.LeftOut, pooling.LeftOutEntry{Label: label, Verdict: judge.Refused, Reason: "refused there"})
	}
	answers, _ := PooledText(doc, "fairlobe pool BUNDLE...")
	require.Contains(t, string(answers), "  Does not enter: c: refused there\n")
	c.LeftOut = append(c.LeftOut, pooling.LeftOutEntry{Label: "d", Verdict: judge.Refused, Reason: "refused there"})
	answers, whole := PooledText(doc, "fairlobe pool BUNDLE...")
	require.NotContains(t, string(answers), "Does not enter")
	require.Contains(t, string(answers), "  4 bundles do not enter; report.txt has the reason of each.\n")
	require.Contains(t, string(whole), "  does not enter: d (refused): refused there\n")
	c.Verdict = pooling.Counted
	answers, _ = PooledText(doc, "fairlobe pool BUNDLE...")
	require.NotContains(t, string(answers), "enter")
	c.Verdict, doc.Studies = judge.Refused, doc.Studies[:1]
	answers, _ = PooledText(doc, "fairlobe pool BUNDLE...")
	require.NotContains(t, string(answers), "enter")
}

func TestPooledWithoutAClaim(t *testing.T) {
	studies := pooledStudies(1, func(int) string { return "ridge-wire" }, "")
	studies[0].Findings = nil
	doc, err := pooling.Pool(studies, pooling.Options{})
	require.NoError(t, err)
	answers, _ := PooledText(doc, "fairlobe pool BUNDLE...")
	require.Contains(t, string(answers), "\n\nIts experiment declares no claim.\n")
	require.Contains(t, pooledHTML(t, doc), "Its experiment declares no claim.")
}

func TestPooledPageInABrowser(t *testing.T) {
	ctx := browser(t)
	requests := watch(t, ctx)
	docs := pooledCases(t)
	for _, c := range []struct {
		name  string
		width int64
		theme string
	}{{"15 studies", 390, "light"}, {"15 studies", 1280, "dark"}, {"long names", 390, "light"}} {
		t.Run(fmt.Sprintf("%s, %d, %s", c.name, c.width, c.theme), func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "report.html")
			require.NoError(t, os.WriteFile(file, []byte(pooledHTML(t, docs[c.name])), 0o644))
			emulate(t, ctx, "", c.theme)
			requests()
			lookAt(t, ctx, file, c.width)
			for _, url := range requests() {
				require.Equal(t, "file://"+file, url, "the page loads nothing else")
			}
			if c.name != "long names" { // it is slow
				axe(t, ctx)
			}
		})
	}
}

// lookAt opens a page and asks that look finds nothing wrong with it.
func lookAt(t *testing.T, ctx context.Context, file string, width int64) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate("file://"+file)))
	said, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](look))
	require.NoError(t, err)
	require.Empty(t, said)
}
