// Package station tells when two places told for one call are one place, and how finely a station's bearing and
// distance are used.
//
// A locator that contains another (MN83 and MN83kp) is the same place told less exactly; an exact position lies in the
// locator that holds it. Exact positions within 1 km are one place told with other digits or by another fix; the one with
// most digits stands for them. Places that can't agree are two stations.
package station

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/locator"
)

// Regions that are no sector.
const (
	RegionUnknown   = "unknown"
	RegionOwnSquare = "own square"
)

// Place is where a row says a station is; the zero Place says nothing.
type Place struct {
	Locator  string
	Lat, Lon float64
	Exact    bool // Lat and Lon are given
}

// PlaceOf reads the place of a row of table spots. A position says more than the locator beside it, which is dropped.
func PlaceOf(r *table.Reader) Place {
	switch {
	case !r.Null("latitude") && !r.Null("longitude"):
		return Place{Lat: r.Float("latitude"), Lon: r.Float("longitude"), Exact: true}
	case !r.Null("locator"):
		return Place{Locator: r.Str("locator")}
	}
	return Place{}
}

// Key is the place as text, "" for none.
func (p Place) Key() string {
	if p.Exact {
		return degrees(p.Lat) + "," + degrees(p.Lon)
	}
	return p.Locator
}

// degrees writes an angle to a tenth of a metre, zero without a sign.
func degrees(v float64) string {
	text := strconv.FormatFloat(v, 'f', 6, 64)
	if text == "-0.000000" {
		return text[1:]
	}
	return text
}

// Far gives the call of the far end of a row of table spots.
func Far(r *table.Reader) string {
	if r.Str("direction") == "sent" {
		return r.Str("receiver")
	}
	return r.Str("transmitter")
}

// Places gives the distinct places among those told for one call: the longest locators and exact positions,
// sorted; less exact ones that contain them, and none at all, do not count.
func Places(told []Place) []Place {
	var out []Place
	for _, p := range mostExactFirst(told) {
		if slices.ContainsFunc(out, p.agrees) {
			continue
		}
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b Place) int { return cmp.Compare(a.Key(), b.Key()) })
	return out
}

// mostExactFirst gives what was told, each place once: positions by their digits, then locators by their length. The order
// rests on the places alone, so that gathering them one after the other gives the same whatever the order of the rows.
func mostExactFirst(told []Place) []Place {
	seen := map[Place]bool{{}: true}
	var out []Place
	for _, p := range told {
		if !seen[p] {
			seen[p] = true
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b Place) int {
		return cmp.Or(
			boolFirst(a.Exact, b.Exact),
			cmp.Compare(b.digits(), a.digits()),
			cmp.Compare(len(b.Locator), len(a.Locator)),
			cmp.Compare(a.Key(), b.Key()),
			cmp.Compare(a.Lat, b.Lat), cmp.Compare(a.Lon, b.Lon),
		)
	})
	return out
}

// digits counts the decimals with which a position is told, up to those of Key.
func (p Place) digits() int {
	if !p.Exact {
		return 0
	}
	return decimals(p.Lat) + decimals(p.Lon)
}

func decimals(v float64) int {
	_, after, _ := strings.Cut(degrees(v), ".")
	return len(strings.TrimRight(after, "0"))
}

func boolFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}

// agrees tells whether p can be the place q, which is told at least as exactly.
func (p Place) agrees(q Place) bool {
	switch {
	case p.Exact && q.Exact:
		return p.kmTo(q) <= samePlaceKm
	case p.Exact:
		return false
	case q.Exact:
		cell, err := locator.Decode(p.Locator)
		return err == nil && q.Lat >= cell.South && q.Lat <= cell.North && q.Lon >= cell.West && q.Lon <= cell.East
	}
	return strings.EqualFold(p.Locator, q.Locator) || locator.Contains(q.Locator, p.Locator)
}

// samePlaceKm is how far apart two exact positions may be and still be one place.
const samePlaceKm = 1

// kmTo is the distance of two exact positions; infinite where the latitudes alone show that it is over samePlaceKm.
func (p Place) kmTo(q Place) float64 {
	switch {
	case p == q:
		return 0
	case math.Abs(p.Lat-q.Lat) > 0.02: // a degree of latitude has over 110 km
		return math.Inf(1)
	}
	km, _, _ := geo.Inverse(geo.Point{LatDeg: p.Lat, LonDeg: p.Lon}, geo.Point{LatDeg: q.Lat, LonDeg: q.Lon})
	return km
}

// Choose gives the index of the place that a row belongs to: of positions the nearest one that agrees with what the row
// tells, else the one that agrees, or the only one if it tells nothing. It is -1, the station without a place, if that
// leaves none or several.
func Choose(places []Place, p Place) int {
	if p.Exact {
		return nearest(places, p)
	}
	found := -1
	for i, q := range places {
		if p != (Place{}) && !p.agrees(q) {
			continue
		}
		if found >= 0 {
			return -1
		}
		found = i
	}
	return found
}

// nearest gives the index of the place that agrees with an exact position, the nearest of several.
func nearest(places []Place, p Place) int {
	found, least := -1, math.Inf(1)
	for i, q := range places {
		if !p.agrees(q) {
			continue
		}
		if km := p.kmTo(q); km < least {
			found, least = i, km
		}
	}
	return found
}

// RoundDeg rounds a bearing to 1 degree, 0 to 359. The judge uses nothing finer than this and RoundKm, so that a
// shared table with cut places gives the same bytes.
func RoundDeg(deg float64) float64 { return math.Mod(math.Round(deg), 360) }

// RoundKm rounds a distance to 10 km.
func RoundKm(km float64) float64 { return 10 * math.Round(km/10) }

// RoundRadiusKm rounds what a place may be off to 0.1 km.
func RoundRadiusKm(km float64) float64 { return math.Round(10*km) / 10 }

// OnTheMove gives the suffix of a call that says that its station is in a car, on a ship or in the air; "" without one.
func OnTheMove(call string) string {
	for _, suffix := range []string{"/M", "/MM", "/AM"} {
		if strings.HasSuffix(call, suffix) {
			return suffix
		}
	}
	return ""
}

// mostPlaces is the number of places at which a call may have been, and still be taken to stand still.
const mostPlaces = 2

// Roaming tells which rows of a table of stations are of one that moves: its call says so, or stands there with more than two
// places. Calls and places go row by row; "" is no place.
func Roaming(calls, places []string) []bool {
	seen := map[string]int{}
	for i, call := range calls {
		if places[i] != "" {
			seen[call]++
		}
	}
	out := make([]bool, len(calls))
	for i, call := range calls {
		out[i] = OnTheMove(call) != "" || seen[call] > mostPlaces
	}
	return out
}
