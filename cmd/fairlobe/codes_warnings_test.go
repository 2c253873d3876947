package main

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"fairlobe/stages/schedule"
)

func warningCases() []codeCase {
	return slices.Concat(logWarnings(), dropWarnings(), planWarnings(), stationWarnings(), reportWarnings(), matchWarnings(), kindWarnings())
}

// line is a line of the log at a moment after the start of a dwell.
func line(dwell int, after time.Duration, kind, rest string) func(s *smallTrial) {
	return func(s *smallTrial) {
		s.wrote(func(dwells []schedule.Dwell) logLine {
			return logLine{at: dwells[dwell].Start.Add(after), kind: kind, rest: rest}
		})
	}
}

// other names the arm that a dwell does not have.
func other(arm string) string {
	if arm == "low" {
		return "high"
	}
	return "low"
}

func logWarnings() []codeCase {
	return []codeCase{
		{code: "no_log", from: "stronger", make: func(s *smallTrial) { s.edit("[log]\nswitches = \"log/switches.csv\"\n", "") },
			says: []string{"no switch log", "planned times count"}},
		{code: "unconfirmed", from: "stronger", make: func(s *smallTrial) {
			s.without(func(l logLine) bool { return l.kind == "connected" && l.at.Day() == 13 })
		}, says: []string{"50 % of the dwells have no connected event"}},
		{code: "wrong_arm", from: "stronger", make: func(s *smallTrial) {
			s.wrote(func(dwells []schedule.Dwell) logLine {
				d := dwells[2]
				return logLine{at: d.Start.Add(time.Minute), kind: "connected", rest: fmt.Sprintf(",,,%s,,", other(d.Arm))}
			})
		}, says: []string{"was connected while the schedule has", "session 1, 20m, block 2"}},
		{code: "no_dwell", from: "stronger", make: func(s *smallTrial) { // the second session alone has a block 5
			s.edit("00Z, blocks = 4, erection = { low = 1", "00Z, blocks = 3, erection = { low = 1", "00Z, blocks = 4", "00Z, blocks = 5")
			s.wrote(func(dwells []schedule.Dwell) logLine {
				return logLine{at: dwells[2].Start.Add(time.Minute), kind: "connected", rest: fmt.Sprintf(",,5,%s,,", dwells[2].Arm)}
			})
		}, says: []string{"no dwell of ", " fits this line: it confirms nothing"}},
		{code: "late_switch", from: "stronger", make: func(s *smallTrial) {
			s.log = append(s.log, func(dwells []schedule.Dwell, log []logLine) []logLine {
				for i := range log {
					if log[i].kind == "connected" && log[i].at.Before(dwells[5].Start) && log[i].at.After(dwells[4].End) {
						log[i].at = dwells[5].Start.Add(50 * time.Second)
					}
				}
				return log
			})
		}, says: []string{"1 late change shortened all dwells of its block alike"}},
		{code: "clock", from: "stronger", make: line(0, -10*time.Second, "clock", "1,,,,1.2,"),
			says: []string{"the log's clock was 1.2 s ahead of UTC", "corrected by −1.2 s"}},
		{code: "radio_clock", from: "stronger", make: line(0, -10*time.Second, "radio_clock", "1,,,,-0.8,"),
			says: []string{"the radio's clock was 0.8 s behind UTC"}},
		{code: "start_twice", from: "stronger", make: func(s *smallTrial) { line(0, 0, "start", "1,,,,,")(s) },
			says: []string{"session 1 has 2 starts: the one written last counts"}},
		{code: "pause_order", from: "stronger", make: line(3, -3*time.Second, "resume", "1,,,,,"),
			says: []string{"a resume where there is no pause"}},
		{code: "after_end", from: "stronger", make: func(s *smallTrial) {
			s.wrote(func(dwells []schedule.Dwell) logLine {
				return logLine{at: dwells[7].End.Add(time.Minute), kind: "end", rest: ",,,,,"}
			})
		}, says: []string{"the trial ended here, and the log goes on with session 2"}},
		{code: "ended_early", from: "stronger", make: func(s *smallTrial) {
			s.log = append(s.log, func(dwells []schedule.Dwell, log []logLine) []logLine {
				over := dwells[13].End
				log = slices.DeleteFunc(log, func(l logLine) bool { return l.at.After(over) })
				return append(log, logLine{at: over.Add(10 * time.Second), kind: "end", rest: ",,,,,"})
			})
		}, says: []string{"ends the trial before its last block", "hold however often one looks"}},
		{code: "deviation", from: "stronger", make: line(2, time.Minute, "deviation", "1,,,,,the mast leans"),
			says: []string{"the log notes 1 deviation from what was declared"}},
		{code: "power_differs", from: "stronger", make: func(s *smallTrial) {
			s.log = append(s.log, func(dwells []schedule.Dwell, log []logLine) []logLine {
				for _, d := range dwells[:2] {
					watts := map[string]string{"low": "4.0", "high": "5.0"}[d.Arm]
					log = append(log, logLine{at: d.Start.Add(time.Minute), kind: "power", rest: fmt.Sprintf("%d,%s,%d,%s,%s,", d.Session, d.Band, d.Block, d.Arm, watts)})
				}
				return log
			})
		}, says: []string{"the logged power of high is 0.97 dB above that of low", "the verdict is not corrected"}},
	}
}

