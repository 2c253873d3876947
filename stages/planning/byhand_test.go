package planning

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/internal/geo"
)

// The demonstration: two sessions from 04:00 to 08:30, 8 blocks a band in each, two bands and arms, dwells of 6 min, of which half are own
// slots; 4 W.
func TestEffortByHand(t *testing.T) {
	p := planOf(t, loaded(t, "ridge-wire.toml", same), 0)
	for blocks, want := range map[int]effort{15: {9. * 15 / 16, 2}, 16: {9, 2}, 17: {9. * 17 / 16, 3}, 27: {9. * 27 / 16, 4}} {
		got := p.effortFor(blocks)
		require.InDelta(t, want.hours, got.hours, 1e-9)
		require.Equal(t, want.outings, got.outings)
	}
	// 64 dwells of 6 min are 6.4 h, so it sends for 3.2 h at 4/(0.4 * 13) A and takes 0.4 A in the other 5.8 h.
	require.InDelta(t, 3.2, p.sendingHours(), 1e-9)
	all, longest := p.ampHours()
	require.InDelta(t, 3.2*4/5.2+5.8*0.4, all, 1e-9)
	require.InDelta(t, all/2, longest, 1e-9)
	require.Contains(t, wordsOf(p), "9.0 h in 2 sessions")
	require.Contains(t, wordsOf(p), "About 4.8 Ah from the battery, 2.4 Ah in the longest session")
}

// Half of 4 W; limits of 1800/f^2 W/m2 (47 CFR 1.1310): sqrt(4 * 1.64 * 2/(4 pi 1800)) = 0.02408 m for each MHz. The frequency
// is one of the band, to 2.5 %.
func TestExposureOfTheDemonstration(t *testing.T) {
	all := planOf(t, loaded(t, "ridge-wire.toml", same), 0).exposures()
	require.Equal(t, []string{"20m", "10m"}, []string{all[0].Band, all[1].Band})
	require.InEpsilon(t, 0.02408*14.175, all[0].MetresAt, 0.0255)
	require.InEpsilon(t, 0.02408*28.85, all[1].MetresAt, 0.0305)
	words := wordsOf(planOf(t, loaded(t, "ridge-wire.toml", same), 0))
	require.Contains(t, words, "20m: the formula gives 0.4 m", "of 0.34 m, upward")
	for _, e := range all {
		require.InEpsilon(t, 0.02408*e.MHz, e.MetresAt, 1e-3)
		require.Contains(t, words, fmt.Sprintf("%s: the formula gives %.1f m", e.Band, math.Ceil(0.02408*e.MHz*10)/10))
		require.InEpsilon(t, 299.792458/2/math.Pi/e.MHz, e.FieldFrom, 1e-9)
	}
}

// Four questions at 0.0125 each, 16 blocks, 1.5 dB that matter and 1.5 dB a block; normal distribution by any table, z(0.99375) = 2.4977:
// Phi(sqrt(16 - 2.4977^2/2) - 2.4977) = Phi(1.0913) = 0.8624, and 0.95 (2 Phi(sqrt(14) - 1.95996) - 1) = 0.95 (2 * 0.96260 - 1).
// A lobe scatters by 1.3 times that; a non-central chi-square of 2 degrees and 12 (1.5/1.95)^2 = 7.1006 exceeds -2 ln 0.0125 = 8.7641 in
// 0.4547 (the Poisson mixture of central ones, added up apart in Python).
func TestPowersOfTheDemonstration(t *testing.T) {
	p := planOf(t, loaded(t, "ridge-wire.toml", same), 0)
	require.Equal(t, 4, p.Family)
	require.InDelta(t, 0.0125, p.Alpha, 1e-15)
	require.InDelta(t, 1e-4, p.Smallest, 1e-15, "9999 sign vectors and the identity")
	level, lobe := p.Questions[0], p.Questions[1]
	require.InDelta(t, 0.8624, level.Different.Now, 2e-4)
	require.InDelta(t, 0.95*(2*0.96260-1), level.Same.Now, 2e-4)
	require.InDelta(t, 0.4547, lobe.Different.Now, 2e-4)
	// The least difference of 9 in 10: (2.4977 + 1.28155) 1.5/sqrt(16 - 3.1193).
	require.InDelta(t, 3.77925*1.5/math.Sqrt(12.8807), level.Different.Size90, 1e-3)
}

