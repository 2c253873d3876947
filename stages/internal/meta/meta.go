package meta

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Study is what one study found. Variance is the sampling variance of Effect, in the square of its unit.
type Study struct{ Effect, Variance float64 }

// Method is how tau^2 is found.
type Method int

// EqualEffects takes tau^2 as 0.
const (
	EqualEffects Method = iota
	DerSimonianLaird
	REML
)

// Test is how the mean is tested, and what its interval rests on.
type Test int

// Guarded is KnappHartung with a factor never below 1.
const (
	Wald Test = iota
	KnappHartung
	Guarded
)

// level is that of every interval: 95 %.
const level = 0.95

// Limits of what is taken in: far beyond any decibel, and far from where squares of squares overflow.
const (
	greatestEffect = 1e30
	leastVariance  = 1e-30
)

// Model is a fitted model of k studies.
type Model struct {
	K        int
	Estimate float64
	Tau2     float64
	// Weights are the studies' shares in the estimate, in their order; they sum to 1.
	Weights []float64
	// Q is Cochran's, chi-square with QDF degrees of freedom if tau^2 is 0, and QP its p value; 1 for one study.
	Q   float64
	QDF int
	QP  float64
	// I2 is the share of the scatter that is not sampling, 0 to 1, and H2 the ratio of the whole to the sampling one; for REML by
	// tau^2 and the typical sampling variance (Higgins and Thompson 2002, equation 9), for EqualEffects by Q. NaN for one study.
	I2, H2 float64

	sumW  float64 // inverse variance of the estimate
	scale float64 // s of Knapp and Hartung; NaN for one study
}

// Fit fits the model. It gives an error if there is no study, or if a number is not finite, absurdly great, or no variance.
func Fit(studies []Study, method Method) (Model, error) {
	if err := check(studies); err != nil {
		return Model{}, err
	}
	return fit(studies, method), nil
}

func check(studies []Study) error {
	if len(studies) == 0 {
		return fmt.Errorf("meta: no study")
	}
	for i, s := range studies {
		if !(math.Abs(s.Effect) <= greatestEffect) {
			return fmt.Errorf("meta: effect %g of study %d is not usable", s.Effect, i+1)
		}
		if !(s.Variance >= leastVariance && s.Variance <= greatestEffect) {
			return fmt.Errorf("meta: variance %g of study %d is not usable", s.Variance, i+1)
		}
	}
	return nil
}

func fit(studies []Study, method Method) Model {
	k := len(studies)
	m := Model{K: k, QDF: k - 1, QP: 1, I2: math.NaN(), H2: math.NaN(), scale: math.NaN()}
	one := scalars(studies)
	m.Q = one.at(0).rest
	if k > 1 {
		m.QP = distuv.ChiSquared{K: float64(k - 1)}.Survival(m.Q)
		m.Tau2 = one.tau2(method, m.Q)
	}
	fitted := one.at(m.Tau2)
	m.Estimate, m.sumW = fitted.mean, fitted.w1
	for _, s := range studies {
		m.Weights = append(m.Weights, 1/(s.Variance+m.Tau2)/fitted.w1)
	}
	if k > 1 {
		m.scale = fitted.rest / float64(k-1)
		if method == EqualEffects {
			m.H2 = m.Q / float64(k-1)
			m.I2 = math.Max(0, 1-1/m.H2)
		} else {
			typical := one.typical()
			m.H2 = 1 + m.Tau2/typical
			m.I2 = m.Tau2 / (m.Tau2 + typical)
		}
	}
	return m
}

// Inference is what is said of the mean. DF is 0 for the normal distribution. A number that k does not allow is NaN, and the
// interval then has infinite ends.
type Inference struct {
	SE        float64
	Statistic float64
	DF        int
	P         float64 // two-sided, of a mean of 0
	Low, High float64 // 95 %
	// PredictionLow and PredictionHigh hold the true value of a further study with 95 %: the critical value of the interval, with
	// the variance SE^2 + tau^2. (Higgins, Thompson and Spiegelhalter 2009 use k-2 degrees of freedom, which are not used here.)
	PredictionLow, PredictionHigh float64
}

