package estimator

import (
	"math/rand/v2"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// dense shows a vector to the matrix library; the two share their numbers.
func (v *vector) dense() *mat.VecDense { return mat.NewVecDense(dims, v[:]) }

// standardNormal draws independent coordinates of mean 0 and variance 1.
func standardNormal(rng *rand.Rand) (u vector) {
	for i := range u {
		u[i] = rng.NormFloat64()
	}
	return u
}

// normal is a normal distribution of the coordinates: mean + root·u for a standard normal u.
type normal struct {
	mean vector
	root mat.TriDense // lower Cholesky factor of the covariance
}

// newNormal panics when the covariance is not positive definite: a prior that was read or learned has been checked.
func newNormal(mean vector, cov mat.Symmetric) *normal {
	n := &normal{mean: mean}
	var factor mat.Cholesky
	if !factor.Factorize(cov) {
		panic("estimator: the prior covariance is not positive definite")
	}
	factor.LTo(&n.root)
	return n
}

// place turns whitened coordinates into the coordinates of the parameters.
func (n *normal) place(u *vector) (z vector) {
	z.dense().MulVec(&n.root, u.dense())
	floats.Add(z[:], n.mean[:])
	return z
}

// inverse of a positive definite matrix, with the logarithm of the determinant of a.
func inverse(a mat.Symmetric) (inv *mat.SymDense, logDet float64) {
	var factor mat.Cholesky
	if !factor.Factorize(a) {
		panic("estimator: a covariance that is learned is not positive definite")
	}
	inv = mat.NewSymDense(dims, nil)
	if err := factor.InverseTo(inv); err != nil {
		panic("estimator: a covariance that is learned is nearly singular: " + err.Error())
	}
	return inv, factor.LogDet()
}

// symmetric evens out what rounding has set apart.
func symmetric(a mat.Matrix) *mat.SymDense {
	s := mat.NewSymDense(dims, nil)
	for i := range dims {
		for j := range i + 1 {
			s.SetSym(i, j, (a.At(i, j)+a.At(j, i))/2)
		}
	}
	return s
}

// conjugate is b·a·bᵀ for a symmetric a.
func conjugate(b mat.Matrix, a mat.Symmetric) *mat.SymDense {
	var whole mat.Dense
	whole.Product(b, a, b.T())
	return symmetric(&whole)
}

// plus is the sum of symmetric matrices.
func plus(a, b mat.Symmetric) *mat.SymDense {
	sum := mat.NewSymDense(dims, nil)
	sum.AddSym(a, b)
	return sum
}
