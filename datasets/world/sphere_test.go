package world

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Right angles and right triangles on the sphere (textbook spherical trigonometry: in a right triangle with legs a and b,
// cos c = cos a cos b and tan A = tan a / sin b); a quarter of a great circle is 6371.0088*pi/2 = 10007.557 km. Tolerance:
// floating point.
func TestDistanceAndBearing(t *testing.T) {
	const quarter = 10007.557221
	for _, c := range []struct {
		name                   string
		fromLat, fromLon       float64
		toLat, toLon           float64
		distanceKm, bearingDeg float64
	}{
		{"along the equator", 0, 0, 0, 90, quarter, 90},
		{"along the equator, west", 0, 10, 0, -80, quarter, 270},
		{"to the North Pole", 0, 33, 90, 0, quarter, 0},
		{"to the South Pole", 45, 33, -90, 0, 1.5 * quarter, 180},
		{"over the date line, east", 0, 179, 0, -179, quarter / 45, 90},
		{"over the date line, west", 0, -179, 0, 179, quarter / 45, 270},
		{"from 180 to -180", 0, 180, 0, -180, 0, 0},
		{"legs of 45 and 45 degrees: c = 60, A = 54.7356", 0, 0, 45, 45, quarter * 2 / 3, 35.264389682754654},
		{"the same across the date line", 0, 160, 45, -155, quarter * 2 / 3, 35.264389682754654},
		{"from the North Pole told as 0", 90, 0, 45, 30, quarter / 2, 150},
		{"from the North Pole told as 30: its meridian lies south", 90, 30, 45, 30, quarter / 2, 180},
		{"from the South Pole told as 0", -90, 0, -45, 30, quarter / 2, 30},
	} {
		distance, bearing := frameOf(c.fromLat, c.fromLon).to(frameOf(c.toLat, c.toLon).up)
		require.InDelta(t, c.distanceKm, distance, 1e-6, c.name)
		if c.distanceKm > 0 {
			require.InDelta(t, 0, math.Remainder(c.bearingDeg-bearing, 360), 1e-9, c.name)
		}
	}
}

// Going out and looking back is the same from everywhere, also from the poles. Tolerance: 1 m, and the angle that is 1 m
// at that distance.
func TestOnwardIsTheInverseOfTo(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		latitude := rapid.OneOf(rapid.Float64Range(-90, 90), rapid.SampledFrom([]float64{-90, 90, 0})).Draw(r, "latitude")
		longitude := rapid.OneOf(rapid.Float64Range(-180, 180), rapid.SampledFrom([]float64{-180, 180})).Draw(r, "longitude")
		distance, bearing := rapid.Float64Range(1, 19_900).Draw(r, "distance"), rapid.Float64Range(0, 360).Draw(r, "bearing")
		own := frameOf(latitude, longitude)
		lat, lon := own.onward(distance, bearing)
		require.True(r, lat >= -90 && lat <= 90 && lon >= -180 && lon <= 180)
		d, b := own.to(frameOf(lat, lon).up)
		require.InDelta(r, distance, d, 0.001)
		across := earthKm * math.Sin(distance/earthKm)
		require.InDelta(r, 0, math.Remainder(bearing-b, 360)*degree*across, 0.001)
	})
}

// Locators by hand from the definition: 76.875 + 180 = 12*20 + 8*2 + 10.5/12 gives M, 8, k; 43.6458 + 90 = 13*10 + 3 +
// 15.5/24 gives N, 3, p.
func TestSquare(t *testing.T) {
	for _, c := range []struct {
		name               string
		latitude           float64
		longitude          float64
		centreLat, centreL float64
	}{
		{"MN83kp", 43.6458, 76.875, 43 + 15.5/24, 76 + 10.5/12},
		{"JJ00aa", 0, 0, 0.5 / 24, 0.5 / 12},
		{"AA00aa", -90, -180, -90 + 0.5/24, -180 + 0.5/12},
		{"RR99xx", 90, 180, 90 - 0.5/24, 180 - 0.5/12},
	} {
		name, lat, lon := square(c.latitude, c.longitude)
		require.Equal(t, c.name, name)
		require.InDelta(t, c.centreLat, lat, 1e-9)
		require.InDelta(t, c.centreL, lon, 1e-9)
	}
}

func TestCoarseCentre(t *testing.T) {
	lat, lon := coarseCentre(43.6458, 76.875)
	require.Equal(t, [2]float64{43.5, 77}, [2]float64{lat, lon})
	lat, lon = coarseCentre(-0.1, -0.1)
	require.Equal(t, [2]float64{-0.5, -1}, [2]float64{lat, lon})
}
