package report

import "fmt"

// entry is the part of a verdict that the text shows.
type entry struct {
	Claim, Kind, Band, Verdict, Reason string
	Arms                               []string
	Evidence, Reach, Direction         *string
	AddedAfterSeal                     bool         `json:"added_after_seal"`
	ReasonCode                         string       `json:"reason_code"`
	SmallestDB                         float64      `json:"smallest_difference_db"`
	EstimateDB                         *float64     `json:"estimate_db"`
	IntervalDB                         *[2]*float64 `json:"interval_db"`
	P                                  *float64
	PAdjusted                          *float64     `json:"p_adjusted"`
	FamilySize                         *int         `json:"family_size"`
	PRunning                           *float64     `json:"p_running"`
	RunningDB                          *[2]*float64 `json:"running_interval_db"`
	Beyond                             *struct {
		IntervalDB *[2]*float64 `json:"interval_db"`
		P, Regions *float64

		IntervalPoints *[2]*float64 `json:"interval_points"`
	}
	AllRound *float64 `json:"all_round_db"`
	Naive    *struct {
		SpotTP          *float64 `json:"spot_t_p"`
		UniformBearings *float64 `json:"uniform_bearings_p"`
	}
	PGate1 *float64 `json:"p_gate1"`
	PGate2 *float64 `json:"p_gate2"`
	Lobe   *struct {
		Harmonic    int          // 2: two-sided
		AmplitudeDB *float64     `json:"amplitude_db"`
		AmplitudeIn *[2]*float64 `json:"amplitude_interval_db"`
		TowardDeg   *float64     `json:"toward_deg"`
		TowardIn    *[2]float64  `json:"toward_interval_deg"`
		SwingHighDB *float64     `json:"swing_high_db"`
	}
	FrontToBack *struct {
		AxisDeg    float64      `json:"axis_deg"`
		EstimateDB *float64     `json:"estimate_db"`
		IntervalDB *[2]*float64 `json:"interval_db"`
	} `json:"front_to_back"`
	beside
	heardBy
	reciprocity
	Sectors       []sector
	SWRAtMost     float64 `json:"swr_at_most"`
	FromMHz       float64 `json:"from_mhz"`
	ToMHz         float64 `json:"to_mhz"`
	Sweeps        []sweepEntry
	Blocks        int
	BlocksNeeded  *int `json:"blocks_needed"`
	Regions       int
	BlocksPlanned int `json:"blocks_planned"`
	BlocksDropped int `json:"blocks_dropped"`
	Stations      int
	Receptions    int
	Sessions      []struct {
		Session    int
		Blocks     int
		EstimateDB *float64     `json:"estimate_db"`
		IntervalDB *[2]*float64 `json:"interval_db"`

		EstimatePoints *float64     `json:"estimate_points"`
		IntervalPoints *[2]*float64 `json:"interval_points"`
	}
	Warnings []warning
}

type sector struct {
	FromDeg    float64  `json:"from_deg"`
	ToDeg      float64  `json:"to_deg"`
	EstimateDB *float64 `json:"estimate_db"`
	Stations   int
}

// sweepEntry is the worst reading of one sweep.
type sweepEntry struct {
	Arm, Sweep, Plane string
	Readings          int
	HighestSWR        *float64 `json:"highest_swr"`
	FrequencyMHz      *float64 `json:"at_mhz"`
	Z0Ohm             float64  `json:"z0_ohm"`
	AtRadio           *float64 `json:"highest_swr_at_radio"`
}

// against says what the SWR refers to, where that is not the usual 50 ohm.
func (s sweepEntry) against() string {
	if s.Z0Ohm == 50 || s.Z0Ohm == 0 {
		return ""
	}
	return fmt.Sprintf(" (against %g ohm)", s.Z0Ohm)
}

// plainSize tells whether the plain estimate is to be shown. Of a lobe that is there the all-round value is: the plain one
// weighs the directions by where the stations are.
func (e *entry) plainSize() bool { return e.Kind != "directivity" || e.AllRound == nil }

type warning struct{ Code, Text string }

// direction tells who heard whom, "" where that has no meaning.
func (e *entry) direction() string {
	if e.Direction == nil {
		return ""
	}
	return *e.Direction
}
