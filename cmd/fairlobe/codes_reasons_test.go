package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairlobe/stages/schedule"
)

// codeCase is a data set in which a code must stand, beside the one it was made from, in which it must not.
type codeCase struct {
	code string
	name string // what the case is, where a code has more than one
	from string // base
	make func(s *smallTrial)

	claim    string // on 20m; "" for the first
	verdict  string
	evidence string   // "" where it is not what the case is about
	says     []string // parts of the sentence
}

const (
	lift  = "lift helps"
	side  = "a side gains"
	match = "match holds"
)

func reasonCases() []codeCase {
	return slices.Concat(levelReasons(), lobeReasons(), trialReasons(), matchReasons(), kindReasons())
}

func levelReasons() []codeCase {
	return []codeCase{
		{code: "different", from: "equal", make: func(s *smallTrial) { s.sky.gainDB = higherBy(3) },
			verdict: "different", says: []string{"high is 2.7", " dB stronger than low (", "by more than the 1.5 dB that matter", "at the 16 receivers heard"}},
		{code: "practically_the_same", from: "stronger", make: func(s *smallTrial) { s.sky.gainDB = nil },
			verdict: "practically the same", says: []string{"any difference is smaller than 1.5 dB"}},
		{code: "practically_the_same", name: "a small one", from: "stronger", make: func(s *smallTrial) { s.sky.gainDB = higherBy(-0.8) },
			verdict: "practically the same", says: []string{"in favour of low", "you said that less than 1.5 dB does not matter"}},
		{code: "undecided", from: "equal", make: func(s *smallTrial) { s.sky.blockDB = 4 },
			verdict: "undecided", says: []string{"no difference, and also differences that matter", "a new trial of about", "blocks would find a difference of 1.5 dB"}},
		{code: "would_pass_alone", from: "equal", make: func(s *smallTrial) {
			s.edit(levelClaim, levelClaim+lobeClaim+strings.Replace(lobeClaim, "a side", "another side", 1))
			s.sky.gainDB, s.sky.blockDB = higherBy(3.4), 2
		}, verdict: "undecided", says: []string{"would pass alone, not among the 3 questions"}},
		{code: "no_one_difference", from: "step", make: func(s *smallTrial) { s.sky.listeners, s.sky.gainDB = ring(15, 0, 360), farApart },
			verdict: "undecided", says: []string{"no one difference fits all blocks"}},
		{code: "depends_on_direction", from: "equal", make: func(s *smallTrial) { s.sky.gainDB = towardNorth(3) },
			verdict: "undecided", says: []string{"on average the difference is small", "depends on the direction"}},
		{code: "sessions_differ", from: "equal", make: func(s *smallTrial) {
			longSessions(s)
			s.sky.gainDB = sessionsApart
		}, verdict: "undecided", says: []string{"the sessions contradict each other"}},
		{code: "compressed", from: "equal", make: func(s *smallTrial) { s.sky.strongDB = 14 },
			verdict: "undecided", says: []string{"so strong that they hide differences", "use less power"}},
		{code: "compressed", name: "lobe", from: "no lobe", make: func(s *smallTrial) { s.sky.strongDB = 14 },
			verdict: "undecided", says: []string{"no lobe shown", "use less power"}},
		{code: "too_few_blocks", from: "equal", make: func(s *smallTrial) {
			s.edit("blocks = 8", "blocks = 4", "00Z, blocks = 4, erection = { low = 1", "00Z, blocks = 2, erection = { low = 1", "00Z, blocks = 4", "00Z, blocks = 2")
		}, verdict: "refused", says: []string{"4 complete, 6 are needed", "questions declared: 1"}},
		{code: "too_few_reports", from: "equal", make: func(s *smallTrial) {
			s.sky.listeners = ring(3, 0, 360)
			for i := range s.sky.listeners {
				s.sky.listeners[i].reports = 0.1
			}
		}, verdict: "refused", says: []string{"comparisons of a station, the method needs 10"}},
		{code: "too_few_stations", from: "equal", make: func(s *smallTrial) { s.sky.listeners = ring(2, 0, 360) },
			verdict: "refused", says: []string{"too few stations: 2 heard above the cut, the method needs 3"}},
		{code: "fails", name: "null", from: "null", make: func(s *smallTrial) { s.sky.gainDB = higherBy(3) },
			verdict: "fails", says: []string{"the two names of one configuration differ", "something else changes with the name"}},
		{code: "fails", name: "step", from: "step", make: func(s *smallTrial) { s.sky.gainDB = higherBy(1) },
			verdict: "fails", says: []string{"the declared step of 3 dB is outside"}},
		{code: "holds", name: "null", from: "equal", make: func(s *smallTrial) { s.edit(levelClaim, nullClaim) },
			verdict: "holds", says: []string{"the two names of one configuration differ by less than 1.5 dB"}},
		{code: "holds", name: "step", from: "stronger", make: func(s *smallTrial) { s.edit(levelClaim, stepClaim) },
			verdict: "holds", says: []string{"the declared step of 3 dB shows"}},
	}
}

