package world

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// settlement draws the places and habits of the stations.
type settlement struct {
	p        Params
	t        Trial
	own      frame
	clusters []cluster
	crowded  int // the first so many clusters are in the crowd's sector
	taken    map[string]bool
}

// cluster is a piece of country in which stations live.
type cluster struct {
	centre frame
	km     float64 // radius
	weight float64 // running sum within the crowd, or within the rest
}

// settle draws all stations. Each has its own streams, so a station's numbers do not depend on how many there are.
func settle(p Params, t Trial) ([]Station, error) {
	s := settlement{p: p, t: t, own: frameOf(t.LatitudeDeg, t.LongitudeDeg), taken: map[string]bool{t.Call: true}}
	if err := s.found(); err != nil {
		return nil, err
	}
	stations := make([]Station, p.Stations)
	for i := range stations {
		latitude, longitude, err := s.home(t.stream("home", "", i))
		if err != nil {
			return nil, err
		}
		stations[i] = s.station(i, latitude, longitude)
	}
	return stations, nil
}

// found places the clusters.
func (s *settlement) found() error {
	if s.p.CrowdShare > 0 {
		s.crowded = max(1, int(math.Round(s.p.CrowdShare*float64(s.p.Clusters))))
	}
	crowdDeg, weight := 0.0, 0.0
	for i := range s.p.Clusters {
		random := s.t.stream("cluster", "", i)
		toward, width := 0.0, 360.0
		if 0 < i && i < s.crowded {
			toward, width = crowdDeg, s.p.CrowdDeg
		}
		latitude, longitude, bearing, distance, err := s.search(random, toward, width)
		if err != nil {
			return err
		}
		if i == 0 {
			// The crowd lies about the first cluster, for there is land.
			crowdDeg = bearing
		}
		if i == s.crowded {
			weight = 0
		}
		weight += 0.3 + random.ExpFloat64()
		s.clusters = append(s.clusters, cluster{frameOf(latitude, longitude), min(s.p.ClusterKm, 0.3*distance), weight})
	}
	return nil
}

// tries is how often a place is drawn before we say that there is no land.
const tries = 5000

// search draws a place on land in a sector.
func (s *settlement) search(random *rand.Rand, towardDeg, widthDeg float64) (latitude, longitude, bearing, distance float64, err error) {
	for range tries {
		drawn := towardDeg + float64(widthDeg*(random.Float64()-0.5))
		latitude, longitude = s.own.onward(between(random, s.p.NearestKm, s.p.FarthestKm), drawn)
		if latitude, longitude, distance, bearing, ok := s.habitable(latitude, longitude); ok {
			return latitude, longitude, bearing, distance, nil
		}
	}
	return 0, 0, 0, 0, fmt.Errorf("%w between latitudes %g and %g within %g to %g km of %.2f, %.2f (bearing %.0f, give or take %.0f degrees)",
		ErrNoLand, s.p.SouthDeg, s.p.NorthDeg, s.p.NearestKm, s.p.FarthestKm, s.t.LatitudeDeg, s.t.LongitudeDeg, towardDeg, widthDeg/2)
}

// ErrNoLand says that stations have nowhere to live.
var ErrNoLand = errors.New("found no land")

// habitable moves a place to the centre of its six-character square and tells whether a station may live there.
func (s *settlement) habitable(latitude, longitude float64) (lat, lon, distance, bearing float64, ok bool) {
	_, lat, lon = square(latitude, longitude)
	distance, bearing = s.own.to(frameOf(lat, lon).up)
	ok = lat >= s.p.SouthDeg && lat <= s.p.NorthDeg && distance >= s.p.NearestKm && distance <= s.p.FarthestKm && s.p.Land(lat, lon)
	return lat, lon, distance, bearing, ok
}

