// Package coast holds the coastlines of the world, coarse enough for a small map.
//
// Source: Natural Earth 4.1.0, 1:110m physical vectors, "land" (public domain), taken from the file land-110m.json of
// the npm package world-atlas 2.0.2 by Michael Bostock (ISC licence; see LICENSE-world-atlas.txt), SHA-256
// ead5f68119c49a9250902e7da303bcb209341bbb8fefe7369a439b48b704658a. Command datasets/coast/make turns that file into the
// embedded land-110m.bin, with positions rounded to 0.01 degree (1.1 km).
//
// The model is plain: each coastline is a ring of points, joined by lines that are straight in latitude and longitude.
// At this scale a coastline is off by some ten kilometres, and small islands, narrow inlets and all lakes but the
// Caspian Sea are missing. Ice shelves count as land. There are no borders, no names and no heights.
//
// Rings run across the date line and around the South Pole without an edge there; only Wrangel Island is cut in two
// along the meridian of 180 degrees, as in the source.
package coast

import (
	_ "embed"
	"slices"
)

//go:embed land-110m.bin
var embedded []byte

// Point is a place: latitude from -90 to 90, north positive, and longitude from -180 to 180, east positive, in degrees.
type Point struct{ LatDeg, LonDeg float64 }

// Coast is a set of coastlines. The zero Coast is a world without land.
type Coast struct{ rings [][]Point }

// Load gives the coastlines of the world, read from the embedded file at each call: about 0.1 ms, so a caller keeps
// what it gets.
func Load() Coast {
	c, err := Read(embedded)
	if err != nil {
		panic("coast: the embedded file: " + err.Error())
	}
	return c
}

// Lines gives a copy of the coastlines. Each is a closed ring: its last point is its first. Two points that follow
// each other may lie on both sides of the date line, 179.9 and -179.9 degrees: the short way between them is meant.
func (c Coast) Lines() [][]Point {
	out := make([][]Point, len(c.rings))
	for i, ring := range c.rings {
		out[i] = slices.Clone(ring)
	}
	return out
}

// OnLand tells whether a place lies on land: whether the meridian from it to the North Pole, which lies in the sea,
// crosses coastlines an odd number of times (the even-odd rule; M. Shimrat, "Algorithm 112: position of point relative
// to polygon", Communications of the ACM 5, 1962). On a coastline itself the answer may be either. Longitudes that differ
// by 360 are the same. A latitude outside -90 to 90, or an angle that is not a number, is not on land.
func (c Coast) OnLand(latDeg, lonDeg float64) bool {
	if !(latDeg >= -90 && latDeg <= 90) {
		return false
	}
	land := false
	lonDeg = turn(lonDeg)
	for _, ring := range c.rings {
		for i := 1; i < len(ring); i++ {
			if crossesNorthOf(latDeg, lonDeg, ring[i-1], ring[i]) {
				land = !land
			}
		}
	}
	return land
}
