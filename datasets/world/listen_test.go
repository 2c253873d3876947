package world

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// The curve by its definition: half at the threshold, 10 and 90 % SoftDB apart. Tolerance: 5 standard errors.
func TestDecodesFollowTheLogisticCurve(t *testing.T) {
	const n = 20_000
	p := still()
	p.Classes, p.SoftDB = classes(), 2.5
	for _, c := range []struct {
		slot        time.Duration
		thresholdDB float64
	}{{7500 * time.Millisecond, -17.5}, {15 * time.Second, -21}, {60 * time.Second, -24}, {120 * time.Second, -28}} {
		trial := hours(1, time.Hour)
		trial.Slot = c.slot
		k := skyFor(p, trial)
		for _, point := range [][2]float64{{-1.25, 0.1}, {0, 0.5}, {1.25, 0.9}} {
			d, decoded := k.decoderOf(k.stream("decoder", 0)), 0.0
			for range n {
				if _, ok := d.decode(c.thresholdDB + point[0]); ok {
					decoded++
				}
			}
			require.InDelta(t, point[1], decoded/n, 5*math.Sqrt(point[1]*(1-point[1])/n), "%s", c.slot)
		}
	}
}

// A report's error is that of the decoder and that of rounding, variance 1 + 1/12. Tolerance: 5 standard errors.
func TestReportsHaveTheDecodersError(t *testing.T) {
	const n = 20_000
	p := still()
	p.ErrorSD = 1
	k := skyFor(p, hours(1, time.Hour))
	d, reports := k.decoderOf(k.stream("decoder", 0)), make([]float64, n)
	for i := range reports {
		snr, _ := d.decode(-10.3)
		reports[i] = float64(snr)
	}
	mean, sd := stat.MeanStdDev(reports, nil)
	require.InDelta(t, -10.3, mean, 5*1.04/math.Sqrt(n))
	require.InDelta(t, math.Sqrt(1+1.0/12), sd, 5*1.04/math.Sqrt(2*n))
}

func TestStrongReportsAreCompressedAndCapped(t *testing.T) {
	p := Default()
	for _, c := range []struct {
		snr  float64
		want int
	}{{-23.5, -24}, {-0.4, 0}, {4.4, 4}, {5, 5}, {7, 6}, {15, 10}, {25.2, 15}, {55, 30}, {99, 30}} {
		require.Equal(t, c.want, p.reported(c.snr), "%g dB", c.snr)
	}
}

// Presence: the share of the time, and 1/e after StretchTime. 60 days of stretches of half an hour are 1440 independent
// values or more. Tolerance: 5 standard errors.
func TestStationsComeAndGo(t *testing.T) {
	p, trial := still(), hours(1, 60*24*time.Hour)
	trial.Slot = 60 * time.Second
	k := skyFor(p, trial)
	there := make([]float64, len(k.slots))
	for i, a := range k.activities(0, Station{Bands: []string{"20m"}, Listens: 0.4}) {
		require.NotEqual(t, sending, a)
		if a == listening {
			there[i] = 1
		}
	}
	require.InDelta(t, 0.4, stat.Mean(there, nil), 5*math.Sqrt(0.24/1440))
	require.InDelta(t, math.Exp(-1), lag(there, 30), 5/math.Sqrt(1440))
	for _, a := range k.activities(0, Station{Bands: []string{"10m"}, Listens: 1}) {
		require.Equal(t, away, a)
	}
}

// Stations that send do so in every other slot, SendShare of those, and hear nothing meanwhile. Tolerance: 5 standard errors.
func TestStationsSendInTheirSlots(t *testing.T) {
	p := still()
	p.SendShare = 0.4
	for _, c := range []struct {
		slot  time.Duration
		share float64
	}{{15 * time.Second, 0.2}, {120 * time.Second, 0.4}} {
		trial := hours(1, 24*time.Hour)
		trial.Slot = c.slot
		k := skyFor(p, trial)
		for number := range 4 {
			sent, parities := 0.0, map[bool]bool{}
			for i, a := range k.activities(number, Station{Bands: []string{"20m"}, Listens: 1, Sends: true}) {
				if a == sending {
					sent++
					parities[k.slots[i].odd] = true
				}
			}
			n := float64(len(k.slots))
			require.InDelta(t, c.share, sent/n, 5*math.Sqrt(c.share*(1-c.share)/n))
			require.Equal(t, c.slot == 120*time.Second, len(parities) == 2)
		}
	}
}

// One report an interval, and which one; by the interval's own definition from the phase, which is found by trying all.
func TestThinning(t *testing.T) {
	p, trial := Default(), hours(1, 6*time.Hour)
	p.BackgroundShare, p.SteadyShare, p.AllBandsShare = 0, 1, 1
	for _, c := range []struct {
		choice Choice
		last   float64
		best   float64
	}{{First, 0, 0}, {Last, 1, 0}, {Best, 0, 1}} {
		p.LastShare, p.BestShare = c.last, c.best
		o, err := Run(p, trial)
		require.NoError(t, err)
		looked := 0
		for number := range o.Stations {
			var mine []Reception
			for _, r := range o.Receptions {
				if r.Sent && r.Station == number {
					mine = append(mine, r)
				}
			}
			if len(mine) == 0 {
				continue
			}
			require.True(t, anyPhase(p.ReportEvery, mine, c.choice), "station %d", number)
			looked++
		}
		require.Greater(t, looked, 20)
	}
}

// anyPhase tells whether there is a division of time into intervals by which the reports that were passed on are the choices.
func anyPhase(every time.Duration, reports []Reception, choice Choice) bool {
	for phase := time.Duration(0); phase < every; phase += 10 * time.Second { // slots are 30 s apart
		chosen := map[int64]int{}
		for i, r := range reports {
			interval := r.Slot.Add(phase).UnixMilli() / every.Milliseconds()
			before, ok := chosen[interval]
			if !ok || choice == Last || choice == Best && r.SNR > reports[before].SNR {
				chosen[interval] = i
			}
		}
		fits := true
		for i, r := range reports {
			interval := r.Slot.Add(phase).UnixMilli() / every.Milliseconds()
			fits = fits && r.Passed == (chosen[interval] == i)
		}
		if fits {
			return true
		}
	}
	return false
}

func TestUnthinnedReceiversPassOnEverything(t *testing.T) {
	p := Default()
	p.ThinnedShare = 0.5
	o, err := Run(p, trialOf(4, "20m"))
	require.NoError(t, err)
	thinned := 0
	for _, r := range o.Receptions {
		if !r.Sent || o.Stations[r.Station].Every {
			require.True(t, r.Passed)
		} else if !r.Passed {
			thinned++
		}
	}
	require.NotZero(t, thinned)
}
