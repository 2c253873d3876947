package rehearsal

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"fairlobe/datasets/world"
	"fairlobe/experiments"
)

// verdict is what is read of an entry of verdicts.json.
type verdict struct {
	Claim, Kind, Band, Verdict string
	Arms                       []string
	Direction                  *string
	Shape                      *string
	SmallestDB                 float64      `json:"smallest_difference_db"`
	EstimateDB                 *float64     `json:"estimate_db"`
	IntervalDB                 *[2]*float64 `json:"interval_db"`
}

// Beside sets the truth beside the verdicts that were found, given as verdicts.json: three lines for each claim and band.
func (r *Rehearsal) Beside(verdicts []byte) ([]string, error) {
	var found struct{ Claims []verdict }
	if err := json.Unmarshal(verdicts, &found); err != nil {
		return nil, fmt.Errorf("reading the verdicts of the rehearsal: %w", err)
	}
	var out []string
	for _, v := range found.Claims {
		truth, remark := r.hold(v)
		out = append(out, fmt.Sprintf("%s, %s", v.Claim, v.Band), "    true:  "+truth, "    found: "+join(v.Verdict, remark))
	}
	return out, nil
}

// hold gives the truth about a claim in words, and how the verdict stands to it.
func (r *Rehearsal) hold(v verdict) (truth, remark string) {
	switch {
	case v.Kind == "match":
		return r.holdMatch(v)
	case v.Kind == "directivity":
		return r.holdLobe(v)
	case len(v.Arms) == 2 && (v.Kind == "level" || v.Kind == "null" || v.Kind == "known_step" || v.Kind == "heard_by"):
		return r.holdLevel(v)
	}
	return "no truth is stated for this kind of claim", ""
}

// differenceDB is the truth about two arms all round, first minus second, with the powers if it is about what is sent.
func (r *Rehearsal) differenceDB(v verdict) float64 {
	d := r.truth.Pattern(v.Band, v.Arms[0]).LevelDB - r.truth.Pattern(v.Band, v.Arms[1]).LevelDB
	if by := powers(r.scene.exp); by != nil && v.Direction != nil && *v.Direction == "sent" {
		d += by[v.Arms[0]] - by[v.Arms[1]]
	}
	return math.Round(d*100) / 100
}

func (r *Rehearsal) holdLevel(v verdict) (truth, remark string) {
	d := r.differenceDB(v)
	truth = signed(d) + " dB"
	if l := r.lobes(v); l[1] != 0 || l[2] != 0 {
		if v.Verdict != "refused" {
			remark = "the average over the receivers heard depends on where they are"
		}
		return truth + " all round, and " + lobeWords(l), remark
	}
	switch {
	case v.Kind == "heard_by" || v.Kind == "known_step":
		return truth, r.step(v, d)
	case v.Verdict == "different" && (d == 0 || v.EstimateDB != nil && *v.EstimateDB*d < 0):
		remark = "WRONG"
	case (v.Verdict == "practically the same" || v.Kind == "null" && v.Verdict == "holds") && math.Abs(d) >= v.SmallestDB:
		remark = "WRONG"
	case v.Kind == "null" && v.Verdict == "fails" && math.Abs(d) < v.SmallestDB:
		remark = "WRONG"
	case v.Verdict == "undecided" || v.Verdict == "refused":
	default:
		remark = "right"
	}
	held := covers(v, d)
	if remark == "right" && strings.HasSuffix(held, misses) {
		held = "but " + held
	}
	return truth, join(remark, held)
}

// step holds a known step against the truth.
func (r *Rehearsal) step(v verdict, d float64) string {
	for _, c := range r.scene.exp.Claims {
		if c.Name != v.Claim || c.StepDB == nil {
			continue
		}
		there := math.Abs(d-*c.StepDB) < v.SmallestDB
		if there == (v.Verdict == "holds") && (v.Verdict == "holds" || v.Verdict == "fails") {
			return "right"
		}
		if v.Verdict == "holds" || v.Verdict == "fails" {
			return "WRONG"
		}
	}
	return ""
}

