package world

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"fairlobe/datasets/coast"
)

func settled(t *testing.T, p Params, trial Trial) []Station {
	t.Helper()
	if p.Land == nil {
		p.Land = coast.Load().OnLand
	}
	stations, err := settle(p, trial)
	require.NoError(t, err)
	require.Len(t, stations, p.Stations)
	return stations
}

// Own places all over the world, also where longitudes jump and where bearings have no north.
func TestStationsLiveOnLandWithinTheirBounds(t *testing.T) {
	land := coast.Load().OnLand
	for _, c := range []struct {
		name                string
		latitude, longitude float64
		nearest, farthest   float64
	}{
		{"a steppe", steppeLatitude, steppeLongitude, 400, 4000},
		{"a steppe, near", steppeLatitude, steppeLongitude, 50, 600},
		{"an island beside the date line", -17.8, 179.9, 200, 4000},
		{"the date line itself", 66.5, 180, 200, 4000},
		{"the date line from the other side", 66.5, -180, 200, 4000},
		{"the North Pole", 90, 0, 1500, 5000},
		{"the South Pole", -90, 0, 200, 2000},
		{"an ocean", 30, -45, 1000, 6000},
		{"anywhere", 0, 0, 0, 20_000},
	} {
		p, trial := Default(), trialOf(1, "20m")
		trial.LatitudeDeg, trial.LongitudeDeg = c.latitude, c.longitude
		p.Stations, p.NearestKm, p.FarthestKm, p.CoarseShare = 80, c.nearest, c.farthest, 0.5
		if c.latitude == -90 {
			p.SouthDeg = -90
		}
		own := frameOf(c.latitude, c.longitude)
		for _, s := range settled(t, p, trial) {
			require.True(t, land(s.LatitudeDeg, s.LongitudeDeg), "%s: %v", c.name, s)
			require.True(t, s.DistanceKm >= c.nearest && s.DistanceKm <= c.farthest, "%s: %v", c.name, s)
			require.True(t, s.LatitudeDeg >= p.SouthDeg && s.LatitudeDeg <= p.NorthDeg, "%s: %v", c.name, s)
			require.True(t, s.BearingDeg >= 0 && s.BearingDeg < 360, "%s: %v", c.name, s)
			distance, bearing := own.to(frameOf(s.LatitudeDeg, s.LongitudeDeg).up)
			require.Equal(t, [2]float64{s.DistanceKm, s.BearingDeg}, [2]float64{distance, bearing})
			name, lat, lon := square(s.LatitudeDeg, s.LongitudeDeg)
			require.InDelta(t, s.LatitudeDeg, lat, 1e-9, "the centre of its square")
			require.InDelta(t, s.LongitudeDeg, lon, 1e-9)
			require.True(t, strings.HasPrefix(name, s.Locator))
			if len(s.Locator) == 4 {
				require.True(t, land(coarseCentre(s.LatitudeDeg, s.LongitudeDeg)), "%s: %v", c.name, s)
			}
		}
	}
}

func TestCallsAreNobodysAndUnique(t *testing.T) {
	p, trial := Default(), trialOf(1, "20m")
	p.Stations, p.Land = 3000, everywhere
	own := settled(t, p, trial)[0].Call
	trial.Call = strings.TrimSuffix(own, "/P")
	seen := map[string]bool{trial.Call: true}
	form := regexp.MustCompile(`^Q[0-9][B-Z]{2,3}(/P)?$`)
	for _, s := range settled(t, p, trial) {
		require.Regexp(t, form, s.Call)
		plain := strings.TrimSuffix(s.Call, "/P")
		require.False(t, seen[plain], s.Call)
		seen[plain] = true
	}
}

func everywhere(float64, float64) bool { return true }

