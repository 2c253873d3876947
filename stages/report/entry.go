package report

// entry is the part of a verdict that the text shows.
type entry struct {
	Claim, Kind, Band, Verdict, Reason string
	Arms                               []string
	Evidence, Reach                    *string
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
		P          *float64
	}
	AllRound *float64 `json:"all_round_db"`
	Naive    *struct {
		SpotTP *float64 `json:"spot_t_p"`
	}
	PGate1 *float64 `json:"p_gate1"`
	PGate2 *float64 `json:"p_gate2"`
	Lobe   *struct {
		AmplitudeDB *float64     `json:"amplitude_db"`
		AmplitudeIn *[2]*float64 `json:"amplitude_interval_db"`
		TowardDeg   *float64     `json:"toward_deg"`
		TowardIn    *[2]float64  `json:"toward_interval_deg"`
	}
	FrontToBack *struct {
		AxisDeg    float64      `json:"axis_deg"`
		EstimateDB *float64     `json:"estimate_db"`
		IntervalDB *[2]*float64 `json:"interval_db"`
	} `json:"front_to_back"`
	Sectors []struct {
		FromDeg    float64  `json:"from_deg"`
		ToDeg      float64  `json:"to_deg"`
		EstimateDB *float64 `json:"estimate_db"`
		Stations   int
	}
	Sweeps []struct {
		Arm, Sweep   string
		Readings     int
		HighestSWR   *float64 `json:"highest_swr"`
		FrequencyMHz *float64 `json:"at_mhz"`
	}
	Blocks        int
	BlocksPlanned int `json:"blocks_planned"`
	BlocksDropped int `json:"blocks_dropped"`
	Stations      int
	Receptions    int
	Sessions      []struct {
		Session    int
		Blocks     int
		EstimateDB *float64 `json:"estimate_db"`
	}
	Warnings []struct{ Code, Text string }
}