// covers tells whether the interval holds the truth.
func covers(v verdict, d float64) string {
	if v.IntervalDB == nil {
		return ""
	}
	low, high := math.Inf(-1), math.Inf(1)
	if v.IntervalDB[0] != nil {
		low = *v.IntervalDB[0]
	}
	if v.IntervalDB[1] != nil {
		high = *v.IntervalDB[1]
	}
	if low <= d && d <= high {
		return minus(fmt.Sprintf("the interval %.2f to %.2f dB holds the truth", low, high))
	}
	return minus(fmt.Sprintf("the interval %.2f to %.2f dB ", low, high)) + misses
}

const misses = "misses the truth"

func join(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, "; ")
}

// lobes gives the lobes of the difference between the arms of a claim, or of its one arm, by harmonic: the amplitude, dB,
// and the direction of each as the angle of harmonic times azimuth.
func (r *Rehearsal) lobes(v verdict) [3]complex128 {
	var out [3]complex128
	for i, arm := range v.Arms {
		sign := complex(1-2*float64(min(i, 1)), 0)
		for _, l := range r.truth.Pattern(v.Band, arm).Lobes {
			out[l.Harmonic] += sign * cmplx.Rect(l.AmplitudeDB, float64(l.Harmonic)*l.TowardDeg*math.Pi/180)
		}
	}
	for i := range out {
		if cmplx.Abs(out[i]) < 1e-9 {
			out[i] = 0
		}
	}
	return out
}

func lobeWords(l [3]complex128) string {
	p := world.Pattern{}
	for n := 1; n <= 2; n++ {
		toward := math.Mod(cmplx.Phase(l[n])*180/math.Pi/float64(n)+360, 360)
		p.Lobes = append(p.Lobes, world.Lobe{Harmonic: n, AmplitudeDB: math.Round(cmplx.Abs(l[n])*100) / 100, TowardDeg: math.Round(toward)})
	}
	if words := patternWords(p); words != "none" {
		return words
	}
	return "no lobe"
}

func (r *Rehearsal) holdLobe(v verdict) (truth, remark string) {
	l := r.lobes(v)
	truth = lobeWords(l)
	size := 0.0
	for n, shape := range []string{"", "one-sided", "two-sided"} {
		if n > 0 && v.Shape != nil && (*v.Shape == shape || *v.Shape == "any") {
			size = max(size, cmplx.Abs(l[n]))
		}
	}
	switch {
	case v.Verdict == "different" && size == 0, v.Verdict == "practically the same" && size >= v.SmallestDB:
		return truth, "WRONG"
	case v.Verdict == "different", v.Verdict == "practically the same":
		return truth, "right"
	}
	return truth, ""
}

func (r *Rehearsal) holdMatch(v verdict) (truth, remark string) {
	limit, ok := limitOf(r.scene.exp, v.Claim)
	highest, swept := 0.0, false
	for _, arm := range r.armsSwept() {
		for n, band := range r.truth.bands {
			if slices.Contains(v.Arms, arm) && band == v.Band {
				highest, swept = max(highest, r.scene.resonances(arm)[n].highest()), true
			}
		}
	}
	if !swept || !ok {
		return "no sweep was made", ""
	}
	truth = fmt.Sprintf("an SWR of at most %.2f at the feedpoint", highest)
	switch v.Verdict {
	case "holds", "fails":
		if (v.Verdict == "holds") == (highest <= limit) {
			return truth, "right"
		}
		return truth, "WRONG"
	}
	return truth, ""
}

// limitOf gives the limit of a match claim over a whole band; false if it asks about a part of one.
func limitOf(e *experiments.Experiment, claim string) (float64, bool) {
	for _, c := range e.Claims {
		if c.Name == claim {
			return c.SWRAtMost, c.FromMHz == nil && c.ToMHz == nil
		}
	}
	return 0, false
}
