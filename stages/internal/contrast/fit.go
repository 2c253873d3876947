package contrast

// Fit is one harmonic of the fitted dependence on azimuth as a vector, with its sampling covariance: what is needed to put
// several trials together. A lobe of amplitude A toward t has CosDB = A cos(harmonic t), SinDB = A sin(harmonic t), with t
// clockwise from north.
type Fit struct {
	Harmonic            int
	CosDB, SinDB        float64 // first arm minus second, dB
	VarCos, VarSin, Cov float64 // dB^2
}

const (
	pairColumns = 2 // of one harmonic
	// leastFitBlocks is the least number of blocks for which the covariance of a pair is known.
	leastFitBlocks = pairColumns + 3
	// slopeStepDB is how far from the fit the slope of the score is taken, to either side: as far as kappa's of a level, for
	// the score of reports in whole decibels is no smooth function.
	slopeStepDB = 1
)

// Fits gives the harmonics of the fit in rising order: one, or two for Any. There are none where nothing was fitted, or where
// the blocks are too few for a covariance. Nothing else is left out: a harmonic that is as good as nothing stands here too,
// or whoever puts trials together would pick the lucky ones.
//
// The covariance is the sandwich of the scores at the fit,
//
//	J^-1 (sum over blocks of psi(b) psi(b)') J^-1' * B/(B-4)
//
// with psi(b) the block's number g(b) and score U(b), and J minus the slope of their sums against d and beta, by differences
// of 1 dB. It is the covariance of the step J^-1 (sum over blocks of +-psi(b)) under independent flips of the blocks'
// signs (Hemerik, Goeman and Finos 2020, see the package), and that of White, A heteroskedasticity-consistent covariance
// matrix estimator and a direct test for heteroskedasticity, Econometrica 48, 1980, with blocks for observations. It takes
// no model of the scatter. J stands where White has the information, since a pair of reports that the cut has touched shows
// only part of a difference: with the information the ellipse held the truth in 84 % of censored trials of 24 blocks.
//
// The factor: over B blocks, whose mean the fit takes off, the sum scatters as a Wishart matrix of B-1 degrees of freedom,
// whose inverse is too great by B/(B-2-k) on average (Muirhead, Aspects of Multivariate Statistical Theory, 1982, section
// 3.2.3), k = 2 being the columns of a pair. With it the inverse, by which trials are weighted, is right on average, and so is
// the sum of squares that tells whether trials differ. The ellipse of chi-square then holds 93 to 94 % with 8 to 24
// blocks, that of Hotelling's T-square 95 % (TestFitCovariance).
//
// It speaks of the stations heard, in a trial of a fixed number of blocks: what other receivers would add is not in it.
func (d Directivity) Fits() []Fit { return d.fit.vectors }

// newFits takes a score that stands at the fit, and leaves it elsewhere.
func (s *score) newFits(shape Shape, d float64, beta []float64) []Fit {
	if s.trial.params.Blocks < leastFitBlocks {
		return nil
	}
	scatter := square(1 + len(beta))
	for b, u := range s.u {
		psi := append([]float64{s.g[b]}, u...)
		addOuter(scatter, 1, psi, psi)
	}
	inv, ok := inverse(s.slope(d, beta))
	if !ok {
		return nil
	}
	covariance := product(product(inv, scatter), transposed(inv))
	blocks := float64(s.trial.params.Blocks)
	factor := blocks / (blocks - 2 - pairColumns)
	var out []Fit
	for i, harmonic := range shape.harmonics() {
		cos := pairColumns * i
		at := 1 + cos
		out = append(out, Fit{
			Harmonic: harmonic, CosDB: beta[cos], SinDB: beta[cos+1],
			VarCos: factor * covariance[at][at], VarSin: factor * covariance[at+1][at+1], Cov: factor * covariance[at][at+1],
		})
	}
	return out
}

// slope is minus the slope of the sums of g and U against d and beta.
func (s *score) slope(d float64, beta []float64) [][]float64 {
	out := square(1 + len(beta))
	for k := range out {
		below, above := s.sumsAt(d, beta, k, -slopeStepDB), s.sumsAt(d, beta, k, slopeStepDB)
		for i := range out {
			out[i][k] = (below[i] - above[i]) / (2 * slopeStepDB)
		}
	}
	return out
}

// sumsAt gives the sums of g and U with one of d and beta, in this order, moved by so much.
func (s *score) sumsAt(d float64, beta []float64, k int, by float64) []float64 {
	moved := append([]float64{d}, beta...)
	moved[k] += by
	s.look(moved[0], moved[1:])
	return append([]float64{sum(s.g)}, s.sumU...)
}