// Shares and sizes among 4000 stations. Tolerance: 5 standard errors.
func TestStationsHabits(t *testing.T) {
	const n = 4000
	p, trial := Default(), trialOf(1, "20m", "10m")
	p.Stations, p.Land, p.ThinnedShare = n, everywhere, 0.6
	stations := settled(t, p, trial)
	share := func(what func(Station) bool) float64 {
		count := 0.0
		for _, s := range stations {
			if what(s) {
				count++
			}
		}
		return count / n
	}
	for _, c := range []struct {
		name string
		want float64
		what func(Station) bool
	}{
		{"placeless", 0.03, func(s Station) bool { return s.Locator == "" }},
		{"coarse", 0.14, func(s Station) bool { return len(s.Locator) == 4 }},
		{"portable", 0.03, func(s Station) bool { return strings.HasSuffix(s.Call, "/P") }},
		{"steady", 0.5, func(s Station) bool { return s.Listens == 0.97 }},
		{"unsteady, below the middle", 0.25, func(s Station) bool { return s.Listens < 0.55 }},
		{"on both bands", 0.67, func(s Station) bool { return len(s.Bands) == 2 }},
		{"on 10m alone", 0.165, func(s Station) bool { return slices.Equal(s.Bands, []string{"10m"}) }},
		{"sends", 0.5, func(s Station) bool { return s.Sends }},
		{"passes on everything", 0.4, func(s Station) bool { return s.Every }},
		{"last", 0.2, func(s Station) bool { return s.Passes == Last }},
		{"best", 0.2, func(s Station) bool { return s.Passes == Best }},
	} {
		require.InDelta(t, c.want, share(c.what), 5*math.Sqrt(c.want*(1-c.want)/n), c.name)
	}
	for _, c := range []struct {
		name     string
		mean, sd float64
		of       func(Station) float64
	}{
		{"noise", 0, 6, func(s Station) float64 { return s.NoiseDB }},
		{"power", 8, 5, func(s Station) float64 { return s.PowerDB }},
		{"offset", 0, 8, func(s Station) float64 { return float64(s.OffsetHz) }},
	} {
		values := make([]float64, n)
		for i, s := range stations {
			values[i] = c.of(s)
		}
		mean, sd := stat.MeanStdDev(values, nil)
		require.InDelta(t, c.mean, mean, 5*c.sd/math.Sqrt(n), c.name)
		require.InDelta(t, c.sd, sd, 5*c.sd/math.Sqrt(2*n), c.name)
	}
}

// Ten clusters of 150 km: without scattered stations no station is farther than that, and a square's half, from one of them.
func TestStationsCluster(t *testing.T) {
	p, trial := Default(), trialOf(1, "20m")
	p.Stations, p.Clusters, p.ScatteredShare, p.Land = 500, 10, 0, everywhere
	s := settlement{p: p, t: trial, own: frameOf(trial.LatitudeDeg, trial.LongitudeDeg)}
	require.NoError(t, s.found())
	used := map[int]bool{}
	for _, st := range settled(t, p, trial) {
		at := slices.IndexFunc(s.clusters, func(c cluster) bool {
			d, _ := c.centre.to(frameOf(st.LatitudeDeg, st.LongitudeDeg).up)
			return d <= c.km+7
		})
		require.GreaterOrEqual(t, at, 0, "%v", st)
		used[at] = true
	}
	require.Len(t, used, 10)
}

// Seven of ten in 60 degrees, and what falls there by chance: at least 0.7 less 5 standard errors. A cluster's radius
// widens the sector: at 400 km and more, 0.3 of the distance are 17 degrees.
func TestACrowdLivesInOneSector(t *testing.T) {
	p, trial := Default(), trialOf(1, "20m")
	preset, _ := Scenario("clustered")
	preset.Set(&p)
	p.Stations, p.Land = 1000, everywhere
	stations := settled(t, p, trial)
	most := 0
	for from := range 360 {
		inside := 0
		for _, s := range stations {
			if math.Abs(math.Remainder(s.BearingDeg-float64(from), 360)) <= 30+17.5 {
				inside++
			}
		}
		most = max(most, inside)
	}
	require.Greater(t, float64(most)/1000, 0.7-5*math.Sqrt(0.21/1000))
	require.Less(t, float64(most)/1000, 0.9)
}

// A shore with a strip of land: clusters whose disc is mostly sea close in on the land.
func TestStationsOnANarrowStrip(t *testing.T) {
	p, trial := Default(), trialOf(1, "20m")
	p.Land = func(latitude, _ float64) bool { return math.Abs(latitude-45) < 0.1 }
	for _, s := range settled(t, p, trial) {
		require.InDelta(t, 45, s.LatitudeDeg, 0.1)
	}
}
