package simulate

import "math"

// The grid: radial cells from the axis outwards, axial cells from the underside up, finest at the surfaces.
const (
	radial = 8
	axial  = 12
	cells  = radial * axial
	faces  = 2*radial + axial
)

// face is one piece of the surface and the film of juice on it.
type face struct {
	cell  int
	area  float64 // m², raw
	depth float64 // m from the surface to the middle of its cell, raw
	below bool    // the underside, which sees the fire or its shield
	film  float64 // kg of liquid per m² of the raw surface
	gone  float64 // kg evaporated so far per m² of the raw surface, which makes the bark
	ts    float64 // surface temperature
}

// link joins two neighbouring cells.
type link struct {
	a, b     int
	area     float64 // m², raw
	distance float64 // m, raw
	heat     float64 // W/K at present
	seep     float64 // kg/s per unit of potential at present
}

// body is a piece of meat as finite volumes.
type body struct {
	meat    meat
	vary    Vary
	mass    [cells]float64 // raw mass of the cell, kg
	t       [cells]float64 // °C
	hottest [cells]float64 // °C, ever
	water   [cells]float64 // kg per kg raw
	fat     [cells]float64 // kg per kg raw
	excess  [cells]float64 // water the protein no longer holds, kg per kg raw: the potential that drives seepage
	heat    [cells]float64 // J/K at present
	gain    [cells]float64 // W, scratch
	flow    [cells]float64 // kg/s, scratch
	links   []link
	faces   [faces]face
	mids    []float64 // from the middle line to the surface that probes enter by: cell middles, m, raw
	row     []int     // the cells at mids
	half    float64   // half the thickness, m, raw
	maxStep float64   // s, for stability
	stale   float64   // s since the last refresh
	shrink  float64   // length now / length raw

	wrap       string
	raw        float64 // kg
	evaporated float64 // kg, from the piece's own juice
	dripped    float64 // kg of juice, run off or kept in a wrap
	rendered   float64 // kg of fat
}

// around is what surrounds a body.
type around struct {
	air, wall float64 // °C
	vapour    float64 // Pa
	pressure  float64 // Pa
	boil      float64 // °C
	convect   float64 // W/(m²K)
	radiate   float64 // W/(m²K)
	still     bool    // in a closed insulated box: convect is all the heat there is, nothing evaporates
}

// graded cuts half a length into n widths that grow inwards from the surface.
func graded(half float64, n int, ratio float64) []float64 {
	w := half * (ratio - 1) / (math.Pow(ratio, float64(n)) - 1)
	out := make([]float64, n)
	for i := range out {
		out[i] = w
		w *= ratio
	}
	return out
}

func newBody(p Piece) *body {
	m := meatOf(p.Cut)
	v := p.Vary
	for _, f := range []*float64{&v.Conductivity, &v.Seepage, &v.Holding, &v.HeatTransfer} {
		if *f == 0 {
			*f = 1
		}
	}
	b := &body{meat: m, vary: v, raw: p.MassKg, half: p.ThicknessMM / 2000, shrink: 1}
	high := 2 * b.half
	radius := math.Sqrt(p.MassKg / (rawDensity * math.Pi * high))
	if m.log {
		radius = b.half
		high = p.MassKg / (rawDensity * math.Pi * radius * radius)
	}
	half := graded(high/2, axial/2, 1.35)
	var dz [axial]float64
	for i, w := range half {
		dz[i], dz[axial-1-i] = w, w
	}
	widths := graded(radius, radial, 1.45)
	var dr [radial]float64
	for i, w := range widths {
		dr[radial-1-i] = w
	}
	b.layOut(dr, dz)
	for i := range cells {
		b.t[i], b.hottest[i] = float64(p.Start), float64(p.Start)
		b.water[i], b.fat[i] = m.water, m.fat
	}
	for i := range b.faces {
		b.faces[i].ts, b.faces[i].film = float64(p.Start), 0.05
	}
	b.refresh()
	return b
}

// layOut computes masses, links and faces of the grid.
func (b *body) layOut(dr [radial]float64, dz [axial]float64) {
	var edge [radial + 1]float64
	for i, w := range dr {
		edge[i+1] = edge[i] + w
	}
	at := func(r, z int) int { return z*radial + r }
	for z := range axial {
		for r := range radial {
			ring := math.Pi * (edge[r+1]*edge[r+1] - edge[r]*edge[r])
			b.mass[at(r, z)] = rawDensity * ring * dz[z]
			if z+1 < axial {
				b.links = append(b.links, link{a: at(r, z), b: at(r, z+1), area: ring, distance: (dz[z] + dz[z+1]) / 2})
			}
			if r+1 < radial {
				b.links = append(b.links, link{a: at(r, z), b: at(r+1, z), area: 2 * math.Pi * edge[r+1] * dz[z], distance: (dr[r] + dr[r+1]) / 2})
			}
		}
	}
	if b.meat.log {
		for r := range radial {
			b.mids, b.row = append(b.mids, (edge[r]+edge[r+1])/2), append(b.row, at(r, axial/2))
		}
	} else {
		b.column(dz)
	}
	for r := range radial {
		ring := math.Pi * (edge[r+1]*edge[r+1] - edge[r]*edge[r])
		b.faces[r] = face{cell: at(r, 0), area: ring, depth: dz[0] / 2, below: true}
		b.faces[radial+r] = face{cell: at(r, axial-1), area: ring, depth: dz[axial-1] / 2}
	}
	for z := range axial {
		b.faces[2*radial+z] = face{cell: at(radial-1, z), area: 2 * math.Pi * edge[radial] * dz[z], depth: dr[radial-1] / 2}
	}
}

