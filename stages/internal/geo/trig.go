package geo

import "math"

// degrees is one radian in degrees.
const degrees = 180 / math.Pi

// pair holds the sine and cosine of an angle.
type pair struct{ sin, cos float64 }

// The functions below use the approximations of S. L. Moshier, Methods and Programs for Mathematical
// Functions (1989; the Cephes library): sin.c and atan.c. The standard library uses the same ones, but lets the
// compiler fuse products and sums, or replaces them by the processor's own, so that its last bit differs
// from one processor to the next. Errors stay below 2 units in the last place.

// sincos gives sine and cosine of x radians, for |x| < 1000.
func sincos(x float64) pair {
	// pi/2 in three parts, the first two short enough for an exact product with k
	const p1, p2, p3 = 2 * 7.85398125648498535156e-1, 2 * 3.77489470793079817668e-8, 2 * 2.69515142907905952645e-15
	k := math.Floor(float64(x*(2/math.Pi)) + 0.5)
	z := x - float64(k*p1)
	z -= float64(k * p2)
	z -= float64(k * p3)
	return quadrant(z, int(k))
}

// sincosDeg gives sine and cosine of x degrees, exact at multiples of 90, for |x| <= 1000.
func sincosDeg(x float64) pair {
	k := math.Floor(float64(x/90) + 0.5)
	return quadrant((x-float64(90*k))*(math.Pi/180), int(k))
}

// quadrant gives sine and cosine of z + k pi/2, for |z| <= pi/4.
func quadrant(z float64, k int) pair {
	s, c := sinKernel(z), cosKernel(z)
	switch k & 3 {
	case 1:
		return pair{c, -s}
	case 2:
		return pair{-s, -c}
	case 3:
		return pair{-c, s}
	}
	return pair{s, c}
}

func sinKernel(z float64) float64 {
	zz := float64(z * z)
	p := float64(1.58962301576546568060e-10*zz) - 2.50507477628578072866e-8
	p = float64(p*zz) + 2.75573136213857245213e-6
	p = float64(p*zz) - 1.98412698295895385996e-4
	p = float64(p*zz) + 8.33333333332211858878e-3
	p = float64(p*zz) - 1.66666666666666307295e-1
	return z + float64(float64(z*zz)*p)
}

func cosKernel(z float64) float64 {
	zz := float64(z * z)
	p := float64(-1.13585365213876817300e-11*zz) + 2.08757008419747316778e-9
	p = float64(p*zz) - 2.75573141792967388112e-7
	p = float64(p*zz) + 2.48015872888517045348e-5
	p = float64(p*zz) - 1.38888888888730564116e-3
	p = float64(p*zz) + 4.16666666666665929218e-2
	return 1 - float64(0.5*zz) + float64(float64(zz*zz)*p)
}

// atan2 gives the angle of the point (x, y), -pi to pi, for finite arguments; 0 at the origin.
func atan2(y, x float64) float64 {
	switch {
	case x < 0 && y < 0:
		return -math.Pi + atanRatio(-y, -x)
	case x < 0:
		return math.Pi - atanRatio(y, -x)
	case y < 0:
		return -atanRatio(-y, x)
	}
	return atanRatio(y, x)
}

// atanRatio gives the arctangent of y/x for y, x >= 0.
func atanRatio(y, x float64) float64 {
	const rest = 6.123233995736765886130e-17 // pi/2 less its nearest float64
	switch {
	case y == 0:
		return 0
	case y <= 0.66*x:
		return atanKernel(y / x)
	case y > 2.41421356237309504880*x: // tan(3 pi/8)
		return math.Pi/2 - atanKernel(x/y) + rest
	}
	return math.Pi/4 + atanKernel((y-x)/(y+x)) + 0.5*rest
}

func atanKernel(x float64) float64 {
	z := float64(x * x)
	p := float64(-8.750608600031904122785e-01*z) - 1.615753718733365076637e+01
	p = float64(p*z) - 7.500855792314704667340e+01
	p = float64(p*z) - 1.228866684490136173410e+02
	p = float64(p*z) - 6.485021904942025371773e+01
	q := z + 2.485846490142306297962e+01
	q = float64(q*z) + 1.650270098316988542046e+02
	q = float64(q*z) + 4.328810604912902668951e+02
	q = float64(q*z) + 4.853903996359136964868e+02
	q = float64(q*z) + 1.945506571482613964425e+02
	return x + float64(x*(float64(z*p)/q))
}

// hypotSquared gives x^2 + y^2.
func hypotSquared(x, y float64) float64 { return float64(x*x) + float64(y*y) }