// A plain sun, good to half a degree: declination and equation of time by the usual series in the day of the year (Spencer, Fourier
// series representation of the position of the sun, Search 2, 1971), and the places by spherical trigonometry.
func TestSunOfTheDemonstration(t *testing.T) {
	elevation := func(at geo.Point, when time.Time) float64 {
		day := 2 * math.Pi * (float64(when.YearDay()-1) + (float64(when.Hour())+float64(when.Minute())/60)/24) / 365
		declination := 0.006918 - 0.399912*math.Cos(day) + 0.070257*math.Sin(day) -
			0.006758*math.Cos(2*day) + 0.000907*math.Sin(2*day) - 0.002697*math.Cos(3*day) + 0.00148*math.Sin(3*day)
		equation := 229.18 * (0.000075 + 0.001868*math.Cos(day) - 0.032077*math.Sin(day) -
			0.014615*math.Cos(2*day) - 0.040849*math.Sin(2*day)) // min
		hour := (float64(when.Hour()*60+when.Minute()) + equation + 4*at.LonDeg - 720) / 4 * math.Pi / 180
		lat := at.LatDeg * math.Pi / 180
		return math.Asin(math.Sin(lat)*math.Sin(declination)+math.Cos(lat)*math.Cos(declination)*math.Cos(hour)) * 180 / math.Pi
	}
	days := planOf(t, loaded(t, "ridge-wire.toml", same), 0).daylight()
	require.Len(t, days, 2)
	here := geo.Point{LatDeg: 43.6458, LonDeg: 76.875} // MN83kp
	away := func(km float64) geo.Point {
		from, angle, bearing := here.LatDeg*math.Pi/180, km/6371, 300*math.Pi/180
		lat := math.Asin(math.Sin(from)*math.Cos(angle) + math.Cos(from)*math.Sin(angle)*math.Cos(bearing))
		east := math.Atan2(math.Sin(bearing)*math.Sin(angle)*math.Cos(from), math.Cos(angle)-math.Sin(from)*math.Sin(lat))
		return geo.Point{LatDeg: lat * 180 / math.Pi, LonDeg: here.LonDeg + east*180/math.Pi}
	}
	for i, d := range days {
		start := time.Date(2026, 9, 12+i, 4, 0, 0, 0, time.UTC)
		require.Equal(t, start, d.Start)
		require.Equal(t, start.Add(270*time.Minute), d.End)
		for j, at := range []geo.Point{here, away(1000), away(3000)} {
			require.InDelta(t, elevation(at, d.Start), d.At[j].Start, 0.5, d.At[j].Place)
			require.InDelta(t, elevation(at, d.End), d.At[j].End, 0.5, d.At[j].Place)
		}
		require.InDelta(t, -0.833, elevation(here, d.Rise), 0.5)
		require.InDelta(t, -0.833, elevation(here, d.Set), 0.5)
		require.True(t, d.Rise.Before(d.Start) && d.Set.After(d.End) && d.Up)
	}
}

// Blocks of +-1.2 dB in turn, all of weight 0.5 and with kappa 0.8, of a former run of 12: an upper limit of sqrt(11/6.989)
// times that, so g is 0.4 d +-0.6 * 1.2546. Of n blocks k are lucky with the chance of n throws of a coin; each case is tested
// with all sign vectors. 500 repeats come within four standard errors of that.
func TestRecipeByEnumeration(t *testing.T) {
	f := Figures{Spread: contrast.Spread{Kappa: 0.8}, Blocks: 12}
	for b := range 12 {
		f.G, f.W = append(f.G, 0.6*float64(1-2*(b%2))), append(f.W, 0.5)
	}
	const alpha = 0.025
	noise := 0.6 * math.Sqrt(11/6.989)
	p := func(g []float64) float64 {
		asFar, observed := 0, 0.0
		for _, x := range g {
			observed += x
		}
		for way := range 1 << len(g) {
			sum := 0.0
			for b, x := range g {
				sum += x * float64(1-2*(way>>b&1))
			}
			if math.Abs(sum) >= math.Abs(observed)-1e-9 {
				asFar++
			}
		}
		return float64(asFar) / float64(int(1)<<len(g))
	}
	for _, n := range []int{8, 10} {
		for _, d := range []float64{1, 2} {
			share, ways := 0.0, math.Exp2(-float64(n)) // of k lucky ones
			for k := range n + 1 {
				g := make([]float64, n)
				for b := range g {
					g[b] = 0.4*d - noise
					if b < k {
						g[b] = 0.4*d + noise
					}
				}
				if p(g) <= alpha {
					share += ways
				}
				ways *= float64(n-k) / float64(k+1)
			}
			require.InDelta(t, share, f.redrawn(d, alpha, n, 7), 4*math.Sqrt(share*(1-share)/500)+0.002, "%d blocks, %g dB", n, d)
		}
	}
}

// A former run's standard deviation is its upper 80 % limit; 12 blocks of 1.5 dB may be 1.882.
func TestSigmaOfAFormerRun(t *testing.T) {
	s := Figures{Spread: contrast.Spread{SigmaDB: 1.5}, Blocks: 12}.sigma()
	require.InDelta(t, 1.5*math.Sqrt(11/6.989), s.Value, 1e-3)
	require.Contains(t, s.From, "1.50 dB in 12 blocks")
}

