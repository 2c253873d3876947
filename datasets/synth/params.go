package synth

import (
	"hash/fnv"
	"math/rand/v2"
	"time"
)

// Truth is what the analysis should find on one band: first arm minus second.
type Truth struct {
	LevelDB float64 // the same at every receiver
	// LobeDB is the amplitude of a first harmonic of the bearing on top of it, greatest toward TowardDeg
	// (true north, clockwise); 0: no lobe.
	LobeDB, TowardDeg float64
}

// differenceDB is the first arm minus the second at a receiver on that bearing.
func (t Truth) differenceDB(bearingDeg float64) float64 {
	return t.LevelDB + float64(t.LobeDB*cosDeg(bearingDeg-t.TowardDeg))
}

// Band is one band of the trial.
type Band struct {
	Name  string
	Hz    int64 // transmit frequency
	Truth Truth
	// MedianDB is the SNR in 2500 Hz of a receiver of average site at no distance, second arm, at the best
	// hour; it falls by FallDB for each 1000 km.
	MedianDB, FallDB float64
	// PeakHour is the best time of day, hours UTC.
	PeakHour float64
}

// Params are the settings of a synthetic trial. Standard deviations and times are those of one process; a time
// is where its correlation falls to 1/e.
type Params struct {
	Seed uint64
	// Latitude and Longitude of the own station, degrees.
	Latitude, Longitude float64
	// First and Second name the arms: Truth is the first minus the second.
	First, Second string
	Bands         []Band
	// Slot is the mode's period; the station sends in the slots that begin at even multiples of it after
	// 00:00 UTC.
	Slot time.Duration

	SiteSD      float64 // receiver site, dB
	DriftSD     float64 // dB
	DriftTime   time.Duration
	DriftShared float64 // share of the drift's variance that a sector has in common, 0 to 1
	SlowSD      float64 // dB
	SlowTime    time.Duration
	FastSD      float64 // dB, independent from slot to slot
	ErrorSD     float64 // of the decoder's report, dB
	// OpeningDB is how far the band has fallen OpeningHours away from its peak hour; it falls with the
	// square of the time, at all receivers alike.
	OpeningDB, OpeningHours float64
	// ThresholdDB is decoded half the time; the probability goes from 10 to 90 % over SoftDB.
	ThresholdDB, SoftDB float64
	// ReportEvery is how often a receiver passes on a report of one transmitter on one band.
	ReportEvery time.Duration
}

// RidgeWire gives the settings of the demonstration trial: a level of +2.5 dB on 20m and of +0.2 dB on
// 10m, no lobe on either.
//
// Sizes: Rifkin and Perry, Fade measurements on the wide bandwidth HF channel, Radio Science (doi
// 10.1029/94RS00834), for slow; Recommendation ITU-R P.372 for the spread of sites (location deciles); fast is
// Rayleigh fading averaged over a slot of 12.6 s; drift and opening are assumptions. Threshold: Franke,
// Somerville and Taylor, QEX July/August 2020.
func RidgeWire() Params {
	return Params{
		Seed:     20260912,
		Latitude: 43.645833333333336, Longitude: 76.875, // centre of MN83kp
		First: "high", Second: "low",
		Bands: []Band{
			{Name: "20m", Hz: 14_075_200, Truth: Truth{LevelDB: 2.5}, MedianDB: -5, FallDB: 2.0, PeakHour: 6},
			{Name: "10m", Hz: 28_075_200, Truth: Truth{LevelDB: 0.2}, MedianDB: -4, FallDB: 2.0, PeakHour: 7},
		},
		Slot:   15 * time.Second,
		SiteSD: 6, DriftSD: 2, DriftTime: 10 * time.Minute, DriftShared: 0.5,
		SlowSD: 2.5, SlowTime: 45 * time.Second, FastSD: 2, ErrorSD: 1,
		OpeningDB: 2.5, OpeningHours: 3,
		ThresholdDB: -21, SoftDB: 2.5,
		ReportEvery: 5 * time.Minute,
	}
}

// Dwell is one stretch of time with one arm on one band, as it really was.
type Dwell struct {
	Session  int // from 1
	Band     string
	Block    int // from 1 within session and band
	Position int // from 1 within the block
	Arm      string
	// Start, Settle and End are the first moment, the end of the part that is left out, and the end,
	// exclusive.
	Start, Settle, End time.Time
	// Connected is when the arm was really there, if later than Start: until then the other arm was. The zero
	// value stands for Start.
	Connected time.Time
	// Silent: nothing was sent.
	Silent bool
}

// usable tells whether a slot that begins at t counts: it lies after the settling and, as far as the dwell
// knows, the arm is the scheduled one.
func (d Dwell) usable(t time.Time) bool { return !t.Before(d.Settle) && !t.Before(d.Connected) }

// stream gives the random numbers of one named part of the model.
func (p Params) stream(name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(name))
	return rand.New(rand.NewPCG(p.Seed, h.Sum64()))
}
