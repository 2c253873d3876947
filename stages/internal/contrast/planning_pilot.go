package contrast

// Spread is what a former trial tells a planner about its noise.
type Spread struct {
	EstimateDB float64
	Kappa      float64 // attenuation by censoring, see Level
	SigmaDB    float64 // standard deviation of one block's difference, dB; NaN below two blocks
	Stations   int
	// G and W are, block by block, the weighted differences at the estimate and their weights.
	G, W []float64
}

// Spread gives the noise of the trial without tests and intervals; false where it has no estimate.
func (t *Trial) Spread() (Spread, bool) {
	c := t.newComparison()
	c.at(0)
	stations, _ := c.heard()
	if stations == 0 {
		return Spread{}, false
	}
	out := Spread{EstimateDB: root(c.sumG), Stations: stations}
	if !t.sized(out.EstimateDB) {
		return Spread{}, false
	}
	out.Kappa, out.SigmaDB = c.spread(out.EstimateDB)
	out.G, out.W = append([]float64{}, c.g...), append([]float64{}, c.w...)
	return out, true
}
