package synth

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// Spot is one report of the own station's signal.
type Spot struct {
	Station int // number of the receiver, an index into Stations
	Dwell   int // index into the dwells
	Slot    time.Time
	SNR     int // dB in 2500 Hz
	// Passed tells whether the receiver passed the report on.
	Passed bool
}

// Spots gives the reports that the receivers passed on, sorted by slot, then station. Dwells are the real ones,
// in any order; those before Settle are sent and reported too. Same parameters and dwells, same spots.
func Spots(p Params, dwells []Dwell) []Spot {
	return slices.DeleteFunc(Decodes(p, dwells), func(s Spot) bool { return !s.Passed })
}

// Decodes gives every decode, passed on or not, sorted by slot, then station.
func Decodes(p Params, dwells []Dwell) []Spot {
	var all []Spot
	stations := Stations(p)
	for _, band := range p.Bands {
		slots := p.sent(band.Name, dwells)
		drifts := p.sectorDrifts(band.Name, slots)
		for number, station := range stations {
			if station.hears(band.Name) {
				drift := drifts[int(station.BearingDeg/30)%sectors]
				all = append(all, p.receive(band, number, station, dwells, slots, drift)...)
			}
		}
	}
	slices.SortFunc(all, func(a, b Spot) int {
		if c := a.Slot.Compare(b.Slot); c != 0 {
			return c
		}
		return a.Station - b.Station
	})
	return all
}

const sectors = 12

// transmission is one slot in which the own station sends.
type transmission struct {
	start time.Time
	dwell int
}

// sent lists the slots that fit into the dwells of a band, by time.
func (p Params) sent(band string, dwells []Dwell) []transmission {
	var slots []transmission
	every := 2 * p.Slot
	for i, d := range dwells {
		if d.Band != band || d.Silent {
			continue
		}
		t := d.Start.Truncate(every)
		if t.Before(d.Start) {
			t = t.Add(every)
		}
		for ; !t.Add(p.Slot).After(d.End); t = t.Add(every) {
			slots = append(slots, transmission{t, i})
		}
	}
	slices.SortFunc(slots, func(a, b transmission) int { return a.start.Compare(b.start) })
	return slots
}

// sectorDrifts gives the part of the drift that the receivers of a sector share, by sector and slot.
func (p Params) sectorDrifts(band string, slots []transmission) [sectors][]float64 {
	var drifts [sectors][]float64
	for i := range drifts {
		random := p.stream(fmt.Sprintf("drift/%s/%d", band, i))
		drifts[i] = wander(random, slots, p.DriftSD*math.Sqrt(p.DriftShared), p.DriftTime)
	}
	return drifts
}

// wander samples a stationary first-order Gauss-Markov process at the slots (Uhlenbeck and Ornstein, Phys. Rev. 36,
// 1930; the step from one sample to the next is exact whatever the gap).
func wander(random *rand.Rand, slots []transmission, sd float64, correlation time.Duration) []float64 {
	values := make([]float64, len(slots))
	for i := range slots {
		if i == 0 {
			values[i] = sd * random.NormFloat64()
			continue
		}
		gap := slots[i].start.Sub(slots[i-1].start)
		rho := math.Exp(-gap.Seconds() / correlation.Seconds())
		step := sd * math.Sqrt(1-float64(rho*rho))
		values[i] = float64(rho*values[i-1]) + float64(step*random.NormFloat64())
	}
	return values
}

// receive gives the decodes of one receiver on one band.
func (p Params) receive(band Band, number int, station Station, dwells []Dwell, slots []transmission, drift []float64) []Spot {
	random := p.stream(fmt.Sprintf("receiver/%s/%d", band.Name, number))
	ownDrift := wander(random, slots, p.DriftSD*math.Sqrt(1-p.DriftShared), p.DriftTime)
	slow := wander(random, slots, p.SlowSD, p.SlowTime)
	listening := presence(random, slots, station.Listens)
	phase := time.Duration(random.Int64N(int64(p.ReportEvery)))
	median := band.MedianDB - float64(band.FallDB*station.DistanceKm/1000) + station.SiteDB
	difference := band.Truth.differenceDB(station.BearingDeg)

	var spots []Spot
	var last int64 // the reporting interval in which the receiver passed on a report
	for i, sent := range slots {
		snr := median + drift[i] + ownDrift[i] + slow[i] + p.opening(band, sent.start) + float64(p.FastSD*random.NormFloat64())
		if p.firstArm(dwells[sent.dwell], sent.start) {
			snr += difference
		}
		decoded := random.Float64() < p.decodes(snr)
		reported := int(math.Round(snr + float64(p.ErrorSD*random.NormFloat64())))
		if !decoded || !listening[i] {
			continue
		}
		interval := int64(sent.start.Add(phase).Truncate(p.ReportEvery).Unix())
		spots = append(spots, Spot{Station: number, Dwell: sent.dwell, Slot: sent.start, SNR: reported, Passed: interval != last})
		last = interval
	}
	return spots
}

// presence tells for each slot whether the receiver is there: it comes and goes in stretches of half an hour
// on average, in no relation to the arms.
func presence(random *rand.Rand, slots []transmission, share float64) []bool {
	const stretch = 30 * time.Minute
	there := make([]bool, len(slots))
	present := random.Float64() < share
	for i := range slots {
		if i > 0 {
			gap := slots[i].start.Sub(slots[i-1].start)
			if random.Float64() > math.Exp(-gap.Minutes()/stretch.Minutes()) {
				present = random.Float64() < share
			}
		}
		there[i] = present
	}
	return there
}

// opening is how far the band is from its best, dB, at most 0.
func (p Params) opening(band Band, t time.Time) float64 {
	hour := t.Sub(t.Truncate(24 * time.Hour)).Hours()
	away := (math.Mod(hour-band.PeakHour+36, 24) - 12) / p.OpeningHours
	return -p.OpeningDB * away * away
}

// firstArm tells whether the first arm was on the air.
func (p Params) firstArm(d Dwell, t time.Time) bool {
	late := t.Before(d.Connected)
	return (d.Arm == p.First) != late
}

// decodes is the probability that a slot of that SNR is decoded.
func (p Params) decodes(snr float64) float64 {
	scale := p.SoftDB / (2 * math.Log(9)) // the logistic curve passes 10 and 90 % at -ln 9 and +ln 9
	return 1 / (1 + math.Exp((p.ThresholdDB-snr)/scale))
}
