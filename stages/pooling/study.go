package pooling

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairlobe/stages/internal/meta"
	"fairlobe/stages/judge"
)

// Study is what one bundle tells.
type Study struct {
	File     string // as the user named it; for faults only
	Name     string // of the bundle
	Identity string // "sha256:...", of the bundle's payload
	Title    string
	Operator string // 16 hexadecimal digits
	Square   string // the station's locator, 4 characters
	Seal     string // "" without one
	// SealedBeforeData: the seal fits, and was made before the first dwell.
	SealedBeforeData bool
	Looks            int
	Origin           *Origin
	Findings         []Finding
	// Receptions are digests of the receptions, for telling whether two bundles hold the same data; sorted.
	Receptions []uint64
}

// Origin tells which experiment a study repeats.
type Origin struct {
	Identity    string   `json:"identity"`
	Title       string   `json:"title"`
	Kind        string   `json:"kind"` // Direct or Varied
	Differences []string `json:"differences"`
}

// Kinds of repeats.
const (
	Direct = "direct"
	Varied = "varied"
)

// Question is what has to be the same for two findings to be pooled.
type Question struct {
	Claim     string
	Kind      string
	Band      string
	Arms      []string
	Direction string      // "" where it has no meaning
	Shape     string      // of a directivity claim
	WithinKm  *[2]float64 // nil: all distances
	StepDB    *float64    // of a known_step claim
	SWRAtMost float64     // of a match claim
}

func (q Question) key() string {
	within, step := "", ""
	if q.WithinKm != nil {
		within = fmt.Sprint(*q.WithinKm)
	}
	if q.StepDB != nil {
		step = fmt.Sprint(*q.StepDB)
	}
	return fmt.Sprintf("%q", append([]string{q.Claim, q.Kind, q.Band, q.Direction, q.Shape, within, step, fmt.Sprint(q.SWRAtMost)}, q.Arms...))
}

// String names the question for people.
func (q Question) String() string { return q.Claim + ", " + q.Band }

// counted tells whether verdicts are counted and not pooled.
func (q Question) counted() bool { return q.Kind == "match" || q.Kind == "repeat" }

// inFamily tells whether the question is one of those that are corrected together.
func (q Question) inFamily() bool {
	return slices.Contains([]string{"level", "directivity", "heard_by", "reciprocity"}, q.Kind)
}

// unit is that of the question's sizes.
func (q Question) unit() string {
	if q.Kind == "heard_by" {
		return "points"
	}
	return "dB"
}

// Finding is what a study found for a question. Sizes are in the question's unit.
type Finding struct {
	Question
	Smallest       float64 // smallest difference that matters
	Verdict        string
	Reason         string
	ReasonCode     string
	Reach          string
	Evidence       string
	AddedAfterSeal bool
	Estimate       *float64
	Interval       *[2]*float64 // a null end has no bound
	Tested         bool         // there is a p value
	Blocks         int
	BlocksPlanned  int
	Regions        int
	Stations       int
	Depends        bool // the difference was shown to depend on the direction

	// For a directivity claim. Fits are from north.
	Fits        []Fit
	FrontToBack *FrontToBack
	Frame       string      // as the claim says, "" where it does not
	Azimuths    [2]*float64 // slope_azimuth_deg of the compared arms, nil where it is not given
}

// Fit is a fitted harmonic of first arm minus second, dB: cos toward north, sin toward east; with sampling covariance, dB^2.
type Fit struct {
	Harmonic            int
	CosDB, SinDB        float64
	VarCos, VarSin, Cov float64
}

// FrontToBack is the difference along an axis named beforehand.
type FrontToBack struct {
	AxisDeg  float64
	Estimate *float64
	Interval *[2]*float64
}

// Beyond these a number is no difference of antennas: a fault of the file.
const (
	mostDB     = 1000.0
	mostPoints = 100.0
)

