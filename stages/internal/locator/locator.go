// Package locator reads and writes locators, the short texts that radio amateurs give for a position.
//
// A locator divides the Earth, 360 by 180 degrees from 180 W and 90 S, by 18, 10, 24, 10, 24 and 10, each
// step in both directions; the steps are written as pairs of letters A-R, digits, letters A-X, digits, letters
// A-X, digits, longitude first. The first three pairs follow the IARU Region 1 VHF Managers Handbook; the
// others go on in the same way, which is common practice. A cell owns its south and west edges. Longitudes
// count modulo 360, and the North Pole belongs to the last row (common practice).
//
// A locator is an area, not a point: [RadiusKm] tells how far the position may lie from the centre. Cells are found
// in exact arithmetic on the decimal text of the coordinates, since binary fractions miss cell edges.
package locator

import (
	"strings"

	"fairlobe/stages/internal/geo"
)

// Cell is the area that a locator names. All angles are in degrees, north and east positive.
type Cell struct {
	South, West, North, East float64
	// Lat and Lon are the centre.
	Lat, Lon float64
	// Text is the locator in one spelling: first pair in capitals, later letters small ("MN83kp").
	Text string
}

// Centre gives the middle of the cell.
func (c Cell) Centre() geo.Point { return geo.Point{LatDeg: c.Lat, LonDeg: c.Lon} }

// maxChars is the length of the longest locator: six pairs, cells of 0.2 seconds of arc by 0.1.
const maxChars = 12

// step is one pair of characters: the first of its symbols and how many there are.
type step struct {
	first byte
	count int64
}

var steps = [maxChars / 2]step{{'A', 18}, {'0', 10}, {'a', 24}, {'0', 10}, {'a', 24}, {'0', 10}}

// Decode reads a locator of 2 to 12 characters, in capitals or small letters. Its error is an [*Error].
func Decode(s string) (Cell, error) {
	if err := checkLength(s); err != nil {
		return Cell{}, err
	}
	var text [maxChars]byte
	lon, lat, cells := int64(0), int64(0), int64(1)
	for i := 0; i < len(s); i += 2 {
		st := steps[i/2]
		x, y := st.index(s[i]), st.index(s[i+1])
		if x < 0 || y < 0 {
			return Cell{}, wrongPair(s, i/2)
		}
		lon, lat, cells = lon*st.count+x, lat*st.count+y, cells*st.count
		text[i], text[i+1] = st.first+byte(x), st.first+byte(y)
	}
	return cell(lon, lat, cells, string(text[:len(s)])), nil
}

// cell gives the area of column lon and row lat, where cells of them span 360 and 180 degrees. The divisions
// are of exact integers, so that neighbours share their edges to the last bit.
func cell(lon, lat, cells int64, text string) Cell {
	part := func(degrees, halves int64) float64 { // half steps from the corner of the world
		return float64(degrees*halves-degrees*cells) / float64(2*cells)
	}
	return Cell{
		South: part(180, 2*lat), North: part(180, 2*lat+2), Lat: part(180, 2*lat+1),
		West: part(360, 2*lon), East: part(360, 2*lon+2), Lon: part(360, 2*lon+1),
		Text: text,
	}
}

// index gives the number of a symbol, without regard to case, or -1.
func (st step) index(c byte) int64 {
	if 'a' <= c && c <= 'z' && st.first == 'A' {
		c -= 'a' - 'A'
	}
	if 'A' <= c && c <= 'Z' && st.first == 'a' {
		c += 'a' - 'A'
	}
	if i := int64(c) - int64(st.first); i >= 0 && i < st.count {
		return i
	}
	return -1
}

// Contains tells whether the cell of the locator long lies within that of the locator short, or is the same:
// whether short begins long, without regard to case. Both must be such as [Decode] takes; an empty text is no locator,
// and the answer false.
func Contains(long, short string) bool {
	return short != "" && len(short) <= len(long) && strings.EqualFold(long[:len(short)], short)
}

// RadiusKm gives the distance on WGS84 from the centre of the cell to its farthest corner, in kilometres: half
// the diagonal. No point of the cell lies farther away.
func RadiusKm(c Cell) float64 {
	south, _, _ := geo.Inverse(c.Centre(), geo.Point{LatDeg: c.South, LonDeg: c.West})
	north, _, _ := geo.Inverse(c.Centre(), geo.Point{LatDeg: c.North, LonDeg: c.West})
	return max(south, north)
}
