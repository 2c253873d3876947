package geo

import "math"

// Midpoint gives the point half way along the shortest line from a to b.
func Midpoint(a, b Point) Point { return Waypoint(a, b, 0.5) }

// Waypoint gives the point at a fraction of the length of the shortest line from a to b, 0 at a and 1 at b,
// with its longitude from -180 up to but not including 180. Of two lines equally short it follows the one
// further north. It panics if a point is not [Point.Valid] or the fraction lies outside 0 to 1.
func Waypoint(a, b Point, fraction float64) Point {
	if !a.Valid() || !b.Valid() || !(fraction >= 0 && fraction <= 1) {
		panic("geo: point or fraction out of range")
	}
	lon := lonDifference(a.LonDeg, b.LonDeg)
	if a.LatDeg == b.LatDeg && (lon == 0 || isPole(a)) {
		return Point{a.LatDeg, wrap(a.LonDeg)}
	}
	l := solve(a.LatDeg, b.LatDeg, math.Abs(lon))
	lat, gained := along(reduce(a.LatDeg), unit(l.azi1.sin, l.azi1.cos), float64(fraction*l.lengthKm()))
	return Point{lat, wrap(a.LonDeg + math.Copysign(gained, lon))}
}

// Direct gives the point to which the line leads that leaves a in a bearing and has a length of at most half a meridian, that
// is 20003.9 km, with its longitude from -180 up to but not including 180. It panics if a is not [Point.Valid] or the length lies
// outside (Karney 2013, the direct problem).
func Direct(a Point, bearingDeg, distanceKm float64) Point {
	if !a.Valid() || !(distanceKm >= 0 && distanceKm <= halfMeridianKm) {
		panic("geo: point or distance out of range")
	}
	bearingDeg = turn(bearingDeg)
	east := 1.0
	if bearingDeg > 180 {
		east, bearingDeg = -1, 360-bearingDeg
	}
	azi := sincosDeg(bearingDeg)
	lat, gained := along(reduce(a.LatDeg), unit(math.Max(azi.sin, 0), azi.cos), distanceKm)
	return Point{lat, wrap(a.LonDeg + float64(east*gained))}
}

// halfMeridianKm is the way from pole to pole on WGS 84, rounded up.
const halfMeridianKm = 20003.94

// along follows the line that leaves reduced latitude u in azimuth azi (sin >= 0) for a length of at most half the
// Earth's girth, and gives the latitude reached and the longitude gained, in degrees (Karney 2013, equations 7 to 13).
func along(u, azi pair, lengthKm float64) (latDeg, lonDeg float64) {
	sinAzi0 := float64(azi.sin * u.cos)
	cosAzi0Sq := hypotSquared(azi.cos, float64(azi.sin*u.sin))
	s1 := unit(u.sin, float64(azi.cos*u.cos))
	sigma1 := atan2(s1.sin, s1.cos)
	sigma2 := arcAt(expansion(cosAzi0Sq), sigma1, s1, lengthKm)
	s2 := sincos(sigma2)

	cosAzi0 := math.Sqrt(cosAzi0Sq)
	cosU := math.Sqrt(hypotSquared(sinAzi0, float64(cosAzi0*s2.cos)))
	sphere := between(pair{float64(sinAzi0 * s1.sin), s1.cos}, pair{float64(sinAzi0 * s2.sin), s2.cos})
	lon := atan2(sphere.sin, sphere.cos) - lonCorrection(sinAzi0, cosAzi0Sq, sigma2-sigma1, s1, s2)
	return atan2(float64(cosAzi0*s2.sin), float64(axisRatio*cosU)) * degrees, float64(lon * degrees)
}

// arcAt gives the arc from the equator that lies lengthKm beyond the arc sigma1, in radians: the distance series
// solved for its arc. A round shrinks the error by the series' parameter, at most 0.0017, so that six reach the last bit.
func arcAt(e, sigma1 float64, s1 pair, lengthKm float64) float64 {
	a, c := distanceSeries(e)
	target := sigma1 + c.at(s1) + float64(lengthKm/float64(polarKm*a))
	sigma := target
	for range 6 {
		sigma = target - c.at(sincos(sigma))
	}
	return sigma
}

// wrap brings a longitude in degrees to -180 <= longitude < 180.
func wrap(deg float64) float64 { return turn(deg+180) - 180 }
