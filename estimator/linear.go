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

func (v *vector) dot(w *vector) (s float64) {
	for i := range dims {
		s += v[i] * w[i]
	}
	return s
}
