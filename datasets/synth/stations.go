package synth

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Station is one receiver.
type Station struct {
	Call string
	// Locator as the station tells it: six characters, four, or none.
	Locator string
	// Latitude and Longitude, degrees, are the centre of its six-character square.
	Latitude, Longitude    float64
	BearingDeg, DistanceKm float64
	SiteDB                 float64
	// OffsetHz is how much too high it reads a frequency.
	OffsetHz int64
	// Bands are those it listens on.
	Bands []string
	// Listens is the share of the time in which it is on the air.
	Listens float64
}

// cluster is a piece of inland country in which stations live.
type cluster struct {
	latitude, longitude float64
	radiusKm            float64
	stations            int
}

// country lists the clusters. Centres are inland, and the radius keeps clear of any coast.
var country = []cluster{
	{55.6, 37.8, 200, 9}, {49.6, 11.2, 180, 8}, {28.9, 77.0, 150, 7}, {52.0, 20.0, 150, 6},
	{55.1, 61.3, 150, 6}, {54.9, 82.8, 150, 5}, {38.3, 113.8, 150, 5}, {30.6, 104.5, 120, 4},
	{49.5, 31.5, 150, 3}, {36.3, 138.2, 45, 3}, {39.2, 33.0, 120, 3}, {41.2, 69.3, 60, 3},
	{51.1, 71.4, 100, 3}, {17.6, 78.4, 150, 3}, {16.0, 102.5, 120, 3}, {61.2, 14.8, 90, 2},
	{62.3, 26.0, 100, 2}, {43.9, 87.5, 80, 2}, {42.7, 74.9, 40, 2}, {45.8, 126.0, 120, 2},
	{47.0, 19.3, 70, 2}, {34.3, 51.5, 120, 2}, {26.3, 112.5, 120, 2}, {45.0, 78.2, 50, 1},
	{53.8, 101.5, 120, 1}, {24.6, 45.5, 120, 1}, {62.0, 129.5, 120, 1}, {60.6, 76.0, 60, 1},
	{47.8, 106.5, 80, 1}, {15.4, 31.0, 80, 1}, {9.2, 38.6, 80, 1}, {21.6, 96.2, 80, 1},
	{37.5, 95.0, 80, 1}, {31.6, 73.4, 60, 1},
}

// Odd stations, by number: the portable one, those that tell no place, and every seventh tells four characters.
const (
	portable  = 20
	placeless = 33
	shy       = 58
	coarse    = 7
)

// Stations gives the receivers of a trial. The number of a station is its place in the slice.
func Stations(p Params) []Station {
	own := place{p.Latitude, p.Longitude}
	random := p.stream("stations")
	taken := map[string]bool{"Q1RDG": true}
	var all []Station
	for _, c := range country {
		for range c.stations {
			s := p.settle(c, own, random)
			s.Call = call(random, taken)
			s.spell(len(all))
			all = append(all, s)
		}
	}
	return all
}

// settle puts one station somewhere into a cluster.
func (p Params) settle(c cluster, own place, random *rand.Rand) Station {
	away := c.radiusKm * math.Sqrt(random.Float64())
	locator, centre := square(place{c.latitude, c.longitude}.onward(away, 360*random.Float64()))
	s := Station{Locator: locator, Latitude: centre.latitude, Longitude: centre.longitude}
	s.DistanceKm, s.BearingDeg = own.to(centre)
	s.SiteDB = p.SiteSD * random.NormFloat64()
	s.OffsetHz = int64(math.Round(8 * random.NormFloat64()))
	s.Listens = listens(random)
	s.Bands = p.bandsOf(random)
	return s
}

// listens draws the share of time: half of the stations are there nearly always, the others come and go.
func listens(random *rand.Rand) float64 {
	if random.Float64() < 0.5 {
		return 0.97
	}
	return 0.25 + float64(0.6*random.Float64())
}

// bandsOf draws the bands that a station listens on: two of three stations on all, the others on one.
func (p Params) bandsOf(random *rand.Rand) []string {
	one, all := random.IntN(len(p.Bands)), random.Float64() < 0.67
	var bands []string
	for i, b := range p.Bands {
		if all || i == one {
			bands = append(bands, b.Name)
		}
	}
	return bands
}

// spell gives the station the call and locator that it tells.
func (s *Station) spell(number int) {
	switch {
	case number == portable:
		s.Call += "/P"
	case number == placeless || number == shy:
		s.Locator = ""
	case number%coarse == coarse-1:
		s.Locator = s.Locator[:4]
	}
}

func (s Station) hears(band string) bool { return slices.Contains(s.Bands, band) }

// call draws a call sign that is not in use: Q and a digit, which no authority allocates, then consonants.
func call(random *rand.Rand, taken map[string]bool) string {
	const letters = "BCDFGHJKLMNPRSTVWXZ"
	for {
		c := fmt.Sprintf("Q%d", random.IntN(10))
		for range 2 + random.IntN(2) {
			c += string(letters[random.IntN(len(letters))])
		}
		if !taken[c] {
			taken[c] = true
			return c
		}
	}
}
