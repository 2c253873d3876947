package match

import "math"

// Interval holds the values from Lo to Hi, both included; Lo is not above Hi.
type Interval struct{ Lo, Hi float64 }

// Displayed gives the true values that a display may stand for if it isn't known whether it rounds or cuts
// off its digits: from half a unit of the last digit below to a whole unit above. decimals counts the digits
// after the point as displayed: 1.7 has one, 1.70 two. (Common practice, no source.)
func Displayed(value float64, decimals int) Interval {
	unit := math.Pow10(-decimals)
	return Interval{value - float64(unit/2), value + unit}
}

// Rounded gives the true values that a display stands for that is known to round: half a unit of the last
// digit to either side.
func Rounded(value float64, decimals int) Interval {
	half := float64(math.Pow10(-decimals) / 2)
	return Interval{value - half, value + half}
}

// SWRFromReturnLoss gives the SWRs that belong to return losses in dB. SWR falls as return loss grows; no
// return loss is taken below 0.
func SWRFromReturnLoss(db Interval) Interval {
	return Interval{ReturnLossDBToSWR(math.Max(0, db.Hi)), ReturnLossDBToSWR(math.Max(0, db.Lo))}
}

// ReturnLossFromSWR gives the return losses in dB that belong to SWRs. No SWR is taken below 1.
func ReturnLossFromSWR(swr Interval) Interval {
	return Interval{SWRToReturnLossDB(math.Max(1, swr.Hi)), SWRToReturnLossDB(math.Max(1, swr.Lo))}
}

// Intersect gives the values that lie in both intervals; false if there are none. Two displays of one
// quantity contradict each other if their intervals have nothing in common, never because their digits differ.
func Intersect(a, b Interval) (Interval, bool) {
	both := Interval{math.Max(a.Lo, b.Lo), math.Min(a.Hi, b.Hi)}
	if !(both.Lo <= both.Hi) {
		return Interval{}, false
	}
	return both, true
}
