package judge

import (
	"cmp"
	"slices"
	"strings"

	"fairlobe/stages/internal/contrast"
)

// Verdicts.
const (
	Different = "different"
	Same      = "practically the same"
	Undecided = "undecided"
	Refused   = "refused"
	Holds     = "holds"
	Fails     = "fails"
)

// Reaches.
const (
	TheseReceivers = "these receivers"
	Beyond         = "beyond"
)

// Kinds of evidence.
const (
	Randomised  = "randomised"
	ByDeclaring = "randomised by declaration"
	Compared    = "compared"
	Observed    = "observed only"
)

// Range is an interval in dB; an end without a bound is null.
type Range = [2]*float64

// Entry is one claim on one band, as it stands in verdicts.json. A number that does not exist is null.
type Entry struct {
	Claim     string   `json:"claim"`
	Kind      string   `json:"kind"`
	Band      string   `json:"band"`
	Arms      []string `json:"arms"`
	Direction *string  `json:"direction"`
	Evidence  *string  `json:"evidence"`
	// AddedAfterSeal marks a claim that may have been thought of because of the data.
	AddedAfterSeal bool `json:"added_after_seal,omitempty"`

	Verdict    string  `json:"verdict"`
	Reach      *string `json:"reach"`
	Reason     string  `json:"reason"`
	ReasonCode string  `json:"reason_code"`

	SmallestDB   *float64 `json:"smallest_difference_db"`
	ZeroExcluded *bool    `json:"zero_excluded"`
	EstimateDB   *float64 `json:"estimate_db"`
	IntervalDB   *Range   `json:"interval_db"`
	P            *float64 `json:"p"`
	PAdjusted    *float64 `json:"p_adjusted"`
	FamilySize   *int     `json:"family_size"`
	PRunning     *float64 `json:"p_running"`
	// RunningDB is the confidence sequence, which holds however often one looks.
	RunningDB *Range       `json:"running_interval_db"`
	Beyond    *BeyondEntry `json:"beyond"`
	AllRound  *float64     `json:"all_round_db"`
	Naive     *Naive       `json:"naive"`

	Blocks        int  `json:"blocks"`
	BlocksPlanned int  `json:"blocks_planned"`
	BlocksDropped int  `json:"blocks_dropped"`
	BlocksNeeded  *int `json:"blocks_needed"`
	Stations      int  `json:"stations"`
	Regions       int  `json:"regions"`
	Receptions    int  `json:"receptions"`

	Beside
	*Directivity
	*Match
	*Repeat
	*HeardBy
	*Reciprocity

	WithoutLateDrops *OtherVerdict `json:"without_late_drops"`

	Sessions []SessionEntry `json:"sessions"`
	Warnings []Warning      `json:"warnings"`

	claimNumber, bandNumber int
	claim                   Claim
	inFamily                bool
	heard                   *contest
	audience                *audience             // of a heard_by claim
	shownLobe               *contrast.Directivity // whose amplitude the entry shows, turned as the claim is
	fits                    []contrast.Fit        // of a lobe that was tested, turned as the claim is
	negative                bool                  // the second arm is the stronger one, whatever the size
	depends                 bool                  // the data show dependence on azimuth
	rawP                    *float64              // unrounded, for the correction
	narrow                  bool                  // the reach must stay "these receivers"
}

// BeyondEntry is the second interval, for receivers other than those heard. It does not exist in an open trial, since it
// does not hold under repeated looks.
type BeyondEntry struct {
	IntervalDB *Range   `json:"interval_db"`
	P          *float64 `json:"p"`
	Regions    *float64 `json:"regions"`

	*BeyondPoints
}

// Naive is what a reading that ignores the design would say: SpotTP of a difference, UniformP of a directivity. Only the
// one of its kind stands there.
type Naive struct {
	SpotTP *float64 `json:"spot_t_p,omitempty"`
	// UniformP is of the arm that stands first in the experiment file, so exchanging the arms does not change it.
	UniformP   *float64 `json:"uniform_bearings_p,omitempty"`
	Misleading bool     `json:"misleading"`
}

