package world

import (
	"math"
	"time"
)

// Preset is a named change of Default: one kind of difficulty.
type Preset struct {
	Name string
	What string // one line
	Set  func(*Params)
}

// Scenario gives the preset of that name.
func Scenario(name string) (Preset, bool) {
	for _, p := range Scenarios() {
		if p.Name == name {
			return p, true
		}
	}
	return Preset{}, false
}

// Scenarios gives the presets by name.
func Scenarios() []Preset {
	return []Preset{
		{"clustered", "seven of ten receivers in one sector of 60 degrees", func(p *Params) {
			p.CrowdShare, p.CrowdDeg, p.Clusters = 0.7, 60, 10
		}},
		{"everything", "clustered, turning, slow, unequal, noise steps, and signals 6 dB weaker, all at once", func(p *Params) {
			p.CrowdShare, p.CrowdDeg, p.Clusters = 0.4, 60, 10
			p.OpeningLobeDB, p.TrendDBPerHour = 5, 2
			p.DriftSD, p.DriftTime, p.DriftShared = 3, 15*time.Minute, 0.7
			p.SteadyShare, p.ListensLow, p.ListensHigh, p.StretchTime = 0.3, 0.1, 0.7, 20*time.Minute
			p.StepsPerHour, p.BurstShare, p.PathDB = 1, 0.06, -6
		}},
		{"few", "eight receivers that pass on one report in 5 min", func(p *Params) {
			p.Stations, p.Clusters, p.AllBandsShare = 8, 8, 1
		}},
		{"half-heard", "half of the transmissions are too weak to be decoded; every decode passed on, strong ones without lag", func(p *Params) {
			p.PathDB, p.ThinnedShare, p.CompressAboveDB = -14, 0, math.Inf(1)
		}},
		{"no-lag", "as usual, but strong reports do not lag behind, which else pulls differences towards 0", func(p *Params) {
			p.CompressAboveDB = math.Inf(1)
		}},
		{"noise-steps", "receivers' noise jumps to another level twice an hour (SD 6 dB), with many bursts", func(p *Params) {
			p.StepsPerHour, p.StepSD, p.BurstShare = 2, 6, 0.1
		}},
		{"quiet", "little fading, steady receivers, every decode passed on", func(p *Params) {
			p.SlowSD, p.DriftSD, p.DaySD, p.BurstShare = 1.5, 1, 3, 0
			p.SteadyShare, p.SteadyListens, p.ThinnedShare, p.AllBandsShare = 1, 1, 0, 1
			p.PlacelessShare, p.CoarseShare, p.PortableShare = 0, 0, 0
		}},
		{"regional", "receivers and regions differ in how they see the arms (SD 1.5 dB each), without a lobe", func(p *Params) {
			p.ReceiverSD, p.RegionSD = 1.5, 1.5
		}},
		{"slow-fading", "slow fading of SD 4 dB and 2 min, drift of 4 dB and 25 min that a sector has mostly in common", func(p *Params) {
			p.SlowSD, p.SlowTime = 4, 2*time.Minute
			p.DriftSD, p.DriftTime, p.DriftShared = 4, 25*time.Minute, 0.8
		}},
		{"thinned", "one report in 10 min, most often the last or the best decode", func(p *Params) {
			p.ReportEvery, p.LastShare, p.BestShare = 10*time.Minute, 0.4, 0.4
		}},
		{"turning", "the band is 8 dB better in the direction in which it opens, which turns, and rises by 3 dB an hour", func(p *Params) {
			p.OpeningLobeDB, p.TrendDBPerHour = 8, 3
		}},
		{"unequal", "few receivers are always there, most come and go within minutes", func(p *Params) {
			p.SteadyShare, p.ListensLow, p.ListensHigh, p.StretchTime = 0.2, 0.05, 0.6, 15*time.Minute
			p.ThinnedShare = 0.6
		}},
		{"usual", "the middle of every range; one report in 5 min is passed on", func(*Params) {}},
		{"weak", "signals 15 dB weaker: most transmissions are not decoded", func(p *Params) { p.PathDB = -15 }},
	}
}