func dropWarnings() []codeCase {
	return []codeCase{
		{code: "drop_reason", from: "stronger", make: func(s *smallTrial) { s.dropping("", "signals were weak", 2) },
			says: []string{"block 2 of session 1 is dropped for a reason that seems to look at signals"}},
		{code: "losses", from: "stronger", make: func(s *smallTrial) { s.dropping("", "rain on the connector", 1, 2, 3) },
			says: []string{"38 % of the blocks were lost", "losses may depend on the arm"}},
		{code: "losses", name: "of one arm", from: "stronger", make: func(s *smallTrial) {
			s.edit("blocks = 8", "blocks = 24", "00Z, blocks = 4, erection = { low = 1", "00Z, blocks = 12, erection = { low = 1", "00Z, blocks = 4", "00Z, blocks = 12")
			s.dropping("high", "rain on the connector", 1, 2, 3, 4, 5, 6)
		}, says: []string{"more blocks were lost with one arm than with the other (p = 0.031)"}},
		{code: "dropped_after_look", from: "stronger", make: func(s *smallTrial) {
			s.looked = time.Date(2026, 9, 12, 12, 0, 0, 0, time.UTC)
			s.droppedLate(2)
		}, says: []string{"1 block was dropped after the data had been looked at", "with it the verdict is the same"}},
	}
}

func planWarnings() []codeCase {
	return []codeCase{
		{code: "not_sealed", from: "stronger", make: func(s *smallTrial) { s.unsealed = true },
			evidence: "randomised by declaration", says: []string{"the experiment was not sealed", "the operator's word"}},
		{code: "sealed_late", from: "stronger", make: func(s *smallTrial) { s.sealedAt = time.Hour },
			evidence: "randomised by declaration", says: []string{"the seal was made at 2026-09-12 05:00Z, after the trial began", "the operator's word"}},
		{code: "seal_differs", from: "stronger", make: func(s *smallTrial) {
			s.sealed = []string{"smallest_difference_db = 1.5", "smallest_difference_db = 2.5"}
		}, evidence: "randomised by declaration", says: []string{"was changed after it was sealed"}},
		{code: "added_after_seal", from: "stronger", make: func(s *smallTrial) {
			s.edit(levelClaim, strings.Replace(levelClaim, "lift helps", "an afterthought", 1)+levelClaim)
			s.sealed = []string{strings.Replace(levelClaim, "lift helps", "an afterthought", 1), ""}
		}, evidence: "randomised by declaration", says: []string{"this claim was added after the seal", "ask it in a new trial"}},
		{code: "order_declared", from: "stronger", make: func(s *smallTrial) { s.given("random", drawnOrder) },
			evidence: "randomised by declaration", says: []string{"the order was drawn elsewhere", "the operator's word"}},
		{code: "one_erection", from: "stronger", make: func(s *smallTrial) { s.edit("high = 2", "high = 1") },
			says: []string{"put up only once", "not of the design"}},
		{code: "shared_coin", from: "stronger", make: func(s *smallTrial) {
			s.edit(`bands = ["20m"]`, "bands = [\"20m\", \"10m\"]\nrotate = \"bands within arm\"")
		}, says: []string{"one draw served all bands"}},
		{code: "axis_not_predicted", from: "no lobe", make: func(s *smallTrial) {
			s.edit(`shape = "one-sided"`, "shape = \"one-sided\"\ntoward_deg = \"predicted\"")
		}, says: []string{"name the axis in degrees"}},
		{code: "distance_tangled", from: "lobe", make: func(s *smallTrial) { s.sky.listeners = fartherNorth() },
			says: []string{"far and near stations lie in different directions (correlation 0.", "with the distance taken out"}},
		{code: "trial_test_failed", from: "stronger", make: func(s *smallTrial) { s.edit(levelClaim, levelClaim+nullClaim) },
			says: []string{`the trial failed its own test "no difference" on this band`}},
		{code: "sessions_differ", from: "stronger", make: func(s *smallTrial) {
			longSessions(s)
			s.sky.gainDB = higher(func(_ listener, d schedule.Dwell) float64 { return 2 * float64(d.Session) })
		}, says: []string{"the intervals of single sessions do not overlap"}},
	}
}

