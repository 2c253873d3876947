package world

import "math"

const (
	earthKm = 6371.0088 // mean radius of the Earth, IUGG
	degree  = math.Pi / 180
)

func cosDeg(deg float64) float64 { return math.Cos(deg * degree) }
func sinDeg(deg float64) float64 { return math.Sin(deg * degree) }

// vector is a point of the unit sphere, or a direction on it.
type vector struct{ x, y, z float64 }

func (v vector) dot(w vector) float64 {
	return float64(v.x*w.x) + float64(v.y*w.y) + float64(v.z*w.z)
}

func (v vector) cross(w vector) vector {
	return vector{
		float64(v.y*w.z) - float64(v.z*w.y),
		float64(v.z*w.x) - float64(v.x*w.z),
		float64(v.x*w.y) - float64(v.y*w.x),
	}
}

// frame is a place with its directions: up, north and east. At a pole, north and east are those of the meridian that the
// place is told with.
type frame struct{ up, north, east vector }

func frameOf(latitude, longitude float64) frame {
	sLat, cLat := sinDeg(latitude), cosDeg(latitude)
	sLon, cLon := sinDeg(longitude), cosDeg(longitude)
	return frame{
		up:    vector{cLat * cLon, cLat * sLon, sLat},
		north: vector{-sLat * cLon, -sLat * sLon, cLat},
		east:  vector{-sLon, cLon, 0},
	}
}

// to gives the distance and the initial bearing (0 to 360) of another place. Vectors hold at the poles and at the date line, where
// formulas with differences of longitude do not (Gade, A non-singular horizontal position representation, The
// Journal of Navigation 63, 2010).
func (f frame) to(there vector) (distanceKm, bearingDeg float64) {
	side := f.up.cross(there)
	distance := float64(earthKm * math.Atan2(math.Sqrt(side.dot(side)), f.up.dot(there)))
	bearing := math.Atan2(there.dot(f.east), there.dot(f.north)) / degree
	return distance, math.Mod(bearing+360, 360)
}

// onward gives the place at a distance on a bearing, degrees.
func (f frame) onward(distanceKm, bearingDeg float64) (latitude, longitude float64) {
	s, c := math.Sin(distanceKm/earthKm), math.Cos(distanceKm/earthKm)
	n, e := float64(s*cosDeg(bearingDeg)), float64(s*sinDeg(bearingDeg))
	v := vector{
		float64(c*f.up.x) + float64(n*f.north.x) + float64(e*f.east.x),
		float64(c*f.up.y) + float64(n*f.north.y) + float64(e*f.east.y),
		float64(c*f.up.z) + float64(n*f.north.z) + float64(e*f.east.z),
	}
	return math.Atan2(v.z, math.Hypot(v.x, v.y)) / degree, math.Atan2(v.y, v.x) / degree
}

// square gives the six-character locator of a point and the centre of its square. Locator: IARU Region 1, Tampa 1980:
// fields of 20 by 10 degrees, squares of 2 by 1 degrees, subsquares of 5 by 2.5 minutes.
func square(latitude, longitude float64) (name string, centreLatitude, centreLongitude float64) {
	x := min(int(math.Floor((longitude+180)*12)), 180*24-1)
	y := min(int(math.Floor((latitude+90)*24)), 180*24-1)
	letters := []byte{
		'A' + byte(x/240), 'A' + byte(y/240),
		'0' + byte(x/24%10), '0' + byte(y/24%10),
		'a' + byte(x%24), 'a' + byte(y%24),
	}
	return string(letters), (float64(y)+0.5)/24 - 90, (float64(x)+0.5)/12 - 180
}

// coarseCentre is the centre of the square of 2 by 1 degrees that holds a place.
func coarseCentre(latitude, longitude float64) (centreLatitude, centreLongitude float64) {
	return math.Floor(latitude) + 0.5, 2*math.Floor(longitude/2) + 1
}
