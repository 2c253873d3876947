package judge

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"fairlobe/stages/internal/account"
)

// Triggers of warnings.
const (
	strongDB       = 10   // above this a report lags behind the true ratio
	mostStrong     = 0.2  // share of an arm's receptions above it
	mostOneRegion  = 0.4  // share of one region
	mostOneStation = 0.2  // share of one station
	mostLost       = 0.25 // share of blocks lost
	mostSpacing    = 2    // slots between the reports of one station
)

func (c *court) warnings(e *Entry, t *contest) {
	c.warnOfStations(e, t)
	for _, arm := range e.Arms {
		if share := t.strong[arm]; share > mostStrong {
			e.warn("compressed", fmt.Sprintf("%.0f %% of the reports of %s are above +%d dB, where reports lag behind the true ratio: differences look smaller than they are", 100*share, arm, strongDB))
		}
	}
	c.warnOfSpacing(e, t)
	if c.SharedCoin {
		e.warn("shared_coin", "one draw served all bands: each band's test is exact, but the bands share one coin")
	}
	if c.trial.OneErection {
		e.warn("one_erection", "an arm was put up only once: the verdict speaks of these erections, not of the design")
	}
	if c.trial.EndedEarly {
		e.warn("ended_early", "the log ends the trial before its last block: the verdict rests on the numbers that hold however often one looks")
	}
	if l := c.lossOn(e.Band); tells(l) {
		e.warn("losses", lossWords(l)+": losses may depend on the arm")
	}
	c.warnOfLog(e)
}

// warnOfInput warns of what stands against the data as a whole, whatever is asked of them.
func (c *court) warnOfInput(e *Entry) {
	e.passOn(c.intake.Warnings)
}

// passOn takes over the warnings of another stage that speak of the entry's band.
func (e *Entry) passOn(all []account.Warning) {
	for _, w := range all {
		if w.Band == "" || w.Band == e.Band {
			e.warn(w.Code, w.Said())
		}
	}
}

// warnOfStations warns where few receivers, or a part of them, carry the verdict.
func (c *court) warnOfStations(e *Entry, t *contest) {
	if t.stations < 3 {
		return // refused
	}
	if t.stations < fewStations {
		e.warn("few_stations", fmt.Sprintf("only %d stations were heard: the verdict speaks of these alone", t.stations))
	}
	if t.level.Sectors < fewestSectors {
		e.warn("few_sectors", fmt.Sprintf("the stations whose place is known lie in %d of eight sectors: the verdict speaks of these alone", t.level.Sectors))
	}
	if share := t.level.Beyond.LargestRegion; share > mostOneRegion {
		e.warn("one_region", fmt.Sprintf("one region holds %.0f %% of the weight", 100*share))
	}
	if share := t.level.Beyond.LargestStation; share > mostOneStation {
		e.warn("one_station", fmt.Sprintf("one station holds %.0f %% of the weight", 100*share))
	}
}

// warnOfSpacing warns of reports that come seldom, by what was declared or by what is seen.
func (c *court) warnOfSpacing(e *Entry, t *contest) {
	const minute = 60000.0
	switch most := float64(mostSpacing * c.SlotMs); {
	case float64(c.SpotIntervalMs) > most:
		e.warn("thinned", fmt.Sprintf("reports are passed on about every %.3g min only: a missing report is no proof of silence", float64(c.SpotIntervalMs)/minute))
	case t.spacingMs > most:
		e.warn("thinned", fmt.Sprintf("a receiver's reports come about every %.3g min only: a missing report is no proof of silence", t.spacingMs/minute))
	}
	if dwell := float64(c.dwellMs[e.Band]); t.usualGapMs > dwell {
		e.warn("short_dwell", fmt.Sprintf("a dwell lasts %.3g min, and most receivers report at most every %.3g min: they can report only one arm of a block, so lengthen the dwell", dwell/minute, t.usualGapMs/minute))
	}
}

// gaps gives two measures of how often stations report, in ms. usual is the 20 % quantile, over stations with three
// reports or more, of the shortest time between two reports of one station. spacing is the median over
// stations of the median time between two of its reports in one dwell. Each is 0 where no station tells.
func gaps(all []reception) (usual, spacing float64) {
	byStation := map[int][]reception{}
	for _, r := range all {
		byStation[r.station] = append(byStation[r.station], r)
	}
	var shortest, medians []float64
	for _, some := range byStation {
		slices.SortFunc(some, func(a, b reception) int { return int(a.slotMs - b.slotMs) })
		least, inside := math.Inf(1), []float64{}
		for i := 1; i < len(some); i++ {
			gap := float64(some[i].slotMs - some[i-1].slotMs)
			least = min(least, gap)
			if a, b := some[i-1], some[i]; a.session == b.session && a.number == b.number && a.arm == b.arm {
				inside = append(inside, gap)
			}
		}
		if len(some) >= 3 {
			shortest = append(shortest, least)
		}
		if len(inside) > 0 {
			medians = append(medians, quantile(0.5, inside))
		}
	}
	return quantile(0.2, shortest), quantile(0.5, medians)
}

// quantile is the smallest value that at least the share p of the values do not exceed; 0 of none.
func quantile(p float64, values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	slices.Sort(values)
	return stat.Quantile(p, stat.Empirical, values, nil)
}

// lossOn gives the losses on a band.
func (c *court) lossOn(band string) account.Loss {
	for _, l := range c.trial.Losses {
		if l.Band == band {
			return l
		}
	}
	return account.Loss{Band: band, P: 1}
}

// tells is true if so many blocks were lost, or so unequally, that the loss itself may be the effect.
func tells(l account.Loss) bool { return l.Share > mostLost || l.P < alpha }

func lossWords(l account.Loss) string {
	if l.Share > mostLost {
		return fmt.Sprintf("%.0f %% of the blocks were lost", 100*l.Share)
	}
	return fmt.Sprintf("more blocks were lost with one arm than with the other (p = %.2g)", l.P)
}

// weigh gathers the reports of each arm, and the share of strong ones.
func (t *contest) weigh(all []reception, arms ...string) {
	t.strong, t.perArm = map[string]float64{}, map[string][]float64{}
	for _, r := range all {
		t.perArm[r.arm] = append(t.perArm[r.arm], r.snr)
		if r.snr > strongDB {
			t.strong[r.arm]++
		}
	}
	for _, arm := range arms {
		if n := len(t.perArm[arm]); n > 0 {
			t.strong[arm] /= float64(n)
		}
	}
}

func (t *contest) compressed(arms []string) bool {
	return slices.ContainsFunc(arms, func(arm string) bool { return t.strong[arm] > mostStrong })
}
