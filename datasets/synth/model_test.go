package synth

import (
	"math"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

func TestSquare(t *testing.T) {
	// Corners and the middle of the locator's own definition (IARU Region 1, Tampa 1980), and the demo's station.
	for _, c := range []struct {
		at   place
		want string
	}{
		{place{-89.99, -179.99}, "AA00aa"},
		{place{0.01, 0.01}, "JJ00aa"},
		{place{-0.01, -0.01}, "II99xx"},
		{place{89.99, 179.99}, "RR99xx"},
		{place{43.645833333333336, 76.875}, "MN83kp"},
	} {
		got, centre := square(c.at)
		require.Equal(t, c.want, got)
		again, _ := square(centre)
		require.Equal(t, c.want, again)
	}
}

func TestSphere(t *testing.T) {
	quarter := math.Pi / 2 * earthKm
	for _, c := range []struct {
		a, b                   place
		distanceKm, bearingDeg float64
	}{
		{place{0, 0}, place{0, 90}, quarter, 90},
		{place{0, 0}, place{90, 0}, quarter, 0},
		{place{0, 10}, place{0, -80}, quarter, 270},
		{place{60, 20}, place{0, 20}, quarter * 60 / 90, 180},
	} {
		d, az := c.a.to(c.b)
		require.InDelta(t, c.distanceKm, d, 1e-6) // rounding of sines
		require.InDelta(t, c.bearingDeg, az, 1e-9)
	}
}

func TestOnwardArrives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := place{rapid.Float64Range(-80, 80).Draw(t, "latitude"), rapid.Float64Range(-179, 179).Draw(t, "longitude")}
		km := rapid.Float64Range(10, 15000).Draw(t, "km")
		bearing := rapid.Float64Range(0, 359.9).Draw(t, "bearing")
		d, az := from.to(from.onward(km, bearing))
		// The haversine loses digits far away: 1 m is far below a locator square.
		if math.Abs(d-km) > 1e-3 || math.Abs(math.Mod(az-bearing+540, 360)-180) > 1e-3 {
			t.Fatalf("went %v km on %v, arrived at %v km on %v", km, bearing, d, az)
		}
	})
}

func TestStations(t *testing.T) {
	stations := Stations(RidgeWire())
	require.GreaterOrEqual(t, len(stations), 64)
	calls, sectors := map[string]bool{}, map[int]bool{}
	var portable, placeless, coarse int
	nearest, farthest := math.Inf(1), 0.0
	for _, s := range stations {
		require.Regexp(t, `^Q\d[A-Z]{2,3}(/P)?$`, s.Call)
		require.Regexp(t, `^([A-R]{2}\d{2}([a-x]{2})?)?$`, s.Locator)
		require.NotContains(t, s.Locator, "MN83")
		require.NotEmpty(t, s.Bands)
		calls[s.Call], sectors[int(s.BearingDeg/45)] = true, true
		if s.Call[len(s.Call)-1] == 'P' && len(s.Call) > 2 && s.Call[len(s.Call)-2] == '/' {
			portable++
		}
		placeless += btoi(s.Locator == "")
		coarse += btoi(len(s.Locator) == 4)
		nearest, farthest = min(nearest, s.DistanceKm), max(farthest, s.DistanceKm)
		if s.Locator != "" {
			full, _ := square(place{s.Latitude, s.Longitude})
			require.Equal(t, full[:len(s.Locator)], s.Locator)
		}
	}
	require.Len(t, calls, len(stations), "two stations have one call")
	require.Len(t, sectors, 8, "no station in some sector of 45 degrees")
	require.Equal(t, 1, portable)
	require.Equal(t, 2, placeless)
	require.Greater(t, coarse, 5)
	require.Less(t, coarse, len(stations)/4)
	require.InDelta(t, 183, nearest, 50) // the nearest cluster: its centre 183 km away, its radius 50 km
	require.InDelta(t, 5400, farthest, 400)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestDecodesAroundTheThreshold(t *testing.T) {
	p := RidgeWire()
	require.InDelta(t, 0.1, p.decodes(-21-1.25), 1e-12)
	require.InDelta(t, 0.5, p.decodes(-21), 1e-12)
	require.InDelta(t, 0.9, p.decodes(-21+1.25), 1e-12)
}

func TestOpening(t *testing.T) {
	p, b := RidgeWire(), Band{PeakHour: 1}
	at := func(hour int) float64 { return p.opening(b, time.Date(2026, 9, 12, hour, 0, 0, 0, time.UTC)) }
	require.InDelta(t, 0, at(1), 1e-12)
	require.InDelta(t, -p.OpeningDB, at(4), 1e-12)
	require.InDelta(t, -p.OpeningDB, at(22), 1e-12, "three hours before the peak lies on the day before")
}

// TestWander checks spread and correlation of the drift against the definition of the process.
func TestWander(t *testing.T) {
	const n, sd = 40_000, 2.0
	slots := make([]transmission, n)
	for i := range slots {
		slots[i].start = time.Unix(int64(30*i), 0)
	}
	x := wander(RidgeWire().stream("test"), slots, sd, 45*time.Second)
	// 40 000 values with a correlation time of 1.5 steps: the spread's standard error is about
	// 2 / sqrt(2*40000/2) = 0.01, that of the correlation 0.005; four of each are allowed.
	require.InDelta(t, sd, stat.StdDev(x, nil), 0.04)
	require.InDelta(t, math.Exp(-30.0/45), stat.Correlation(x[1:], x[:n-1], nil), 0.02)
	require.InDelta(t, math.Exp(-60.0/45), stat.Correlation(x[2:], x[:n-2], nil), 0.02)
}

// trialOf lays out blocks of two arms, alternating, for tests.
func trialOf(p Params, blocks int) []Dwell {
	at := time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)
	var dwells []Dwell
	for b := range blocks {
		for i, arm := range []string{p.First, p.Second} {
			if b%2 == 1 {
				arm = []string{p.Second, p.First}[i]
			}
			for _, band := range p.Bands {
				dwells = append(dwells, Dwell{
					Session: 1, Band: band.Name, Block: b + 1, Position: i + 1, Arm: arm,
					Start: at, Settle: at.Add(30 * time.Second), End: at.Add(6 * time.Minute),
				})
				at = at.Add(7 * time.Minute)
			}
			at = at.Add(2 * time.Minute)
		}
	}
	return dwells
}

