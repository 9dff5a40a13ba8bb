package convert

// bisect finds where the rising function f reaches y between lo and hi, to the last bits that matter for a temperature.
func bisect(f func(float64) float64, y, lo, hi float64) float64 {
	for range 80 {
		mid := lo + (hi-lo)/2
		if f(mid) < y {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}

// polynomial evaluates coefficients, power 0 first.
func polynomial(c []float64, x float64) float64 {
	y := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		y = y*x + c[i]
	}
	return y
}
