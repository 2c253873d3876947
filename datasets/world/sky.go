package world

import (
	"math"
	"math/rand/v2"
	"time"
)

// sky is one band over all its slots: what all stations have in common.
type sky struct {
	p     Params
	t     Trial
	band  Band
	class Class
	slots []slot

	arms     []string // by name
	arm      []int    // by slot: index into arms, -1 for none
	sentDB   []float64
	heardDB  []float64
	common   []float64          // opening, trend, day
	openN    []float64          // the opening's dependence on the direction: openN*cos(bearing) + openE*sin(bearing)
	openE    []float64          //
	drift    [sectors][]float64 // what a sector shares
	ownNoise []float64
	session  []int // by slot: place among the sessions, from 0

	slow, wander, steps steps     // for the slow part, the drift and the noise's steps
	stay                []float64 // probability that a station does not decide anew whether to be there

	path     []float64   // of the station at hand, by slot
	realised [][]float64 // each arm's gain by station; nil for one that is not on the band
}

func skyOf(p Params, t Trial, band Band, class Class, slots []slot) *sky {
	k := &sky{p: p, t: t, band: band, class: class, slots: slots, arms: band.armNames()}
	k.slow, k.wander = stepsOf(slots, p.SlowTime), stepsOf(slots, p.DriftTime)
	k.stay = stepsOf(slots, p.StretchTime).keep
	if p.StepsPerHour > 0 {
		k.steps = stepsOf(slots, time.Duration(float64(time.Hour)/p.StepsPerHour))
	}
	k.path = make([]float64, len(slots))
	sessions := k.sessions()
	k.connect(sessions)
	k.open(sessions)
	for i := range k.drift {
		k.drift[i] = make([]float64, len(slots))
		k.add(k.drift[i], k.stream("drift of a sector", i), k.wander, p.DriftSD*math.Sqrt(p.DriftShared))
	}
	k.ownNoise = make([]float64, len(slots))
	noise := k.noiseOf(p.OwnNoiseDB, k.stream("own noise", 0))
	for i := range slots {
		k.ownNoise[i] = noise.next(i)
	}
	return k
}

func (k *sky) stream(part string, number int) *rand.Rand {
	return k.t.stream(part, k.band.Name, number)
}

// outing is a session as this band sees it.
type outing struct {
	number int
	begin  time.Time // of the session, on whichever band
}

// sessions numbers the slots' sessions and gives them in the order in which this band meets them.
func (k *sky) sessions() []outing {
	begins := map[int]time.Time{}
	for _, d := range k.t.Dwells {
		if begin, ok := begins[d.Session]; !ok || d.Start.Before(begin) {
			begins[d.Session] = d.Start
		}
	}
	var all []outing
	places := map[int]int{}
	k.session = make([]int, len(k.slots))
	for i, s := range k.slots {
		number := k.t.Dwells[s.dwell].Session
		if _, ok := places[number]; !ok {
			places[number] = len(all)
			all = append(all, outing{number, begins[number]})
		}
		k.session[i] = places[number]
	}
	return all
}

// connect finds the arm of each slot, and what its putting-up and its power do to all receivers alike.
func (k *sky) connect(sessions []outing) {
	setup, power := make([][]float64, len(sessions)), make([][]float64, len(sessions))
	for s, session := range sessions {
		for _, arm := range k.arms {
			setup[s] = append(setup[s], k.p.SetupSD*k.stream("setup of "+arm, session.number).NormFloat64())
			// Power is set once for all bands. Two arms, each with SD/sqrt(2), differ by SD.
			off := float64(k.p.PowerSD / math.Sqrt2 * k.t.stream("power of "+arm, "", session.number).NormFloat64())
			power[s] = append(power[s], k.p.PowerDB[arm]+off)
		}
	}
	k.arm = make([]int, len(k.slots))
	k.sentDB, k.heardDB = make([]float64, len(k.slots)), make([]float64, len(k.slots))
	for i, s := range k.slots {
		k.arm[i] = -1
		for a, arm := range k.arms {
			if arm == s.arm {
				k.arm[i] = a
				k.heardDB[i] = setup[k.session[i]][a]
				k.sentDB[i] = k.heardDB[i] + power[k.session[i]][a]
			}
		}
	}
}

