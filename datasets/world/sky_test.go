package world

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// still is a sky in which nothing varies and every slot is decoded and passed on: tests switch on the part they look at.
func still() Params {
	p := Default()
	p.SpreadLowHz, p.SpreadHighHz = 0, 0
	p.SlowSD, p.DriftSD, p.DaySD, p.SiteSD, p.NoiseSD, p.BurstShare, p.ErrorSD = 0, 0, 0, 0, 0, 0, 0
	p.TheirPowerDB, p.TheirPowerSD = 0, 0
	for i := range p.Classes {
		p.Classes[i].ThresholdDB = -1000
	}
	p.CompressAboveDB, p.CapDB = 1000, 1000
	p.ThinnedShare, p.SteadyShare, p.SteadyListens, p.AllBandsShare, p.SendersShare = 0, 1, 1, 1, 0
	p.BackgroundShare = 0
	return p
}

// hours gives a trial of one dwell after the other on 20m, one a session, an hour apart.
func hours(sessions int, length time.Duration) Trial {
	t := trialOf(0, "20m")
	for i := range sessions {
		at := begin.Add(time.Duration(i) * (length + time.Hour))
		t.Dwells = append(t.Dwells, Dwell{Session: i + 1, Band: "20m", Block: 1, Position: 1, Arm: "low", Start: at, Settle: at, End: at.Add(length)})
	}
	t.Bands[0].OpeningDB = 0
	return t
}

func skyFor(p Params, t Trial) *sky {
	class, err := p.class(t.Slot)
	if err != nil {
		panic(err)
	}
	return skyOf(p, t, t.Bands[0], class, p.slotsOf(t, t.Bands[0].Name))
}

// paths gives the path to some stations on a bearing.
func paths(k *sky, stations int, bearingDeg float64) [][]float64 {
	var all [][]float64
	for number := range stations {
		k.follow(number, Station{BearingDeg: bearingDeg, DistanceKm: 1000})
		all = append(all, append([]float64(nil), k.path...))
	}
	return all
}

// lag is the correlation of a series with itself some slots later.
func lag(series []float64, slots int) float64 {
	return stat.Correlation(series[slots:], series[:len(series)-slots], nil)
}

// A Gauss-Markov process of correlation time T has, over N slots of length s, about N*s/(2T) independent values. 40
// stations, each watched for 12 hours (2880 slots): 40*480 = 19200 for slow (45 s), 40*36 = 1440 for drift (10 min). Tolerance: 5
// standard errors of an SD, SD/sqrt(2n), and 0.02 or 0.05 for the correlations.
func TestSlowAndDriftHaveTheirSizeAndTime(t *testing.T) {
	for _, c := range []struct {
		name        string
		set         func(*Params)
		sd          float64
		correlation time.Duration
		independent float64
		tolerance   float64
	}{
		{"slow", func(p *Params) { p.SlowSD = 2.5 }, 2.5, 45 * time.Second, 19_200, 0.02},
		{"drift", func(p *Params) { p.DriftSD, p.DriftShared = 2, 0 }, 2, 10 * time.Minute, 1440, 0.05},
	} {
		p := still()
		c.set(&p)
		var pooled, lags, squares float64
		all := paths(skyFor(p, hours(1, 12*time.Hour)), 40, 10)
		slots := int(c.correlation / (15 * time.Second))
		for _, path := range all {
			lags += lag(path, slots) / 40
			for _, v := range path {
				off := v - trialOf(0, "20m").Bands[0].MedianDB
				pooled += off
				squares += off * off
			}
		}
		n := float64(40 * len(all[0]))
		require.InDelta(t, c.sd, math.Sqrt(squares/n), 5*c.sd/math.Sqrt(2*c.independent), c.name)
		require.InDelta(t, 0, pooled/n, 5*c.sd/math.Sqrt(c.independent), c.name)
		require.InDelta(t, math.Exp(-1), lags, c.tolerance, c.name)
	}
}

// A gap between two sessions is one long step: after an hour, slow fading has forgotten everything, and drift keeps exp(-6).
func TestStepsKnowTheGaps(t *testing.T) {
	k := skyFor(still(), hours(2, time.Minute))
	require.Len(t, k.slots, 8)
	for i, want := range []float64{0, 15, 15, 15, 3615, 15, 15, 15} {
		if i > 0 {
			require.InDelta(t, math.Exp(-want/45), k.slow.keep[i], 1e-12)
			require.InDelta(t, math.Exp(-want/600), k.wander.keep[i], 1e-12)
		}
		require.InDelta(t, 1, k.wander.keep[i]*k.wander.keep[i]+k.wander.renew[i]*k.wander.renew[i], 1e-12)
	}
}

