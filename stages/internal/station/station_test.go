package station

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func loc(text string) Place { return Place{Locator: text} }

func spot(lat, lon float64) Place { return Place{Lat: lat, Lon: lon, Exact: true} }

// A station is a call and a place: the longest locator that contains the others; places that can't agree are two.
func TestPlaces(t *testing.T) {
	for _, c := range []struct {
		rule       string
		told, want []Place
	}{
		{"none", nil, nil},
		{"nothing told", []Place{{}, {}}, nil},
		{"the longest that contains the others", []Place{loc("MN83"), loc("MN83kp"), loc("MN"), {}}, []Place{loc("MN83kp")}},
		{"two that can't agree", []Place{loc("MN83kp"), loc("MN84"), loc("MN")}, []Place{loc("MN83kp"), loc("MN84")}},
		{"three", []Place{loc("MN83kp"), loc("MN84"), loc("MN83kq")}, []Place{loc("MN83kp"), loc("MN83kq"), loc("MN84")}},
		{"a position within a locator", []Place{loc("MN83"), spot(43.6, 76.9)}, []Place{spot(43.6, 76.9)}},
		{"a position outside of it", []Place{loc("MN83"), spot(44.5, 76.9)}, []Place{spot(44.5, 76.9), loc("MN83")}},
		{"a position on the corner", []Place{loc("MN83"), spot(43, 76)}, []Place{spot(43, 76)}},
		{"one position with other digits", []Place{spot(43.64, 76.88), spot(43.6401, 76.8802), spot(43.6, 76.9)}, []Place{spot(43.6, 76.9), spot(43.6401, 76.8802)}},
		{"of equal digits the smallest text", []Place{spot(43.6402, 76.8801), spot(43.6401, 76.8802)}, []Place{spot(43.6401, 76.8802)}},
		{"0.9 km apart", []Place{spot(43.640, 76.88), spot(43.648, 76.88)}, []Place{spot(43.648, 76.88)}},
		{"1.1 km apart", []Place{spot(43.640, 76.88), spot(43.650, 76.88)}, []Place{spot(43.64, 76.88), spot(43.65, 76.88)}},
		{"over the date line", []Place{spot(10, 179.999), spot(10, -179.9991)}, []Place{spot(10, -179.9991)}},
		{"zero has no sign", []Place{spot(0, 0), spot(-1e-9, -0.0000001)}, []Place{spot(0, 0)}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got := Places(c.told)
			require.Len(t, got, len(c.want))
			for i := range got {
				require.Equal(t, c.want[i].Key(), got[i].Key())
			}
		})
	}
}

func TestChoose(t *testing.T) {
	two := []Place{loc("MN83kp"), loc("MN83kq")}
	for _, c := range []struct {
		rule   string
		places []Place
		p      Place
		want   int
	}{
		{"no place of the call", nil, Place{}, -1},
		{"nothing told, one place", two[:1], Place{}, 0},
		{"nothing told, two places", two, Place{}, -1},
		{"the very place", two, loc("MN83kq"), 1},
		{"less exactly told, one fits", []Place{loc("MN84"), loc("MN83kq")}, loc("MN83"), 1},
		{"less exactly told, both fit", two, loc("MN83"), -1},
		{"of two positions the nearest", []Place{spot(43.640, 76.88), spot(43.652, 76.88)}, spot(43.647, 76.88), 1},
		{"a position too far from all", []Place{spot(43.640, 76.88), spot(43.652, 76.88)}, spot(43.68, 76.88), -1},
		{"a position is never a locator", []Place{loc("MN83")}, spot(43.64, 76.88), -1},
	} {
		require.Equal(t, c.want, Choose(c.places, c.p), c.rule)
	}
}

// Every place told belongs to one of the places found, or to several, whatever the order.
func TestPlacesCoverWhatWasTold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := rapid.SliceOfN(rapid.SampledFrom([]Place{{}, loc("MN"), loc("MN83"), loc("MN84"), loc("MN83kp"), loc("MN83kq"), spot(43.64, 76.88), spot(43.6401, 76.88), spot(43.648, 76.88), spot(43.6561, 76.88), spot(10, 10)}), 1, 8).Draw(t, "told")
		places := Places(told)
		require.Equal(t, places, Places(rapid.Permutation(told).Draw(t, "order")))
		for _, p := range told {
			fits := 0
			for _, q := range places {
				if p == (Place{}) || p.agrees(q) {
					fits++
				}
			}
			if p != (Place{}) {
				require.Positive(t, fits)
			}
			require.Equal(t, fits == 1 || p.Exact, Choose(places, p) >= 0, "a position belongs to the nearest")
		}
	})
}

// The judge uses the bearing rounded to 1 degree and the distance to 10 km.
func TestRounding(t *testing.T) {
	for in, want := range map[float64]float64{0: 0, 359.4: 359, 359.5: 0, 359.6: 0, 29.49: 29, 29.5: 30} {
		require.Equal(t, want, RoundDeg(in), in)
	}
	for in, want := range map[float64]float64{0: 0, 4.9: 0, 5: 10, 1004.9: 1000, 1005: 1010} {
		require.Equal(t, want, RoundKm(in), in)
	}
}

// A call with a suffix of the road, the sea or the air moves; so does one that was told from three places, in all its rows.
func TestRoaming(t *testing.T) {
	calls := []string{"Q1AA", "Q1AA", "Q2BB", "Q2BB", "Q2BB", "Q2BB", "Q3CC/M", "Q4DD/P", "Q5EE/MM", "Q6FF/AM"}
	places := []string{"JN00", "JN01", "JN00", "JN01", "JN02", "", "JN00", "JN00", "", "JN00"}
	require.Equal(t, []bool{false, false, true, true, true, true, true, false, true, true}, Roaming(calls, places))
	require.Empty(t, Roaming(nil, nil))
}
