// Package geo gives distances, bearings and points between places on the Earth.
//
// The model is the geodesic (shortest line) on the WGS84 ellipsoid at height zero. Most pairs are solved
// by T. Vincenty, "Direct and inverse solutions of geodesics on the ellipsoid with application of nested
// equations", Survey Review 23 (1975), with the distance series of his letter of 1976. Where his iteration
// does not settle at once, near the antipodes, the azimuth is found by the method of C. F. F. Karney,
// "Algorithms for geodesics", Journal of Geodesy 87 (2013), section 4, which always has an answer. Points
// along a line follow Karney's series as well.
//
// Distances agree with Karney's to better than a millimetre. The package knows nothing of heights, of
// terrain, or of the way that a radio wave takes: [LongPath] is a convention, not a geodesic.
//
// The same arguments give the same bits on every processor: products are rounded before they are added,
// so that no compiler fuses the two, and the trigonometric functions are the package's own.
package geo

import "math"

// The WGS84 ellipsoid (NGA.STND.0036, World Geodetic System 1984, 2014, table 3.1): semi-major axis in
// kilometres and flattening, and what follows from them.
const (
	equatorialKm  = 6378.137
	flattening    = 1 / 298.257223563
	axisRatio     = 1 - flattening                                        // b/a
	polarKm       = equatorialKm * axisRatio                              // b
	thirdFlat     = flattening / (2 - flattening)                         // n = (a-b)/(a+b)
	secondEccSqrd = flattening * (2 - flattening) / axisRatio / axisRatio // (a^2-b^2)/b^2
)

// MeanRadiusKm is the mean radius of the Earth (H. Moritz, "Geodetic Reference System 1980", Journal of
// Geodesy 74, 2000: R1), in kilometres. It serves where a sphere will do.
const MeanRadiusKm = 6371.0088

// Point is a place on the ellipsoid: geodetic latitude from -90 to 90, north positive, and longitude,
// east positive, in degrees. Longitudes that differ by 360 are the same.
type Point struct{ LatDeg, LonDeg float64 }

// Valid tells whether both angles are finite and the latitude lies within -90 to 90.
func (p Point) Valid() bool {
	return math.Abs(p.LatDeg) <= 90 && !math.IsNaN(p.LonDeg) && !math.IsInf(p.LonDeg, 0)
}

// Path is the shortest line from a point a to a point b.
type Path struct {
	DistanceKm float64
	// BearingDeg is the direction in which the line leaves a, from north through east, 0 up to but not
	// including 360. It means nothing unless HasBearing.
	BearingDeg float64
	// BackBearingDeg is the direction in which b sees a, counted alike. It means nothing unless HasBack.
	BackBearingDeg float64
	// HasBearing is false where a has no direction towards b: they are the same point, a is a pole, or two
	// lines are equally short (antipodes, and points on the equator more than 179.396 degrees apart).
	HasBearing bool
	// HasBack is the same for b.
	HasBack bool
}

// Inverse gives the length of the shortest line from a to b in kilometres, and the bearing in degrees
// (0 <= bearing < 360) in which it leaves a. ok is false, and the bearing 0, where there is no such
// direction: see [Path]. A point that is not [Point.Valid] gives NaN, 0, false.
func Inverse(a, b Point) (distanceKm, bearingDeg float64, ok bool) {
	p := Between(a, b)
	return p.DistanceKm, p.BearingDeg, p.HasBearing
}

// Between gives the shortest line from a to b with its bearings at both ends. Bearings that do not exist
// are 0. A point that is not [Point.Valid] gives a distance of NaN and no bearings.
func Between(a, b Point) Path {
	if !a.Valid() || !b.Valid() {
		return Path{DistanceKm: math.NaN()}
	}
	lon := lonDifference(a.LonDeg, b.LonDeg)
	if a.LatDeg == b.LatDeg && (lon == 0 || isPole(a)) {
		return Path{}
	}
	l := solve(a.LatDeg, b.LatDeg, math.Abs(lon))
	p := Path{DistanceKm: l.lengthKm()}
	if twoShortest(a, b, math.Abs(lon)) {
		return p
	}
	east := math.Copysign(1, lon)
	if p.HasBearing = !isPole(a); p.HasBearing {
		p.BearingDeg = bearing(east*l.azi1.sin, l.azi1.cos)
	}
	if p.HasBack = !isPole(b); p.HasBack {
		p.BackBearingDeg = bearing(-east*l.azi2.sin, -l.azi2.cos)
	}
	return p
}

// LongPath gives the other way round: the length of a great circle of the mean Earth less the short path,
// and the opposite bearing, in kilometres and degrees.
//
// This is a convention. The geodesic that leaves in that bearing misses the far point by some 10 to 70 km,
// since the geodesics of an ellipsoid do not close after one turn.
func LongPath(shortKm, bearingDeg float64) (distanceKm, longBearingDeg float64) {
	return float64(2*math.Pi*MeanRadiusKm) - shortKm, turn(bearingDeg + 180)
}

// BearingUncertainty gives the greatest error in degrees of the bearing to a place that is known to lie
// within radiusKm of the point at distanceKm: half the angle under which that circle is seen. It is 180,
// that is, no direction is known, when the circle reaches the observer or the observer's antipode.
//
// On a sphere of the mean radius R the tangent to the circle gives sin e = sin(r/R) / sin(d/R) (a right
// spherical triangle; for short distances sin e = r/d).
func BearingUncertainty(radiusKm, distanceKm float64) float64 {
	if !(radiusKm < distanceKm && radiusKm < float64(math.Pi*MeanRadiusKm)-distanceKm) {
		return 180
	}
	r, d := sincos(radiusKm/MeanRadiusKm), sincos(distanceKm/MeanRadiusKm)
	tangent := math.Sqrt(math.Max(0, float64((d.sin-r.sin)*(d.sin+r.sin))))
	return atan2(r.sin, tangent) * degrees
}

// twoShortest tells whether two lines of equal length join the points, for lon = 0 to 180 degrees.
// On the equator the line leaves the equator when (1-f) 180 degrees are passed (Karney 2013, section 4).
func twoShortest(a, b Point, lon float64) bool {
	antipodes := a.LatDeg == -b.LatDeg && (lon == 180 || isPole(a))
	return antipodes || a.LatDeg == 0 && b.LatDeg == 0 && lon > 180*axisRatio
}

func isPole(p Point) bool { return math.Abs(p.LatDeg) == 90 }

// lonDifference gives to - from, brought to -180 < d <= 180.
func lonDifference(from, to float64) float64 {
	d := to - from
	if math.Abs(d) > 360 {
		d = math.Mod(d, 360)
	}
	switch {
	case d > 180:
		return d - 360
	case d <= -180:
		return d + 360
	}
	return d
}

// bearing gives atan2(sin, cos) in degrees, 0 <= bearing < 360.
func bearing(sin, cos float64) float64 { return turn(atan2(sin, cos) * degrees) }

// turn brings an angle in degrees to 0 <= angle < 360.
func turn(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 { // a negative angle smaller than the rounding of 360
		return 0
	}
	return deg + 0 // +0 for -0
}
