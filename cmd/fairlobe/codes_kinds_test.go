package main

import (
	"fmt"
	"strings"
	"time"

	"fairlobe/stages/schedule"
)

const heardClaim = `[[claim]]
name = "more hear it"
kind = "heard_by"
compare = ["high", "low"]
`

const bothWaysClaim = `[[claim]]
name = "both ways"
kind = "reciprocity"
arms = ["low", "high"]
`

const repeatClaim = `[[claim]]
name = "the same again"
kind = "repeat"
arms = ["high"]
`

const backgroundTable = `[[spots]]
files = ["background/*.csv"]
format = "table"
role = "background"
columns = { time = "time", transmitter = "sender", receiver = "hearer", receiver_position = ["lat", "lon"], band = "band", snr_db = "snr" }
`

const receivedTable = `[[spots]]
files = ["received/*.csv"]
format = "table"
columns = { time = "time", transmitter = "sender", transmitter_position = ["lat", "lon"], receiver = "hearer", band = "band", snr_db = "snr", power_w = "watts" }
`

// threeOutings is a schedule in which the arm high is put up three times, and low once.
const threeOutings = `bands = ["20m"]
blocks = 12
dwell_min = 2
settle_min = 0.5
changeover = "switch"
arm_change_min = 0.5
spot_interval_min = 0
sessions = [{ start = 2026-09-12T04:00:00Z, blocks = 4, erection = { low = 1, high = 1 } },
            { start = 2026-09-13T04:00:00Z, blocks = 4, erection = { low = 1, high = 2 } },
            { start = 2026-09-14T04:00:00Z, blocks = 4, erection = { low = 1, high = 3 } }]
`

// kindBase gives the bases of the kinds of claim that need other data.
func kindBase(name string) *smallTrial {
	s := smallBase("equal")
	switch name {
	case "heard": // all were listening, and some that hear the arm high do not hear low: different
		s.edit(levelClaim, heardClaim)
		s.add(backgroundTable)
		s.sky.deaf = func(k int, d schedule.Dwell) bool { return k == 15 || d.Arm == "low" && (k+d.Block)%3 == 0 }
		s.more = background
	case "both ways": // what is sent arrives as what is received: practically the same
		s.edit(levelClaim, bothWaysClaim, `sends = "even slots"`, "sends = \"even slots\"\npower_w = 4")
		s.add(receivedTable)
		s.more = received(16, "4")
	case "one arm": // refused: there is nothing to hold the arm against
		s = smallBase("lobe")
		s.edit(`compare = ["high", "low"]`, `arms = ["high"]`, "[[arm]]\nname = \"low\"\n", "")
		s.text = strings.ReplaceAll(s.text, "low = 1, ", "")
		s.text = strings.ReplaceAll(s.text, "low = 2, ", "")
	case "repeat": // three erections that do not differ: holds
		s.edit(levelClaim, repeatClaim, drawnSchedule, threeOutings)
		s.sky.blockDB = 0.1
	default:
		return nil
	}
	return s
}

// background lets every listener hear another transmitter once in each dwell.
func background(dwells []schedule.Dwell, listeners []listener) (name, text string) {
	var out strings.Builder
	out.WriteString("time,sender,hearer,lat,lon,band,snr\n")
	for _, d := range dwells {
		for k, l := range listeners {
			lat, lon := l.place()
			fmt.Fprintf(&out, "%s,Q9ZZZ,%s,%.4f,%.4f,%s,-10\n", d.SettleEnd.Add(15*time.Second).UTC().Format(time.RFC3339), callOf(k), lat, lon, d.Band)
		}
	}
	return "background/other.csv", out.String()
}

