package match

import "math"

// SWRWithin gives the SWRs, against z0 in ohms, of the impedances whose resistance and reactance lie within two
// intervals. Resistances below 0 don't count.
func SWRWithin(r, x Interval, z0 float64) Interval {
	s, ok := bilinear{a: 1, b: complex(-z0, 0), c: 1, d: complex(z0, 0)}.swr(r, x)
	if !ok { // no resistance of 0 or more: the nearest there is
		return Interval{math.Inf(1), math.Inf(1)}
	}
	return s
}

// LoadSWRWithin gives the SWRs at the line's far end, against z0 in ohms, that belong to impedances at its near end
// whose resistance and reactance lie within two intervals. Ends without bound are infinite; it is not ok if
// every impedance would reflect more than it gets.
func (l Line) LoadSWRWithin(r, x Interval, z0, mhz float64) (Interval, bool) {
	k := turn(complex(1/l.roundTrip(mhz), 0), 1, 2*l.turns(mhz))
	s := complex((l.Z0Ohm-z0)/(l.Z0Ohm+z0), 0)
	own := complex(l.Z0Ohm, 0)
	return bilinear{a: k + s, b: own * (s - k), c: 1 + s*k, d: own * (1 - s*k)}.swr(r, x)
}

// bilinear is the reflection coefficient (a z + b) / (c z + d) as a function of an impedance z.
type bilinear struct{ a, b, c, d complex128 }

// swr gives the SWRs of a rectangle of impedances. The magnitude of such a function is greatest and least on the
// rectangle's edges (maximum modulus), but for a zero or a pole inside, where it is 0 or without bound.
func (f bilinear) swr(r, x Interval) (Interval, bool) {
	r = Interval{math.Max(0, r.Lo), math.Max(0, r.Hi)}
	corners := [4]complex128{complex(r.Lo, x.Lo), complex(r.Hi, x.Lo), complex(r.Hi, x.Hi), complex(r.Lo, x.Hi)}
	m := Interval{math.Inf(1), 0}
	for i, from := range corners {
		m = f.along(m, from, corners[(i+1)%4])
	}
	if within(-f.b/f.a, r, x) {
		m.Lo = 0
	}
	if within(-f.d/f.c, r, x) {
		m.Hi = math.Inf(1)
	}
	if !(m.Lo <= 1) {
		return Interval{}, false
	}
	return Interval{swrOf(m.Lo), swrOf(math.Min(m.Hi, 1))}, true
}

// along widens an interval of magnitudes by those on the way from one impedance to another, on which the magnitude's
// square is one quadratic over another: it turns at the ends or at a root of the derivative's numerator.
func (f bilinear) along(m Interval, from, to complex128) Interval {
	step := to - from
	n0, n1, n2 := square(f.a*from+f.b, f.a*step)
	d0, d1, d2 := square(f.c*from+f.d, f.c*step)
	at := []float64{0, 1}
	at = append(at, roots(float64(n2*d1)-float64(n1*d2), float64(n2*d0)-float64(n0*d2), float64(n1*d0)-float64(n0*d1))...)
	for _, t := range at {
		if t < 0 || t > 1 {
			continue
		}
		z := from + complex(t, 0)*step
		v := Magnitude((f.a*z + f.b) / (f.c*z + f.d))
		if math.IsNaN(v) {
			v = math.Inf(1) // at the pole
		}
		m.Lo, m.Hi = math.Min(m.Lo, v), math.Max(m.Hi, v)
	}
	return m
}

// square gives the coefficients of |p + q t|^2 in t.
func square(p, q complex128) (c0, c1, c2 float64) {
	return power(p), 2 * (float64(real(p)*real(q)) + float64(imag(p)*imag(q))), power(q)
}

func power(v complex128) float64 { return float64(real(v)*real(v)) + float64(imag(v)*imag(v)) }

// roots gives the real roots of a t^2 + 2 b t + c.
func roots(a, b, c float64) []float64 {
	disc := float64(b*b) - float64(a*c)
	if disc < 0 {
		return nil
	}
	q := -(b + math.Copysign(math.Sqrt(disc), b))
	var out []float64
	if a != 0 {
		out = append(out, q/a)
	}
	if q != 0 {
		out = append(out, c/q)
	}
	return out
}

func within(z complex128, r, x Interval) bool {
	return r.Lo <= real(z) && real(z) <= r.Hi && x.Lo <= imag(z) && imag(z) <= x.Hi
}
