package contrast

import "math"

// Level is the overall difference A-B. Slices have one number for each block unless said otherwise.
type Level struct {
	// Estimated is false if no station was heard above the cut at no difference: then only the
	// counts mean anything.
	Estimated  bool
	EstimateDB float64 // d-hat: the difference at which the blocks balance
	// Sized is false if EstimateDB has a sign and no size: one arm was nowhere heard above the cut, so d-hat is where the
	// other one falls silent, too; or the blocks balance at no difference within 30 dB.
	Sized    bool
	Interval Interval
	P        float64 // exact two-sided p of no difference, before any adjustment

	// At no difference, as its test sees it: heard weight, mean difference, block weight and g = w * mean.
	M, MeanDB, W, G []float64

	Blocks     int
	Stations   int     // stations heard above the cut at no difference
	Sectors    int     // 45-degree sectors that hold such a station
	Receptions int     // all reports of the trial
	SumM       float64 // sum of M

	Beyond  Beyond
	Running Running

	Kappa   float64 // share of a difference that censoring lets through, at least 0.05; NaN if not estimated
	SigmaDB float64 // sigma_D: standard deviation of one block's difference, dB; NaN below two blocks
}

// Level computes the overall difference.
func (t *Trial) Level() Level {
	c := t.newComparison()
	c.at(0)
	l := Level{
		Blocks: t.params.Blocks, Receptions: t.receptions(), SumM: sum(c.m), SigmaDB: math.NaN(),
		Interval: unbounded(), Beyond: nothingBeyond(), Kappa: math.NaN(),
	}
	l.Stations, l.Sectors = c.heard()
	past := t.newPastComparison()
	l.test(c, past)
	if l.Stations == 0 {
		return l
	}
	l.Estimated = true
	l.EstimateDB = root(c.sumG)
	if c.contradicts(l.EstimateDB) {
		c.everGuarded, past.everGuarded = true, true
		l.test(c, past)
	}
	l.Sized = t.sized(l.EstimateDB)
	l.Interval = invert(c.p, l.EstimateDB)
	l.Running.Interval = invert(past.anytimeP, l.EstimateDB)
	if !l.Sized {
		l.Beyond = c.sharesOnly()
		return l
	}
	l.Beyond = c.beyond(l.EstimateDB)
	l.Kappa, l.SigmaDB = c.spread(l.EstimateDB)
	return l
}

// test sets what the tests of no difference give, no p less than it is.
func (l *Level) test(c, past *comparison) {
	l.P = math.Max(l.P, c.p(0))
	l.M, l.MeanDB, l.W, l.G = clone(c.m), clone(c.dbar), clone(c.w), clone(c.g)
	running := past.running()
	running.P = math.Max(running.P, l.Running.P)
	l.Running = running
}

// contradicts tells whether the test of no difference, which looks beyond the guards, finds the other arm the stronger than the
// estimate does, or would rule the estimate out. Then it must not stand alone: of two tests, both exact, the greater p is one.
func (c *comparison) contradicts(estimateDB float64) bool {
	c.test(0)
	return sum(c.g)*estimateDB < 0 || c.p(estimateDB) <= Alpha
}

// PAt is the exact two-sided p of the difference offsetDB at every station.
func (t *Trial) PAt(offsetDB float64) float64 {
	return t.newComparison().p(offsetDB)
}

// p is the sign-flip p at one offset.
func (c *comparison) p(offsetDB float64) float64 {
	c.test(offsetDB)
	return c.trial.plan.Abs(c.g)
}

// heard counts the stations with weight at the present offsets, and the 45-degree sectors they lie in.
func (c *comparison) heard() (stations, sectors int) {
	seen := make([]bool, len(c.offset))
	var inSector [sectorCount]bool
	for i, cell := range c.trial.cells {
		if c.a[i] == 0 || seen[cell.station] {
			continue
		}
		seen[cell.station] = true
		stations++
		if s := c.trial.stations[cell.station]; s.HasAzimuth {
			inSector[sectorOf(s.AzimuthRad)] = true
		}
	}
	for _, in := range inSector {
		if in {
			sectors++
		}
	}
	return stations, sectors
}

// Negated is the level with the arms exchanged: the difference B-A.
func (l Level) Negated() Level {
	l.EstimateDB = -l.EstimateDB
	l.Interval = l.Interval.negated()
	l.MeanDB, l.G = negated(l.MeanDB), negated(l.G)
	l.Beyond.Interval = l.Beyond.Interval.negated()
	l.Running.Interval = l.Running.Interval.negated()
	return l
}

func clone(x []float64) []float64 { return append([]float64(nil), x...) }

func negated(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = 0 - v // 0 stays 0, not -0
	}
	return out
}
