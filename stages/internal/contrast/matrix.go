package contrast

import "math"

// square makes a k by k matrix of zeros.
func square(k int) [][]float64 {
	m := make([][]float64, k)
	for i := range m {
		m[i] = make([]float64, k)
	}
	return m
}

func trace(m [][]float64) float64 {
	s := 0.0
	for i := range m {
		s += m[i][i]
	}
	return s
}

// addOuter adds scale * x y' to m.
func addOuter(m [][]float64, scale float64, x, y []float64) {
	for i := range x {
		for j := range y {
			m[i][j] += float64(scale * float64(x[i]*y[j]))
		}
	}
}

func times(m [][]float64, x []float64) []float64 {
	out := make([]float64, len(m))
	for i, row := range m {
		out[i] = dot(row, x)
	}
	return out
}

func dot(x, y []float64) float64 {
	s := 0.0
	for i := range x {
		s += float64(x[i] * y[i])
	}
	return s
}

func product(a, b [][]float64) [][]float64 {
	out := square(len(a))
	for i := range a {
		for j := range b {
			for k := range b {
				out[i][j] += float64(a[i][k] * b[k][j])
			}
		}
	}
	return out
}

func transposed(m [][]float64) [][]float64 {
	out := square(len(m))
	for i, row := range m {
		for j, x := range row {
			out[j][i] = x
		}
	}
	return out
}

// inverse inverts a positive definite matrix by Gauss-Jordan elimination; false if a pivot is not
// above 1e-12 of the greatest diagonal element.
func inverse(m [][]float64) ([][]float64, bool) {
	k := len(m)
	work, out := square(k), square(k)
	greatest := 0.0
	for i := range m {
		copy(work[i], m[i])
		out[i][i] = 1
		greatest = math.Max(greatest, m[i][i])
	}
	for p := range k {
		pivot := work[p][p]
		if !(pivot > 1e-12*greatest) {
			return nil, false
		}
		for j := range k {
			work[p][j] /= pivot
			out[p][j] /= pivot
		}
		for i := range k {
			factor := work[i][p]
			if i == p || factor == 0 {
				continue
			}
			for j := range k {
				work[i][j] -= float64(factor * work[p][j])
				out[i][j] -= float64(factor * out[p][j])
			}
		}
	}
	return out, true
}

// eigenvalues gives the least and the greatest eigenvalue of a symmetric matrix, by cyclic Jacobi
// rotations (Golub and Van Loan, Matrix Computations, section 8.5).
func eigenvalues(m [][]float64) (least, greatest float64) {
	k := len(m)
	a := square(k)
	for i := range m {
		copy(a[i], m[i])
	}
	for range 30 { // sweeps; convergence is quadratic and takes about six
		for p := range k {
			for q := p + 1; q < k; q++ {
				rotate(a, p, q)
			}
		}
	}
	least, greatest = a[0][0], a[0][0]
	for i := range a {
		least, greatest = math.Min(least, a[i][i]), math.Max(greatest, a[i][i])
	}
	return least, greatest
}

// rotate makes a[p][q] zero.
func rotate(a [][]float64, p, q int) {
	if a[p][q] == 0 {
		return
	}
	tau := (a[q][q] - a[p][p]) / (2 * a[p][q])
	t := math.Copysign(1, tau) / (math.Abs(tau) + math.Hypot(1, tau))
	c := 1 / math.Hypot(1, t)
	s := t * c
	for i := range a {
		x, y := a[i][p], a[i][q]
		a[i][p], a[i][q] = float64(c*x)-float64(s*y), float64(s*x)+float64(c*y)
	}
	for i := range a {
		x, y := a[p][i], a[q][i]
		a[p][i], a[q][i] = float64(c*x)-float64(s*y), float64(s*x)+float64(c*y)
	}
}

// explained is s' m^-1 s for a positive semidefinite m, over the directions that m has: pivots below
// 1e-10 of its greatest diagonal element are left out. It changes both arguments.
func explained(m [][]float64, s []float64) float64 {
	floor := 0.0
	for i := range m {
		floor = math.Max(floor, 1e-10*m[i][i])
	}
	done := make([]bool, len(s))
	total := 0.0
	for range s {
		p := -1
		for i := range s {
			if !done[i] && m[i][i] > floor && (p < 0 || m[i][i] > m[p][p]) {
				p = i
			}
		}
		if p < 0 {
			break
		}
		done[p] = true
		total += float64(s[p] / m[p][p] * s[p])
		for i := range s {
			if done[i] {
				continue
			}
			factor := m[i][p] / m[p][p]
			s[i] -= float64(factor * s[p])
			for j := range s {
				m[i][j] -= float64(factor * m[p][j])
			}
		}
	}
	return total
}
