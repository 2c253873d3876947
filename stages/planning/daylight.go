package planning

import (
	"fmt"
	"math"
	"time"

	"fairlobe/experiments"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/locator"
	"fairlobe/stages/internal/sun"
)

// riseDeg is the elevation of the sun's centre at sunrise and sunset: refraction and half its width.
const riseDeg = -0.833

// Daylight is the sun over one session.
type Daylight struct {
	Session    int
	Start, End time.Time
	// Rise and Set are in the solar day of the station that holds the start, to the minute; zero if there is none.
	Rise, Set time.Time
	Up        bool // whether the sun is up at the start
	At        []SunAt
}

// SunAt is the sun's elevation at one place, degrees, at the start and the end of a session.
type SunAt struct {
	Place      string
	Start, End float64
}

// daylight gives the sun over each session, at the station and toward each claimed direction; nothing where the locator
// can't be read.
func (p *Plan) daylight() []Daylight {
	cell, err := locator.Decode(p.in.Experiment.Station.Locator)
	if err != nil {
		return nil
	}
	here := cell.Centre()
	var out []Daylight
	for _, s := range p.summary.Sessions {
		d := Daylight{Session: s.Session, Start: s.Start, End: s.End, Up: elevation(here, s.Start) > riseDeg}
		d.Rise, d.Set = riseAndSet(here, s.Start)
		add := func(place string, at geo.Point) {
			d.At = append(d.At, SunAt{place, elevation(at, s.Start), elevation(at, s.End)})
		}
		add("station", here)
		for _, deg := range axes(p.in.Experiment.Claims) {
			for _, km := range []float64{1000, 3000} {
				add(fmt.Sprintf("%g km toward %g", km, deg), toward(here, deg, km))
			}
		}
		out = append(out, d)
	}
	return out
}

// axes are the directions that claims name, each once.
func axes(claims []experiments.Claim) []float64 {
	var out []float64
	seen := map[float64]bool{}
	for _, c := range claims {
		if c.TowardDeg != nil && !seen[*c.TowardDeg] {
			seen[*c.TowardDeg] = true
			out = append(out, *c.TowardDeg)
		}
	}
	return out
}

func elevation(at geo.Point, t time.Time) float64 {
	return sun.At(t.UnixMilli()).ElevationDeg(at.LatDeg, at.LonDeg)
}

// riseAndSet looks minute by minute through the solar day, midnight to midnight, that holds a moment.
func riseAndSet(at geo.Point, t time.Time) (rise, set time.Time) {
	solar := t.Add(time.Duration(at.LonDeg / 15 * float64(time.Hour)))
	from := t.Add(-solar.Sub(solar.Truncate(24 * time.Hour))).Truncate(time.Minute)
	before := elevation(at, from)
	for m := 1; m <= 24*60; m++ {
		now := from.Add(time.Duration(m) * time.Minute)
		e := elevation(at, now)
		switch {
		case before <= riseDeg && e > riseDeg:
			rise = now
		case before > riseDeg && e <= riseDeg:
			set = now
		}
		before = e
	}
	return rise, set
}

// toward is the place at a distance along a bearing on a sphere; within 0.5 % of the way on the ellipsoid, which the sun
// does not notice.
func toward(from geo.Point, bearingDeg, km float64) geo.Point {
	const radiusKm, rad = 6371.0088, math.Pi / 180
	angle, lat, bearing := km/radiusKm, from.LatDeg*rad, bearingDeg*rad
	sine := float64(math.Sin(lat)*math.Cos(angle)) + float64(math.Cos(lat)*math.Sin(angle)*math.Cos(bearing))
	to := math.Asin(max(-1, min(1, sine)))
	east := math.Atan2(float64(math.Sin(bearing)*math.Sin(angle)*math.Cos(lat)), math.Cos(angle)-float64(math.Sin(lat)*math.Sin(to)))
	return geo.Point{LatDeg: to / rad, LonDeg: math.Remainder(from.LonDeg+east/rad, 360)}
}
