package pooling

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// leastP is what stands for every p value that would be rounded to 0.
const leastP = 1e-6

func round4(v float64) float64 { return math.Round(v*1e4)/1e4 + 0 }

// some4 rounds a number that may not exist.
func some4(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	r := round4(v)
	return &r
}

func roundP(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	p := max(leastP, math.Round(v*1e6)/1e6)
	return &p
}

// outward rounds the ends of an interval to 0.01, away from its middle; nil without two ends.
func outward(low, high float64) *[2]float64 {
	for _, end := range []float64{low, high} {
		if math.IsNaN(end) || math.IsInf(end, 0) {
			return nil
		}
	}
	return &[2]float64{hundredths(low, math.Floor), hundredths(high, math.Ceil)}
}

// hundredths rounds one way; a value that is a hundredth already, but for the last bits, stays.
func hundredths(v float64, round func(float64) float64) float64 {
	if near := math.Round(v * 100); math.Abs(float64(v*100)-near) < 1e-7 {
		return near/100 + 0
	}
	return round(v*100)/100 + 0
}

func inside(i *[2]float64, limit float64) bool {
	return i != nil && i[0] > -limit && i[1] < limit
}

// beyond tells whether an interval lies wholly outside the limit on one side.
func beyond(i *[2]float64, limit float64) bool {
	return i != nil && (i[0] > limit || i[1] < -limit)
}

func excludesZero(i *[2]float64) bool { return beyond(i, 0) }

func contains(i *[2]float64, v float64) bool { return i != nil && i[0] <= v && v <= i[1] }

// span writes an interval in words.
func span(i *[2]float64, unit string) string {
	return fmt.Sprintf("%s to %s %s", signed(i[0]), signed(i[1]), unit)
}

// signed writes a number with a true minus sign.
func signed(v float64) string {
	if v < 0 {
		return fmt.Sprintf("\u2212%.2f", -v)
	}
	return fmt.Sprintf("%.2f", v)
}

// listed joins names with commas and "and".
func listed(names []string) string {
	if len(names) < 2 {
		return joined(names)
	}
	return joined(names[:len(names)-1]) + " and " + names[len(names)-1]
}

func joined(names []string) string { return strings.Join(names, ", ") }

// once drops what stands there already.
func once(names []string) []string {
	var out []string
	for _, n := range names {
		if !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	return out
}