// controlled lets the listeners hear a control station in the first slot of each dwell.
func controlled(dwells []schedule.Dwell, listeners []listener) (name, text string) {
	var out strings.Builder
	out.WriteString("time,sender,hearer,lat,lon,band,snr\n")
	for i, d := range dwells {
		for k, l := range listeners {
			lat, lon := l.place()
			fmt.Fprintf(&out, "%s,Q9CTL,%s,%.4f,%.4f,%s,%d\n", d.SettleEnd.UTC().Format(time.RFC3339), callOf(k), lat, lon, d.Band, -7-(i+k)%3)
		}
	}
	return "spots/control.csv", out.String()
}

// received lets the station hear some of the listeners, which send with a power, in each dwell.
func received(most int, watts string) func(dwells []schedule.Dwell, listeners []listener) (name, text string) {
	return func(dwells []schedule.Dwell, listeners []listener) (string, string) {
		var out strings.Builder
		out.WriteString("time,sender,lat,lon,hearer,band,snr,watts\n")
		for i, d := range dwells {
			for k, l := range listeners[:most] {
				lat, lon := l.place()
				fmt.Fprintf(&out, "%s,%s,%.4f,%.4f,Q1RDG,%s,%d,%s\n", d.SettleEnd.Add(45*time.Second).UTC().Format(time.RFC3339), callOf(k), lat, lon, d.Band, -6-(i+k)%2, watts)
			}
		}
		return "received/own.csv", out.String()
	}
}

// apart lets the arm high come out otherwise each time that it is put up.
func apart(db float64) func(listener, schedule.Dwell) float64 {
	return higher(func(_ listener, d schedule.Dwell) float64 { return db * float64(d.Session-2) })
}

func kindReasons() []codeCase {
	return []codeCase{
		{code: "different", name: "heard by more", from: "equal", make: func(s *smallTrial) { *s = *kindBase("heard") },
			verdict: "different", says: []string{"high is heard by", "percentage points more"}},
		{code: "different", name: "most that listened never heard us", from: "equal", make: func(s *smallTrial) {
			*s = *kindBase("heard")
			s.sky.deaf = func(k int, d schedule.Dwell) bool { return k >= 8 || d.Arm == "low" && (k+d.Block)%3 > 0 }
		}, verdict: "different", says: []string{"of the 16 receivers that were listening, high is heard by 50 %"}},
		{code: "practically_the_same", name: "heard by as many", from: "heard", make: func(s *smallTrial) {
			s.sky.deaf = func(k int, d schedule.Dwell) bool { return (k+d.Block)%3 == 0 }
		}, verdict: "practically the same", says: []string{"any difference is smaller than 10 percentage points"}},
		{code: "different", name: "sent better than received", from: "both ways", make: func(s *smallTrial) { s.sky.strongDB = 1 },
			verdict: "different", says: []string{"what is sent arrives", "dB better than what is received", "nothing of the antenna"}},
		{code: "no_power", from: "both ways", make: func(s *smallTrial) { s.more = received(16, "") },
			verdict: "refused", says: []string{"16 stations were heard both ways, and of none are both powers known"}},
		{code: "too_few_regions", name: "both ways", from: "both ways", make: func(s *smallTrial) { s.more = received(4, "4") },
			verdict: "refused", says: []string{"too few regions: the stations heard both ways lie in 4, and 6 are needed"}},
		{code: "too_few_stations", name: "both ways", from: "both ways", make: func(s *smallTrial) { s.more = received(2, "4") },
			verdict: "refused", says: []string{"2 were heard both ways in one block with both powers known, the method needs 3"}},
		{code: "observed_only", from: "both ways", make: func(s *smallTrial) {
			s.edit("[[arm]]\nname = \"high\"\n", "", `arms = ["low", "high"]`, `arms = ["low"]`)
			s.text = strings.NewReplacer(", high = 1", "", ", high = 2", "").Replace(s.text)
		}, verdict: "refused", says: []string{"there is one arm only", "described, not tested"}},
		{code: "holds", name: "repeat", from: "equal", make: func(s *smallTrial) { *s = *kindBase("repeat") },
			verdict: "holds", says: []string{"put up again", "for high against low", "below the 1.5 dB that matter"}},
		{code: "fails", name: "repeat", from: "repeat", make: func(s *smallTrial) { s.sky.gainDB = apart(8) },
			verdict: "fails", says: []string{"put up again", "for high against low", "above the 1.5 dB that matter"}},
		{code: "undecided", name: "repeat", from: "repeat", make: func(s *smallTrial) { s.sky.gainDB = apart(1.5) },
			verdict: "undecided", says: []string{"it may be below the 1.5 dB that matter, or above; put it up more often"}},
		{code: "few_erections", from: "repeat", make: func(s *smallTrial) { s.edit("high = 3", "high = 2") },
			verdict: "undecided", says: []string{"high was put up twice", "needs at least 3"}},
		{code: "open_trial", from: "repeat", make: func(s *smallTrial) { s.edit("spot_interval_min = 0", "spot_interval_min = 0\nstopping = \"open\"") },
			verdict: "undecided", says: []string{"in an open trial the interval of the spread does not hold"}},
		{code: "no_comparison", from: "repeat", make: func(s *smallTrial) {
			s.edit("[[arm]]\nname = \"low\"\n", "")
			s.text = strings.ReplaceAll(s.text, "low = 1, ", "")
		}, verdict: "refused", says: []string{"there is one arm only", "add an arm that both outings have"}},
		{code: "control_not_random", from: "one arm", make: func(s *smallTrial) {
			s.edit("[fixed]\n", "[control]\ncall = \"Q9CTL\"\nlocator = \"MN93aa\"\n\n[fixed]\n")
			s.more = controlled
		}, verdict: "refused", evidence: "compared", says: []string{"high is compared with the control station in the same slots", "at the 16 stations that heard both", "described, not tested"}},
		{code: "late_drop_decides", from: "stronger", make: func(s *smallTrial) {
			s.sky.gainDB = onlyBefore(7)
			s.looked = time.Date(2026, 9, 12, 12, 0, 0, 0, time.UTC)
			s.droppedLate(14)
		}, verdict: "undecided", says: []string{"dropped after the data had been looked at", "a drop after a look must not decide"}},
	}
}

