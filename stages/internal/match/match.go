// Package match calculates with reflections: reflection coefficient, standing wave ratio (SWR), return loss
// and mismatch loss; it compares displayed values of them, and takes them from one end of a lossy feedline to the
// other (Line, whose model is the matched loss with a real characteristic impedance).
//
// The formulas are those of D. M. Pozar, Microwave Engineering, chapter 2, for a real reference impedance:
// but for those of Line, everything holds at one place of the line and says nothing about another (a lossy line
// hides SWR from its near end). Return loss is positive in dB. Reflection coefficients above 1 are well-formed data (an active
// load, or an instrument's error), but have no SWR. Logarithms and powers are the standard library's, whose last
// bit may differ from one processor to another.
package match

import "math"

// nearOne is how close to 1 the magnitude of a reflection is taken as total: the rounding of its two
// components leaves a lossless load some 1e-16 away from it.
const nearOne = 1e-14

// Reflection gives the reflection coefficient (z - z0) / (z + z0) of an impedance z on a line of the real
// impedance z0 > 0, both in ohms (Pozar, equation 2.35).
func Reflection(z complex128, z0 float64) complex128 {
	r, x := real(z), imag(z)
	xx := float64(x * x)
	den := float64((r+z0)*(r+z0)) + xx
	return complex((float64((r-z0)*(r+z0))+xx)/den, 2*x*z0/den)
}

// Magnitude gives the absolute value of a reflection coefficient; exactly 1 where only rounding keeps it from 1.
func Magnitude(gamma complex128) float64 {
	m := math.Sqrt(float64(real(gamma)*real(gamma)) + float64(imag(gamma)*imag(gamma)))
	if math.Abs(m-1) < nearOne {
		return 1
	}
	return m
}

// SWR gives (1+|gamma|) / (1-|gamma|) (Pozar, equation 2.41): 1 for a match, infinite for total reflection,
// NaN above it, where there is none.
func SWR(gamma complex128) float64 { return swrOf(Magnitude(gamma)) }

// ReturnLossDB gives -20 log10 |gamma| in dB (Pozar, equation 2.38): infinite for a match, 0 for total
// reflection, negative above it.
func ReturnLossDB(gamma complex128) float64 { return returnLossOf(Magnitude(gamma)) }

// MismatchLossDB gives -10 log10 (1-|gamma|^2) in dB, the power not accepted: 0 for a match, infinite for total reflection,
// NaN above it, where the load gives power.
func MismatchLossDB(gamma complex128) float64 {
	m := Magnitude(gamma)
	// log1p keeps the digits of small reflections
	return nonNegativeZero(-10 / math.Ln10 * math.Log1p(-float64(m*m)))
}

// SWRToReturnLossDB gives the return loss in dB that belongs to an SWR; NaN below 1, where there is none.
func SWRToReturnLossDB(swr float64) float64 { return returnLossOf(SWRToMagnitude(swr)) }

// ReturnLossDBToSWR gives the SWR that belongs to a return loss in dB; NaN for a negative one.
func ReturnLossDBToSWR(db float64) float64 { return swrOf(ReturnLossDBToMagnitude(db)) }

// SWRToMagnitude gives the magnitude of the reflection coefficient, (swr-1) / (swr+1); NaN below 1.
func SWRToMagnitude(swr float64) float64 {
	switch {
	case swr < 1:
		return math.NaN()
	case math.IsInf(swr, 1):
		return 1
	}
	return (swr - 1) / (swr + 1)
}

// ReturnLossDBToMagnitude gives the magnitude of the reflection coefficient, 10^(-db/20).
func ReturnLossDBToMagnitude(db float64) float64 { return math.Pow(10, -db/20) }

func swrOf(magnitude float64) float64 {
	if magnitude > 1 {
		return math.NaN()
	}
	return (1 + magnitude) / (1 - magnitude)
}

func returnLossOf(magnitude float64) float64 { return nonNegativeZero(-20 * math.Log10(magnitude)) }

// nonNegativeZero gives +0 for -0, which would print a sign.
func nonNegativeZero(v float64) float64 { return float64(v) + 0 }
