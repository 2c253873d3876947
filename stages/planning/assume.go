package planning

import "fmt"

// Assumed is a standard deviation of one block, with where it comes from. Low and High are what it may well be, for a
// value that nobody measured; both are 0 for a measured one.
type Assumed struct {
	Value, Low, High float64
	Unit             string // "dB" or "points"
	From             string
	Measured         bool
}

// The values for a trial without a former run: what simulated trials show in a quiet band with 50 receivers or more, as a
// rule, and with few receivers, receivers that report rarely, or a band that opens and turns.
const (
	quietDB = 0.7
	usualDB = 1.5
	hardDB  = 2.5
	// allRound and oneSided lead from the difference to the lobe: receivers all round, and few or one-sided ones.
	allRound = 1.3
	oneSided = 2.0
)

// assumedDB is the standard deviation for so many stations.
func assumedDB(stations int) Assumed {
	a := Assumed{Value: usualDB, Low: quietDB, High: hardDB, Unit: "dB", From: "assumed: the usual case"}
	if stations < manyStations {
		a.Value, a.From = hardDB, fmt.Sprintf("assumed: fewer than %d stations", manyStations)
	}
	return a
}

// lobe is the standard deviation of a block's lobe where that of its difference is known.
func (a Assumed) lobe(stations int) Assumed {
	factor := allRound
	if stations < manyStations {
		factor = oneSided
	}
	return Assumed{Value: float64(a.Value * factor), Low: float64(a.Low * factor), High: float64(a.High * factor), Unit: a.Unit,
		From: fmt.Sprintf("%s, times %g for a lobe", a.From, factor)}
}

// assumedPoints is that of the share of listeners that hear: 30 listeners, of whom 3 in 10 hear one arm only in a block,
// give 100 sqrt(0.3/30) points. An assumption without a source; the range is for 100 and for 12 listeners.
func assumedPoints() Assumed {
	return Assumed{Value: 10, Low: 5.5, High: 16, Unit: "points", From: "assumed: 30 listeners, 3 in 10 hear one arm only"}
}
