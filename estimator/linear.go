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

func newNormal(mean vector, cov mat.Symmetric) *normal {
	n := &normal{mean: mean}
	factorOf(cov).LTo(&n.root)
	return n
}

// A matrix whose condition is worse than this has no inverse to speak of in double precision.
const worstCondition = 1e15

// factorOf factorizes a covariance or an information. Rounding, or cooks that agree to the last digit, can leave one that is
// not positive definite by a hair; then its diagonal grows by a thousand-millionth, ten times that, and so on until it is:
// a covariance so says a little less than it knew, an information a little more. What is no covariance at all, which a
// prior that passes Check does not lead to, counts as its diagonal alone.
func factorOf(a mat.Symmetric) *mat.Cholesky {
	var factor mat.Cholesky
	for grow := 0.0; grow < 2; grow = max(10*grow, 1e-9) {
		b := mat.NewSymDense(dims, nil)
		b.CopySym(a)
		for i := range dims {
			b.SetSym(i, i, b.At(i, i)*(1+grow))
		}
		if factor.Factorize(b) && factor.Cond() < worstCondition {
			return &factor
		}
	}
	alone := mat.NewSymDense(dims, nil)
	for i := range dims {
		alone.SetSym(i, i, 1)
		if v := a.At(i, i); v > leastVariance && v < 1/leastVariance {
			alone.SetSym(i, i, v)
		}
	}
	factor.Factorize(alone)
	return &factor
}

// place turns whitened coordinates into the coordinates of the parameters.
func (n *normal) place(u *vector) (z vector) {
	z.dense().MulVec(&n.root, u.dense())
	floats.Add(z[:], n.mean[:])
	return z
}

// inverse of a covariance or an information, with the logarithm of the determinant of a.
func inverse(a mat.Symmetric) (inv *mat.SymDense, logDet float64) {
	factor := factorOf(a)
	inv = mat.NewSymDense(dims, nil)
	if err := factor.InverseTo(inv); err != nil { // factorOf lets none through that is worse than worstCondition
		panic("estimator: inverse of a singular matrix: " + err.Error())
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
