package simulate

import "math"

// The surface of a piece. All of these are choices of this project without a source, unless marked.
const (
	filmFull  = 0.25 // kg/m² of juice beyond which it runs off
	filmHalf  = 0.03 // kg/m² at which half of the surface counts as wet
	suction   = 0.08 // potential by which a dry surface draws on the meat, kg per kg raw
	barkMass  = 0.9  // kg/m² evaporated by which the bark has formed to 63 %
	barkHolds = 7e7  // resistance of full bark to vapour, Pa m² s/kg
	lewis     = 1.10 // Le^(-2/3), Le 0.87 for water in air (from memory, textbooks)
	airHeat   = 1006 // J/(kg K)
	massRatio = 0.622

	foilHeat, foilVapour   = 0.60, 0.003 // share of the heat and of the vapour that a wrap lets through
	paperHeat, paperVapour = 0.92, 0.018
	foilHolds, paperHolds  = 3.0, 0.5 // kg/m² of juice inside before it runs off
	belowConvect           = 0.8      // the underside: slower air, but it faces the fire or its shield
	belowRadiate           = 1.3
)

// surface balances heat and water on one face, moves juice to its film, and gives the heat taken (W) and water evaporated (kg/s).
func (b *body) surface(f *face, h float64, s around, v *vapourTable) (took, steamed float64) {
	i := f.cell
	shrunk := b.shrink * b.shrink
	area := f.area * shrunk
	depth := f.depth * b.shrink
	convect, radiate, holds := s.convect*b.vary.HeatTransfer, s.radiate, filmFull
	if f.below && !s.still {
		convect, radiate = convect*belowConvect, radiate*belowRadiate
	}
	vapour := convect * massRatio * lewis / (airHeat * s.pressure)
	switch b.wrap {
	case "foil":
		convect, radiate, vapour, holds = convect*foilHeat, radiate*foilHeat, vapour*foilVapour, foilHolds
	case "paper":
		convect, radiate, vapour, holds = convect*paperHeat, radiate*paperHeat, vapour*paperVapour, paperHolds
	}
	vapour /= 1 + vapour*barkHolds*(1-math.Exp(-f.gone/barkMass))
	if s.still {
		vapour = 0
	}
	wet := f.film / (f.film + filmHalf)
	if p, _ := v.at(f.ts); p < s.vapour {
		wet = 1 // dew
	}
	inward := conductivity(b.water[i]) * b.vary.Conductivity / depth
	ts, steam := f.ts, 0.0
	for range 2 { // Newton: the balance is nearly linear over one step
		p, slope := v.at(ts)
		steam = vapour * wet * (p - s.vapour)
		latent := latentHeat(ts)
		balance := convect*(s.air-ts) + radiate*(s.wall-ts) - steam*latent - inward*(ts-b.t[i])
		ts += balance / (convect + radiate + vapour*wet*slope*latent + inward)
	}
	if b.wrap != "" && ts > s.boil && f.film > filmHalf { // juice boils in the wrap and leaves as steam
		ts = s.boil
		surplus := convect*(s.air-ts) + radiate*(s.wall-ts) - inward*(ts-b.t[i])
		steam = max(steam, surplus/latentHeat(ts))
	}
	f.ts = ts
	took = inward * (ts - b.t[i]) * area
	b.gain[i] += took

	seep := rawDensity * b.seepage(i) / depth * (b.excess[i] + suction*(1-wet))
	seep = max(seep, 0)
	b.flow[i] -= seep * area
	film := f.film + h*seep*shrunk
	steam = min(steam, film/(h*shrunk))
	film -= steam * h * shrunk
	f.gone += steam * h * shrunk
	if film > holds {
		b.dripped += (film - holds) * f.area
		film = holds
	}
	f.film = film
	return took + steam*area*latentHeat(ts), steam * area
}

// melt renders fat: the share that can leave does so over about two hours once it is hot (a choice of this project).
func (b *body) melt(i int, h float64) {
	if b.t[i] < 45 {
		return
	}
	stays := b.meat.fat * (1 - b.meat.render)
	rate := min((b.t[i]-45)/40, 1) / 7200
	lost := (b.fat[i] - stays) * rate * h
	if lost > 0 {
		b.fat[i] -= lost
		b.rendered += lost * b.mass[i]
	}
}

// loss is the share of the raw mass that the piece has lost: steam, drip, juice in the wrap and fat.
func (b *body) loss() float64 {
	left := 0.0
	dry := 1 - b.meat.water - b.meat.fat
	for i := range cells {
		left += b.mass[i] * (b.water[i] + b.fat[i] + dry)
	}
	return 1 - left/b.raw
}

// at is the temperature at a depth: 0 = at the middle, 1 = at the surface that probes enter by.
func (b *body) at(depth float64) float64 {
	y := b.half * math.Abs(depth)
	i := 0
	for i < len(b.mids)-2 && b.mids[i+1] < y {
		i++
	}
	x := (y - b.mids[i]) / (b.mids[i+1] - b.mids[i])
	inner, outer := b.t[b.row[i]], b.t[b.row[i+1]]
	return inner + min(max(x, 0), 1)*(outer-inner)
}

// meanSurface is the area-weighted surface temperature.
func (b *body) meanSurface() float64 {
	var sum, area float64
	for _, f := range b.faces {
		sum += f.ts * f.area
		area += f.area
	}
	return sum / area
}