func TestSpotsAreRepeatable(t *testing.T) {
	p := RidgeWire()
	dwells := trialOf(p, 3)
	spots := Spots(p, dwells)
	require.NotEmpty(t, spots)
	require.Equal(t, spots, Spots(p, dwells))
	p.Seed++
	require.NotEqual(t, spots, Spots(p, dwells))
}

func TestSpotsLieInSentSlots(t *testing.T) {
	p := RidgeWire()
	dwells := trialOf(p, 4)
	dwells[3].Silent = true
	stations := Stations(p)
	for _, s := range Decodes(p, dwells) {
		d := dwells[s.Dwell]
		require.False(t, d.Silent)
		require.False(t, s.Slot.Before(d.Start))
		require.False(t, s.Slot.Add(p.Slot).After(d.End))
		require.Zero(t, s.Slot.Unix()%30)
		require.True(t, stations[s.Station].hears(d.Band))
	}
}

// TestReceiversPassOnTheFirstDecodeOfAnInterval looks for a phase with which each receiver's passed reports are the
// first decodes of intervals of five minutes. Slots are 30 s apart, so ten phases are all there are.
func TestReceiversPassOnTheFirstDecodeOfAnInterval(t *testing.T) {
	p := RidgeWire()
	dwells := trialOf(p, 4)
	heard := map[int][]Spot{}
	for _, s := range Decodes(p, dwells) {
		if dwells[s.Dwell].Band == "20m" {
			heard[s.Station] = append(heard[s.Station], s)
		}
	}
	require.Greater(t, len(heard), 40)
	phases := map[int64]bool{}
	for number, spots := range heard {
		fits := false
		for phase := int64(0); phase < 300 && !fits; phase += 30 {
			if fits = passedWith(spots, phase); fits {
				phases[phase] = true
			}
		}
		require.True(t, fits, "station %d", number)
	}
	require.Greater(t, len(phases), 5, "receivers report in step")

	p.ReportEvery = p.Slot
	require.Equal(t, len(Decodes(p, dwells)), len(Spots(p, dwells)))
}

// passedWith tells whether exactly the first decodes of the intervals were passed on, with a phase in seconds.
func passedWith(spots []Spot, phase int64) bool {
	seen := map[int64]bool{}
	for _, s := range spots {
		interval := (s.Slot.Unix() + phase) / 300
		if s.Passed == seen[interval] {
			return false
		}
		seen[interval] = true
	}
	return true
}

