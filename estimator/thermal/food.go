package thermal

// Composition is the mass fractions of a food; they add up to one.
type Composition struct{ Water, Protein, Fat, Carbohydrate, Ash float64 }

// Material is what heats like one kind of food at one temperature.
type Material struct {
	Cp      float64 // specific heat, J/(kg K)
	Rho     float64 // density, kg/m³
	KAlong  float64 // conductivity with the components side by side, W/(m K)
	KAcross float64 // conductivity with the components one behind the other, W/(m K)
}

// DiffusivityAlong is k/(rho cp) with the components side by side, m²/s.
func (m Material) DiffusivityAlong() float64 { return m.KAlong / (m.Rho * m.Cp) }

// DiffusivityAcross is k/(rho cp) with the components one behind the other, m²/s.
func (m Material) DiffusivityAcross() float64 { return m.KAcross / (m.Rho * m.Cp) }

// curve is a polynomial of second degree in °C.
type curve [3]float64

func (c curve) at(t float64) float64 { return c[0] + t*(c[1]+t*c[2]) }

// component holds cp in kJ/(kg K), k in W/(m K) and rho in kg/m³ of one component: Choi & Okos 1986, -40 to 150 °C
// (water from 0 °C). Copies with fat k -2.7604e-3 or fat cp 1.4733e-4 are wrong.
type component struct{ cp, k, rho curve }

var (
	water        = component{curve{4.1762, -9.0864e-5, 5.4731e-6}, curve{0.57109, 1.7625e-3, -6.7036e-6}, curve{997.18, 3.1439e-3, -3.7574e-3}}
	protein      = component{curve{2.0082, 1.2089e-3, -1.3129e-6}, curve{0.17881, 1.1958e-3, -2.7178e-6}, curve{1329.9, -0.5184, 0}}
	fat          = component{curve{1.9842, 1.4733e-3, -4.8008e-6}, curve{0.18071, -2.7604e-4, -1.7749e-7}, curve{925.59, -0.41757, 0}}
	carbohydrate = component{curve{1.5488, 1.9625e-3, -5.9399e-6}, curve{0.20141, 1.3874e-3, -4.3312e-6}, curve{1599.1, -0.31046, 0}}
	ash          = component{curve{1.0926, 1.8896e-3, -3.6817e-6}, curve{0.32962, 1.4011e-3, -2.9069e-6}, curve{2423.8, -0.28063, 0}}
)

// At gives the properties of a food above freezing (Choi & Okos 1986; the mixing rule across is from memory, ASHRAE
// Refrigeration ch. 9).
func (c Composition) At(celsius Celsius) Material {
	t := float64(celsius)
	parts := [...]struct {
		x float64
		component
	}{{c.Water, water}, {c.Protein, protein}, {c.Fat, fat}, {c.Carbohydrate, carbohydrate}, {c.Ash, ash}}
	var m Material
	var volume, along, across float64
	for _, p := range parts {
		v := p.x / p.rho.at(t)
		m.Cp += 1000 * p.x * p.cp.at(t)
		volume += v
		along += v * p.k.at(t)
		across += v / p.k.at(t)
	}
	m.Rho = 1 / volume
	m.KAlong = along / volume
	m.KAcross = volume / across
	return m
}
