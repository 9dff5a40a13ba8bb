package thermal

import "math"

// Shape is a body that conducts in one direction.
type Shape int

// The shapes of the heating charts.
const (
	Wall     Shape = iota // heated on both faces; length is half the thickness
	Cylinder              // long; length is the radius
	Sphere                // length is the radius
)

// equation is the characteristic equation of a shape, zero at a root.
func (s Shape) equation(zeta, biot float64) float64 {
	switch s {
	case Cylinder:
		return zeta*math.J1(zeta) - biot*math.J0(zeta)
	case Sphere:
		return zeta*math.Cos(zeta) - (1-biot)*math.Sin(zeta)
	}
	return zeta*math.Sin(zeta) - biot*math.Cos(zeta)
}

// Roots gives the first n roots of the characteristic equation: zeta tan zeta = Bi for the wall, zeta J1/J0 = Bi for the
// cylinder, 1 - zeta cot zeta = Bi for the sphere. Bi must be above zero.
func (s Shape) Roots(biot float64, n int) []float64 {
	roots := make([]float64, 0, n)
	const step = 0.01
	a := 1e-9
	if s == Sphere { // zero itself solves the form without a quotient
		a = 1e-3
	}
	fa := s.equation(a, biot)
	for len(roots) < n {
		b := a + step
		fb := s.equation(b, biot)
		if fa*fb < 0 {
			lo, hi, flo := a, b, fa
			for range 60 {
				mid := (lo + hi) / 2
				if f := s.equation(mid, biot); f*flo > 0 {
					lo, flo = mid, f
				} else {
					hi = mid
				}
			}
			roots = append(roots, (lo+hi)/2)
		}
		a, fa = b, fb
	}
	return roots
}

// Coefficient is the weight of a root in the series for a body of even temperature.
func (s Shape) Coefficient(zeta float64) float64 {
	switch s {
	case Cylinder:
		j0, j1 := math.J0(zeta), math.J1(zeta)
		return 2 / zeta * j1 / (j0*j0 + j1*j1)
	case Sphere:
		return 4 * (math.Sin(zeta) - zeta*math.Cos(zeta)) / (2*zeta - math.Sin(2*zeta))
	}
	return 4 * math.Sin(zeta) / (2*zeta + math.Sin(2*zeta))
}

// mode is the form of a root at a place, 0 the centre and 1 the surface.
func (s Shape) mode(zeta, place float64) float64 {
	switch s {
	case Cylinder:
		return math.J0(zeta * place)
	case Sphere:
		if place == 0 {
			return 1
		}
		return math.Sin(zeta*place) / (zeta * place)
	}
	return math.Cos(zeta * place)
}

// Series is the exact dimensionless temperature (T - Tf)/(Ti - Tf) at a place, 0 the centre and 1 the surface, for a
// Biot number h L/k and a Fourier number alpha t/L² (heat-transfer textbooks, for instance Incropera et al., ch. 5).
// Sixty terms are summed; below a Fourier number of about 0.001 more would be needed.
func (s Shape) Series(biot, fourier, place float64) (theta float64) {
	for _, zeta := range s.Roots(biot, 60) {
		theta += s.Coefficient(zeta) * math.Exp(-zeta*zeta*fourier) * s.mode(zeta, place)
	}
	return theta
}

// OneTerm is the first term of Series, good to about 2 % above a Fourier number of 0.2 and wrong below it.
func (s Shape) OneTerm(biot, fourier, place float64) float64 {
	zeta := s.Roots(biot, 1)[0]
	return s.Coefficient(zeta) * math.Exp(-zeta*zeta*fourier) * s.mode(zeta, place)
}

// HeatingTime is the Fourier number at which the centre reaches theta, by bisection on Series.
func (s Shape) HeatingTime(biot, theta float64) (fourier float64) {
	roots := s.Roots(biot, 60)
	centre := func(fo float64) (sum float64) {
		for _, zeta := range roots {
			sum += s.Coefficient(zeta) * math.Exp(-zeta*zeta*fo)
		}
		return sum
	}
	lo, hi := 1e-3, 1.0
	for centre(hi) > theta {
		hi *= 2
	}
	for range 60 {
		mid := (lo + hi) / 2
		if centre(mid) > theta {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
