package judge

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"fairlobe/stages/internal/account"
	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/internal/offsets"
)

// A reciprocity claim holds what is sent against what is received. Between two stations the path loses the same both
// ways, and antennas gain the same both ways (reciprocity; Balanis, Antenna Theory, 4th edition, 2016, section 3.8), so of
//
//	(SNR sent - own power) - (SNR received - their power)
//
// with powers in dB above 1 W, the noise at the two ends is left, with what the ionosphere, losses and wrong powers do:
// above 0 the station is heard better than it hears. It is no property of the antenna, and is never mixed with
// differences of one direction.
//
// Both directions must lie in one session, block and arm. A station's offset is the mean over these; stations of one
// region share what the ionosphere and thunderstorms do, so the unit is the region, with the median of its stations.
// The interval is that of the median over the regions (package offsets). It needs no random order, and rests on the
// regions being independent instead, which nothing in a plan can ensure.
//
// The evidence is asked for all the same: without it, powers, dwells and limits may have been chosen after a look.

// Reciprocity is what a reciprocity claim adds.
type Reciprocity struct {
	// OneWay counts the stations that were heard in one direction only, and WithoutPower those that were heard both ways
	// but with a power that is not known: neither enters.
	OneWay       int `json:"stations_one_way"`
	WithoutPower int `json:"stations_without_power"`
}

// meeting is what one station and one arm had in one block.
type meeting struct {
	block   blockKey
	arm     string
	station int
}

// bothWays gathers the reports of a meeting.
type bothWays struct {
	sent, received []float64 // of known power, less that power
	heard, hears   bool      // a report in each direction, whatever is known of the powers
}

// offsetsFound is what the reports of both directions show.
type offsetsFound struct {
	regions    []string             // in the order in which they came up
	values     map[string][]float64 // by region: the mean of each station
	first      map[string][]float64 // by region: the same of the first block in which it came up
	stations   int
	receptions int
}

func (c *court) hearReciprocity(e *Entry) {
	found := c.offsetsOf(e)
	e.Stations, e.Regions, e.Receptions = found.stations, len(found.regions), found.receptions
	c.warnOfOffsets(e)
	summary := offsets.Summarise(found.units(found.values), alpha)
	watched := offsets.Watch(found.units(found.first), alpha)
	interval, watchedInterval := contrast.Interval{LowDB: summary.Low, HighDB: summary.High}, contrast.Interval{LowDB: watched.Low, HighDB: watched.High, Empty: watched.Empty}
	e.EstimateDB = round4(summary.Median)
	switch {
	case !c.testedOffset(e):
		if summary.N > 0 {
			e.IntervalDB = outward(interval)
		}
	case c.unfinished(e):
		e.PRunning, e.RunningDB = roundP(watched.P), outward(watchedInterval)
	case c.refusedOffset(e):
	default:
		e.PRunning, e.RunningDB = roundP(watched.P), outward(watchedInterval)
		p := summary.P
		if c.open() {
			p, interval = watched.P, watchedInterval
		}
		e.P, e.rawP, e.IntervalDB = roundP(p), &p, outward(interval)
		if e.IntervalDB != nil {
			excluded := excludesZero(e.IntervalDB)
			e.ZeroExcluded = &excluded
		}
	}
}

// testedOffset is tested with words that fit: no order is asked about.
func (c *court) testedOffset(e *Entry) bool {
	switch c.evidence {
	case Randomised:
		return true
	case ByDeclaring:
		e.warn(c.code, c.why+": that the question and the limit were there before the data is the operator's word")
		return true
	}
	code := c.code
	if code == "one_arm" { // which stands for a directivity without any number
		code = "observed_only"
	}
	mend := "declare the arms, draw their order and seal it before the next trial"
	if code == "order_not_sealed" {
		mend = "put the seed, the arms and the schedule back as they were sealed"
	}
	e.conclude(Refused, code, fmt.Sprintf("%s: described, not tested; %s", c.why, mend))
	return false
}