func stationWarnings() []codeCase {
	return []codeCase{
		{code: "few_stations", from: "stronger", make: func(s *smallTrial) { s.sky.listeners = ring(7, 0, 360) },
			says: []string{"only 7 stations were heard"}},
		{code: "few_sectors", from: "stronger", make: func(s *smallTrial) { s.sky.listeners = ring(16, 1, 89) },
			says: []string{"lie in 2 of eight sectors"}},
		{code: "one_region", from: "stronger", make: func(s *smallTrial) {
			s.sky.listeners = append(ring(8, 0, 360), ring(20, 92, 118)...)
			for i := range s.sky.listeners {
				s.sky.listeners[i].km = 900
			}
		}, says: []string{"one region holds", "% of the weight"}},
		{code: "one_station", from: "stronger", make: func(s *smallTrial) {
			s.sky.listeners = ring(16, 0, 360)
			for i := range s.sky.listeners[1:] {
				s.sky.listeners[i+1].reports = 0.15
			}
		}, says: []string{"one station holds", "% of the weight"}},
	}
}

func reportWarnings() []codeCase {
	return []codeCase{
		{code: "compressed", from: "stronger", make: func(s *smallTrial) { s.sky.strongDB = 9 },
			says: []string{"% of the reports of high are above +10 dB", "differences look smaller than they are"}},
		{code: "thinned", from: "stronger", make: func(s *smallTrial) { s.sky.every = 2 },
			says: []string{"a receiver's reports come about every 1 min only"}},
		{code: "thinned", name: "as declared", from: "stronger", make: func(s *smallTrial) { s.edit("spot_interval_min = 0", "spot_interval_min = 1") },
			says: []string{"reports are passed on about every 1 min only"}},
		{code: "short_dwell", from: "stronger", make: func(s *smallTrial) {
			s.sky.every, s.sky.seldom = 3, true
		}, says: []string{"a dwell lasts 2 min, and most receivers report at most every", "lengthen the dwell"}},
		{code: "constant_snr", from: "stronger", make: func(s *smallTrial) {
			s.sky.noiseDB, s.sky.blockDB, s.sky.gainDB, s.sky.listeners = 0, 0, nil, []listener{{azimuth: 40, km: 900}}
		}, says: []string{"spots/reports.csv: all ", "reports of this station show the same SNR", "is the right column named"}},
		{code: "times_doubtful", from: "stronger", make: func(s *smallTrial) { s.local = time.Hour },
			says: []string{"spots/local.csv: ", "of 240 reports of this station lie outside the dwells", "adding -1 h to the times"}},
	}
}

func matchWarnings() []codeCase {
	atRadio := strings.Replace(sweepTable, `"feedpoint"`, `"radio"`, 1)
	return []codeCase{
		{code: "match_is_not_efficiency", from: "equal", claim: match, make: func(s *smallTrial) {
			s.add(matchClaim + sweepTable)
			s.files = map[string]string{"sweeps/low.csv": goodSweep}
		}, says: []string{"not how much is radiated"}},
		{code: "measured_at_radio", from: "match", claim: match, make: func(s *smallTrial) { s.edit(sweepTable, atRadio) },
			says: []string{"loss of the feedline makes the SWR look better"}},
		{code: "measured_at_radio", name: "the declared line stays", from: "match", claim: match, make: func(s *smallTrial) {
			s.edit(sweepTable, atRadio, `sends = "even slots"`, "sends = \"even slots\"\nfeedline_length_m = 30\nfeedline_loss_db_per_100m = { db = 5.0, at_mhz = 14, velocity_factor = 0.66, z0_ohm = 75 }")
		}, says: []string{"the declared feedline can't be taken out of SWR alone", "save R and X"}},
		{code: "mixed_references", from: "match", claim: match, make: func(s *smallTrial) {
			s.edit(`arms = ["low"]`, `arms = ["low", "high"]`)
			s.add(strings.Replace(strings.ReplaceAll(sweepTable, "low", "high"), "format", "z0_ohm = 75\nformat", 1))
			s.files["sweeps/high.csv"] = goodSweep
		}, says: []string{"refers to different impedances (50, 75 ohm)"}},
		{code: "gap_in_readings", from: "match", claim: match, make: func(s *smallTrial) {
			s.files = map[string]string{"sweeps/low.csv": regexp.MustCompile(`(?m)^14\.[012].,.*\n`).ReplaceAllString(goodSweep, "")}
		}, says: []string{"low: no reading between 14 and 14.3 MHz"}},
		{code: "line_loss", from: "match", claim: match, make: func(s *smallTrial) {
			s.edit(sweepTable, atRadio, `sends = "even slots"`, "sends = \"even slots\"\nfeedline_length_m = 30\nfeedline_loss_db_per_100m = { db = 5.0, at_mhz = 14, velocity_factor = 0.66, z0_ohm = 50 }")
			s.files = map[string]string{"sweeps/low.csv": "mhz,swr\n14.0,1.20\n14.1,1.10\n14.2,1.10\n14.3,1.10\n14.35,1.20\n"}
		}, says: []string{"low: with its mismatch the feedline loses 1.", "% of the power"}},
	}
}
