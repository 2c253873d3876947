package geo

// sines holds the coefficients of sin 2s, sin 4s, ... of a series, from the first.
type sines [6]float64

// at sums the series at the arc with the given sine and cosine (Clenshaw's recurrence).
func (c *sines) at(arc pair) float64 {
	twice := float64(2 * (arc.cos - arc.sin) * (arc.cos + arc.sin)) // 2 cos 2s
	var b1, b2 float64
	for i := len(c) - 1; i >= 0; i-- {
		b1, b2 = c[i]+(float64(twice*b1)-b2), b1
	}
	return float64(2 * arc.sin * arc.cos * b1)
}

// polynomial sums c[0] + c[1] x + ... (Horner).
func polynomial(x float64, c ...float64) float64 {
	var y float64
	for i := len(c) - 1; i >= 0; i-- {
		y = float64(y*x) + c[i]
	}
	return y
}

// distanceSeries gives the factor and the sines of the distance from the equator, s = b a (sigma + sum)
// (Karney 2013, equations 15, 17, 18).
func distanceSeries(e float64) (a float64, c sines) {
	e2 := float64(e * e)
	a = polynomial(e2, 1, 1./4, 1./64, 1./256) / (1 - e)
	p := e
	for i, k := range [6]float64{
		polynomial(e2, -1./2, 3./16, -1./32),
		polynomial(e2, -1./16, 1./32, -9./2048),
		polynomial(e2, -1./48, 3./256),
		polynomial(e2, -5./512, 3./512),
		-7. / 1280,
		-7. / 2048,
	} {
		c[i] = float64(k * p)
		p = float64(p * e)
	}
	return a, c
}

// longitudeSeries gives the factor and the sines of the difference between the longitudes of sphere and
// ellipsoid, omega - lambda = f sin alpha0 a (sigma + sum) (Karney 2013, equations 8, 23 to 25).
func longitudeSeries(e float64) (a float64, c sines) {
	const n, n2 = thirdFlat, thirdFlat * thirdFlat
	a = polynomial(e, 1, -(1-n)/2, -(2+n-3*n2)/8, -(1+3*n+n2)/16, -(3+2*n)/64, -3./128)
	p := e
	for i, k := range [5]float64{
		polynomial(e, (1-n)/4, (1-n2)/8, (3+3*n-n2)/64, (5+2*n)/128, 3./128),
		polynomial(e, (2-3*n+n2)/32, (3-2*n-3*n2)/64, (3+n)/128, 5./256),
		polynomial(e, (5-9*n+5*n2)/192, (9-10*n)/384, 7./512),
		polynomial(e, (7-14*n)/512, 7./512),
		21. / 2560,
	} {
		c[i] = float64(k * p)
		p = float64(p * e)
	}
	return a, c
}