// open finds what the hour and the day do to the band.
func (k *sky) open(sessions []outing) {
	k.common, k.openN, k.openE = make([]float64, len(k.slots)), make([]float64, len(k.slots)), make([]float64, len(k.slots))
	day := make([]float64, len(sessions))
	for s, session := range sessions {
		day[s] = k.p.DaySD * math.Sqrt(k.p.DayShared) * k.stream("day", session.number).NormFloat64()
	}
	trend := k.p.TrendDBPerHour + k.band.TrendDBPerHour
	for i, s := range k.slots {
		hours := s.start.Sub(sessions[k.session[i]].begin).Hours()
		k.common[i] = k.band.openingDB(s.start, k.t.LongitudeDeg) + day[k.session[i]] + float64(trend*hours)
		toward := k.band.OpensTowardDeg + float64(k.band.TurnDegPerHour*hours)
		k.openN[i] = k.p.OpeningLobeDB * cosDeg(toward)
		k.openE[i] = k.p.OpeningLobeDB * sinDeg(toward)
	}
}

// openingDB is how far the band is from its best, at most 0.
func (b Band) openingDB(at time.Time, longitudeDeg float64) float64 {
	if b.OpeningDB == 0 {
		return 0
	}
	at = at.UTC()
	solar := at.Sub(at.Truncate(24*time.Hour)).Hours() + longitudeDeg/15
	away := (math.Mod(solar-b.PeakHour+60, 24) - 12) / b.OpeningHours
	return -float64(b.OpeningDB * away * away)
}

// windowDB is what the distance costs, at most 0.
func (b Band) windowDB(distanceKm float64) float64 {
	switch {
	case distanceKm < b.NearKm:
		return -min(b.SkipDB*(b.NearKm-distanceKm)/100, 30)
	case distanceKm > b.FarKm:
		return -min(b.FallDB*(distanceKm-b.FarKm)/1000, 60)
	default:
		return 0
	}
}

// add adds a Gauss-Markov process to the values.
func (k *sky) add(values []float64, random *rand.Rand, s steps, sd float64) {
	level := 0.0
	for i := range values {
		level = float64(s.keep[i]*level) + float64(s.renew[i]*random.NormFloat64())
		values[i] += float64(sd * level)
	}
}

// follow computes the path to a station, all but the fast part, into k.path.
func (k *sky) follow(number int, station Station) {
	median := k.band.MedianDB + k.p.PathDB + k.band.windowDB(station.DistanceKm)
	cos, sin, shared := cosDeg(station.BearingDeg), sinDeg(station.BearingDeg), k.drift[station.sector()]
	days, day, session := k.stream("day of a station", number), 0.0, -1
	for i := range k.path {
		if k.session[i] != session {
			session = k.session[i]
			day = median + float64(k.p.DaySD*math.Sqrt(1-k.p.DayShared)*days.NormFloat64())
		}
		k.path[i] = day + k.common[i] + shared[i] + float64(k.openN[i]*cos) + float64(k.openE[i]*sin)
	}
	k.add(k.path, k.stream("drift", number), k.wander, k.p.DriftSD*math.Sqrt(1-k.p.DriftShared))
	k.add(k.path, k.stream("slow", number), k.slow, k.p.SlowSD)
}

// gains gives each arm's gain toward a station. Two arms, each with SD/sqrt(2), differ by SD.
func (k *sky) gains(number int, station Station) []float64 {
	gains := make([]float64, len(k.arms))
	alone, region := k.stream("arms at a station", number), k.stream("arms in a region", station.region())
	for a, arm := range k.arms {
		gains[a] = k.band.Arms[arm].GainDB(station.BearingDeg) +
			float64(k.p.ReceiverSD/math.Sqrt2*alone.NormFloat64()) + float64(k.p.RegionSD/math.Sqrt2*region.NormFloat64())
	}
	return gains
}

// noise is what comes and goes in a receiver, slot by slot.
type noise struct {
	k       *sky
	random  *rand.Rand
	siteDB  float64
	stepped float64
	begun   bool
}

func (k *sky) noiseOf(siteDB float64, random *rand.Rand) noise {
	return noise{k: k, random: random, siteDB: siteDB}
}

// next gives the noise in slot i, dB; slots must come in order, none left out.
func (n *noise) next(i int) float64 {
	p := &n.k.p
	if p.StepsPerHour > 0 && (!n.begun || n.random.Float64() > n.k.steps.keep[i]) {
		n.stepped, n.begun = p.StepSD*n.random.NormFloat64(), true
	}
	level := n.siteDB + n.stepped + float64(p.NoiseSD*n.random.NormFloat64())
	if n.random.Float64() < p.BurstShare {
		level += between(n.random, p.BurstLowDB, p.BurstHighDB)
	}
	return level
}
