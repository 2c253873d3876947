// Package station tells when two places told for one call are one place, and how finely a station's bearing and
// distance are used.
//
// A locator that contains another (MN83 and MN83kp) is the same place told less exactly; an exact position lies in the
// locator that holds it. Places that can't agree are two stations.
package station

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"fairlobe/pipeline/table"
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
	sorted := slices.Clone(told)
	slices.SortFunc(sorted, func(a, b Place) int {
		return cmp.Or(
			boolFirst(a.Exact, b.Exact),
			cmp.Compare(len(b.Locator), len(a.Locator)),
			cmp.Compare(a.Key(), b.Key()),
		)
	})
	for _, p := range sorted {
		if p == (Place{}) || slices.ContainsFunc(out, p.agrees) {
			continue
		}
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b Place) int { return cmp.Compare(a.Key(), b.Key()) })
	return out
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
		return p.Key() == q.Key()
	case p.Exact:
		return false
	case q.Exact:
		cell, err := locator.Decode(p.Locator)
		return err == nil && q.Lat >= cell.South && q.Lat <= cell.North && q.Lon >= cell.West && q.Lon <= cell.East
	}
	return strings.EqualFold(p.Locator, q.Locator) || locator.Contains(q.Locator, p.Locator)
}

// Choose gives the index of the place that a row belongs to: the one that agrees with what the row tells, or the only
// one if it tells nothing. It is -1, the station without a place, if that leaves none or several.
func Choose(places []Place, p Place) int {
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

// RoundDeg rounds a bearing to 1 degree, 0 to 359. The judge uses nothing finer than this and RoundKm, so that a
// shared table with cut places gives the same bytes.
func RoundDeg(deg float64) float64 { return math.Mod(math.Round(deg), 360) }

// RoundKm rounds a distance to 10 km.
func RoundKm(km float64) float64 { return 10 * math.Round(km/10) }