// Correlation of the drift of two receivers: DriftShared in one sector, none across. 1000 sessions far apart are independent, 40 pairs
// help. Tolerance: 5 standard errors of one pair.
func TestASectorSharesItsDrift(t *testing.T) {
	p := still()
	p.DriftSD, p.DriftTime = 2, time.Minute
	k := skyFor(p, hours(1000, 15*time.Second))
	one, other := paths(k, 2, 10), paths(k, 3, 40)[2]
	require.InDelta(t, 0.5, stat.Correlation(one[0], one[1], nil), 5/math.Sqrt(1000))
	require.InDelta(t, 0, stat.Correlation(one[0], other, nil), 5/math.Sqrt(1000))
	require.InDelta(t, 2, stat.StdDev(one[0], nil), 5*2/math.Sqrt(2000))
}

// Days: SD 6 between sessions, the same within one, correlation 0.5 between receivers. Tolerance: 5 standard errors.
func TestDaysDiffer(t *testing.T) {
	p := still()
	p.DaySD = 6
	k := skyFor(p, hours(1000, 30*time.Second))
	all := paths(k, 2, 10)
	var first, second []float64
	for i := 0; i < len(k.slots); i += 2 {
		require.Equal(t, all[0][i], all[0][i+1])
		first, second = append(first, all[0][i]), append(second, all[1][i])
	}
	require.InDelta(t, 6, stat.StdDev(first, nil), 5*6/math.Sqrt(2000))
	require.InDelta(t, 0.5, stat.Correlation(first, second, nil), 5/math.Sqrt(1000))
}

func TestTrendAndOpening(t *testing.T) {
	p, trial := still(), hours(2, 2*time.Hour)
	p.TrendDBPerHour, p.OpeningLobeDB = 3, 8
	trial.Bands[0].TrendDBPerHour = -1
	trial.Bands[0].OpensTowardDeg, trial.Bands[0].TurnDegPerHour = 90, 45
	k := skyFor(p, trial)
	median := trial.Bands[0].MedianDB
	east, south := paths(k, 1, 90)[0], paths(k, 1, 180)[0]
	hour := int(time.Hour / trial.Slot)
	require.InDelta(t, median+8, east[0], 1e-9)
	require.InDelta(t, median, south[0], 1e-9)
	require.InDelta(t, median+2+8*math.Cos(math.Pi/4), east[hour], 1e-9, "an hour later: 2 dB more, turned by 45 degrees")
	require.InDelta(t, median+2+8*math.Cos(math.Pi/4), south[hour], 1e-9)
	require.InDelta(t, median+8, east[2*hour], 1e-9, "the next session begins anew")
}

func TestOpeningFollowsTheSolarHour(t *testing.T) {
	b := Band{PeakHour: 12, OpeningHours: 4, OpeningDB: 3}
	at := func(hour int) time.Time { return time.Date(2026, 9, 12, hour, 0, 0, 0, time.UTC) }
	require.InDelta(t, 0, b.openingDB(at(12), 0), 1e-9)
	require.InDelta(t, -3, b.openingDB(at(16), 0), 1e-9)
	require.InDelta(t, -3, b.openingDB(at(8), 0), 1e-9)
	require.InDelta(t, -27, b.openingDB(at(0), 0), 1e-9)
	require.InDelta(t, 0, b.openingDB(at(7), 75), 1e-9, "75 degrees east it is five hours later")
	require.InDelta(t, 0, b.openingDB(at(0), 180), 1e-9)
	require.InDelta(t, 0, b.openingDB(at(0), -180), 1e-9)
	require.InDelta(t, -3, b.openingDB(at(16).In(time.FixedZone("", 3600)), 0), 1e-9, "whatever the zone")
}

func TestDistanceWindow(t *testing.T) {
	b := Band{NearKm: 700, FarKm: 3000, SkipDB: 3, FallDB: 4}
	for _, c := range [][2]float64{{700, 0}, {2000, 0}, {3000, 0}, {600, -3}, {300, -12}, {4000, -4}, {5500, -10}, {20000, -60}} {
		require.InDelta(t, c[1], b.windowDB(c[0]), 1e-9, "%g km", c[0])
	}
	require.InDelta(t, -30, Band{NearKm: 5000, SkipDB: 3}.windowDB(0), 1e-9)
}

