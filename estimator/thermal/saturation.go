package thermal

import "math"

// The ten coefficients of the saturation line, IAPWS R7-97(2012), region 4.
var saturationN = [10]float64{
	0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
	0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
}

// criticalKelvin is the critical temperature of water, the upper end of the saturation line (IAPWS R7-97).
const criticalKelvin = 647.096

// SaturationPressure is the pressure of steam in balance with liquid water, in pascal, after IAPWS R7-97(2012),
// region 4. It holds from 0 °C to the critical point; outside, the argument is taken to the nearer end.
func SaturationPressure(t Celsius) float64 {
	kelvin := min(max(t.Kelvin(), 273.15), criticalKelvin)
	n := &saturationN
	theta := kelvin + n[8]/(kelvin-n[9])
	a := theta*theta + n[0]*theta + n[1]
	b := n[2]*theta*theta + n[3]*theta + n[4]
	c := n[5]*theta*theta + n[6]*theta + n[7]
	root := 2 * c / (-b + math.Sqrt(b*b-4*a*c))
	return 1e6 * root * root * root * root
}

// SaturationTemperature is the boiling temperature at a pressure in pascal, the inverse of SaturationPressure. It holds
// from 611.213 Pa to 22.064 MPa; outside, the argument is taken to the nearer end.
func SaturationTemperature(pascal float64) Celsius {
	n := &saturationN
	beta := math.Pow(min(max(pascal, 611.213), 22.064e6)/1e6, 0.25)
	e := beta*beta + n[2]*beta + n[5]
	f := n[0]*beta*beta + n[3]*beta + n[6]
	g := n[1]*beta*beta + n[4]*beta + n[7]
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	return FromKelvin((n[9] + d - math.Sqrt((n[9]+d)*(n[9]+d)-4*(n[8]+n[9]*d))) / 2)
}