// home draws where one station lives.
func (s *settlement) home(random *rand.Rand) (latitude, longitude float64, err error) {
	if random.Float64() < s.p.ScatteredShare {
		latitude, longitude, _, _, err = s.search(random, 0, 360)
		return latitude, longitude, err
	}
	group := s.clusters[s.crowded:]
	if crowd := random.Float64() < s.p.CrowdShare; crowd || len(group) == 0 {
		group = s.clusters[:s.crowded]
	}
	at := random.Float64() * group[len(group)-1].weight
	c := group[slices.IndexFunc(group, func(c cluster) bool { return at < c.weight })]
	// Where most of the disc is sea, the draw closes in on the centre, which is on land.
	for reach := c.km; ; reach *= 0.98 {
		lat, lon := c.centre.onward(reach*math.Sqrt(random.Float64()), 360*random.Float64())
		if lat, lon, _, _, ok := s.habitable(lat, lon); ok {
			return lat, lon, nil
		}
	}
}

// station draws the habits of a station.
func (s *settlement) station(number int, latitude, longitude float64) Station {
	random := s.t.stream("station", "", number)
	st := Station{LatitudeDeg: latitude, LongitudeDeg: longitude}
	st.DistanceKm, st.BearingDeg = s.own.to(frameOf(latitude, longitude).up)
	st.NoiseDB = s.p.SiteSD * random.NormFloat64()
	st.PowerDB = s.p.TheirPowerDB + float64(s.p.TheirPowerSD*random.NormFloat64())
	st.OffsetHz = int64(math.Round(s.p.OffsetSD * random.NormFloat64()))
	st.Listens = s.listens(random)
	st.Sends = random.Float64() < s.p.SendersShare
	st.Every = random.Float64() >= s.p.ThinnedShare
	st.Passes = s.choice(random.Float64())
	st.Bands = s.bandsOf(random)
	st.Locator = s.told(random, latitude, longitude)
	st.Call = s.call(s.t.stream("call", "", number))
	return st
}

func (s *settlement) listens(random *rand.Rand) float64 {
	steady, share := random.Float64() < s.p.SteadyShare, between(random, s.p.ListensLow, s.p.ListensHigh)
	if steady {
		return s.p.SteadyListens
	}
	return share
}

func (s *settlement) choice(u float64) Choice {
	switch {
	case u < s.p.LastShare:
		return Last
	case u < s.p.LastShare+s.p.BestShare:
		return Best
	default:
		return First
	}
}

func (s *settlement) bandsOf(random *rand.Rand) []string {
	one, all := random.IntN(len(s.t.Bands)), random.Float64() < s.p.AllBandsShare
	var bands []string
	for i, b := range s.t.Bands {
		if all || i == one {
			bands = append(bands, b.Name)
		}
	}
	return bands
}

// told is the locator that a station tells. Four characters are told only where their centre is on land too, so that
// no map shows a station at sea.
func (s *settlement) told(random *rand.Rand, latitude, longitude float64) string {
	name, _, _ := square(latitude, longitude)
	switch u := random.Float64(); {
	case u < s.p.PlacelessShare:
		return ""
	case u < s.p.PlacelessShare+s.p.CoarseShare && s.p.Land(coarseCentre(latitude, longitude)):
		return name[:4]
	default:
		return name
	}
}

// call draws a call sign that is not in use: Q and a digit, which no authority allocates, then consonants.
func (s *settlement) call(random *rand.Rand) string {
	const letters = "BCDFGHJKLMNPRSTVWXZ"
	portable := random.Float64() < s.p.PortableShare
	for {
		call := []byte{'Q', '0' + byte(random.IntN(10))}
		for range 2 + random.IntN(2) {
			call = append(call, letters[random.IntN(len(letters))])
		}
		if s.taken[string(call)] {
			continue
		}
		s.taken[string(call)] = true
		if portable {
			return string(call) + "/P"
		}
		return string(call)
	}
}

const sectors = 12

func (s Station) sector() int { return int(s.BearingDeg/30) % sectors }

// region numbers the sectors by distance class.
func (s Station) region() int {
	class := 0
	for _, edge := range []float64{1200, 2700} {
		if s.DistanceKm >= edge {
			class++
		}
	}
	return class*sectors + s.sector()
}

func (s Station) isOn(band string) bool { return slices.Contains(s.Bands, band) }