func (c *court) refusedOffset(e *Entry) bool {
	need := contrast.FewestBlocks(alpha, c.family) // a sign test needs as many units, whatever they are
	switch {
	case e.Stations == 0 && e.Reciprocity.WithoutPower > 0:
		e.conclude(Refused, "no_power", fmt.Sprintf("%d stations were heard both ways, and of none are both powers known: give power_w for the own station, and spot files with a column that tells the transmitter's power", e.Reciprocity.WithoutPower))
	case e.Stations < fewestBothWays:
		e.conclude(Refused, contrast.TooFewStations, fmt.Sprintf("too few stations: %d were heard both ways in one block with both powers known, the method needs %d", e.Stations, fewestBothWays))
	case e.Regions < need:
		e.conclude(Refused, contrast.TooFewRegions, fmt.Sprintf("too few regions: the stations heard both ways lie in %d, and %d are needed for an answer at 5 %% (questions declared: %d)", e.Regions, need, c.family))
	default:
		return false
	}
	return true
}

// fewestBothWays is the least number of stations heard both ways.
const fewestBothWays = 3

// offsetsOf finds the offsets of the stations that were heard both ways, and counts the others in the entry.
func (c *court) offsetsOf(e *Entry) offsetsFound {
	blocks := c.blocksOf(e.Band, 0)
	order, meetings, oneWay := c.meetings(e, blocks)
	found := offsetsFound{values: map[string][]float64{}, first: map[string][]float64{}}
	byStation := map[int][]float64{} // offsets of its meetings
	both := map[int]bool{}
	firstBlock := map[string]blockKey{} // by region
	inFirst := map[int][]float64{}      // offsets of its meetings in that block
	for _, m := range order {
		w := meetings[m]
		both[m.station] = both[m.station] || w.heard && w.hears
		if len(w.sent) == 0 || len(w.received) == 0 {
			continue
		}
		offset := stat.Mean(w.sent, nil) - stat.Mean(w.received, nil)
		byStation[m.station] = append(byStation[m.station], offset)
		found.receptions += len(w.sent) + len(w.received)
		region := c.stations[m.station].region
		if _, ok := firstBlock[region]; !ok {
			firstBlock[region] = m.block
			found.regions = append(found.regions, region)
		}
		if firstBlock[region] == m.block {
			inFirst[m.station] = append(inFirst[m.station], offset)
		}
	}
	for number, s := range c.stations {
		switch of := byStation[number]; {
		case len(of) > 0:
			found.stations++
			found.values[s.region] = append(found.values[s.region], stat.Mean(of, nil))
		case both[number]:
			e.Reciprocity.WithoutPower++
		case oneWay[number]:
			e.Reciprocity.OneWay++
		}
		if of := inFirst[number]; len(of) > 0 {
			found.first[s.region] = append(found.first[s.region], stat.Mean(of, nil))
		}
	}
	return found
}

// units gives the median of each region, in the order in which the regions came up.
func (f offsetsFound) units(values map[string][]float64) []float64 {
	out := make([]float64, len(f.regions))
	for i, region := range f.regions {
		out[i] = offsets.Median(values[region])
	}
	return out
}

// meetings gathers the reports by block, arm and station: by the time of the block, then as they stand in the table.
func (c *court) meetings(e *Entry, blocks []block) (order []meeting, all map[meeting]*bothWays, heard map[int]bool) {
	place := map[blockKey]int{}
	for i, b := range blocks {
		place[b.key()] = i
	}
	all, heard = map[meeting]*bothWays{}, map[int]bool{}
	powers := map[meeting]float64{} // own, by block and arm
	for _, r := range c.receptions {
		if _, ok := place[r.key()]; !ok || r.band != e.Band || !slices.Contains(e.Arms, r.arm) || !c.counts(e, r.station) {
			continue
		}
		m := meeting{r.key(), r.arm, r.station}
		w := all[m]
		if w == nil {
			w = &bothWays{}
			all[m] = w
			order = append(order, m)
		}
		heard[r.station] = true
		if r.direction == "received" {
			w.hears = true
			if r.powerW != nil && *r.powerW > 0 {
				w.received = append(w.received, r.snr-decibels(*r.powerW))
			}
			continue
		}
		w.heard = true
		own := meeting{block: m.block, arm: m.arm}
		if _, ok := powers[own]; !ok {
			powers[own] = c.ownPower(e.Band, m.block, m.arm)
		}
		if !math.IsNaN(powers[own]) {
			w.sent = append(w.sent, r.snr-powers[own])
		}
	}
	slices.SortStableFunc(order, func(a, b meeting) int { return place[a.block] - place[b.block] })
	return order, all, heard
}

