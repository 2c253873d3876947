package geo

import "math"

// antipodal solves the line by its azimuth at point 1 instead of its longitude on the sphere
// (Karney 2013, section 4). lon is 0 to pi radians, both ends excluded.
//
// Arranged so that point 1 is the one further from the equator and lies south of it, the longitude that a
// line gains on its way to the latitude of point 2 grows from 0 to pi as its azimuth turns from north to
// south, and passes lon once. Bisection finds that azimuth to the last bit; few pairs come here.
func antipodal(u1, u2 pair, lon float64) line {
	swap := math.Abs(u1.sin) < math.Abs(u2.sin)
	if swap {
		u1, u2 = u2, u1
	}
	flip := u1.sin > 0
	if flip {
		u1.sin, u2.sin = -u1.sin, -u2.sin
	}
	u1.sin = math.Min(u1.sin, -tiny) // on the equator, too, the line runs from south to north
	low, high := -math.Pi/2, math.Pi/2
	for range halvings {
		mid := (low + high) / 2
		if mid <= low || mid >= high {
			break
		}
		if _, gained := leaving(u1, u2, mid); gained < lon {
			low = mid
		} else {
			high = mid
		}
	}
	l, _ := leaving(u1, u2, high)
	return l.restored(swap, flip)
}

// halvings narrow pi to 1e-27: near the equator an azimuth close to east must be known that well.
const halvings = 92

// restored undoes the arrangement: exchanging the points and mirroring north and south.
func (l line) restored(swap, flip bool) line {
	if swap {
		l.azi1, l.azi2 = l.azi2, l.azi1
	}
	if swap != flip {
		l.azi1.cos, l.azi2.cos = -l.azi1.cos, -l.azi2.cos
	}
	return l
}

// leaving follows the line that leaves reduced latitude u1 at an angle southOfEast (-pi/2 to pi/2) to its
// northward passage of u2, and gives the longitude gained on the ellipsoid, in radians (Karney 2013,
// equations 5, 8, 10 to 12, 45).
func leaving(u1, u2 pair, southOfEast float64) (line, float64) {
	turned := sincos(southOfEast)
	a1 := pair{turned.cos, -turned.sin}
	l := line{azi1: a1}
	l.sinAzi0 = float64(a1.sin * u1.cos)
	l.cosAzi0Sq = hypotSquared(a1.cos, float64(a1.sin*u1.sin))
	// cos^2 U2 - cos^2 U1, by the form that cancels less
	gap := float64((u1.sin - u2.sin) * (u1.sin + u2.sin))
	if u1.cos < -u1.sin {
		gap = float64((u2.cos - u1.cos) * (u2.cos + u1.cos))
	}
	north := float64(a1.cos * u1.cos)
	l.azi2 = pair{l.sinAzi0 / u2.cos, math.Sqrt(math.Max(0, float64(north*north)+gap)) / u2.cos}

	s1 := unit(u1.sin, north)
	s2 := unit(u2.sin, float64(l.azi2.cos*u2.cos))
	l.sig = between(s1, s2)
	l.sigma = atan2(l.sig.sin, l.sig.cos)
	l.cosMid2 = float64(s1.cos*s2.cos) - float64(s1.sin*s2.sin)

	sphere := between(pair{float64(l.sinAzi0 * s1.sin), s1.cos}, pair{float64(l.sinAzi0 * s2.sin), s2.cos})
	return l, atan2(sphere.sin, sphere.cos) - lonCorrection(l.sinAzi0, l.cosAzi0Sq, l.sigma, s1, s2)
}

// lonCorrection gives the longitude on the sphere less that on the ellipsoid between the arcs s1 and s2,
// sigma apart, in radians.
func lonCorrection(sinAzi0, cosAzi0Sq, sigma float64, s1, s2 pair) float64 {
	a, c := longitudeSeries(expansion(cosAzi0Sq))
	return float64(float64(flattening*sinAzi0*a) * (sigma + (c.at(s2) - c.at(s1))))
}

// unit scales sine and cosine to a unit vector, however small they are (they are at a pole). Both are 0 on
// the equator itself, where any arc may be the first: it is taken as 0.
func unit(sin, cos float64) pair {
	m := math.Max(math.Abs(sin), math.Abs(cos))
	if m == 0 {
		return pair{0, 1}
	}
	sin, cos = sin/m, cos/m
	r := math.Sqrt(hypotSquared(sin, cos))
	return pair{sin / r, cos / r}
}

// between gives the angle from p to q, up to a positive factor; one that rounding has made negative is 0.
func between(p, q pair) pair {
	return pair{
		math.Max(0, float64(p.cos*q.sin)-float64(p.sin*q.cos)),
		float64(p.cos*q.cos) + float64(p.sin*q.sin),
	}
}
