package contrast

import "math"

// Estimate is what Level gives as EstimateDB and SigmaDB, without the tests and intervals, which take nearly all of the
// time; ok is Level's Sized.
func (t *Trial) Estimate() (estimateDB, sigmaDB float64, ok bool) {
	c := t.newComparison()
	c.at(0)
	if stations, _ := c.heard(); stations == 0 {
		return math.NaN(), math.NaN(), false
	}
	estimateDB = root(c.sumG)
	if !t.sized(estimateDB) {
		return math.NaN(), math.NaN(), false
	}
	_, sigmaDB = c.spread(estimateDB)
	return estimateDB, sigmaDB, true
}

// sized tells whether a root has a size: it is not the end of the search, and each arm was heard above the cut by some
// station.
func (t *Trial) sized(rootDB float64) bool {
	var first, second bool
	for _, c := range t.cells {
		_, a := keptMean(t.values[c.first:c.second], 0, t.params.CutDB, math.Inf(1))
		_, b := keptMean(t.values[c.second:c.end], 0, t.params.CutDB, math.Inf(1))
		first, second = first || a != silent, second || b != silent
	}
	return first && second && math.Abs(rootDB) < rootLimitDB-rootEdgeDB
}