func decibels(watts float64) float64 { return 10 * math.Log10(watts) }

// ownPower is the own power in dB above 1 W: the mean of what the log tells of the block and arm; else of what it tells
// of the session and arm without a block; else what was declared. NaN if none is known.
func (c *court) ownPower(band string, at blockKey, arm string) float64 {
	var ofBlock, ofSession []float64
	for _, e := range c.trial.Events {
		if e.Kind != account.Power || e.Arm != arm || e.Session != int(at.session) || e.Band != "" && e.Band != band || e.Value == nil || *e.Value <= 0 {
			continue
		}
		switch e.Block {
		case int(at.number):
			ofBlock = append(ofBlock, decibels(*e.Value))
		case 0:
			ofSession = append(ofSession, decibels(*e.Value))
		}
	}
	switch n := slices.Index(c.Params.Arms, arm); {
	case len(ofBlock) > 0:
		return stat.Mean(ofBlock, nil)
	case len(ofSession) > 0:
		return stat.Mean(ofSession, nil)
	case n >= 0 && n < len(c.ArmPowersW) && c.ArmPowersW[n] > 0:
		return decibels(c.ArmPowersW[n])
	}
	return math.NaN()
}

// warnOfOffsets warns of what stands against an offset.
func (c *court) warnOfOffsets(e *Entry) {
	if e.Stations >= fewestBothWays {
		e.warn("power_claimed", "the other stations' powers are what they claim, most often in whole dBm: each may be off by 0.5 dB by its rounding alone")
		if e.Stations < fewStations {
			e.warn("few_stations", fmt.Sprintf("only %d stations were heard both ways: the verdict speaks of these alone", e.Stations))
		}
		if n := e.Reciprocity.OneWay; n > e.Stations {
			e.warn("one_way", fmt.Sprintf("%d stations were heard in one direction only, and %d both ways: a great offset hides those that would show it, so it looks smaller than it is", n, e.Stations))
		}
	}
	if c.trial.EndedEarly {
		e.warn("ended_early", "the log ends the trial before its last block: the verdict rests on the numbers that hold however often one looks")
	}
	c.warnOfLog(e)
}

func (c *court) decideReciprocity(e *Entry) {
	i, l := e.IntervalDB, c.SmallestDB
	at := fmt.Sprintf("by the median of %d regions with %d stations heard both ways%s", e.Regions, e.Stations, e.within(" "))
	switch {
	case inside(i, l) && !excludesZero(i):
		e.conclude(Same, "practically_the_same", fmt.Sprintf("for equal powers what is sent and what is received differ by less than %g dB (%s), %s%s", l, span(i), at, notTheAntenna))
	case inside(i, l):
		e.conclude(Same, "practically_the_same", fmt.Sprintf("for equal powers what is sent arrives %.2f dB %s than what is received (%s), %s; you said that less than %g dB does not matter%s",
			math.Abs(*e.EstimateDB), betterOrWorse(i), span(i), at, l, notTheAntenna))
	case e.PAdjusted != nil && *e.PAdjusted <= alpha && i != nil:
		size := "the size is not settled"
		if beyondLimit(i, l) {
			size = fmt.Sprintf("more than the %g dB that matter", l)
		}
		e.conclude(Different, "different", fmt.Sprintf("for equal powers what is sent arrives %.2f dB %s than what is received (%s), %s: %s%s",
			math.Abs(*e.EstimateDB), betterOrWorse(i), span(i), at, size, notTheAntenna))
	case i == nil:
		e.conclude(Undecided, "no_one_difference", "no one offset fits all regions: it changed during the trial")
	case *e.rawP <= alpha || excludesZero(i):
		e.conclude(Undecided, "would_pass_alone", fmt.Sprintf("the offset of sent against received (%s) would pass alone, not among the %d questions asked", span(i), c.family))
	default:
		e.conclude(Undecided, "undecided", fmt.Sprintf("for equal powers the data allow %s between sent and received: none, and also offsets that matter; more regions heard both ways would tell", span(i)))
	}
}

// notTheAntenna ends the sentence on an offset.
const notTheAntenna = "; the noise at both ends is in it, so it says nothing of the antenna"

func betterOrWorse(i *Range) string {
	if i[0] != nil && *i[0] > 0 {
		return "better"
	}
	return "worse"
}
