package geo

import "math"

// line is a geodesic as it looks on the auxiliary sphere, whose latitudes are the reduced latitudes
// (Karney 2013, section 2; Vincenty 1975). Its longitude grows from point 1 to point 2.
type line struct {
	azi1, azi2 pair    // forward azimuths at the two points, up to a common positive factor
	sinAzi0    float64 // of the azimuth at the northward crossing of the equator
	cosAzi0Sq  float64
	sigma      float64 // arc between the points, radians
	sig        pair    // of sigma
	cosMid2    float64 // cosine of the sum of the points' arcs from the equator
}

const (
	// settledRad is how closely two rounds must agree: 1e-12 rad are 0.006 mm (Vincenty 1975).
	settledRad = 1e-12
	// rounds suffice wherever a round divides the error by 10 or more, so that what is left after the
	// last is below settledRad as well. Typical is a factor of 300; slower pairs go to antipodal.
	rounds = 10
)

// solve finds the shortest line between the latitudes, lon = 0 to 180 degrees of longitude apart.
// Of two lines equally short it takes the one further north.
func solve(lat1, lat2, lon float64) line {
	u1, u2 := reduce(lat1), reduce(lat2)
	lam := sincosDeg(lon)
	rad := float64(lon / degrees)
	guess := rad
	for range rounds {
		l := onSphere(u1, u2, lam)
		next := rad + l.lonExcess()
		if math.Abs(next-guess) < settledRad {
			return l
		}
		if next > math.Pi { // the sphere's shortest line is no longer the ellipsoid's
			break
		}
		guess, lam = next, sincos(next)
	}
	return antipodal(u1, u2, rad)
}

// tiny keeps the cosine of a pole's latitude above zero: a pole then has azimuths, those of its meridian.
const tiny = 1e-150

// reduce gives sine and cosine of the reduced latitude: tan U = (1-f) tan phi.
func reduce(latDeg float64) pair {
	p := sincosDeg(latDeg)
	s := axisRatio * p.sin
	r := math.Sqrt(hypotSquared(s, p.cos))
	return pair{s / r, math.Max(p.cos/r, tiny)}
}

// onSphere solves the triangle of the auxiliary sphere for longitudes lam apart (Vincenty 1975, equations 14
// to 18 and 20, 21).
func onSphere(u1, u2, lam pair) line {
	cs, sc := float64(u1.cos*u2.sin), float64(u1.sin*u2.cos)
	cc, ss := float64(u1.cos*u2.cos), float64(u1.sin*u2.sin)
	var l line
	l.azi1 = pair{float64(u2.cos * lam.sin), cs - float64(sc*lam.cos)}
	l.azi2 = pair{float64(u1.cos * lam.sin), float64(cs*lam.cos) - sc}
	l.sig.sin = math.Sqrt(hypotSquared(l.azi1.sin, l.azi1.cos))
	l.sig.cos = ss + float64(cc*lam.cos)
	l.sigma = atan2(l.sig.sin, l.sig.cos)
	l.sinAzi0 = math.Min(1, float64(cc*lam.sin)/l.sig.sin)
	l.cosAzi0Sq = 1 - float64(l.sinAzi0*l.sinAzi0)
	if l.cosAzi0Sq > 0 {
		l.cosMid2 = l.sig.cos - float64(2*ss)/l.cosAzi0Sq
	}
	return l
}

// lonExcess gives by how much the longitude on the sphere exceeds that on the ellipsoid, in radians
// (Vincenty 1975, equations 10 and 11).
func (l line) lonExcess() float64 {
	c := float64(flattening / 16 * l.cosAzi0Sq * (4 + float64(flattening*(4-float64(3*l.cosAzi0Sq)))))
	inner := l.cosMid2 + float64(c*l.sig.cos*(float64(2*l.cosMid2*l.cosMid2)-1))
	return float64((1 - c) * flattening * l.sinAzi0 * (l.sigma + float64(c*l.sig.sin*inner)))
}

// lengthKm gives the length of the line (Vincenty 1975, equations 6 and 19, with A and B by the parameter k1
// of his letter in Survey Review 23 (180), 1976).
func (l line) lengthKm() float64 {
	k := expansion(l.cosAzi0Sq)
	a := (1 + float64(k*k/4)) / (1 - k)
	b := k * (1 - float64(0.375*k*k))
	m := l.cosMid2
	mSq := float64(4 * m * m)
	cubic := float64(b / 6 * m * (float64(4*l.sig.sin*l.sig.sin) - 3) * (mSq - 3))
	square := float64(b / 4 * (float64(l.sig.cos*(float64(mSq/2)-1)) - cubic))
	return polarKm * a * (l.sigma - float64(b*l.sig.sin*(m+square)))
}

// expansion gives the parameter of all the series, Karney's epsilon and Vincenty's k1 (Karney 2013,
// equations 9 and 16): (sqrt(1+k^2)-1) / (sqrt(1+k^2)+1), with k^2 = e'^2 cos^2 alpha0.
func expansion(cosAzi0Sq float64) float64 {
	k2 := float64(secondEccSqrd * cosAzi0Sq)
	return k2 / (float64(2*(1+math.Sqrt(1+k2))) + k2)
}
