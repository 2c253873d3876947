package trials

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Share is a count with its share of all, and the standard error of the share. Of is 0 where nothing was asked.
type Share struct {
	Count int     `json:"count"`
	Of    int     `json:"of"`
	Share float64 `json:"share"`
	Error float64 `json:"error"`
}

func shareOf(count, of int) Share {
	s := Share{Count: count, Of: of}
	if of > 0 {
		s.Share = float64(count) / float64(of)
		s.Error = math.Sqrt(float64(s.Share*(1-s.Share)) / float64(of))
	}
	return s
}

// Counted is how often something came that has a name.
type Counted struct {
	Name string `json:"name"`
	Share
}

// Tested is how often a test of a nominal level rejected. Most is the greatest count within the middle 99.9 % of the
// binomial distribution of that level.
type Tested struct {
	Level float64 `json:"level"`
	Share
	Most int `json:"most"`
}

// Alarms are the rejections of one claim on one band: false ones where the truth is that there is nothing, else power.
type Alarms struct {
	P         []Tested `json:"p"`
	Different Share    `json:"different"` // verdicts that say so
}

// Covered is how often an interval held the truth, and how wide those are on average that have both ends.
type Covered struct {
	Name string `json:"name"`
	Share
	Width float64 `json:"width"`
	Unit  string  `json:"unit"`
}

// Bias is the mean of estimate less truth with its standard error, and the spread of the estimates.
type Bias struct {
	Name  string  `json:"name"`
	Mean  float64 `json:"mean"`
	Error float64 `json:"error"`
	SD    float64 `json:"sd"`
	Of    int     `json:"of"`
	Unit  string  `json:"unit"`
}

// Result is what came of one claim on one band.
type Result struct {
	Claim       string    `json:"claim"`
	Kind        string    `json:"kind"`
	Shape       string    `json:"shape,omitempty"`
	Band        string    `json:"band"`
	Truth       string    `json:"truth"`
	Verdicts    []Counted `json:"verdicts"` // with their reach
	Reasons     []Counted `json:"reasons"`
	FalseAlarms *Alarms   `json:"false_alarms"` // null where there is something to find, or no truth is stated
	Power       *Alarms   `json:"power"`        // null where there is nothing to find, or no truth is stated
	Coverage    []Covered `json:"coverage"`
	Bias        []Bias    `json:"bias"`
	Stations    float64   `json:"stations"`   // mean
	Receptions  float64   `json:"receptions"` // mean
	Blocks      float64   `json:"blocks"`     // mean number that was judged
}

// Report is what came of all trials.
type Report struct {
	Trials        int      `json:"trials"`
	Scenario      string   `json:"scenario"`
	Seed          uint64   `json:"seed"`
	LookEachBlock bool     `json:"look_each_block"`
	Truth         []string `json:"truth"`
	Results       []Result `json:"results"`
	// AnyFalse counts the trials in which any of the claims with nothing to find was declared different; null if there
	// are none.
	AnyFalse *Tested `json:"any_false"`
}

// levels are those at which tests are counted; a verdict rests on the first.
func levels() []float64 { return []float64{0.05, 0.01} }

// levels are those of all trials, and the one that was asked for.
func (s Settings) levels() []float64 {
	if s.AlsoLevel > 0 {
		return append(levels(), s.AlsoLevel)
	}
	return levels()
}

// count sums up what the trials found.
func (sc *scene) count(all [][]sample) *Report {
	r := &Report{Trials: len(all), Scenario: cmp.Or(sc.Scenario, "usual"), Seed: sc.Seed, LookEachBlock: sc.LookEachBlock, Truth: sc.Truth.Words(), Results: []Result{}}
	if len(all) == 0 {
		return r
	}
	for i := range all[0] {
		column := make([]sample, len(all))
		for n := range all {
			column[n] = all[n][i]
		}
		r.Results = append(r.Results, countOne(column, sc.differ(), sc.levels()))
	}
	r.AnyFalse = anyFalse(all)
	return r
}