// onlyBefore lets the arm high be stronger in the first blocks, and weaker by much after them.
func onlyBefore(blocks int) func(listener, schedule.Dwell) float64 {
	return higher(func(_ listener, d schedule.Dwell) float64 {
		if d.Block+4*(d.Session-1) <= blocks {
			return 3
		}
		return -9
	})
}

func kindWarnings() []codeCase {
	return []codeCase{
		{code: "listening_unknown", from: "heard", make: func(s *smallTrial) { s.more = nil },
			says: []string{"no background tells who was listening", "look greater than they are"}},
		{code: "saturated", from: "heard", make: func(s *smallTrial) { s.sky.deaf = nil },
			says: []string{"in 8 of 8 blocks over 90 % of the stations heard both arms", "level says more"}},
		{code: "power_claimed", from: "equal", make: func(s *smallTrial) { *s = *kindBase("both ways") },
			says: []string{"powers are what they claim"}},
		{code: "one_way", from: "both ways", make: func(s *smallTrial) { s.more = received(7, "4") },
			says: []string{"9 stations were heard in one direction only, and 7 both ways"}},
		{code: "match_explains", from: "stronger", make: func(s *smallTrial) {
			s.sky.gainDB = higherBy(1)
			s.add(sweepTable + strings.ReplaceAll(sweepTable, "low", "high"))
			s.files = map[string]string{"sweeps/high.csv": goodSweep, "sweeps/low.csv": strings.NewReplacer("1.50", "3.0", "1.30", "3.0", "1.20", "3.0", "1.40", "3.0").Replace(goodSweep)}
		}, says: []string{"mismatch and line loss explain 1.", "match or feed the weaker arm better"}},
	}
}
