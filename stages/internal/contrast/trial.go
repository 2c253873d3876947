package contrast

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fairlobe/stages/internal/signflip"
)

// Alpha is the level of every interval here (95 %), and of the single tests.
const Alpha = 0.05

const (
	clipDB      = 15  // greatest difference of one station in one block
	leastSpanDB = 12  // from the cut to the ceiling at least: at offsets that leave less there would be nothing to compare
	loneLimitDB = 6   // above it a difference with one silent arm is a "lone strong report"
	loneDB      = 1.2 // what is left of its difference
	loneWeight  = 0.1 // and of its weight
	// sharedParts is the ratio of a block's own variance to that shared by its stations: the
	// weight of a block with m heard stations is m/(m + sharedParts).
	sharedParts = 10
)

// Station is one receiver (or, in the other direction, one sender). Its number is its place in the
// slice given to New.
type Station struct {
	AzimuthRad float64 // seen from the trial's antenna, from north, clockwise
	HasAzimuth bool    // false: the station takes no part in Directivity
	// LogDistance is the natural logarithm of the distance, in any unit; it matters where HasAzimuth is set.
	LogDistance float64
	Region      int // label; stations of one region are not independent
}

// Report is one report of one station.
type Report struct {
	Block      int   // from 0, in the order in which the blocks were sent
	Station    int   // index into the stations
	First      bool  // true: arm A, the minuend; false: arm B
	Slot       int64 // the transmit slot, only to sort by
	DitheredDB float64
}

// Params are the settings of a trial.
type Params struct {
	Blocks int     // complete blocks, those without any report included
	CutDB  float64 // recensoring level c; whatever is above it is decoded
	// DecodedDB is the level at which about half of the transmissions are decoded: how far below the cut the tests of no
	// difference look. CutDB, or anything above it, is no further than the cut.
	DecodedDB float64
	// CeilingDB is the level up to which reports follow the signal; what is above it counts as that much. 0 dB is a level
	// too: without a ceiling it is +Inf. It is not used where it would leave less than a fifth of the weight.
	CeilingDB float64
	Seed      uint64 // of the sign vectors and of the permutations
	// When has the times of each block, in rising order; nil: they are not known, and drift is not looked at.
	When []Times
}

// cell holds the reports of one station in one block: values[first:second] are arm A's,
// values[second:end] arm B's.
type cell struct {
	block, station     int
	first, second, end int
}

// Trial is a comparison of two arms, ready to be evaluated. It is not changed by its methods, so
// several goroutines may use it.
type Trial struct {
	params   Params
	stations []Station
	cells    []cell // by block, then station
	values   []float64
	plan     *signflip.Plan
	lagging  float64 // share of the weight that the ceiling takes away
}

// New sorts and packs the reports. It gives an error if a report names a block or a station that is
// not there or has no finite value.
func New(stations []Station, reports []Report, params Params) (*Trial, error) {
	for i, r := range reports {
		switch {
		case r.Block < 0 || r.Block >= params.Blocks:
			return nil, fmt.Errorf("packing report %d: block %d of %d", i, r.Block, params.Blocks)
		case r.Station < 0 || r.Station >= len(stations):
			return nil, fmt.Errorf("packing report %d: station %d of %d", i, r.Station, len(stations))
		case math.IsNaN(r.DitheredDB) || math.IsInf(r.DitheredDB, 0):
			return nil, fmt.Errorf("packing report %d: %v dB is no level", i, r.DitheredDB)
		}
	}
	if params.When != nil && len(params.When) != params.Blocks {
		return nil, fmt.Errorf("packing reports: times of %d blocks for %d", len(params.When), params.Blocks)
	}
	sorted := slices.Clone(reports)
	slices.SortFunc(sorted, compareReports)
	t := &Trial{params: params, stations: stations, plan: signflip.NewPlan(params.Blocks, params.Seed)}
	t.pack(sorted)
	t.lift()
	return t, nil
}

// leastBelowCeiling is the share of the weight that a ceiling must leave.
const leastBelowCeiling = 0.2

// lift takes the ceiling away where too little would be left below it. What it looks at is the same whichever arm was on
// the air in which dwell, so the tests stay exact.
func (t *Trial) lift() {
	if math.IsInf(t.params.CeilingDB, 1) {
		return
	}
	below := t.weight()
	ceiling := t.params.CeilingDB
	t.params.CeilingDB = math.Inf(1)
	whole := t.weight()
	if below < leastBelowCeiling*whole {
		return
	}
	t.params.CeilingDB = ceiling
	if whole > 0 {
		t.lagging = 1 - below/whole
	}
}

// weight is the sum of all weights at no difference.
func (t *Trial) weight() float64 {
	c := t.newComparison()
	c.at(0)
	return sum(c.m)
}

// compareReports orders by block, station, arm (A first), slot and value; what is equal in all of
// them is interchangeable.
func compareReports(a, b Report) int {
	arm := func(r Report) int {
		if r.First {
			return 0
		}
		return 1
	}
	return cmp.Or(
		cmp.Compare(a.Block, b.Block),
		cmp.Compare(a.Station, b.Station),
		cmp.Compare(arm(a), arm(b)),
		cmp.Compare(a.Slot, b.Slot),
		cmp.Compare(a.DitheredDB, b.DitheredDB),
	)
}

func (t *Trial) pack(sorted []Report) {
	t.values = make([]float64, len(sorted))
	for i, r := range sorted {
		t.values[i] = r.DitheredDB
		last := len(t.cells) - 1
		if last < 0 || t.cells[last].block != r.Block || t.cells[last].station != r.Station {
			t.cells = append(t.cells, cell{block: r.Block, station: r.Station, first: i, second: i})
			last++
		}
		c := &t.cells[last]
		c.end = i + 1
		if r.First {
			c.second = i + 1
		}
	}
}

// restrict is the trial of the stations that keep accepts, with their numbers unchanged.
func (t *Trial) restrict(keep func(Station) bool) *Trial {
	part := *t
	part.cells = nil
	for _, c := range t.cells {
		if keep(t.stations[c.station]) {
			part.cells = append(part.cells, c)
		}
	}
	return &part
}

// receptions is the number of reports of the trial.
func (t *Trial) receptions() int {
	n := 0
	for _, c := range t.cells {
		n += c.end - c.first
	}
	return n
}