func countOne(all []sample, differ bool, levels []float64) Result {
	first := all[0]
	r := Result{Claim: first.entry.Claim, Kind: first.entry.Kind, Shape: first.entry.Shape, Band: first.entry.Band, Truth: first.truth.words(first.entry.Kind, differ)}
	r.Verdicts = tally(all, func(s sample) string {
		if s.entry.Reach != nil && s.entry.Kind == "level" && (s.entry.Verdict == "different" || s.entry.Verdict == "practically the same") {
			return s.entry.Verdict + ", " + *s.entry.Reach
		}
		return s.entry.Verdict
	})
	r.Reasons = tally(all, func(s sample) string { return s.entry.ReasonCode })
	switch {
	case !first.truth.stated:
	case first.truth.none:
		r.FalseAlarms = alarms(all, levels)
	default:
		r.Power = alarms(all, levels)
	}
	r.Coverage, r.Bias = []Covered{}, []Bias{}
	for f := range figures {
		if c := covered(all, f); c.Of > 0 {
			r.Coverage = append(r.Coverage, c)
		}
		if b := biasOf(all, f); b.Of > 0 {
			r.Bias = append(r.Bias, b)
		}
	}
	r.Stations = meanOf(all, func(s sample) int { return s.entry.Stations })
	r.Receptions = meanOf(all, func(s sample) int { return s.entry.Receptions })
	r.Blocks = meanOf(all, func(s sample) int { return s.entry.Blocks })
	return r
}

// tally counts names, the most frequent first.
func tally(all []sample, name func(sample) string) []Counted {
	counts := map[string]int{}
	for _, s := range all {
		counts[name(s)]++
	}
	var out []Counted
	for n, count := range counts {
		out = append(out, Counted{n, shareOf(count, len(all))})
	}
	slices.SortFunc(out, func(a, b Counted) int { return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Name, b.Name)) })
	return out
}

// alarms counts rejections. A trial without a p has rejected nothing, and counts.
func alarms(all []sample, levels []float64) *Alarms {
	a := &Alarms{}
	for _, level := range levels {
		n := countIf(all, func(s sample) bool { return s.p <= level })
		_, most := likely(len(all), level)
		a.P = append(a.P, Tested{level, shareOf(n, len(all)), most})
	}
	a.Different = shareOf(countIf(all, func(s sample) bool { return s.different }), len(all))
	return a
}

func countIf(all []sample, is func(sample) bool) int {
	n := 0
	for _, s := range all {
		if is(s) {
			n++
		}
	}
	return n
}

func covered(all []sample, f figure) Covered {
	asked := countIf(all, func(s sample) bool { return s.figures[f].asked })
	holds := countIf(all, func(s sample) bool { return s.figures[f].holds })
	var widths []float64
	for _, s := range all {
		if w := s.figures[f].width; s.figures[f].asked && !math.IsNaN(w) && !math.IsInf(w, 0) {
			widths = append(widths, w)
		}
	}
	c := Covered{Name: f.String(), Share: shareOf(holds, asked), Unit: f.unit()}
	if len(widths) > 0 {
		c.Width = stat.Mean(widths, nil)
	}
	return c
}

func biasOf(all []sample, f figure) Bias {
	var off []float64
	for _, s := range all {
		if d := s.figures[f].off; !math.IsNaN(d) {
			off = append(off, d)
		}
	}
	b := Bias{Name: f.String(), Of: len(off), Unit: f.unit()}
	if len(off) > 0 {
		b.Mean = stat.Mean(off, nil)
	}
	if len(off) > 1 {
		b.SD = stat.StdDev(off, nil)
		b.Error = b.SD / math.Sqrt(float64(len(off)))
	}
	return b
}

func meanOf(all []sample, value func(sample) int) float64 {
	sum := 0
	for _, s := range all {
		sum += value(s)
	}
	return float64(sum) / float64(len(all))
}

// anyFalse counts the trials with any false "different".
func anyFalse(all [][]sample) *Tested {
	n, asked := 0, false
	for _, trial := range all {
		alarm := false
		for _, s := range trial {
			none := s.truth.stated && s.truth.none
			asked = asked || none
			alarm = alarm || none && s.different
		}
		if alarm {
			n++
		}
	}
	if !asked {
		return nil
	}
	level := levels()[0]
	_, most := likely(len(all), level)
	return &Tested{level, shareOf(n, len(all)), most}
}

// withinShare is how much of a binomial distribution is likely.
const withinShare = 0.999

// likely gives the least and the greatest count within the middle withinShare of the binomial distribution.
func likely(n int, p float64) (low, high int) {
	if p >= 1 || p <= 0 {
		return int(math.Round(p)) * n, int(math.Round(p)) * n
	}
	b := distuv.Binomial{N: float64(n), P: p}
	tail := (1 - withinShare) / 2
	for low = 0; b.CDF(float64(low)) <= tail; low++ {
	}
	for high = n; high > 0 && 1-b.CDF(float64(high-1)) <= tail; high-- {
	}
	return low, high
}
