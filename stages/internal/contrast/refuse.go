package contrast

import (
	"fmt"
	"math"
)

// Refusal says why a question can't be answered from a trial. The zero value is no refusal.
type Refusal struct {
	Code string // stable, lower case
	Text string // plain words, no full stop
}

// Codes of refusals. They are stable.
const (
	TooFewBlocks   = "too_few_blocks"
	TooFewReports  = "too_few_reports"
	TooFewStations = "too_few_stations"
	NotSurrounded  = "not_surrounded"
	TooFewRegions  = "too_few_regions"
)

const (
	fewestStations    = 3
	fewestHeardWeight = 10
)

// FewestBlocks is the least number of blocks at which an exact test can reach level alpha among
// family questions: the smallest possible p is 2^(1-blocks), so 1 + log2(family/alpha).
func FewestBlocks(alpha float64, family int) int {
	return int(math.Ceil(1 + math.Log2(float64(max(1, family))/alpha)))
}

// Refusal gives the reason why the level may carry no p value, or no refusal; family is the number
// of declared questions. An estimate may still be shown after too few blocks.
func (l Level) Refusal(alpha float64, family int) Refusal {
	switch {
	case l.SumM < fewestHeardWeight:
		return Refusal{TooFewReports, fmt.Sprintf(
			"too few reports: the blocks hold %.4g comparisons of a station, the method needs %d", l.SumM, fewestHeardWeight)}
	case l.Stations < fewestStations:
		return Refusal{TooFewStations, fmt.Sprintf(
			"too few stations: %d heard above the cut, the method needs %d", l.Stations, fewestStations)}
	}
	return refuseBlocks(l.Blocks, alpha, family)
}

// refuseBlocks refuses if the smallest possible p can't pass among the family's questions.
func refuseBlocks(blocks int, alpha float64, family int) Refusal {
	if need := FewestBlocks(alpha, family); blocks < need {
		return Refusal{TooFewBlocks, fmt.Sprintf(
			"too few blocks: %d complete, %d are needed for an answer at %.3g %% (questions declared: %d)",
			blocks, need, 100*alpha, max(1, family))}
	}
	return Refusal{}
}
