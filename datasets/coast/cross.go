package coast

import "math"

// crossesNorthOf tells whether the line from a to b crosses the meridian of lonDeg at a latitude above latDeg. A point on the
// meridian counts as west of it, for both lines that meet there, so that a corner is counted once.
func crossesNorthOf(latDeg, lonDeg float64, a, b Point) bool {
	east1, east2 := eastOf(lonDeg, a.LonDeg), eastOf(lonDeg, b.LonDeg)
	if (east1 > 0) == (east2 > 0) || math.Abs(east1-east2) > 180 { // the same side, or over the opposite meridian
		return false
	}
	if a.LatDeg <= latDeg && b.LatDeg <= latDeg {
		return false
	}
	share := east1 / (east1 - east2)
	return a.LatDeg+float64(share*(b.LatDeg-a.LatDeg)) > latDeg
}

// eastOf tells how far lon lies to the east of from, from -180 up to but not including 180 degrees, if neither is
// beyond 180.
func eastOf(from, lon float64) float64 {
	d := lon - from
	switch {
	case d >= 180:
		return d - 360
	case d < -180:
		return d + 360
	}
	return d
}

// turn brings a longitude to -180 to 180 degrees.
func turn(lonDeg float64) float64 { return math.Remainder(lonDeg, 360) }