// Check finds what can't be: a verdict that is none, absurd numbers, ends of intervals that are reversed, an estimate outside of its interval. nil: nothing.
func (f Finding) Check() error {
	most := mostDB
	if f.Kind == "heard_by" {
		most = mostPoints
	}
	if err := checkSize(f.Estimate, f.Interval, most); err != nil {
		return fmt.Errorf("%s: %w", f.Question, err)
	}
	if b := f.FrontToBack; b != nil {
		if err := checkSize(b.Estimate, b.Interval, most); err != nil {
			return fmt.Errorf("%s, front to back: %w", f.Question, err)
		}
	}
	if !slices.Contains([]string{judge.Different, judge.Same, judge.Undecided, judge.Refused, judge.Holds, judge.Fails}, f.Verdict) {
		return fmt.Errorf("%s: %q is no verdict", f.Question, f.Verdict)
	}
	if !(f.Smallest > 0 && f.Smallest <= most) {
		return fmt.Errorf("%s: the smallest difference that matters is %g", f.Question, f.Smallest)
	}
	if f.Blocks < 0 || f.Regions < 0 || f.Stations < 0 || max(f.Blocks, f.Regions, f.Stations) > 1e7 {
		return fmt.Errorf("%s: blocks, regions or stations are no counts", f.Question)
	}
	for _, fit := range f.Fits {
		for _, v := range []float64{fit.CosDB, fit.SinDB} {
			if !(math.Abs(v) <= most) {
				return fmt.Errorf("%s: harmonic %d of %g dB is no difference of antennas", f.Question, fit.Harmonic, v)
			}
		}
		for _, v := range []float64{fit.VarCos, fit.VarSin} {
			if !(v > 0 && v <= most*most) {
				return fmt.Errorf("%s: harmonic %d has a variance of %g", f.Question, fit.Harmonic, v)
			}
		}
		if !(float64(fit.Cov*fit.Cov) < float64(fit.VarCos*fit.VarSin)) {
			return fmt.Errorf("%s: the covariance of harmonic %d does not fit its variances", f.Question, fit.Harmonic)
		}
	}
	return nil
}

func checkSize(estimate *float64, interval *[2]*float64, most float64) error {
	if estimate != nil && !(math.Abs(*estimate) <= most) {
		return fmt.Errorf("an estimate of %g is no difference of antennas", *estimate)
	}
	if interval == nil {
		return nil
	}
	low, high := interval[0], interval[1]
	for _, end := range interval {
		if end != nil && !(math.Abs(*end) <= most) {
			return fmt.Errorf("an interval that ends at %g is no difference of antennas", *end)
		}
	}
	if low != nil && high != nil && *low > *high {
		return fmt.Errorf("the interval runs from %g down to %g", *low, *high)
	}
	// The ends are rounded outward to 0.01, estimates to 0.0001.
	const rounding = 0.01
	if estimate != nil && (low != nil && *estimate < *low-rounding || high != nil && *estimate > *high+rounding) {
		return fmt.Errorf("the estimate of %g lies outside of its interval", *estimate)
	}
	return nil
}

// barred tells why a finding can't enter; "" if it can.
func (f Finding) barred() string {
	switch {
	case f.Evidence != judge.Randomised && f.Evidence != judge.ByDeclaring:
		return fmt.Sprintf("described, not tested (evidence: %s)", orWord(f.Evidence, "none"))
	case f.Verdict == judge.Refused:
		return "refused there: " + f.Reason
	case f.AddedAfterSeal:
		return "the claim was added after the seal, so it may have been thought of because of the data"
	case f.ReasonCode == "unfinished":
		return fmt.Sprintf("the trial is not over: %d of %d blocks are in", f.Blocks, f.BlocksPlanned)
	case f.Kind == "directivity":
		return f.barredLobe()
	case !f.Tested || f.Estimate == nil || f.Interval == nil || f.Interval[0] == nil || f.Interval[1] == nil:
		return "there is no interval with two ends"
	case f.units() < 2:
		return "there are fewer than two " + f.unitWord() + "s"
	case *f.Interval[1]-*f.Interval[0] < leastWidth:
		return "its interval has no width, so it has no weight that could be told"
	}
	return ""
}

// leastWidth is the least width of an interval with a weight that can be told: the ends are rounded outward to 0.01.
const leastWidth = 0.005

func (f Finding) barredLobe() string {
	if len(f.Arms) != 2 {
		return "one arm alone is compared with nothing"
	}
	if f.Interval == nil { // of an open trial, whose fits hold for a fixed number of blocks only
		return "its lobe has no interval: there are too few data, or the trial was stopped at will"
	}
	if f.Interval[0] == nil || f.Interval[1] == nil {
		return "its lobe has no interval with two ends"
	}
	for _, h := range harmonics(f.Shape) {
		if _, ok := f.fit(h); !ok {
			return "no lobe could be fitted"
		}
		if v := f.vector(h, North); !meta.Usable(v) {
			return "the covariance of its lobe can't be used"
		}
	}
	return ""
}

func (f Finding) fit(harmonic int) (Fit, bool) {
	i := slices.IndexFunc(f.Fits, func(one Fit) bool { return one.Harmonic == harmonic })
	if i < 0 {
		return Fit{}, false
	}
	return f.Fits[i], true
}

// units counts what the interval rests on.
func (f Finding) units() int {
	if f.Kind == "reciprocity" {
		return f.Regions
	}
	return f.Blocks
}

func (f Finding) unitWord() string {
	if f.Kind == "reciprocity" {
		return "region"
	}
	return "block"
}

// harmonics of a shape.
func harmonics(shape string) []int {
	switch shape {
	case "two-sided":
		return []int{2}
	case "any":
		return []int{1, 2}
	}
	return []int{1}
}

func orWord(s, otherwise string) string {
	if strings.TrimSpace(s) == "" {
		return otherwise
	}
	return s
}
