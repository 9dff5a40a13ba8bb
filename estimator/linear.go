package estimator

import "math"

// square is a small symmetric matrix with its Cholesky factor computed in place, lower triangle.
type square [dims][dims]float64

// cholesky turns a positive definite matrix into its lower factor; ok is false when it is not one.
func (a *square) cholesky() (ok bool) {
	for j := range dims {
		s := a[j][j]
		for k := range j {
			s -= a[j][k] * a[j][k]
		}
		if !(s > 1e-14) {
			return false
		}
		a[j][j] = math.Sqrt(s)
		for i := j + 1; i < dims; i++ {
			s := a[i][j]
			for k := range j {
				s -= a[i][k] * a[j][k]
			}
			a[i][j] = s / a[j][j]
		}
		for i := range j {
			a[i][j] = 0
		}
	}
	return true
}

// times is L·u for a lower factor.
func (a *square) times(u *vector) (z vector) {
	for i := range dims {
		for k := range i + 1 {
			z[i] += a[i][k] * u[k]
		}
	}
	return z
}

// solve gives x with L·Lᵀ·x = b.
func (a *square) solve(b vector) vector {
	for i := range dims {
		for k := range i {
			b[i] -= a[i][k] * b[k]
		}
		b[i] /= a[i][i]
	}
	return a.solveTransposed(b)
}

// solveTransposed gives x with Lᵀ·x = b.
func (a *square) solveTransposed(b vector) vector {
	for i := dims - 1; i >= 0; i-- {
		for k := i + 1; k < dims; k++ {
			b[i] -= a[k][i] * b[k]
		}
		b[i] /= a[i][i]
	}
	return b
}

// inverse of a positive definite matrix, with the logarithm of the determinant of a.
func (a *square) inverse() (inv square, logDet float64) {
	factor := *a
	if !factor.cholesky() {
		panic("estimator: a covariance that is learned is not positive definite")
	}
	for j := range dims {
		var e vector
		e[j] = 1
		x := factor.solve(e)
		for i := range dims {
			inv[i][j] = x[i]
		}
		logDet += 2 * math.Log(factor[j][j])
	}
	inv.symmetric()
	return inv, logDet
}

// symmetric evens out what rounding has set apart.
func (a *square) symmetric() {
	for i := range dims {
		for j := range i {
			m := (a[i][j] + a[j][i]) / 2
			a[i][j], a[j][i] = m, m
		}
	}
}

func (a *square) turned() (t square) {
	for i := range dims {
		for j := range dims {
			t[j][i] = a[i][j]
		}
	}
	return t
}

func (a *square) plus(b *square) (c square) {
	for i := range dims {
		for j := range dims {
			c[i][j] = a[i][j] + b[i][j]
		}
	}
	return c
}

// by is the product a·b of whole matrices.
func (a *square) by(b *square) (c square) {
	for i := range dims {
		for k := range dims {
			x := a[i][k]
			for j := range dims {
				c[i][j] += x * b[k][j]
			}
		}
	}
	return c
}

// of is the product a·v of a whole matrix.
func (a *square) of(v vector) (out vector) {
	for i := range dims {
		for j := range dims {
			out[i] += a[i][j] * v[j]
		}
	}
	return out
}

func (v *vector) dot(w *vector) (s float64) {
	for i := range dims {
		s += v[i] * w[i]
	}
	return s
}
