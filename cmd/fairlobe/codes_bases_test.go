package main

import (
	"math"
	"time"

	"fairlobe/stages/schedule"
)

// drawnSchedule is the schedule of the bases: two sessions, in each of which both arms are put up anew.
const drawnSchedule = `bands = ["20m"]
blocks = 8
dwell_min = 2
settle_min = 0.5
changeover = "switch"
arm_change_min = 0.5
spot_interval_min = 0
sessions = [{ start = 2026-09-12T04:00:00Z, blocks = 4, erection = { low = 1, high = 1 } },
            { start = 2026-09-13T04:00:00Z, blocks = 4, erection = { low = 2, high = 2 } }]
`

// givenSchedule takes its place where the schedule lies in a file.
const givenSchedule = `file = "schedule.csv"
order = "%s"
settle_min = 0.5
spot_interval_min = 0
changeover = "switch"
`

const smallText = `fairlobe = 1
title = "One code"
smallest_difference_db = 1.5
seed = 11
data = "data"

[station]
call = "Q1RDG"
locator = "MN83kp"

[fixed]
mode = "FT8"
sends = "even slots"

[[arm]]
name = "low"

[[arm]]
name = "high"

[schedule]
` + drawnSchedule + `
[[spots]]
files = ["spots/*.csv"]
format = "table"
columns = { time = "time", transmitter = "sender", receiver = "hearer", receiver_position = ["lat", "lon"], band = "band", snr_db = "snr" }

[log]
switches = "log/switches.csv"
`

const levelClaim = `[[claim]]
name = "lift helps"
kind = "level"
compare = ["high", "low"]
`

const lobeClaim = `[[claim]]
name = "a side gains"
kind = "directivity"
compare = ["high", "low"]
shape = "one-sided"
`

const nullClaim = `[[claim]]
name = "no difference"
kind = "null"
compare = ["high", "low"]
`

const stepClaim = `[[claim]]
name = "half power shows"
kind = "known_step"
compare = ["high", "low"]
step_db = 3
`

const matchClaim = `[[claim]]
name = "match holds"
kind = "match"
arms = ["low"]
swr_at_most = 2.0
`

const sweepTable = `[[sweeps]]
arm = "low"
files = ["sweeps/low.csv"]
format = "table"
columns = { frequency_mhz = "mhz", swr = "swr" }
at = "feedpoint"
`

// higherBy lets the arm high be stronger everywhere.
func higherBy(db float64) func(listener, schedule.Dwell) float64 {
	return higher(func(listener, schedule.Dwell) float64 { return db })
}

// higher lets the arm high be stronger by what depends on the listener, or on the time.
func higher(by func(l listener, d schedule.Dwell) float64) func(listener, schedule.Dwell) float64 {
	return func(l listener, d schedule.Dwell) float64 {
		if d.Arm != "high" {
			return 0
		}
		return by(l, d)
	}
}

// towardNorth is a lobe of the arm high.
func towardNorth(db float64) func(listener, schedule.Dwell) float64 {
	return higher(func(l listener, _ schedule.Dwell) float64 { return db * math.Cos(l.azimuth*math.Pi/180) })
}

// smallBase gives a data set that nothing is wrong with, by its name.
func smallBase(name string) *smallTrial {
	var s *smallTrial
	switch name {
	case "stronger": // the arm high is 3 dB stronger at 16 stations all round: different
		return &smallTrial{text: smallText + levelClaim, sealedAt: -48 * time.Hour,
			sky: smallSky{listeners: ring(16, 0, 360), strongDB: -5, noiseDB: 1, blockDB: 0.3, gainDB: higherBy(3)}}
	case "equal": // the arms do not differ: practically the same
		s = smallBase("stronger")
		s.sky.gainDB = nil
	case "lobe": // the arm high favours the north by 3 dB: a lobe
		s = smallBase("equal")
		s.edit(levelClaim, lobeClaim)
		s.sky.gainDB = towardNorth(3)
	case "no lobe": // nothing favours a direction
		s = smallBase("equal")
		s.edit(levelClaim, lobeClaim)
	case "null": // one configuration under two names: holds
		s = smallBase("equal")
		s.edit(levelClaim, nullClaim)
	case "step": // a step of 3 dB: holds
		s = smallBase("stronger")
		s.edit(levelClaim, stepClaim)
	case "match": // readings at the feedpoint, all below the limit: holds
		s = smallBase("equal")
		s.add(matchClaim + sweepTable)
		s.files = map[string]string{"sweeps/low.csv": goodSweep}
	default:
		return kindBase(name)
	}
	return s
}

const goodSweep = "mhz,swr\n14.0,1.50\n14.08,1.30\n14.16,1.20\n14.24,1.20\n14.3,1.30\n14.35,1.40\n"
