package world

import (
	"cmp"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

func run(t *testing.T, p Params, trial Trial) *Outcome {
	t.Helper()
	o, err := Run(p, trial)
	require.NoError(t, err)
	return o
}

func TestSameSettingsSameOutcome(t *testing.T) {
	trial := trialOf(2, "20m", "10m")
	one := run(t, Default(), trial)
	require.Equal(t, one, run(t, Default(), trial))
	slices.Reverse(trial.Dwells)
	reversed := run(t, Default(), trial)
	require.Equal(t, one.Background, reversed.Background, "the order of the dwells is no matter")
	trial.Seed++
	require.NotEqual(t, one.Stations[0], run(t, Default(), trial).Stations[0])
}

func TestOutcomeIsSorted(t *testing.T) {
	trial := trialOf(3, "20m", "10m")
	// Both bands at the same time, as with two radios.
	for i := range trial.Dwells {
		trial.Dwells[i].Start = trial.Dwells[i&^1].Start
		trial.Dwells[i].End = trial.Dwells[i&^1].End
	}
	o := run(t, Default(), trial)
	band := func(dwell int) int {
		return slices.IndexFunc(trial.Bands, func(b Band) bool { return b.Name == trial.Dwells[dwell].Band })
	}
	require.True(t, slices.IsSortedFunc(o.Sends, func(a, b Send) int {
		return cmp.Or(a.Slot.Compare(b.Slot), cmp.Compare(band(a.Dwell), band(b.Dwell)))
	}))
	require.True(t, slices.IsSortedFunc(o.Receptions, func(a, b Reception) int {
		return cmp.Or(a.Slot.Compare(b.Slot), cmp.Compare(band(a.Dwell), band(b.Dwell)), cmp.Compare(a.Station, b.Station))
	}))
	require.True(t, slices.IsSortedFunc(o.Background, func(a, b Heard) int {
		return cmp.Or(a.Slot.Compare(b.Slot), -cmp.Compare(a.Band, b.Band), cmp.Compare(a.Receiver, b.Receiver)) // 20m, then 10m
	}))
	seen := map[Reception]bool{}
	for _, r := range o.Receptions {
		key := Reception{Sent: r.Sent, Station: r.Station, Dwell: r.Dwell, Slot: r.Slot}
		require.False(t, seen[key])
		seen[key] = true
	}
}

// A station's numbers depend neither on how many others there are, nor on another band, nor on another part of the model.
func TestStreamsDoNotTouchEachOther(t *testing.T) {
	p, trial := Default(), trialOf(2, "20m", "10m")
	p.AllBandsShare = 1
	all := run(t, p, trial)
	those := func(o *Outcome, keep func(Reception) bool) []Reception {
		var some []Reception
		for _, r := range o.Receptions {
			if keep(r) {
				r.Dwell = 0
				some = append(some, r)
			}
		}
		return some
	}

	few := p
	few.Stations = 20
	fewer := run(t, few, trial)
	require.Equal(t, all.Stations[:20], fewer.Stations)
	require.Equal(t, those(all, func(r Reception) bool { return r.Station < 20 }), those(fewer, func(Reception) bool { return true }))

	alone := trial
	alone.Bands = trial.Bands[:1]
	alone.Dwells = slices.DeleteFunc(slices.Clone(trial.Dwells), func(d Dwell) bool { return d.Band == "10m" })
	require.Equal(t, those(all, func(r Reception) bool { return trial.Dwells[r.Dwell].Band == "20m" }),
		those(run(t, p, alone), func(Reception) bool { return true }))

	quiet := p
	quiet.BackgroundShare = 0
	require.Equal(t, all.Receptions, run(t, quiet, trial).Receptions)
	require.Empty(t, run(t, quiet, trial).Background)

	exact := p
	exact.ErrorSD = 0
	inexact := those(all, func(Reception) bool { return true })
	for i, r := range those(run(t, exact, trial), func(Reception) bool { return true }) {
		require.Equal(t, inexact[i].Slot, r.Slot)
		require.Equal(t, inexact[i].Station, r.Station)
	}
}

// The truth comes back where nothing is censored: the mean difference of a receiver is that of the patterns on its bearing, in
// both directions. With still air it does so to the rounding; with all that varies to the standard error, which the
// data themselves tell from block to block.
func TestTruthComesBack(t *testing.T) {
	trial := trialOf(40, "20m")
	trial.Bands[0].OpeningDB = 0
	trial.Bands[0].Arms = map[string]Pattern{
		"high": {LevelDB: 2, Lobes: []Lobe{{1, 3, 300}, {2, 1.5, 40}}},
		"low":  {LevelDB: -0.5},
	}
	p := still()
	p.SendersShare, p.SendShare = 1, 0.5
	for _, sent := range []bool{true, false} {
		for number, difference := range differences(run(t, p, trial), trial, sent) {
			require.InDelta(t, trial.Bands[0].DifferenceDB("high", "low", difference.bearing), mean(difference.blocks), 1, "station %d", number)
		}
	}

	rough := Default()
	rough.Classes, rough.CompressAboveDB, rough.CapDB = p.Classes, 1000, 1000
	rough.SteadyShare, rough.SteadyListens, rough.SendersShare, rough.SendShare = 1, 1, 1, 0.5
	for _, sent := range []bool{true, false} {
		var off []float64
		worst := 0.0
		for _, difference := range differences(run(t, rough, trial), trial, sent) {
			truth := trial.Bands[0].DifferenceDB("high", "low", difference.bearing)
			off = append(off, mean(difference.blocks)-truth)
			worst = max(worst, math.Abs(mean(difference.blocks)-truth)/standardError(difference.blocks))
		}
		require.Greater(t, len(off), 30)
		require.Less(t, worst, 5.0)
		require.Less(t, math.Abs(mean(off)), 5*standardError(off))
	}
}

// Where receivers and regions differ for themselves, the outcome tells what is true of each. Tolerance: as above.
func TestTruthOfEachReceiverComesBack(t *testing.T) {
	trial := trialOf(40, "20m", "15m")
	trial.Bands[0].OpeningDB = 0
	p := still()
	p.ReceiverSD, p.RegionSD, p.AllBandsShare = 2, 2, 0.5
	o := run(t, p, trial)
	var all []float64
	on20m := Outcome{Stations: o.Stations, Receptions: slices.DeleteFunc(slices.Clone(o.Receptions), func(r Reception) bool { return trial.Dwells[r.Dwell].Band != "20m" })}
	for number, difference := range differences(&on20m, trial, true) {
		truth, ok := o.DifferenceDB(trial, "20m", "high", "low", number)
		require.True(t, ok)
		require.InDelta(t, truth, mean(difference.blocks), 1, "station %d", number)
		turned, _ := o.DifferenceDB(trial, "20m", "low", "high", number)
		require.Equal(t, -truth, turned)
		all = append(all, truth)
	}
	require.Greater(t, stat.StdDev(all, nil), 1.0, "they do differ")
	for number, station := range o.Stations {
		_, on := o.DifferenceDB(trial, "15m", "high", "low", number)
		require.Equal(t, station.isOn("15m"), on, "no truth where it is not active")
	}
	_, ok := o.DifferenceDB(trial, "40m", "high", "low", 0)
	require.False(t, ok)
	_, ok = o.DifferenceDB(trial, "20m", "high", "middle", 0)
	require.False(t, ok)
}

// seenBy is what one station saw: high minus low, by block.
type seenBy struct {
	bearing float64
	blocks  []float64
}

func differences(o *Outcome, trial Trial, sent bool) map[int]seenBy {
	type cell struct{ sum, n float64 }
	cells := map[int]map[int][2]cell{}
	for _, r := range o.Receptions {
		if r.Sent != sent {
			continue
		}
		d := trial.Dwells[r.Dwell]
		if cells[r.Station] == nil {
			cells[r.Station] = map[int][2]cell{}
		}
		pair := cells[r.Station][d.Block]
		arm := 0
		if d.Arm == "low" {
			arm = 1
		}
		pair[arm].sum += float64(r.SNR)
		pair[arm].n++
		cells[r.Station][d.Block] = pair
	}
	seen := map[int]seenBy{}
	for number, blocks := range cells {
		s := seenBy{bearing: o.Stations[number].BearingDeg}
		for block := 1; block <= 40; block++ {
			if pair := blocks[block]; pair[0].n > 0 && pair[1].n > 0 {
				s.blocks = append(s.blocks, pair[0].sum/pair[0].n-pair[1].sum/pair[1].n)
			}
		}
		if len(s.blocks) > 20 {
			seen[number] = s
		}
	}
	return seen
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

func standardError(values []float64) float64 {
	m, squares, n := mean(values), 0.0, float64(len(values))
	for _, v := range values {
		squares += (v - m) * (v - m)
	}
	return math.Sqrt(squares / (n - 1) / n)
}

func TestPatternGain(t *testing.T) {
	require.Zero(t, Pattern{}.GainDB(123))
	p := Pattern{LevelDB: 1, Lobes: []Lobe{{1, 3, 300}, {2, 2, 30}}}
	for _, c := range [][2]float64{{300, 1 + 3 - 2}, {120, 1 - 3 - 2}, {30, 1 + 2}, {210, 1 + 2}, {-60, 1 + 3 - 2}} {
		require.InDelta(t, c[1], p.GainDB(c[0]), 1e-9, "%g degrees", c[0])
	}
}

// Exchanging the names of the arms exchanges nothing else.
func TestArmsAreOnlyNames(t *testing.T) {
	trial := trialOf(2, "20m")
	swapped := trial
	swapped.Bands = slices.Clone(trial.Bands)
	swapped.Bands[0].Arms = map[string]Pattern{"low": trial.Bands[0].Arms["high"], "high": trial.Bands[0].Arms["low"]}
	swapped.Dwells = slices.Clone(trial.Dwells)
	for i := range swapped.Dwells {
		swapped.Dwells[i].Arm = map[string]string{"high": "low", "low": "high"}[trial.Dwells[i].Arm]
	}
	require.Equal(t, run(t, Default(), trial).Receptions, run(t, Default(), swapped).Receptions)
}

func TestReceivedOnlyWhenNotSending(t *testing.T) {
	for _, c := range []struct {
		sends    string
		slot     time.Duration
		parities []bool // odd, in which it sends
		listens  bool
	}{
		{"even slots", 15 * time.Second, []bool{false}, true},
		{"odd slots", 7500 * time.Millisecond, []bool{true}, true},
		{"every slot", 15 * time.Second, []bool{false, true}, false},
		{"as logged", 15 * time.Second, []bool{false}, true},
	} {
		trial := trialOf(8, "20m")
		trial.Sends, trial.Slot = c.sends, c.slot
		o := run(t, Default(), trial)
		sends := map[time.Time]bool{}
		for _, s := range o.Sends {
			odd := s.Slot.UnixMilli()/c.slot.Milliseconds()%2 == 1
			require.Contains(t, c.parities, odd)
			require.Equal(t, trial.Dwells[s.Dwell].Arm, s.Arm)
			require.False(t, s.Slot.Before(trial.Dwells[s.Dwell].Start))
			require.False(t, s.Slot.Add(c.slot).After(trial.Dwells[s.Dwell].End))
			sends[s.Slot] = true
		}
		directions := map[bool]int{}
		for _, r := range o.Receptions {
			require.Equal(t, sends[r.Slot], r.Sent)
			directions[r.Sent]++
			require.True(t, r.Sent || o.Stations[r.Station].Sends)
		}
		require.NotZero(t, directions[true])
		require.Equal(t, c.listens, directions[false] > 0)
		slots := 16 * 6 * 60 * 1000 / int(c.slot.Milliseconds())
		switch c.sends {
		case "every slot":
			require.Len(t, o.Sends, slots)
		case "as logged": // 0.7 of 192: 5 standard errors
			require.InDelta(t, 0.7, float64(len(o.Sends))/float64(slots/2), 5*math.Sqrt(0.21/192))
		default:
			require.Len(t, o.Sends, slots/2)
		}
	}
}

// Whoever sends hears nothing meanwhile. If all stations send in all of their slots, those with the own station's slots neither hear
// it nor are heard; the others both. Half of 60 stations, 5 standard errors.
func TestWhoeverSendsIsDeaf(t *testing.T) {
	p := still()
	p.SendersShare, p.SendShare = 1, 1
	heard := map[bool]map[int]int{true: {}, false: {}}
	for _, r := range run(t, p, trialOf(1, "20m")).Receptions {
		heard[r.Sent][r.Station]++
	}
	require.Equal(t, heard[true], heard[false])
	require.InDelta(t, 30, len(heard[true]), 5*math.Sqrt(15))
	for _, n := range heard[true] {
		require.Equal(t, 24, n)
	}
}

// A dwell that begins and ends within a slot: 04:00:07 to 04:05:52 holds the slots from 04:00:15 to 04:05:30.
func TestSlotsLieWholeInTheirDwell(t *testing.T) {
	trial := trialOf(1, "20m")
	trial.Sends = "every slot"
	trial.Dwells = trial.Dwells[:1]
	d := &trial.Dwells[0]
	d.Start, d.End = d.Start.Add(7*time.Second), d.Start.Add(5*time.Minute+52*time.Second)
	o := run(t, still(), trial)
	require.Len(t, o.Sends, 22)
	require.Equal(t, begin.Add(15*time.Second), o.Sends[0].Slot)
	require.Equal(t, begin.Add(5*time.Minute+30*time.Second), o.Sends[21].Slot)
}

// Until the arm is connected the one before is on the air, with its own gain; with none before, nothing is; in a silent dwell
// neither. In still air the gain shows in the report.
func TestLateSwitchLeavesTheEarlierArmOn(t *testing.T) {
	trial := trialOf(1, "20m")
	trial.Bands[0].Arms = map[string]Pattern{"high": {LevelDB: 20}, "low": {}}
	trial.Bands[0].OpeningDB = 0
	d := &trial.Dwells[1]
	d.Connected, d.Before = d.Start.Add(2*time.Minute), "high"
	by := func(o *Outcome) map[string]int {
		n := map[string]int{}
		snr := map[int]map[string]int{}
		for _, r := range o.Receptions {
			if r.Dwell == 1 {
				late := map[bool]string{true: "late", false: "after"}[r.Slot.Before(d.Connected)]
				n[late]++
				if snr[r.Station] == nil {
					snr[r.Station] = map[string]int{}
				}
				snr[r.Station][late] = r.SNR
			}
		}
		for _, s := range snr {
			if len(s) == 2 {
				require.Equal(t, s["after"]+20, s["late"])
			}
		}
		return n
	}
	p := still()
	p.Stations = 10
	o := run(t, p, trial)
	require.Equal(t, map[string]int{"late": 10 * 4, "after": 10 * 8}, by(o))
	for _, s := range o.Sends {
		require.Equal(t, s.Dwell == 0 || s.Slot.Before(d.Connected), s.Arm == "high")
	}
	d.Before = ""
	require.Equal(t, map[string]int{"after": 10 * 8}, by(run(t, p, trial)))
	d.Silent = true
	require.Empty(t, by(run(t, p, trial)))
}

// Powers count for what is sent only; the stations' powers and the own noise for what is received only.
func TestWhatCountsForWhichDirection(t *testing.T) {
	trial := trialOf(1, "20m")
	p := still()
	p.SendersShare, p.SendShare, p.Stations = 1, 0.5, 20
	before := run(t, p, trial)
	p.PowerDB, p.TheirPowerDB, p.OwnNoiseDB = map[string]float64{"high": -3, "low": -3}, 10, 4
	after := run(t, p, trial)
	require.Equal(t, len(before.Receptions), len(after.Receptions))
	for i, r := range after.Receptions {
		change := 6
		if r.Sent {
			change = -3
		}
		require.Equal(t, before.Receptions[i].SNR+change, r.SNR)
	}
}

// A receiver that is always there and hears everything is in the background in every dwell but by a chance of (1-0.15)^24 = 2 %; one that
// is away never is; whoever sends hears nothing.
func TestBackgroundTellsWhoListens(t *testing.T) {
	trial := trialOf(4, "20m")
	p := still()
	p.SendersShare, p.SendShare, p.BackgroundShare = 0.5, 0.8, 0.15
	p.SteadyShare, p.ListensLow, p.ListensHigh = 0.5, 0, 0
	o := run(t, p, trial)
	cells := map[[2]int]bool{}
	for _, h := range o.Background {
		require.NotEqual(t, h.Transmitter, h.Receiver)
		require.Equal(t, "20m", h.Band)
		require.True(t, o.Stations[h.Transmitter].Sends)
		require.NotZero(t, o.Stations[h.Receiver].Listens)
		dwell := slices.IndexFunc(trial.Dwells, func(d Dwell) bool { return !h.Slot.Before(d.Start) && h.Slot.Before(d.End) })
		cells[[2]int{h.Receiver, dwell}] = true
	}
	steady := 0
	for _, s := range o.Stations {
		if s.Listens == 1 {
			steady++
		}
	}
	want := float64(steady * len(trial.Dwells))
	require.Greater(t, float64(len(cells))/want, 0.8, "whoever sends listens in six slots of ten only: (1-0.15)^14 = 10 %")
	require.LessOrEqual(t, float64(len(cells)), want)
}

// SD of the difference of two neighbouring transmissions (30 s apart) at one receiver with 15-s slots: 5.3 dB with a
// spread of 0.1 Hz, 3.7 dB with 0.5 Hz, calculated by hand as the root of 2*fast^2 + 2*slow^2*(1-rho) + drift + noise + error without
// bursts. Tolerance: half a unit of the last digit and 1 % for the sample (60 receivers, 720 differences each).
func TestNeighboursDifferAsCalculated(t *testing.T) {
	trial := hours(1, 6*time.Hour)
	for _, c := range [][2]float64{{0.1, 5.3}, {0.5, 3.7}} {
		p := Default()
		p.SpreadLowHz, p.SpreadHighHz, p.BurstShare = c[0], c[0], 0
		p.Classes, p.CompressAboveDB, p.CapDB = still().Classes, 1000, 1000
		p.SteadyShare, p.SteadyListens, p.SendersShare = 1, 1, 0
		last, squares, n := map[int]Reception{}, 0.0, 0.0
		for _, r := range run(t, p, trial).Receptions {
			if before, ok := last[r.Station]; ok {
				require.Equal(t, 30*time.Second, r.Slot.Sub(before.Slot))
				squares += float64((r.SNR - before.SNR) * (r.SNR - before.SNR))
				n++
			}
			last[r.Station] = r
		}
		require.InDelta(t, c[1], math.Sqrt(squares/n), 0.05+0.01*c[1])
	}
}
