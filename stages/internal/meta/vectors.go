package meta

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Vector is what one study found of two components, with their sampling covariance.
type Vector struct {
	X, Y              float64
	VarX, VarY, CovXY float64
}

// Symmetric is a symmetric matrix of two rows.
type Symmetric struct{ XX, YY, XY float64 }

// VectorModel is a fitted model of two components, with one between-study variance Tau2 of either component in every
// direction, found by REML.
type VectorModel struct {
	K    int
	X, Y float64
	Tau2 float64
	// Cov is the covariance of X and Y with the factor below in it.
	Cov Symmetric
	// Factor is the scaled sum of squares about the mean, Q(tau2)/(2(k-1)), as in Knapp and Hartung, but never below 1.
	Factor float64
	// Shares are the studies' weights by the traces of their inverse covariances, summing to 1: for pictures.
	Shares []float64
	// Q is Cochran's with QDF = 2(k-1) degrees of freedom.
	Q   float64
	QDF int
	QP  float64
}

// Vectors fits the model. It gives an error if there are fewer than two vectors, or if one is not finite or absurdly great, or has no
// positive definite covariance.
//
// Sources: Jackson, Riley and White, Multivariate meta-analysis: potential and promise, Statistics in Medicine 30, 2481-2498, 2011,
// section 2 (model, restricted likelihood); the factor by analogy with Knapp and Hartung 2003 and Roever, Knapp and Friede 2015.
func Vectors(studies []Vector) (VectorModel, error) {
	if len(studies) < 2 {
		return VectorModel{}, fmt.Errorf("meta: %d vectors, two are needed", len(studies))
	}
	least, greatest := math.Inf(1), 0.0
	for i, s := range studies {
		if !Usable(s) {
			return VectorModel{}, fmt.Errorf("meta: vector %d is not usable", i+1)
		}
		low, high := s.covariance().eigenvalues()
		least, greatest = math.Min(least, low), math.Max(greatest, high)
	}
	all := vectors(studies)
	df := float64(2 * (len(studies) - 1))
	m := VectorModel{K: len(studies), QDF: 2 * (len(studies) - 1)}
	m.Tau2 = maximise(all, all.spread(), df, least, greatest)
	m.Q = all.at(0).rest
	m.QP = distuv.ChiSquared{K: df}.Survival(m.Q)
	at := all.at(m.Tau2)
	m.X, m.Y = at.x, at.y
	m.Factor = math.Max(1, at.rest/df)
	v := at.sum.inverse()
	m.Cov = Symmetric{float64(v.XX * m.Factor), float64(v.YY * m.Factor), float64(v.XY * m.Factor)}
	whole := at.sum.trace()
	for _, s := range studies {
		m.Shares = append(m.Shares, s.weight(m.Tau2).trace()/whole)
	}
	return m, nil
}

// Usable tells whether a vector can be pooled: finite, not absurdly great, its covariance positive definite and not flat.
func Usable(s Vector) bool {
	low, high := s.covariance().eigenvalues()
	return math.Abs(s.X) <= greatestEffect && math.Abs(s.Y) <= greatestEffect && low >= leastVariance && low > float64(high*1e-9) && high <= greatestEffect
}

// F is the statistic of "both components are 0", with 2 and 2(k-1) degrees of freedom, and its p value.
func (m VectorModel) F() (f, p float64) {
	f = m.Cov.inverse().form(m.X, m.Y) / 2
	return f, distuv.F{D1: 2, D2: float64(m.QDF)}.Survival(f)
}

// Polar is a vector by its length and direction, with the 95 % region of both components projected onto each: so the two intervals
// hold together.
type Polar struct {
	Length, LengthLow, LengthHigh float64 // LengthLow is 0 if the region holds the origin
	// Angle is in radians, from X towards Y, in -pi..pi, and the interval runs upwards from AngleLow to AngleHigh around it. Directed is
	// false if the region holds the origin: then any direction is possible, and the ends mean nothing.
	Angle, AngleLow, AngleHigh float64
	Directed                   bool
}