func lobeReasons() []codeCase {
	few := func(s *smallTrial) { s.sky.listeners = ring(7, 0, 360) }
	return []codeCase{
		{code: "different", name: "lobe", from: "no lobe", make: func(s *smallTrial) { s.sky.gainDB = towardNorth(3) },
			verdict: "different", says: []string{"high gains most against low toward", "above the all-round value", "over the receivers heard (16)"}},
		{code: "practically_the_same", name: "lobe", from: "lobe", make: func(s *smallTrial) { s.sky.gainDB = nil },
			verdict: "practically the same", says: []string{"no lobe shown", "less than the 1.5 dB that matter"}},
		{code: "undecided", name: "lobe", from: "no lobe", make: func(s *smallTrial) { s.sky.noiseDB = 12 },
			verdict: "undecided", says: []string{"is not ruled out, more than the 1.5 dB that matter"}},
		{code: "few_to_rule_out", from: "no lobe", make: func(s *smallTrial) { s.sky.listeners = ring(9, 0, 360) },
			verdict: "undecided", says: []string{"9 receivers are too few to rule one out: 12 are needed"}},
		{code: "receivers_differ", from: "no lobe", make: func(s *smallTrial) { s.sky.gainDB = withoutLobe },
			verdict: "undecided", says: []string{"receivers differ, azimuth not shown"}},
		{code: "distance_tangled", from: "no lobe", make: func(s *smallTrial) {
			s.sky.listeners, s.sky.gainDB = fartherNorth(), favoursFar
		}, verdict: "undecided", says: []string{"their distance explains it as well as their direction does"}},
		{code: "too_few_stations", name: "lobe", from: "no lobe", make: few,
			verdict: "refused", says: []string{"too few stations for a direction: 7 heard above the cut, the method needs 8"}},
		{code: "too_few_stations", name: "lobe of any shape", from: "no lobe", make: func(s *smallTrial) {
			s.edit(`"one-sided"`, `"any"`)
			longSessions(s)
			s.sky.listeners = ring(11, 0, 360)
		}, verdict: "refused", says: []string{"too few stations for the shape any: 11 heard above the cut, the method needs 12"}},
		{code: "too_few_blocks", name: "lobe of any shape", from: "no lobe", make: func(s *smallTrial) { s.edit(`"one-sided"`, `"any"`) },
			verdict: "refused", says: []string{"too few blocks for the shape any: 8 complete"}},
		{code: "too_few_regions", from: "no lobe", make: func(s *smallTrial) {
			s.edit(`"one-sided"`, `"any"`)
			longSessions(s)
			s.sky.listeners = nil
			for i := range 14 { // seven places, each of two stations
				s.sky.listeners = append(s.sky.listeners, listener{azimuth: float64(i%7)*51 + 3 + float64(i/7), km: 900})
			}
		}, verdict: "refused", says: []string{"too few regions for the shape any: 7 with data, the method needs 8"}},
		{code: "not_surrounded", from: "no lobe", make: func(s *smallTrial) { s.sky.listeners = ring(16, 20, 120) },
			verdict: "refused", says: []string{"do not surround you"}},
		{code: "one_arm", from: "no lobe", make: func(s *smallTrial) {
			s.edit(`compare = ["high", "low"]`, `arms = ["high"]`)
		}, verdict: "refused", evidence: "observed only", says: []string{"cannot separate the antenna from the path; turn this wire in random blocks, or name a control station"}},
	}
}

// longSessions makes the two sessions of six blocks each, so that each can have an interval of its own.
func longSessions(s *smallTrial) {
	s.edit("blocks = 8", "blocks = 12", "00Z, blocks = 4, erection = { low = 1", "00Z, blocks = 6, erection = { low = 1", "00Z, blocks = 4", "00Z, blocks = 6")
}

// sessionsApart: what was better in the first session was worse in the second.
var sessionsApart = higher(func(_ listener, d schedule.Dwell) float64 { return 0.8 * float64(3-2*d.Session) })

// withoutLobe lets the difference vary from region to region by more than from side to side.
var withoutLobe = higher(func(l listener, _ schedule.Dwell) float64 {
	return 5*math.Cos(4*l.azimuth*math.Pi/180) + 1.5*math.Cos(l.azimuth*math.Pi/180)
})

// fartherNorth gives stations all round, of which those in the north are farther away.
func fartherNorth() []listener {
	all := ring(16, 0, 360)
	for i := range all {
		all[i].km = 1500 + 1000*math.Cos(all[i].azimuth*math.Pi/180)
	}
	return all
}

// favoursFar lets the arm high be stronger at distant stations, whatever their azimuth.
var favoursFar = higher(func(l listener, _ schedule.Dwell) float64 { return 3 * math.Log2(l.km/1200) })