// A receiver's noise: mean of the bursts 0.03*10.5, variance 1 + 0.03*(6.75 + 10.5^2) - (0.03*10.5)^2 with uniform bursts from 6 to
// 15 dB (variance 81/12). Share above 5 dB: the bursts, but for the normal's tails. Tolerance: 5 standard errors; the
// variance's with the bursts' fourth moment, about 0.03*10.5^4 = 365.
func TestNoiseHasBursts(t *testing.T) {
	p := still()
	p.NoiseSD, p.BurstShare = 1, 0.03
	k := skyFor(p, hours(1, 48*time.Hour))
	n := len(k.slots)
	noise, values, bursts := k.noiseOf(4, k.stream("noise", 0)), make([]float64, n), 0.0
	for i := range values {
		values[i] = noise.next(i)
		if values[i] > 4+5 {
			bursts++
		}
	}
	mean, variance := stat.MeanVariance(values, nil)
	want := 1 + 0.03*(6.75+10.5*10.5) - 0.315*0.315
	require.InDelta(t, 4.315, mean, 5*math.Sqrt(want/float64(n)))
	require.InDelta(t, want, variance, 5*math.Sqrt(365/float64(n)))
	require.InDelta(t, 0.03*0.99, bursts/float64(n), 5*math.Sqrt(0.03/float64(n)))
	require.InDelta(t, 0, lag(values, 1), 5/math.Sqrt(float64(n)))
}

// Steps: twice an hour over 100 days is 4800 levels; the correlation after half an hour is 1/e. Tolerance: 5 standard errors.
func TestNoiseSteps(t *testing.T) {
	p, trial := still(), hours(1, 100*24*time.Hour)
	p.StepsPerHour, p.StepSD = 2, 6
	trial.Slot = 120 * time.Second
	k := skyFor(p, trial)
	noise, values := k.noiseOf(0, k.stream("noise", 0)), make([]float64, len(k.slots))
	levels := 1.0
	for i := range values {
		values[i] = noise.next(i)
		if i > 0 && values[i] != values[i-1] {
			levels++
		}
	}
	// Two steps within one slot show as one: 4800*(1-exp(-1/15))*15.
	require.InDelta(t, 4800*15*(1-math.Exp(-1.0/15)), levels, 5*math.Sqrt(4800))
	require.InDelta(t, 6, stat.StdDev(values, nil), 5*6/math.Sqrt(2*2400))
	require.InDelta(t, math.Exp(-1), lag(values, 15), 5/math.Sqrt(2400))
}

// How receivers, regions, set-ups and powers spread the difference of two arms: the stated SD is that of the difference, for set-ups
// that of one arm. Tolerance: 5 standard errors, SD/sqrt(2n).
func TestDifferencesOfArmsSpreadAsStated(t *testing.T) {
	p := still()
	p.ReceiverSD = 1.5
	k := skyFor(p, hours(1, time.Minute))
	var differences []float64
	for number := range 4000 {
		g := k.gains(number, Station{BearingDeg: 77})
		differences = append(differences, g[0]-g[1])
	}
	mean, sd := stat.MeanStdDev(differences, nil)
	require.InDelta(t, 2, mean, 5*1.5/math.Sqrt(4000))
	require.InDelta(t, 1.5, sd, 5*1.5/math.Sqrt(8000))

	p = still()
	p.RegionSD = 2
	differences = nil
	for seed := range uint64(100) {
		trial := hours(1, time.Minute)
		trial.Seed = seed
		k := skyFor(p, trial)
		for region := range 36 {
			at := Station{BearingDeg: float64(region%12)*30 + 1, DistanceKm: []float64{100, 2000, 3000}[region/12]}
			g, again := k.gains(0, at), k.gains(1, at)
			require.Equal(t, g, again, "the same in all of a region")
			differences = append(differences, g[0]-g[1])
		}
	}
	require.InDelta(t, 2, stat.StdDev(differences, nil), 5*2/math.Sqrt(7200))
}

func TestSetupsAndPowersSpreadAsStated(t *testing.T) {
	p, trial := still(), hours(4000, 30*time.Second)
	p.SetupSD, p.PowerSD, p.PowerDB = 1, 0.3, map[string]float64{"low": -2}
	k := skyFor(p, trial)
	var setup, power []float64
	for i := 0; i < len(k.slots); i += 2 {
		setup, power = append(setup, k.heardDB[i]), append(power, k.sentDB[i]-k.heardDB[i])
		require.Equal(t, k.sentDB[i], k.sentDB[i+1], "the same in all of a session")
	}
	require.InDelta(t, 1, stat.StdDev(setup, nil), 5/math.Sqrt(8000))
	mean, sd := stat.MeanStdDev(power, nil)
	require.InDelta(t, -2, mean, 5*0.3/math.Sqrt(4000))
	require.InDelta(t, 0.3/math.Sqrt2, sd, 5*0.3/math.Sqrt(8000))
}