// column lists the cells on the axis from mid-height to the top.
func (b *body) column(dz [axial]float64) {
	height := 0.0
	for z := axial / 2; z < axial; z++ {
		b.mids, b.row = append(b.mids, height+dz[z]/2), append(b.row, z*radial)
		height += dz[z]
	}
}

// refreshEvery is how often the slowly changing coefficients are renewed, s.
const refreshEvery = 30.0

// refresh renews heat capacities, conductances and the size of the shrinking body.
func (b *body) refresh() {
	var k, d [cells]float64
	dry := 1 - b.meat.water - b.meat.fat
	left := 0.0
	for i := range cells {
		total := b.water[i] + b.fat[i] + dry
		left += total * b.mass[i]
		b.heat[i] = b.mass[i] * (b.water[i]*heatWater + b.fat[i]*heatFat + dry*heatDry)
		k[i] = conductivity(b.water[i]/total) * b.vary.Conductivity
		d[i] = b.seepage(i)
	}
	b.shrink, b.stale = math.Cbrt(left/b.raw), 0
	var heat, seep [cells]float64 // sums of the conductances of a cell
	for i := range b.links {
		l := &b.links[i]
		reach := l.area / l.distance * b.shrink
		l.heat = reach * 2 * k[l.a] * k[l.b] / (k[l.a] + k[l.b])
		l.seep = reach * rawDensity * (d[l.a] + d[l.b]) / 2
		for _, c := range [2]int{l.a, l.b} {
			heat[c] += l.heat
			seep[c] += l.seep
		}
	}
	b.maxStep = math.Inf(1)
	for i := range cells {
		b.maxStep = min(b.maxStep, 0.6*b.heat[i]/heat[i], 0.6*b.mass[i]/seep[i])
	}
}

// seepage is the juice diffusivity in a cell: easier in thin (hot) juice, harder in dried meat.
func (b *body) seepage(i int) float64 {
	full := min(b.water[i]/b.meat.water, 1)
	return b.meat.seepage * b.vary.Seepage * math.Exp(0.03*(min(b.t[i], 100)-20)) * full * full * full
}

// step advances the body by dt seconds and gives the heat it took (W) and the water it evaporated (kg/s), both means.
func (b *body) step(dt float64, s around, v *vapourTable) (took, steamed float64) {
	if b.stale += dt; b.stale >= refreshEvery {
		b.refresh()
	}
	n := int(math.Ceil(dt / b.maxStep))
	h := dt / float64(n)
	for range n {
		q, e := b.advance(h, s, v)
		took += q / float64(n)
		steamed += e / float64(n)
	}
	return took, steamed
}

func (b *body) advance(h float64, s around, v *vapourTable) (took, steamed float64) {
	let := b.meat.letGo * b.vary.Holding
	for i := range cells {
		b.gain[i], b.flow[i] = 0, 0
	}
	for i := range b.links {
		l := &b.links[i]
		warmer := b.t[l.a] - b.t[l.b]
		q := l.heat * warmer
		w := l.seep * (b.excess[l.a] - b.excess[l.b])
		b.gain[l.a] -= q
		b.gain[l.b] += q
		if w > 0 { // the cell that juice flows into is warmed or cooled by it
			b.gain[l.b] += w * heatWater * warmer
		} else {
			b.gain[l.a] += w * heatWater * warmer
		}
		b.flow[l.a] -= w
		b.flow[l.b] += w
	}
	for i := range b.faces {
		q, e := b.surface(&b.faces[i], h, s, v)
		took += q
		steamed += e
	}
	for i := range cells {
		capacity := b.heat[i]
		if b.t[i] >= b.hottest[i] && b.gain[i] > 0 && b.t[i] > denatureLow && b.t[i] < denatureHigh {
			capacity += b.mass[i] * denatureHeat / (denatureHigh - denatureLow)
		}
		b.t[i] += b.gain[i] * h / capacity
		b.water[i] = max(b.water[i]+b.flow[i]*h/b.mass[i], 0)
		b.melt(i, h)
		b.hottest[i] = max(b.hottest[i], b.t[i])
		b.excess[i] = b.water[i] - (b.meat.water - let*released(b.hottest[i]))
	}
	return took, steamed
}
