package match

import "math"

// Line is a uniform feedline of a real characteristic impedance. Its matched loss is declared at one frequency and
// taken to grow with the square root of frequency, as loss in the conductors does; loss in the dielectric, which
// grows faster, is left out, and so is the small reactive part that loss gives to the characteristic impedance of a
// real line. (D. M. Pozar, Microwave Engineering, sections 2.1 and 2.7.)
//
// LengthM is 0 or more, AtMHz, VelocityFactor and Z0Ohm are above 0.
type Line struct {
	LengthM        float64
	LossDBPer100m  float64 // at AtMHz, matched
	AtMHz          float64
	VelocityFactor float64 // 1 is that of light
	Z0Ohm          float64
}

// metresPerMicrosecond is the speed of light in vacuum, exact by the definition of the metre (SI).
const metresPerMicrosecond = 299.792458

// MatchedLossDB gives the loss in dB at a frequency if the line ends in its own impedance.
func (l Line) MatchedLossDB(mhz float64) float64 {
	return l.LossDBPer100m * math.Sqrt(mhz/l.AtMHz) * (l.LengthM / 100)
}

// Wavelengths gives the line's electrical length at a frequency.
func (l Line) Wavelengths(mhz float64) float64 {
	return l.LengthM * mhz / (l.VelocityFactor * metresPerMicrosecond)
}

// Input gives the reflection coefficient at the near end from that at the far end, both against Z0Ohm (Pozar,
// equation 2.42 with loss: gamma e^(-2 (alpha + j beta) l)).
func (l Line) Input(load complex128, mhz float64) complex128 {
	return turn(load, l.roundTrip(mhz), -2*l.turns(mhz))
}

// Load gives the reflection coefficient at the far end from that at the near end, both against Z0Ohm: it removes
// the line. A magnitude above 1 means that the line loses less than declared, or that the reading is wrong.
func (l Line) Load(input complex128, mhz float64) complex128 {
	return turn(input, 1/l.roundTrip(mhz), 2*l.turns(mhz))
}

// LoadMagnitude gives the magnitude of the reflection coefficient at the far end from that at the near end, both
// against Z0Ohm; the phase is not needed.
func (l Line) LoadMagnitude(input, mhz float64) float64 {
	m := input / l.roundTrip(mhz)
	if math.Abs(m-1) < nearOne {
		return 1
	}
	return m
}

// LoadSWR gives the SWRs at the far end that belong to those at the near end, both against Z0Ohm. An upper end
// that would reflect more than it gets has no bound; it is not ok if the lower end would, too.
func (l Line) LoadSWR(input Interval, mhz float64) (load Interval, ok bool) {
	low := l.LoadMagnitude(SWRToMagnitude(input.Lo), mhz)
	high := l.LoadMagnitude(SWRToMagnitude(input.Hi), mhz)
	if !(low <= 1) {
		return Interval{}, false
	}
	return Interval{swrOf(low), swrOf(math.Min(high, 1))}, true
}

// AdditionalLossDB gives what the line loses beyond its matched loss because the load reflects the given magnitude,
// against Z0Ohm: 10 log10 [(1 - m^2 A^2) / (1 - m^2)], A the matched loss as a ratio of powers. It is infinite
// for total reflection, where no power is left, and NaN above.
func (l Line) AdditionalLossDB(load, mhz float64) float64 {
	if load > 1 {
		return math.NaN()
	}
	input := load * l.roundTrip(mhz)
	// log1p keeps the digits of small reflections
	return nonNegativeZero(10 / math.Ln10 * (math.Log1p(-float64(input*input)) - math.Log1p(-float64(load*load))))
}

// TotalLossDB gives what the line loses of the power that enters it: matched and additional loss.
func (l Line) TotalLossDB(load, mhz float64) float64 {
	return l.MatchedLossDB(mhz) + l.AdditionalLossDB(load, mhz)
}

// roundTrip is by how much the amplitude of a wave shrinks on its way forth and back.
func (l Line) roundTrip(mhz float64) float64 { return math.Pow(10, -l.MatchedLossDB(mhz)/10) }

// turns is how many whole turns a wave's phase makes on its way, less the whole ones, which keep no digits.
func (l Line) turns(mhz float64) float64 { return math.Mod(l.Wavelengths(mhz), 1) }

// turn scales and turns a coefficient, by whole turns.
func turn(gamma complex128, by, turns float64) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * turns)
	re, im := by*real(gamma), by*imag(gamma)
	return complex(float64(re*cos)-float64(im*sin), float64(re*sin)+float64(im*cos))
}

// Impedance gives the impedance that belongs to a reflection coefficient against z0, both in ohms: the inverse of
// Reflection. It is not ok for an open end, whose impedance is infinite. A total reflection has no resistance.
func Impedance(gamma complex128, z0 float64) (z complex128, ok bool) {
	re, im, m := real(gamma), imag(gamma), Magnitude(gamma)
	away := float64((1-re)*(1-re)) + float64(im*im)
	if away < nearOne*nearOne {
		return 0, false
	}
	return complex((1-float64(m*m))/away*z0, 2*im/away*z0), true
}

// Renormalise gives the reflection coefficient against the impedance to from that against from, in ohms, without the
// way through an impedance, which an open end does not have.
func Renormalise(gamma complex128, from, to float64) complex128 {
	if from == to {
		return gamma
	}
	shift := complex((from-to)/(from+to), 0)
	return (gamma + shift) / (1 + shift*gamma)
}