// Infer gives the inference of a test. One study has no degrees of freedom for the two of Knapp and Hartung.
func (m Model) Infer(test Test) Inference {
	if test != Wald && m.K < 2 {
		nan, inf := math.NaN(), math.Inf(1)
		return Inference{SE: nan, Statistic: nan, P: nan, Low: -inf, High: inf, PredictionLow: -inf, PredictionHigh: inf}
	}
	r := Inference{SE: math.Sqrt(1 / m.sumW)}
	critical := distuv.UnitNormal.Quantile((1 + level) / 2)
	tail := distuv.UnitNormal.CDF
	if test != Wald {
		factor := m.scale
		if test == Guarded {
			factor = math.Max(1, factor)
		}
		r.SE = math.Sqrt(factor / m.sumW)
		r.DF = m.K - 1
		t := distuv.StudentsT{Sigma: 1, Nu: float64(r.DF)}
		critical, tail = t.Quantile((1+level)/2), t.CDF
	}
	r.Statistic = m.Estimate / r.SE // +-Inf where all studies agree to the last bit
	if m.Estimate == 0 {
		r.Statistic = 0
	}
	r.P = 2 * tail(-math.Abs(r.Statistic))
	half := float64(critical * r.SE)
	r.Low, r.High = m.Estimate-half, m.Estimate+half
	half = float64(critical * math.Sqrt(float64(r.SE*r.SE)+m.Tau2))
	r.PredictionLow, r.PredictionHigh = m.Estimate-half, m.Estimate+half
	return r
}

// QProfile gives the 95 % interval of tau^2: all values at which the generalised Q lies between the quantiles of its
// chi-square distribution with k-1 degrees of freedom (Viechtbauer 2007, section 3.1). Both ends are 0 where the studies agree more closely
// than sampling explains. For one study the interval is 0 to +Inf. The errors are those of Fit.
func QProfile(studies []Study) (low, high float64, err error) {
	if err := check(studies); err != nil {
		return 0, 0, err
	}
	if len(studies) == 1 {
		return 0, math.Inf(1), nil
	}
	one := scalars(studies)
	chi := distuv.ChiSquared{K: float64(len(studies) - 1)}
	end := func(q float64) float64 {
		excess := func(tau2 float64) float64 { return one.at(tau2).rest - q }
		if !(excess(0) > 0) {
			return 0
		}
		return crossing(excess, 0, one.spread()/q) // Q <= spread/tau2
	}
	return end(chi.Quantile((1 + level) / 2)), end(chi.Quantile((1 - level) / 2)), nil
}

// scalars are studies of one component.
type scalars []Study

// sums are what all else is made of, at one tau^2.
type sums struct {
	w1, w2 float64 // sums of w and of w^2
	mean   float64
	rest   float64 // sum of w (y - mean)^2
	rest2  float64 // sum of w^2 (y - mean)^2
}

func (s scalars) at(tau2 float64) sums {
	var r sums
	var wy float64
	for _, one := range s {
		w := 1 / (one.Variance + tau2)
		r.w1 += w
		r.w2 += float64(w * w)
		wy += float64(w * one.Effect)
	}
	r.mean = wy / r.w1
	for _, one := range s {
		w := 1 / (one.Variance + tau2)
		off := float64(w * (one.Effect - r.mean))
		r.rest += float64(off * (one.Effect - r.mean))
		r.rest2 += float64(off * off)
	}
	return r
}

func (s scalars) tau2(method Method, q float64) float64 {
	switch method {
	case DerSimonianLaird:
		at := s.at(0)
		return math.Max(0, (q-float64(len(s)-1))/(at.w1-at.w2/at.w1))
	case REML:
		least, greatest := math.Inf(1), 0.0
		for _, one := range s {
			least, greatest = math.Min(least, one.Variance), math.Max(greatest, one.Variance)
		}
		return maximise(s, s.spread(), float64(len(s)-1), least, greatest)
	}
	return 0
}

// typical is the typical sampling variance (Higgins and Thompson 2002, equation 9).
func (s scalars) typical() float64 {
	at := s.at(0)
	return float64(float64(len(s)-1)*at.w1) / (float64(at.w1*at.w1) - at.w2)
}

// spread is the sum of squared distances from the plain mean.
func (s scalars) spread() float64 {
	mean, sum := 0.0, 0.0
	for _, one := range s {
		mean += one.Effect / float64(len(s))
	}
	for _, one := range s {
		sum += float64((one.Effect - mean) * (one.Effect - mean))
	}
	return sum
}

func (s scalars) score(tau2 float64) float64 {
	at := s.at(tau2)
	return at.rest2 - (at.w1 - at.w2/at.w1)
}

func (s scalars) logLik(tau2 float64) float64 {
	at := s.at(tau2)
	sum := math.Log(at.w1) + at.rest
	for _, one := range s {
		sum += math.Log(one.Variance + tau2)
	}
	return -sum / 2
}