// An assumed lobe scatters by 1.3 times, with few stations by twice: the range, too.
func TestAssumedLobe(t *testing.T) {
	a := assumedDB(50).lobe(50)
	for i, want := range []float64{1.95, 0.91, 3.25} {
		require.InDelta(t, want, []float64{a.Value, a.Low, a.High}[i], 1e-12)
	}
	a = assumedDB(20).lobe(20)
	require.Equal(t, [3]float64{5, 1.4, 5}, [3]float64{a.Value, a.Low, a.High})
}

// A chance is told as less rather than more, and never as sure.
func TestHundreds(t *testing.T) {
	for p, want := range map[float64]string{0.869: "86 of 100", 0.87: "87 of 100", 0.9999: "99 of 100", 0.0099: "less than 1 of 100"} {
		require.Equal(t, want, hundreds(p))
	}
}

// Blocks with lobes of 4 and 2 dB to the east in turn scatter by 1 dB about the mean; of 12 blocks that may be 1.2546 dB.
func TestSigmaOfAFormerLobe(t *testing.T) {
	const n, blocks = 16, 12
	stations, reports := make([]contrast.Station, n), []contrast.Report(nil)
	for s := range stations {
		az := 2 * math.Pi * float64(s) / n
		stations[s] = contrast.Station{AzimuthRad: az, HasAzimuth: true, Region: s}
		for b := range blocks {
			up := contrast.Report{Block: b, Station: s, First: true, DitheredDB: 20 + (3+float64(1-2*(b%2)))*math.Sin(az)}
			reports = append(reports, up, contrast.Report{Block: b, Station: s, Slot: 1, DitheredDB: 20})
		}
	}
	trial, err := contrast.New(stations, reports, contrast.Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1})
	require.NoError(t, err)
	sigma, ok := Figures{Blocks: blocks, trial: trial}.lobe("one-sided")
	require.True(t, ok)
	require.InDelta(t, math.Sqrt(11/6.989), sigma.Value, 2e-3)
	require.Contains(t, sigma.From, "1.00 dB in 12 blocks")
}

// high sends with 8 W and low with 4: of a step of 5 dB that a claim declares the powers do 3.01 already, the other way round -3.01.
func TestStepThatThePowersDo(t *testing.T) {
	exp := loaded(t, "ridge-wire.toml", func(text string) string {
		text = strings.Replace(text, "power_w = 4", "", 1)
		text = strings.Replace(text, "name = \"low\"", "name = \"low\"\npower_w = 4", 1)
		return strings.Replace(text, "name = \"high\"", "name = \"high\"\npower_w = 8", 1)
	})
	step := 5.0
	c := exp.Claims[0]
	c.Kind, c.StepDB, c.Arms = "known_step", &step, []string{"high", "low"}
	p := planOf(t, exp, 0)
	require.InDelta(t, 3.0103, p.powerStepDB(c), 1e-4)
	require.Equal(t, []string{"high +1.9897 dB"}, p.truthOf(&Question{Claim: c}))
	c.Arms = []string{"low", "high"}
	require.InDelta(t, -3.0103, p.powerStepDB(c), 1e-4)
	require.Equal(t, []string{"low +8.0103 dB"}, p.truthOf(&Question{Claim: c}))
	c.Direction = "received"
	require.Zero(t, p.powerStepDB(c))
}

// What the judge leaves out of a lobe a former run leaves out, too: stations on the move, calls with three places, and bearings that
// are off by more than 20 degrees (a place off by 400 km at 1000 km: 24 degrees).
func TestPilotLeavesRoamingStationsOut(t *testing.T) {
	b := table.NewBuilder(datasets.Stations())
	for i, s := range []struct {
		call, place string
		radiusKm    float64
	}{{"Q1AA", "MN83kp", 4}, {"Q2BB/M", "MN83kp", 4}, {"Q3CC", "MN83kp", 4}, {"Q3CC", "MN84kp", 4}, {"Q3CC", "MN85kp", 4}, {"Q4DD", "MN", 400}} {
		b.Append(i, s.call, s.place, s.place, 43.0, 77.0, 90.0, 1000.0, s.radiusKm, "090-120 deg, 300-1200 km")
	}
	p := &Pilot{}
	p.loadStations(table.NewReader(b.Record()))
	var enter []bool
	for _, s := range p.stations {
		require.True(t, s.located && s.usual, "in a level all of them count")
		enter = append(enter, s.HasAzimuth)
	}
	require.Equal(t, []bool{true, false, false, false, false, false}, enter)
}
