package synth

import "math"

const (
	earthKm = 6371.0088 // mean radius of the Earth, IUGG
	degree  = math.Pi / 180
)

func cosDeg(deg float64) float64 { return math.Cos(deg * degree) }
func sinDeg(deg float64) float64 { return math.Sin(deg * degree) }

// place is a point on the sphere, degrees.
type place struct{ latitude, longitude float64 }

// to gives the distance and the initial bearing of b seen from a (spherical law of haversines).
func (a place) to(b place) (distanceKm, bearingDeg float64) {
	dLon := b.longitude - a.longitude
	sLat, sLon := sinDeg((b.latitude-a.latitude)/2), sinDeg(dLon/2)
	h := float64(sLat*sLat) + float64(cosDeg(a.latitude)*cosDeg(b.latitude)*sLon*sLon)
	y := sinDeg(dLon) * cosDeg(b.latitude)
	x := float64(cosDeg(a.latitude)*sinDeg(b.latitude)) - float64(sinDeg(a.latitude)*cosDeg(b.latitude)*cosDeg(dLon))
	return 2 * earthKm * math.Asin(math.Sqrt(h)), math.Mod(math.Atan2(y, x)/degree+360, 360)
}

// onward gives the point at a distance on a bearing.
func (a place) onward(distanceKm, bearingDeg float64) place {
	d := distanceKm / earthKm
	sLat := float64(sinDeg(a.latitude)*math.Cos(d)) + float64(cosDeg(a.latitude)*math.Sin(d)*cosDeg(bearingDeg))
	y := sinDeg(bearingDeg) * math.Sin(d) * cosDeg(a.latitude)
	x := math.Cos(d) - float64(sinDeg(a.latitude)*sLat)
	lon := a.longitude + math.Atan2(y, x)/degree
	return place{math.Asin(sLat) / degree, math.Mod(lon+540, 360) - 180}
}

// square gives the six-character locator of a point and the centre of its square. Locator: IARU Region 1,
// Tampa 1980: fields of 20 by 10, squares of 2 by 1 degrees, subsquares of 5 by 2.5 minutes.
func square(p place) (string, place) {
	x := int(math.Floor((p.longitude + 180) * 12))
	y := int(math.Floor((p.latitude + 90) * 24))
	name := []byte{
		'A' + byte(x/240), 'A' + byte(y/240),
		'0' + byte(x/24%10), '0' + byte(y/24%10),
		'a' + byte(x%24), 'a' + byte(y%24),
	}
	return string(name), place{(float64(y)+0.5)/24 - 90, (float64(x)+0.5)/12 - 180}
}
