package estimator

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// A covariance of one direction alone is singular: v·vᵀ has no inverse. With a diagonal grown by e the inverse in that
// direction is near 1/|v|² (Sherman & Morrison 1950, from memory), and what stands across it is nearly certain.
func TestInverse_OfASingularCovariance(t *testing.T) {
	var v vector
	for i := range v {
		v[i] = 1
	}
	one := mat.NewSymDense(dims, nil)
	one.SymOuterK(1, v.dense())
	inv, logDet := inverse(one)
	if got, want := mat.Inner(v.dense(), inv, v.dense()), 1.0; math.Abs(got-want) > 1e-3 {
		t.Errorf("along itself the inverse is %v, want %v", got, want)
	}
	if math.IsNaN(logDet) || logDet > -100 {
		t.Errorf("log determinant %v, want that of almost nothing", logDet)
	}
}

// What is no covariance counts as its diagonal: 4 and 1 where a variance stands, 1 where none does.
func TestFactorOf_WhatIsNoCovariance(t *testing.T) {
	a := mat.NewSymDense(dims, nil)
	for i := range dims {
		a.SetSym(i, i, 4)
		for j := range i {
			a.SetSym(i, j, 100)
		}
	}
	a.SetSym(0, 0, math.NaN())
	if got := factorOf(a).LogDet(); math.Abs(got-float64(dims-1)*math.Log(4)) > 1e-9 {
		t.Errorf("log determinant %v, want %d log 4", got, dims-1)
	}
}
