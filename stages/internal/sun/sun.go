// Package sun tells where the sun stands.
//
// The model is the sun of low precision of J. Meeus, Astronomical Algorithms (2nd edition, 1998), chapter 25, with the
// equation of time of chapter 28. From 2000 to 2030 declination, elevation and azimuth err by less than 0.01 degree,
// which the sun takes 2.4 s to cross; the equation of time by less than 0.05 minutes. It is good for some centuries
// around 2000, and slowly becomes worse.
//
// Time is Unix time, taken as universal time and as dynamical time alike: their difference (69 s in 2025) moves the
// sun by 0.0008 degrees among the stars. The observer is taken as standing at the Earth's centre with the vertical of
// the geodetic latitude: the parallax, 0.0024 degrees at most, is left out. So are the height of the observer and the
// hills around.
//
// Products are rounded before they are added, so that no compiler fuses the two. The last bit still depends on the
// processor's sine: round a result before you keep it.
package sun

import "math"

// radians is one degree in radians.
const radians = math.Pi / 180

// Sun is the sun at one moment.
type Sun struct {
	// DeclinationDeg is the apparent declination of date: the latitude where the sun stands in the zenith.
	DeclinationDeg float64
	// RightAscensionDeg is the apparent right ascension of date, 0 up to but not including 360.
	RightAscensionDeg float64
	// EquationOfTimeMin is apparent less mean solar time in minutes, -15 to +17.
	EquationOfTimeMin float64
	// SubsolarLonDeg is the longitude where the sun stands in the meridian, east positive, -180 to 180.
	SubsolarLonDeg float64
}

// At gives the sun at a moment, in milliseconds since 1970-01-01 00:00 UTC.
func At(unixMs int64) Sun {
	t := centuries(unixMs)
	longitude, lambda := longitudes(t)
	node := nodeDeg(t)
	obliquity := meanObliquityDeg(t) + float64(0.00256*cosDeg(node)) // Meeus 25.8
	rightAscension := math.Atan2(float64(cosDeg(obliquity)*sinDeg(lambda)), cosDeg(lambda)) / radians
	// Meeus 28.1, with the nutation that chapter 25 uses
	equationDeg := math.Remainder(longitude-0.0057183-rightAscension-float64(0.00478*sinDeg(node)*cosDeg(obliquity)), 360)
	return Sun{
		DeclinationDeg:    math.Asin(float64(sinDeg(obliquity)*sinDeg(lambda))) / radians,
		RightAscensionDeg: turn(rightAscension),
		EquationOfTimeMin: float64(equationDeg * minutesPerDegree),
		SubsolarLonDeg:    math.Remainder(180-dayDeg(unixMs)-equationDeg, 360),
	}
}

// minutesPerDegree is the time in which the Earth turns by one degree against the sun.
const minutesPerDegree = 4

const dayMs = 24 * 60 * 60 * 1000

// centuries gives Julian centuries since 2000-01-01 12:00 (Meeus 25.1).
func centuries(unixMs int64) float64 {
	const epochMs = 946_728_000_000
	return float64(unixMs-epochMs) / (36525 * dayMs)
}

// dayDeg gives the time of the day as an angle, 0 at midnight, 15 degrees an hour.
func dayDeg(unixMs int64) float64 {
	ms := unixMs % dayMs
	if ms < 0 {
		ms += dayMs
	}
	return float64(float64(ms)*360) / dayMs
}

// longitudes gives the sun's mean longitude and its apparent longitude (Meeus 25.2 to 25.4 and what follows), in degrees.
func longitudes(t float64) (mean, apparent float64) {
	mean = series(t, 280.46646, 36000.76983, 0.0003032)
	anomaly := series(t, 357.52911, 35999.05029, -0.0001537)
	centre := float64(series(t, 1.914602, -0.004817, -0.000014)*sinDeg(anomaly)) +
		float64(series(t, 0.019993, -0.000101, 0)*sinDeg(2*anomaly)) +
		float64(0.000289*sinDeg(3*anomaly))
	return mean, mean + centre - 0.00569 - float64(0.00478*sinDeg(nodeDeg(t)))
}

// nodeDeg gives the longitude of the moon's ascending node, for the nutation (Meeus, chapter 25).
func nodeDeg(t float64) float64 { return series(t, 125.04, -1934.136, 0) }

// meanObliquityDeg gives the mean obliquity of the ecliptic in degrees (Meeus 22.2).
func meanObliquityDeg(t float64) float64 {
	const a, b, c, d = 21.448, -46.8150, -0.00059, 0.001813
	seconds := a + float64(t*(b+float64(t*(c+float64(t*d)))))
	return 23 + (26+seconds/60)/60
}

// series gives a + b t + c t^2.
func series(t, a, b, c float64) float64 { return a + float64(t*(b+float64(t*c))) }

// ElevationDeg gives the height of the sun's centre above the horizon of a place, without refraction, from -90 to 90
// degrees (Meeus 13.6). Latitude and longitude are in degrees, north and east positive.
func (s Sun) ElevationDeg(latDeg, lonDeg float64) float64 {
	hour := cosDeg(lonDeg - s.SubsolarLonDeg)
	sine := float64(sinDeg(latDeg)*sinDeg(s.DeclinationDeg)) + float64(cosDeg(latDeg)*cosDeg(s.DeclinationDeg)*hour)
	return math.Asin(max(-1, min(1, sine))) / radians
}

// AzimuthDeg gives the direction of the sun from north through east, 0 up to but not including 360 degrees (Meeus
// 13.5). It means nothing at the poles, nor where the sun stands in the zenith or the nadir.
func (s Sun) AzimuthDeg(latDeg, lonDeg float64) float64 {
	hour, dec := lonDeg-s.SubsolarLonDeg, s.DeclinationDeg
	east := -float64(cosDeg(dec) * sinDeg(hour))
	north := float64(sinDeg(dec)*cosDeg(latDeg)) - float64(cosDeg(dec)*sinDeg(latDeg)*cosDeg(hour))
	return turn(math.Atan2(east, north) / radians)
}

// RefractionDeg tells by how much the air lifts a body of a given elevation (without refraction, from -1 to 90
// degrees), at 1010 hPa and 10 degrees Celsius (Meeus 16.4, from Saemundsson, Sky and Telescope 72, 1986). Near the
// horizon the weather moves the true value by a tenth and more.
func RefractionDeg(elevationDeg float64) float64 {
	angle := elevationDeg + 10.3/(elevationDeg+5.11)
	return max(0, 1.02/math.Tan(angle*radians)) / 60
}

func sinDeg(deg float64) float64 { return math.Sin(deg * radians) }
func cosDeg(deg float64) float64 { return math.Cos(deg * radians) }

// turn brings an angle from -360 to 360 degrees to 0 <= angle < 360.
func turn(deg float64) float64 {
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 { // a negative angle smaller than the rounding of 360
		return 0
	}
	return deg
}
