// Package path gives the angles at which a signal leaves for a place some hops away.
//
// The model is a round Earth of radius 6371 km and one mirror at a height of the caller's choice, with equal hops (plane
// geometry of the triangle Earth's centre, station, mirror point; the hop geometry of Recommendation ITU-R P.533, section 5,
// from memory). The height is an input, not a prediction: 110 km is usual for the E layer, 250 to 350 km for F2. The package
// does not know whether a layer is there, carries the frequency, or loses the signal; it tells at which elevations an
// antenna matters for a distance, and no more.
//
// Products are rounded before they are added, so that no compiler fuses the two. The last bit still depends on the
// processor's sine: round a result before you keep it.
package path

import "math"

// earthKm is the Earth's radius in kilometres.
const earthKm = 6371

// radians is one degree in radians.
const radians = math.Pi / 180

// TakeoffDeg gives the elevation above the horizon, in degrees, at which the ray leaves for a place at a distance of groundKm
// along the ground, in equal hops by a mirror at heightKm: tan e = (cos b - R/(R+h)) / sin b, where b is half a hop
// as an angle at the Earth's centre. It is 90 for a distance of 0, and negative where the mirror lies below the horizon, that is,
// where so few hops don't reach so far. hops is at least 1.
func TakeoffDeg(groundKm, heightKm float64, hops int) float64 {
	b := groundKm / (2 * earthKm * float64(hops))
	return math.Atan2(math.Cos(b)-earthKm/(earthKm+heightKm), math.Sin(b)) / radians
}

// HopKm gives the distance along the ground, in kilometres, that one hop reaches by a mirror at heightKm when it leaves
// at an elevation of takeoffDeg, 0 to 90 degrees. At 0 it is the longest hop, 2 R acos(R/(R+h)).
func HopKm(heightKm, takeoffDeg float64) float64 {
	e := takeoffDeg * radians
	return float64(2*earthKm) * (math.Acos(earthKm*math.Cos(e)/(earthKm+heightKm)) - e)
}

// FewestHops gives the least number of equal hops, at least 1, that reach groundKm by a mirror at heightKm and leave at an
// elevation of leastDeg or more, from 0 up to but not including 90 degrees.
func FewestHops(groundKm, heightKm, leastDeg float64) int {
	const rounding = 1e-12 // a distance of exactly n hops needs n
	return max(1, int(math.Ceil(groundKm/HopKm(heightKm, leastDeg)-rounding)))
}
