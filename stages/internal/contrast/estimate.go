package contrast

import "math"

// Estimate is what Level gives as EstimateDB and SigmaDB, without the tests and intervals, which take nearly all of the
// time; ok is Level's Estimated.
func (t *Trial) Estimate() (estimateDB, sigmaDB float64, ok bool) {
	c := t.newComparison()
	c.at(0)
	if stations, _ := c.heard(); stations == 0 {
		return math.NaN(), math.NaN(), false
	}
	estimateDB = root(c.sumG)
	_, sigmaDB = c.spread(estimateDB)
	return estimateDB, sigmaDB, true
}
