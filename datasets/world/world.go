package world

import (
	"fmt"
	"time"

	"fairlobe/datasets/coast"
)

// oneWay is the slot of the modes that only one side sends in, so that there is no taking turns.
const oneWay = 120 * time.Second

// Run carries out a trial. Same parameters and trial, same outcome. An error tells in words which setting is wrong, or
// that there is no land for the stations.
func Run(p Params, t Trial) (*Outcome, error) {
	if err := p.check(); err != nil {
		return nil, fmt.Errorf("settings of the world: %w", err)
	}
	class, err := p.class(t.Slot)
	if err != nil {
		return nil, fmt.Errorf("settings of the world: %w", err)
	}
	if err := t.check(); err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	if err := p.checkPower(t); err != nil {
		return nil, fmt.Errorf("settings of the world: %w", err)
	}
	if p.Land == nil {
		p.Land = coast.Load().OnLand
	}
	stations, err := settle(p, t)
	if err != nil {
		return nil, fmt.Errorf("placing the stations: %w", err)
	}
	return carry(p, t, class, stations), nil
}

// carry lets the trial happen before these stations.
func carry(p Params, t Trial, class Class, stations []Station) *Outcome {
	bands := make([][]slot, len(t.Bands))
	for i, b := range t.Bands {
		bands[i] = p.slotsOf(t, b.Name)
	}
	ranks := rank(bands)
	sends := make([][]int, len(t.Bands))
	reports, others := make([][]report, len(t.Bands)), make([][]overheard, len(t.Bands))
	gains := make([][][]float64, len(t.Bands))
	for i, b := range t.Bands {
		sends[i] = sendsOf(bands[i])
		k := skyOf(p, t, b, class, bands[i])
		reports[i], others[i] = k.happen(stations)
		gains[i] = k.realised
	}
	return &Outcome{
		Stations: stations,
		GainsDB:  gains,
		Sends: inOrder(bands, ranks, sends, func(i int) int { return i }, func(_ int, s *slot, _ int) Send {
			return Send{Dwell: s.dwell, Slot: s.start, Arm: s.arm}
		}),
		Receptions: inOrder(bands, ranks, reports, func(r report) int { return int(r.slot) }, func(_ int, s *slot, r report) Reception {
			return Reception{Sent: s.sends, Station: int(r.station), Dwell: s.dwell, Slot: s.start, SNR: int(r.snr), Passed: r.passed}
		}),
		Background: inOrder(bands, ranks, others, func(o overheard) int { return int(o.slot) }, func(band int, s *slot, o overheard) Heard {
			return Heard{Transmitter: int(o.transmitter), Receiver: int(o.receiver), Slot: s.start, Band: t.Bands[band].Name, SNR: int(o.snr)}
		}),
	}
}

// happen gives what is reported on a band, by station and slot.
func (k *sky) happen(stations []Station) ([]report, []overheard) {
	does := make([][]activity, len(stations))
	k.realised = make([][]float64, len(stations))
	reports := make([]report, 0, len(stations)*len(k.slots)/3) // about what is decoded on an ordinary day
	for number, station := range stations {
		does[number] = k.activities(number, station)
		if station.isOn(k.band.Name) {
			reports = k.hear(reports, number, station, does[number])
		}
	}
	return reports, k.background(stations, does)
}

// sendsOf lists the slots in which the own station sends.
func sendsOf(slots []slot) []int {
	var these []int
	for i, s := range slots {
		if s.sends {
			these = append(these, i)
		}
	}
	return these
}