// Polar gives length and direction with their intervals.
func (m VectorModel) Polar() Polar {
	return project(m.X, m.Y, m.Cov, 2*distuv.F{D1: 2, D2: float64(m.QDF)}.Quantile(level))
}

// Project gives length and direction of one vector with known covariance, whose region is that of a chi-square with two degrees of
// freedom.
func Project(s Vector) Polar {
	return project(s.X, s.Y, s.covariance(), distuv.ChiSquared{K: 2}.Quantile(level))
}

// project projects the ellipse of all m with (m-mean)' cov^-1 (m-mean) <= size.
func project(x, y float64, cov Symmetric, size float64) Polar {
	r := Polar{Length: math.Hypot(x, y), Angle: math.Atan2(y, x)}
	r.Directed = cov.inverse().form(x, y) > size
	r.LengthLow, r.LengthHigh = distances(x, y, cov, size)
	if !r.Directed {
		r.LengthLow = 0
		return r
	}
	// Turned so that the vector lies along the first axis. The line at angle psi touches the ellipse where
	// |m|^2 sin^2 = size (V11 sin^2 - 2 V12 sin cos + V22 cos^2); in 2 psi that is a cosine.
	c, s := x/r.Length, y/r.Length
	v11 := float64(float64(c*c)*cov.XX) + float64(float64(2*c*s)*cov.XY) + float64(float64(s*s)*cov.YY)
	v22 := float64(float64(s*s)*cov.XX) - float64(float64(2*c*s)*cov.XY) + float64(float64(c*c)*cov.YY)
	v12 := float64(float64(c*s)*(cov.YY-cov.XX)) + float64((float64(c*c)-float64(s*s))*cov.XY)
	a, b, d := float64(r.Length*r.Length)-float64(size*v11), float64(size*v12), float64(size*v22)
	turn := math.Atan2(b, (a+d)/2)
	open := math.Acos(math.Max(-1, math.Min(1, (a-d)/(2*math.Hypot((a+d)/2, b)))))
	r.AngleLow, r.AngleHigh = r.Angle-(open+turn)/2, r.Angle+(open-turn)/2
	return r
}

// distances gives the least and the greatest distance of the ellipse's edge from the origin.
func distances(x, y float64, cov Symmetric, size float64) (least, greatest float64) {
	// A root L of the covariance, L L' = size cov, carries the unit circle onto the ellipse.
	l11 := math.Sqrt(float64(size * cov.XX))
	l21 := float64(size*cov.XY) / l11
	l22 := math.Sqrt(math.Max(0, float64(size*cov.YY)-float64(l21*l21)))
	at := func(angle float64) float64 {
		s, c := math.Sincos(angle)
		return math.Hypot(x+float64(l11*c), y+float64(l21*c)+float64(l22*s))
	}
	const steps = 720
	step := 2 * math.Pi / steps
	lowest, highest := 0.0, 0.0
	for i := range steps {
		angle := float64(float64(i) * step)
		if at(angle) < at(lowest) {
			lowest = angle
		}
		if at(angle) > at(highest) {
			highest = angle
		}
	}
	greatest = -lowestNear(func(angle float64) float64 { return -at(angle) }, highest, step)
	return lowestNear(at, lowest, step), greatest
}

// lowestNear is the least value of f between the neighbours of a point of a grid, by cutting the range in three.
func lowestNear(f func(float64) float64, middle, step float64) float64 {
	from, to := middle-step, middle+step
	for range 100 {
		a, b := from+(to-from)/3, to-(to-from)/3
		if f(a) < f(b) {
			to = b
		} else {
			from = a
		}
	}
	return f((from + to) / 2)
}

// vectors are studies of two components.
type vectors []Vector

type vectorSums struct {
	sum, squares Symmetric // sums of W and of W W
	x, y         float64
	rest, rest2  float64 // sums of r'W r and r'W W r, r off the mean
}

