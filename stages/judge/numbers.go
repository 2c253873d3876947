package judge

import (
	"fmt"
	"math"

	"fairlobe/stages/internal/contrast"
)

// round4 rounds to four decimals; NaN and infinities become null.
func round4(v float64) *float64 { return rounded(v, 1e4) }

// round6 rounds a variance or a covariance, which is the square of a figure that round4 is for, to six decimals.
func round6(v float64) float64 { return *rounded(v, 1e6) }

// leastP is what stands for every p value that would be rounded to 0: no p value is 0.
const leastP = 1e-6

// roundP rounds a p value to six decimals, never down to zero.
func roundP(v float64) *float64 {
	p := rounded(v, 1e6)
	if p != nil {
		*p = max(leastP, *p)
	}
	return p
}

func rounded(v, scale float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	r := math.Round(v*scale) / scale
	if r == 0 {
		r = 0 // no negative zero
	}
	return &r
}

// outward rounds the ends of an interval to 0.01 dB, away from its middle: a p value has steps, so an end is not known
// more finely.
func outward(i contrast.Interval) *Range {
	if i.Empty || math.IsNaN(i.LowDB) || math.IsNaN(i.HighDB) {
		return nil
	}
	return &Range{step(i.LowDB, math.Floor), step(i.HighDB, math.Ceil)}
}

// step rounds to hundredths; a value that is a hundredth already, but for the last bits, stays.
func step(v float64, round func(float64) float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	if near := math.Round(v * 100); math.Abs(v*100-near) < 1e-7 {
		r := near/100 + 0
		return &r
	}
	r := round(v*100)/100 + 0
	return &r
}

// negated turns a difference round.
func negated(v *float64) *float64 {
	if v == nil {
		return nil
	}
	n := 0 - *v
	return &n
}

// turnedRange is the interval of the difference the other way round.
func turnedRange(r *Range) *Range {
	if r == nil {
		return nil
	}
	return &Range{negated(r[1]), negated(r[0])}
}

// inside tells whether an interval lies within the limit on both sides.
func inside(i *Range, limit float64) bool {
	return i != nil && i[0] != nil && i[1] != nil && *i[0] > -limit && *i[1] < limit
}

// beyondLimit tells whether an interval lies wholly outside the limit on one side.
func beyondLimit(i *Range, limit float64) bool {
	return i != nil && (i[0] != nil && *i[0] > limit || i[1] != nil && *i[1] < -limit)
}

// excludesZero tells whether an interval lies wholly on one side of 0.
func excludesZero(i *Range) bool { return beyondLimit(i, 0) }

// boundedSomewhere tells whether an interval has an end.
func boundedSomewhere(i *Range) bool { return i != nil && (i[0] != nil || i[1] != nil) }

// contains tells whether a value lies in an interval, its ends included.
func contains(i *Range, v float64) bool {
	return i != nil && (i[0] == nil || *i[0] <= v) && (i[1] == nil || *i[1] >= v)
}

// span writes an interval in words.
func span(i *Range) string {
	switch {
	case i == nil:
		return "no one difference fits all blocks"
	case i[0] == nil && i[1] == nil:
		return "no bound on either side"
	case i[0] == nil:
		return fmt.Sprintf("%s dB or less", signedDB(*i[1]))
	case i[1] == nil:
		return fmt.Sprintf("%s dB or more", signedDB(*i[0]))
	}
	return fmt.Sprintf("%s to %s dB", signedDB(*i[0]), signedDB(*i[1]))
}

// signedDB writes a difference with a true minus sign.
func signedDB(v float64) string {
	if v < 0 {
		return fmt.Sprintf("\u2212%.2f", -v)
	}
	return fmt.Sprintf("%.2f", v)
}