func TestLateSwitchLeavesTheOtherArmOn(t *testing.T) {
	p := RidgeWire()
	start := time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)
	d := Dwell{Arm: p.First, Start: start, Settle: start.Add(30 * time.Second), Connected: start.Add(40 * time.Second)}
	require.False(t, p.firstArm(d, start.Add(30*time.Second)))
	require.True(t, p.firstArm(d, start.Add(60*time.Second)))
	require.False(t, d.usable(start.Add(30*time.Second)))
	require.True(t, d.usable(start.Add(60*time.Second)))
}

// strong gives, by station, the mean of first minus second over the blocks in which a receiver far above the
// threshold passed on both.
func strong(p Params, band Band, dwells []Dwell) (differences [][]float64, stations []Station) {
	stations = Stations(p)
	sums := map[[3]int][2]float64{} // station, block, arm -> sum, count
	for _, s := range Spots(p, dwells) {
		d, station := dwells[s.Dwell], stations[s.Station]
		if d.Band != band.Name || band.MedianDB-band.FallDB*station.DistanceKm/1000+station.SiteDB < p.ThresholdDB+15 {
			continue
		}
		k := [3]int{s.Station, d.Block, btoi(d.Arm == p.First)}
		sums[k] = [2]float64{sums[k][0] + float64(s.SNR), sums[k][1] + 1}
	}
	differences = make([][]float64, len(stations))
	for i := range stations {
		for b := 1; b <= len(dwells); b++ {
			first, second := sums[[3]int{i, b, 1}], sums[[3]int{i, b, 0}]
			if first[1] > 0 && second[1] > 0 {
				differences[i] = append(differences[i], first[0]/first[1]-second[0]/second[1])
			}
		}
	}
	return differences, stations
}

func TestTruthIsRecovered(t *testing.T) {
	const seeds = 12
	p := RidgeWire()
	for _, band := range p.Bands {
		var means []float64
		for seed := range uint64(seeds) {
			p.Seed = seed
			all, _ := strong(p, band, trialOf(p, 16))
			pooled := slices.Concat(all...)
			require.Greater(t, len(pooled), 60)
			means = append(means, stat.Mean(pooled, nil))
		}
		se := stat.StdDev(means, nil) / math.Sqrt(seeds)
		require.Less(t, se, 0.2)
		require.InDelta(t, band.Truth.LevelDB, stat.Mean(means, nil), 4*se, "%s", band.Name)
	}
}

func TestLobeIsRecovered(t *testing.T) {
	const seeds, lobe = 12, 4.0
	p := RidgeWire()
	p.Bands = p.Bands[:1]
	p.Bands[0].Truth = Truth{LevelDB: 1, LobeDB: lobe, TowardDeg: 300}
	var slopes []float64
	for seed := range uint64(seeds) {
		p.Seed = seed
		all, stations := strong(p, p.Bands[0], trialOf(p, 16))
		var x, y []float64
		for i, ds := range all {
			for _, d := range ds {
				x, y = append(x, cosDeg(stations[i].BearingDeg-300)), append(y, d)
			}
		}
		_, slope := stat.LinearRegression(x, y, nil, false)
		slopes = append(slopes, slope)
	}
	se := stat.StdDev(slopes, nil) / math.Sqrt(seeds)
	require.Less(t, se, 0.4)
	require.InDelta(t, lobe, stat.Mean(slopes, nil), 4*se)
}

func TestStatedTruth(t *testing.T) {
	for _, b := range RidgeWire().Bands {
		require.Equal(t, map[string]Truth{"20m": {LevelDB: 2.5}, "10m": {LevelDB: 0.2}}[b.Name], b.Truth)
	}
}

func TestCallsAreNeverAllocated(t *testing.T) {
	taken := map[string]bool{}
	random := RidgeWire().stream("test")
	for range 500 {
		require.Regexp(t, regexp.MustCompile(`^Q\d[A-Z]{2,3}$`), call(random, taken))
	}
	require.Len(t, taken, 500)
}

func BenchmarkSpots(b *testing.B) {
	p := RidgeWire()
	dwells := trialOf(p, 16)
	b.ReportAllocs()
	for b.Loop() {
		Spots(p, dwells)
	}
}