// Turned is the vector turned by an angle in radians, from X towards Y.
func (s Vector) Turned(angle float64) Vector {
	sin, cos := math.Sincos(angle)
	ss, cc, sc := float64(sin*sin), float64(cos*cos), float64(sin*cos)
	return Vector{
		X: float64(cos*s.X) - float64(sin*s.Y), Y: float64(sin*s.X) + float64(cos*s.Y),
		VarX:  float64(cc*s.VarX) - 2*float64(sc*s.CovXY) + float64(ss*s.VarY),
		VarY:  float64(ss*s.VarX) + 2*float64(sc*s.CovXY) + float64(cc*s.VarY),
		CovXY: float64(sc*(s.VarX-s.VarY)) + float64((cc-ss)*s.CovXY),
	}
}

func (s Vector) covariance() Symmetric { return Symmetric{s.VarX, s.VarY, s.CovXY} }

func (s Vector) weight(tau2 float64) Symmetric {
	return Symmetric{s.VarX + tau2, s.VarY + tau2, s.CovXY}.inverse()
}

func (all vectors) at(tau2 float64) vectorSums {
	var r vectorSums
	var wx, wy float64
	for _, s := range all {
		w := s.weight(tau2)
		r.sum, r.squares = r.sum.plus(w), r.squares.plus(w.square())
		x, y := w.times(s.X, s.Y)
		wx, wy = wx+x, wy+y
	}
	r.x, r.y = r.sum.inverse().times(wx, wy)
	for _, s := range all {
		dx, dy := s.X-r.x, s.Y-r.y
		x, y := s.weight(tau2).times(dx, dy)
		r.rest += float64(x*dx) + float64(y*dy)
		r.rest2 += float64(x*x) + float64(y*y)
	}
	return r
}

func (all vectors) score(tau2 float64) float64 {
	at := all.at(tau2)
	v, q := at.sum.inverse(), at.squares
	projected := float64(v.XX*q.XX) + float64(v.YY*q.YY) + 2*float64(v.XY*q.XY) // trace of the product
	return at.rest2 - (at.sum.trace() - projected)
}

func (all vectors) logLik(tau2 float64) float64 {
	at := all.at(tau2)
	sum := math.Log(at.sum.determinant()) + at.rest
	for _, s := range all {
		sum -= math.Log(s.weight(tau2).determinant())
	}
	return -sum / 2
}

func (all vectors) spread() float64 {
	var x, y, sum float64
	for _, s := range all {
		x, y = x+s.X/float64(len(all)), y+s.Y/float64(len(all))
	}
	for _, s := range all {
		sum += float64((s.X-x)*(s.X-x)) + float64((s.Y-y)*(s.Y-y))
	}
	return sum
}

func (m Symmetric) trace() float64       { return m.XX + m.YY }
func (m Symmetric) determinant() float64 { return float64(m.XX*m.YY) - float64(m.XY*m.XY) }

func (m Symmetric) plus(n Symmetric) Symmetric {
	return Symmetric{m.XX + n.XX, m.YY + n.YY, m.XY + n.XY}
}

func (m Symmetric) inverse() Symmetric {
	d := m.determinant()
	return Symmetric{m.YY / d, m.XX / d, -m.XY / d}
}

func (m Symmetric) square() Symmetric {
	xy := float64(m.XY * m.XY)
	return Symmetric{float64(m.XX*m.XX) + xy, float64(m.YY*m.YY) + xy, float64(m.XY * m.trace())}
}

func (m Symmetric) times(x, y float64) (float64, float64) {
	return float64(m.XX*x) + float64(m.XY*y), float64(m.XY*x) + float64(m.YY*y)
}

func (m Symmetric) form(x, y float64) float64 {
	mx, my := m.times(x, y)
	return float64(mx*x) + float64(my*y)
}

// eigenvalues gives the lesser and the greater one; NaN where an entry is.
func (m Symmetric) eigenvalues() (low, high float64) {
	middle, off := m.trace()/2, math.Hypot((m.XX-m.YY)/2, m.XY)
	return middle - off, middle + off
}