// farApart lets the arms differ by 90 dB, one way or the other from station to station: so far that no difference near
// the middle fits any of them.
func farApart(l listener, d schedule.Dwell) float64 {
	if high := math.Mod(l.azimuth, 48) < 24; high != (d.Arm == "high") {
		return -9
	}
	return 81
}

func trialReasons() []codeCase {
	return []codeCase{
		{code: "no_reports", from: "equal", make: func(s *smallTrial) { s.files = map[string]string{"spots/reports.csv": ""} },
			verdict: "refused", says: []string{"no reports yet"}},
		{code: "no_usable_rows", from: "equal", make: func(s *smallTrial) {
			s.files = map[string]string{"spots/reports.csv": "time,sender,hearer,lat,lon,band,snr\n2026-09-12T04:00:30Z,Q1RDG,Q2TAA,40,80,20m,good\n"}
		}, verdict: "refused", says: []string{"the only row could not be used"}},
		{code: "unfinished", from: "stronger", make: func(s *smallTrial) {
			s.sky.until = 0.75
			s.without(func(l logLine) bool { return l.kind == "end" })
		}, verdict: "undecided", says: []string{"6 of 8 blocks are in"}},
		{code: "losses", from: "stronger", make: func(s *smallTrial) {
			longSessions(s)
			s.dropping("", "rain on the connector", 1, 2, 3, 4)
		}, verdict: "undecided", says: []string{"33 % of the blocks were lost", "the loss itself may be the effect"}},
		{code: "order_not_sealed", from: "stronger", make: func(s *smallTrial) { s.sealed = []string{"seed = 11", "seed = 12"} },
			verdict: "refused", evidence: "observed only", says: []string{"not the one that was sealed", "described, not tested", "put the seed, the arms and the schedule back"}},
		{code: "order_not_random", from: "stronger", make: func(s *smallTrial) { s.given("not random", drawnOrder) },
			verdict: "refused", evidence: "compared", says: []string{"not drawn at random", "described, not tested", "draw the order at random and seal it"}},
		{code: "order_regular", from: "stronger", make: func(s *smallTrial) { s.given("random", alternating) },
			verdict: "refused", evidence: "compared", says: []string{"said to be random, but", "described, not tested"}},
	}
}

// drawnOrder is an order as a coin might draw it.
func drawnOrder(block int) [2]string {
	if strings.Contains("0 3 4 6", fmt.Sprint(block)) {
		return [2]string{"low", "high"}
	}
	return [2]string{"high", "low"}
}

func alternating(int) [2]string { return [2]string{"low", "high"} }

func matchReasons() []codeCase {
	sweep := func(text string) func(s *smallTrial) {
		return func(s *smallTrial) { s.files = map[string]string{"sweeps/low.csv": text} }
	}
	return []codeCase{
		{code: "holds", from: "equal", claim: match, make: func(s *smallTrial) {
			s.add(matchClaim + sweepTable)
			sweep(goodSweep)(s)
		}, verdict: "holds", says: []string{"at the feedpoint, every reading from 14 to 14.35 MHz is at most 2"}},
		{code: "fails", from: "match", claim: match, make: sweep(strings.Replace(goodSweep, "14.16,1.20", "14.16,2.60", 1)),
			verdict: "fails", says: []string{"the SWR of low is 2.6 at 14.16 MHz, above the limit of 2"}},
		{code: "part_measured", from: "match", claim: match, make: sweep("mhz,swr\n14.1,1.20\n"),
			verdict: "undecided", says: []string{"but of low over half of that range is not measured: measure there"}},
		{code: "rounding", from: "match", claim: match, make: sweep(strings.Replace(goodSweep, "14.16,1.20", "14.16,2.00", 1)),
			verdict: "undecided", says: []string{"the SWR of low is 2 at 14.16 MHz as it was shown", "either side of the limit of 2"}},
		{code: "no_readings", from: "match", claim: match, make: sweep("mhz,swr\n7.0,1.50\n7.1,1.30\n"),
			verdict: "refused", says: []string{"there are no readings of low from 14 to 14.35 MHz", "they lie at 7 to 7.1 MHz"}},
		{code: "impossible_reading", from: "match", claim: match, make: func(s *smallTrial) {
			s.edit(sweepTable, strings.NewReplacer(`"table"`, `"touchstone"`, "columns = { frequency_mhz = \"mhz\", swr = \"swr\" }\n", "", "low.csv", "low.s1p").Replace(sweepTable))
			s.files = map[string]string{"sweeps/low.s1p": "# MHZ S RI R 50\n14.0 0.1 0\n14.1 0.1 0\n14.2 0.8 0.8\n14.3 0.1 0\n"}
		}, verdict: "undecided", says: []string{"the SWR of low at 14.2 MHz is beyond measure", "more would be reflected than arrives"}},
	}
}
