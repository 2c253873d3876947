package world

import (
	"math"
	"math/rand/v2"
)

// activity tells what a station does in a slot.
type activity uint8

const (
	away activity = iota
	listening
	sending
)

// activities draws what a station does, by slot.
func (k *sky) activities(number int, station Station) []activity {
	does := make([]activity, len(k.slots))
	if !station.isOn(k.band.Name) {
		return does
	}
	comes, sends := k.stream("presence", number), k.stream("sending", number)
	odd := sends.Float64() < 0.5
	there := false
	for i, s := range k.slots {
		if comes.Float64() > k.stay[i] {
			there = comes.Float64() < station.Listens
		}
		itsTurn := sends.Float64() < k.p.SendShare && (s.odd == odd || k.t.Slot == oneWay)
		switch {
		case !there:
		case station.Sends && itsTurn:
			does[i] = sending
		default:
			does[i] = listening
		}
	}
	return does
}

// report is a reception on its way into the outcome.
type report struct {
	station, slot, snr int32 // slot: index into sky.slots
	passed             bool
}

// decoder turns a true SNR into a report, or none.
type decoder struct {
	p           *Params
	thresholdDB float64
	scaleDB     float64
	random      *rand.Rand
}

func (k *sky) decoderOf(random *rand.Rand) decoder {
	// The logistic curve passes 10 and 90 % at -ln 9 and +ln 9.
	return decoder{&k.p, k.class.ThresholdDB, k.p.SoftDB / (2 * math.Log(9)), random}
}

// decode gives the SNR that is reported, and whether the slot is decoded at all.
func (d decoder) decode(snr float64) (reported int, ok bool) {
	u, off := d.random.Float64(), d.p.ErrorSD*d.random.NormFloat64()
	if !(u < 1/(1+math.Exp((d.thresholdDB-snr)/d.scaleDB))) {
		return 0, false
	}
	return d.p.reported(snr + off), true
}

// reported compresses, rounds and caps an SNR.
func (p *Params) reported(snr float64) int {
	if above := snr - p.CompressAboveDB; above > 0 {
		snr = p.CompressAboveDB + float64(p.CompressSlope*above)
	}
	return int(min(math.Round(snr), p.CapDB))
}

// hear appends what passes between the own station and another, by slot.
func (k *sky) hear(reports []report, number int, station Station, does []activity) []report {
	k.follow(number, station)
	gains := k.gains(number, station)
	k.realised[number] = gains
	fade, fast := k.fadingOf(number), k.stream("fast", number)
	theirs := k.noiseOf(station.NoiseDB, k.stream("noise", number))
	there, here := k.decoderOf(k.stream("decoder", number)), k.decoderOf(k.stream("own decoder", number))
	thin := k.thinningOf(number, station)
	for i := range k.slots {
		noise := theirs.next(i)
		if k.arm[i] < 0 {
			continue
		}
		sends := k.slots[i].sends
		snr := k.path[i] + gains[k.arm[i]]
		switch {
		case sends && does[i] == listening:
			snr += k.sentDB[i] - noise + fade.drawDB(fast)
			if reported, ok := there.decode(snr); ok {
				reports = append(reports, report{station: int32(number), slot: int32(i), snr: int32(reported)})
				thin.offer(reports)
			}
		case !sends && does[i] == sending:
			snr += k.heardDB[i] + station.PowerDB - k.ownNoise[i] + fade.drawDB(fast)
			if reported, ok := here.decode(snr); ok {
				reports = append(reports, report{station: int32(number), slot: int32(i), snr: int32(reported), passed: true})
			}
		}
	}
	thin.end(reports)
	return reports
}

// fadingOf draws how fast the path to a station fades.
func (k *sky) fadingOf(number int) fading {
	if k.p.SpreadHighHz == 0 {
		return fading{}
	}
	spread := math.Exp(between(k.stream("spread", number), math.Log(k.p.SpreadLowHz), math.Log(k.p.SpreadHighHz)))
	return fadingOf(spread, k.class.OnAir.Seconds())
}

// thinning picks the decode of each reporting interval that a receiver passes on.
type thinning struct {
	k         *sky
	every     bool
	choice    Choice
	phaseMs   int64
	interval  int64
	candidate int // index into the reports, -1 for none
}

func (k *sky) thinningOf(number int, station Station) thinning {
	t := thinning{k: k, every: station.Every, choice: station.Passes, candidate: -1}
	t.phaseMs = k.stream("reporting", number).Int64N(k.p.ReportEvery.Milliseconds())
	return t
}

// offer takes the last of the reports.
func (t *thinning) offer(reports []report) {
	last := len(reports) - 1
	if t.every {
		reports[last].passed = true
		return
	}
	interval := (t.k.slots[reports[last].slot].start.UnixMilli() + t.phaseMs) / t.k.p.ReportEvery.Milliseconds()
	switch {
	case t.candidate < 0 || interval != t.interval:
		t.end(reports)
		t.candidate, t.interval = last, interval
	case t.choice == Last, t.choice == Best && reports[last].snr > reports[t.candidate].snr:
		t.candidate = last
	}
}

// end passes on the interval's choice.
func (t *thinning) end(reports []report) {
	if t.candidate >= 0 {
		reports[t.candidate].passed = true
	}
}
