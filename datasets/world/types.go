package world

import (
	"math"
	"slices"
	"time"
)

// Lobe is one term of a pattern: AmplitudeDB * cos(Harmonic * (azimuth - TowardDeg)).
type Lobe struct {
	Harmonic    int     // 1: one lobe; 2: two opposite ones
	AmplitudeDB float64 // half of the difference between the best and the worst direction
	TowardDeg   float64 // true north, clockwise
}

// Pattern is the gain of an arm over azimuth. The zero value is 0 dB all round.
type Pattern struct {
	LevelDB float64 // all round
	Lobes   []Lobe
}

// GainDB is the gain toward an azimuth, true north, clockwise.
func (p Pattern) GainDB(azimuthDeg float64) float64 {
	gain := p.LevelDB
	for _, l := range p.Lobes {
		gain += float64(l.AmplitudeDB * math.Cos(float64(l.Harmonic)*(azimuthDeg-l.TowardDeg)*degree))
	}
	return gain
}

// Band is one band of the trial: the truth about the arms on it, and how it carries. DefaultBand gives the propagation.
type Band struct {
	Name string
	Hz   int64 // transmit frequency
	// Arms gives the gain of each arm on this band, the same for sending and for receiving. Every arm of the
	// band's dwells must be here.
	Arms map[string]Pattern

	// MedianDB is the SNR in 2500 Hz that a receiver of average site reports of the own station, with an arm of
	// 0 dB, in the best distance at the best hour, fading left out.
	MedianDB float64
	// NearKm to FarKm is the distance at which the band is at its best. Nearer in the signal falls by SkipDB for each
	// 100 km (the skip zone, at most 30 dB); farther out by FallDB for each 1000 km (at most 60 dB).
	NearKm, FarKm  float64
	SkipDB, FallDB float64
	// PeakHour is the best time of day, hours of the own station's solar time (UTC + longitude / 15 degrees).
	PeakHour float64
	// OpeningHours away from the peak the band has fallen by OpeningDB, at all receivers alike; it falls with the
	// square of the time.
	OpeningHours, OpeningDB float64
	// OpensTowardDeg is the direction in which the band opens when a session begins, and TurnDegPerHour how it
	// turns. How strongly the opening depends on the direction is Params.OpeningLobeDB.
	OpensTowardDeg, TurnDegPerHour float64
	// TrendDBPerHour is the rise from the session's begin on, at all receivers alike, on top of the opening.
	TrendDBPerHour float64
}

// DifferenceDB is the truth about two arms at a receiver on that azimuth: first minus second.
func (b Band) DifferenceDB(first, second string, azimuthDeg float64) float64 {
	return b.Arms[first].GainDB(azimuthDeg) - b.Arms[second].GainDB(azimuthDeg)
}

// Dwell is one stretch of time with one arm on one band, as it really was.
type Dwell struct {
	Session  int // from 1
	Band     string
	Block    int // from 1 within session and band
	Position int // from 1 within the block
	Arm      string
	// Start, Settle and End are the first moment, the end of the part that is left out, and the end, exclusive.
	// What is sent before Settle is on the air and reported like the rest.
	Start, Settle, End time.Time
	// Connected is when the arm was really there, if later than Start. The zero value stands for Start. Slots that
	// begin earlier are on the air with the arm Before, or with none if that is empty.
	Connected time.Time
	Before    string
	// Silent: nothing was sent, and nobody was listened to.
	Silent bool
}

// Trial is what is carried out: where, when, and with which truth.
type Trial struct {
	Seed                      uint64
	Call                      string // no station is given this one
	LatitudeDeg, LongitudeDeg float64
	Slot                      time.Duration // the mode's period; slots begin at multiples of it after 00:00 UTC
	Sends                     string        // "every slot", "even slots", "odd slots" or "as logged" (see Params.LoggedShare)
	Bands                     []Band
	Dwells                    []Dwell // in any order; not two at the same time on one band
}

// Station is one far end: it hears the own station, and many send as well. Its number is its place in
// Outcome.Stations.
type Station struct {
	Call string
	// Locator as the station tells it: the six characters of where it is, the first four of them, or none.
	Locator string
	// LatitudeDeg and LongitudeDeg are the centre of its six-character square, on land.
	LatitudeDeg, LongitudeDeg float64
	// BearingDeg (true north, 0 to 360) and DistanceKm are seen from the own station, on the sphere.
	BearingDeg, DistanceKm float64
	OffsetHz               int64    // how much too high it reads a frequency
	Bands                  []string // on which it is active, in the trial's order
	NoiseDB                float64  // its site against the average; more is noisier
	PowerDB                float64  // its power against the own station's
	Listens                float64  // share of the time in which it is there
	Sends                  bool     // false: it only listens
	Every                  bool     // passes on every decode; else one in Params.ReportEvery
	Passes                 Choice   // which one
}

// Choice is which decode of a reporting interval a receiver passes on.
type Choice int

// The choices.
const (
	First Choice = iota
	Last
	Best // the greatest SNR, the first of equals
)

// Send is one transmission of the own station.
type Send struct {
	Dwell int // index into Trial.Dwells
	Slot  time.Time
	Arm   string // the one that was really on the air
}

// Reception is one decode, of the own station's signal (Sent) or by the own station.
type Reception struct {
	Sent    bool
	Station int // the far end, index into Outcome.Stations
	Dwell   int // index into Trial.Dwells
	Slot    time.Time
	SNR     int // dB in 2500 Hz, as reported
	// Passed: handed on by the network. What the own station hears is in its own log, so always passed.
	Passed bool
}

// Heard is one report of another transmitter by a station: it tells that the station was listening.
type Heard struct {
	Transmitter, Receiver int // indexes into Outcome.Stations
	Slot                  time.Time
	Band                  string
	SNR                   int
}

// Outcome is all that came of a trial.
type Outcome struct {
	Stations   []Station   // by number
	Sends      []Send      // by slot, then band in the trial's order
	Receptions []Reception // by slot, then band, then station
	Background []Heard     // by slot, then band, then receiver
	// GainsDB is what each arm really has toward each station, with what Params.ReceiverSD and RegionSD do, but without
	// SetupSD and the powers: by band in the trial's order, then station, then arm by name. nil for a station that is
	// not active on the band.
	GainsDB [][][]float64
}

// DifferenceDB is the truth about two arms at a station: first minus second, sent or received with the same power. ok is
// false if the trial has no such band or arm, or the station is not active on it.
func (o *Outcome) DifferenceDB(t Trial, band, first, second string, station int) (db float64, ok bool) {
	for i, b := range t.Bands {
		if b.Name != band || o.GainsDB[i][station] == nil {
			continue
		}
		names, gains := b.armNames(), o.GainsDB[i][station]
		a, c := slices.Index(names, first), slices.Index(names, second)
		if a < 0 || c < 0 {
			return 0, false
		}
		return gains[a] - gains[c], true
	}
	return 0, false
}