// SessionEntry is the estimate of one session by itself.
type SessionEntry struct {
	Session    int      `json:"session"`
	Blocks     int      `json:"blocks"`
	EstimateDB *float64 `json:"estimate_db"`
	IntervalDB *Range   `json:"interval_db"`

	*SessionPoints
}

// Warning is a doubt that goes with a verdict.
type Warning struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Directivity is what a directivity claim adds.
type Directivity struct {
	PGate1      *float64          `json:"p_gate1"`
	PGate2      *float64          `json:"p_gate2"`
	Shape       string            `json:"shape"`
	Lobe        *LobeEntry        `json:"lobe"`
	FrontToBack *FrontToBackEntry `json:"front_to_back"`
	Sectors     []SectorEntry     `json:"sectors"`
}

// LobeEntry is the fitted lobe of A minus B.
type LobeEntry struct {
	Harmonic    int         `json:"harmonic"`
	AmplitudeDB *float64    `json:"amplitude_db"`
	AmplitudeIn *Range      `json:"amplitude_interval_db"`
	TowardDeg   *float64    `json:"toward_deg"`
	TowardIn    *[2]float64 `json:"toward_interval_deg"`
	// SwingHighDB is the greatest that any direction may differ from the all-round value: the upper end of the amplitude,
	// for the shape any the sum of both harmonics'. "Practically the same" rests on it.
	SwingHighDB *float64 `json:"swing_high_db"`
}

// FrontToBackEntry is the difference along an axis named beforehand.
type FrontToBackEntry struct {
	AxisDeg    float64  `json:"axis_deg"`
	EstimateDB *float64 `json:"estimate_db"`
	IntervalDB *Range   `json:"interval_db"`
}

// SectorEntry is A minus B at the stations of one sector.
type SectorEntry struct {
	FromDeg    float64  `json:"from_deg"`
	ToDeg      float64  `json:"to_deg"`
	EstimateDB *float64 `json:"estimate_db"`
	Stations   int      `json:"stations"`
}

// Match is what a match claim adds.
type Match struct {
	SWRAtMost float64      `json:"swr_at_most"`
	FromMHz   float64      `json:"from_mhz"`
	ToMHz     float64      `json:"to_mhz"`
	Sweeps    []SweepEntry `json:"sweeps"`
	// Repeatability has an entry for each arm with two sweeps or more.
	Repeatability []RepeatedSweeps `json:"repeatability"`
}

// SweepEntry is the worst reading of one sweep inside the limits.
type SweepEntry struct {
	Arm         string   `json:"arm"`
	Sweep       string   `json:"sweep"`
	Plane       string   `json:"plane"`
	Readings    int      `json:"readings"`
	HighestSWR  *float64 `json:"highest_swr"`
	SWRInterval *Range   `json:"highest_swr_interval"`
	// FrequencyMHz is that of the reading that decides: the highest SWR, unless that bounds nothing.
	FrequencyMHz *float64 `json:"at_mhz"`
	// Z0Ohm is what the SWR refers to.
	Z0Ohm float64 `json:"z0_ohm"`
	// FeedlineRemoved tells that the readings were made at the radio, and are calculated for the feedpoint.
	FeedlineRemoved bool `json:"feedline_removed"`
	// HighestSWRAtRadio stands beside a highest SWR at the feedpoint if the sweep has readings at the radio, too.
	HighestSWRAtRadio *float64 `json:"highest_swr_at_radio"`
}

// warn adds a warning once.
func (e *Entry) warn(code, text string) {
	if w := (Warning{code, text}); !slices.Contains(e.Warnings, w) {
		e.Warnings = append(e.Warnings, w)
	}
}

func (e *Entry) warned(code string) bool {
	return slices.ContainsFunc(e.Warnings, func(w Warning) bool { return w.Code == code })
}

// finish puts the warnings in a fixed order, whichever arm is named first.
func (e *Entry) finish() {
	slices.SortStableFunc(e.Warnings, func(a, b Warning) int {
		return cmp.Or(strings.Compare(a.Code, b.Code), strings.Compare(a.Text, b.Text))
	})
}

// conclude sets verdict, code and sentence.
func (e *Entry) conclude(verdict, code, reason string) {
	e.Verdict, e.ReasonCode, e.Reason = verdict, code, reason
}
