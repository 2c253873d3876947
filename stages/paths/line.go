package paths

import (
	"math"
	"time"

	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/path"
	"fairlobe/stages/internal/station"
	"fairlobe/stages/internal/sun"
)

// Heights of the mirrors in km: the E layer, and F2 when it is low and high (usual values, common practice).
const (
	eKm      = 110
	f2LowKm  = 250
	f2HighKm = 350
)

// leastTakeoffDeg is the lowest elevation that is counted on (ITU-R P.533's usual least elevation, from memory).
const leastTakeoffDeg = 3

// line is what the way to a station is at any time.
type line struct {
	far, midpoint                  geo.Point
	distanceKm                     float64
	class                          string
	e, f2Low, f2High               hops
	longPathKm, longPathBearingDeg float64
}

// hops are the fewest hops by one mirror, and their take-off angle, and that of one hop more.
type hops struct {
	fewest                     int
	takeoffDeg, moreTakeoffDeg float64
}

func lineTo(home geo.Point, p place) line {
	l := line{
		far: p.at, midpoint: geo.Midpoint(home, p.at), distanceKm: p.distanceKm, class: distanceClass(p.distanceKm),
		e: hopsBy(eKm, p.distanceKm), f2Low: hopsBy(f2LowKm, p.distanceKm), f2High: hopsBy(f2HighKm, p.distanceKm),
	}
	l.longPathKm, l.longPathBearingDeg = geo.LongPath(p.distanceKm, p.bearingDeg)
	return l
}

func hopsBy(heightKm, groundKm float64) hops {
	n := path.FewestHops(groundKm, heightKm, leastTakeoffDeg)
	return hops{n, path.TakeoffDeg(groundKm, heightKm, n), path.TakeoffDeg(groundKm, heightKm, n+1)}
}

// distanceClass names the class of a distance rounded to 10 km, as the judge rounds it. A bound belongs to the class
// above it. The classes are those in which take-off angles differ (common practice).
func distanceClass(km float64) string {
	switch km := station.RoundKm(km); {
	case km < 100:
		return "under 100 km"
	case km < 500:
		return "100-500 km"
	case km < 1000:
		return "500-1000 km"
	case km < 2000:
		return "1000-2000 km"
	case km < 4000:
		return "2000-4000 km"
	}
	return "over 4000 km"
}

// sky is the sun in the middle of a block.
type sky struct {
	middle time.Time
	sun    sun.Sun
	ownDeg float64
}

func skyAt(middle time.Time, home geo.Point) sky {
	s := sun.At(middle.UnixMilli())
	return sky{middle, s, s.ElevationDeg(home.LatDeg, home.LonDeg)}
}

// light is the elevation of the sun along a line, in degrees, and what follows from it.
type light struct {
	ownDeg, midpointDeg, farDeg float64
	longPathPlausible           bool
}

func (s sky) over(l line) light {
	far := s.sun.ElevationDeg(l.far.LatDeg, l.far.LonDeg)
	return light{
		ownDeg: s.ownDeg, midpointDeg: s.sun.ElevationDeg(l.midpoint.LatDeg, l.midpoint.LonDeg), farDeg: far,
		longPathPlausible: longPathPlausible(l.distanceKm, s.ownDeg, far),
	}
}

// The rule of the long path: the station is so far away that the long way is at most about three times the short one, and the
// sun stands near the horizon at both ends, no lower than in nautical twilight and as far above. Signals from the other way are
// told of from such distances and hours, when the line runs near the border of day and night. Common practice, no source:
// the rule says that a doubt about the direction is fair, not that the signal did come that way.
const (
	longPathFromKm = 10_000
	greyLineDeg    = 12
)

// longPathPlausible applies the rule to the short distance and the sun's elevations at both ends, rounded as they are told.
func longPathPlausible(shortKm, ownSunDeg, farSunDeg float64) bool {
	return round(shortKm) >= longPathFromKm && math.Abs(round(ownSunDeg)) <= greyLineDeg && math.Abs(round(farSunDeg)) <= greyLineDeg
}
