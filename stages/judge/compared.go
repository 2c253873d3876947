package judge

// lookBeside fills in the figures beside a level.
func (c *court) lookBeside(e *Entry, band Band) error {
	c.correctPower(e)
	c.explainMatch(e, band)
	e.warnOfMatch()
	return c.designLevel(e)
}

// Beside are figures that stand beside the estimate and its interval. No verdict rests on them.
type Beside struct {
	// PowerCorrectedDB is the estimate less the difference of the logged powers, where these are over 0.3 dB apart.
	PowerCorrectedDB *float64 `json:"power_corrected_db"`
	PowerCorrectedIn *Range   `json:"power_corrected_interval_db"`
	// DesignIn is the interval for the design, where IntervalDB is for these erections; see repeat.go.
	DesignIn *Range `json:"design_interval_db"`
	// ExplainedDB is what mismatch and line loss explain of the difference; see match_losses.go.
	ExplainedDB *float64 `json:"explained_by_match_db"`
}
