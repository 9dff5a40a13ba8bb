package estimator

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// Somewhere is where a piece cools when nobody has said: between the air of a cooler that stands and ice water, or on the counter.
const Somewhere Surroundings = ""

// The fit of a cooling. All are choices of this project, tried on simulated coolings.
const (
	coolDraws   = 300
	coolPoints  = 24               // readings that are held against the draws
	coolLeast   = 10 * time.Minute // of readings, before they say anything
	coolSD      = 0.6              // K, of a reading against the right column
	coolSpread  = 0.25             // sd of the logarithm of the thickness: a piece may have been sliced, or swollen
	coolOutside = 0.2              // share of the draws that stand in a room rather than in Ambient
	coolRoom    = 21.0             // °C
	coolKeep    = 25.0             // draws' worth that must be left
)

// CoolTimes is CoolTime for a piece whose readings since it began to cool are known, for several temperatures at once: draws that have
// cooled as it did count for more, and each goes on from the newest reading. After is counted from that. ok is false when there are too
// few readings to say anything: ask CoolTime then. The piece is taken to have had one temperature when the readings begin.
func (e *Estimator) CoolTimes(c Chill, to ...thermal.Celsius) (after [][7]time.Duration, ok bool) {
	seen := thinned(c.Piece.Core)
	if len(seen) < 4 || seen[len(seen)-1].Time.Sub(seen[0].Time) < coolLeast {
		return nil, false
	}
	tr := e.prior.traits(&c.Piece, nil)
	prior := newNormal(e.prior.Ways[0].at(&tr, true))
	known, fixed := exchange[c.Where]
	if !fixed {
		known = [2]float64{16, 1.0}
	}
	seed := seedOf(&c.Piece)
	runs := make([]cooled, coolDraws)
	for k := range runs {
		rng := rand.New(rand.NewPCG(seed, uint64(k)))
		u := standardNormal(rng)
		z := prior.place(&u)
		p := z.physics(float64(seen[0].Celsius), 100)
		p.start = float64(seen[0].Celsius)
		p.half *= math.Exp(coolSpread * rng.NormFloat64())
		p.h, p.foilH, p.pitOffset, p.depth = known[0]*math.Exp(known[1]*rng.NormFloat64()), 1, 0, 0.25*rng.Float64()
		ambient := float64(c.Ambient) + 1.5*rng.NormFloat64()
		if rng.Float64() < coolOutside && !fixed {
			ambient = coolRoom + 2*rng.NormFloat64()
		}
		runs[k] = cool(&p, ambient, seen, to)
	}
	weights := weigh(runs)
	for i := range to {
		after = append(after, coolQuantiles(runs, weights, i))
	}
	return after, true
}

// thinned takes some of the readings, evenly in time, the first and the newest among them; each the median of three.
func thinned(core []Sample) []Sample {
	core = slices.Clone(core)
	slices.SortStableFunc(core, func(a, b Sample) int { return a.Time.Compare(b.Time) })
	if len(core) == 0 {
		return nil
	}
	first, last := core[0].Time, core[len(core)-1].Time
	every := last.Sub(first) / (coolPoints - 1)
	var out []Sample
	for i, s := range core {
		if i > 0 && i < len(core)-1 && s.Time.Sub(out[len(out)-1].Time) < every {
			continue
		}
		three := []thermal.Celsius{core[max(i-1, 0)].Celsius, s.Celsius, core[min(i+1, len(core)-1)].Celsius}
		slices.Sort(three)
		out = append(out, Sample{s.Time, three[1]})
	}
	return out
}

// cooled is one draw: how far off it was, and when it comes down to each temperature, in seconds from the newest reading.
type cooled struct {
	off  float64 // sum of squares over coolSD²
	when []float64
}

func cool(p *physics, ambient float64, seen []Sample, to []thermal.Celsius) cooled {
	g := p.grid()
	c := p.fresh()
	var out cooled
	for i := 1; i < len(seen); i++ {
		left := seen[i].Time.Sub(seen[i-1].Time).Seconds()
		for n := math.Ceil(left / 60); n > 0; n-- {
			c.step(p, &g, ambient, left/math.Ceil(left/60), inFoil)
		}
		d := (c.probe(&g) - float64(seen[i].Celsius)) / coolSD
		out.off += d * d
	}
	out.off /= float64(len(seen) - 1)
	shift := float64(seen[len(seen)-1].Celsius) - c.probe(&g)
	for i := range c.t {
		c.t[i] += shift
	}
	out.when = make([]float64, len(to))
	for i := range out.when {
		out.when[i] = math.Inf(1)
	}
	last, dt := c.probe(&g), 60.0
	for i, t := range to {
		if last <= float64(t) {
			out.when[i] = 0
		}
	}
	for t := 0.0; t < Horizon.Seconds() && slices.ContainsFunc(out.when, func(w float64) bool { return math.IsInf(w, 1) }); t += dt {
		c.step(p, &g, ambient, dt, inFoil)
		now := c.probe(&g)
		for i, low := range to {
			if math.IsInf(out.when[i], 1) && now <= float64(low) {
				out.when[i] = t + dt*clampTo((last-float64(low))/(last-now), 0, 1)
			}
		}
		if last-now < 0.001 && now > ambient-1 && t > 2*hour { // it has come to rest
			break
		}
		last = now
		if t > 2*hour {
			dt = 180
		}
	}
	return out
}

// weigh turns how far off the draws were into weights, and trusts the readings as far as a fair number of draws is left.
func weigh(runs []cooled) []float64 {
	best := math.Inf(1)
	for _, r := range runs {
		best = min(best, r.off)
	}
	weights := make([]float64, len(runs))
	for trust := float64(coolPoints) / 4; ; trust /= 1.4 { // neighbouring readings say nearly the same
		sum, squares := 0.0, 0.0
		for i, r := range runs {
			weights[i] = math.Exp(-0.5 * trust * (r.off - best))
			sum += weights[i]
			squares += weights[i] * weights[i]
		}
		if sum*sum/squares >= coolKeep || trust < 1e-4 {
			return weights
		}
	}
}

func coolQuantiles(runs []cooled, weights []float64, to int) (after [7]time.Duration) {
	order := make([]int, len(runs))
	total := 0.0
	for i := range order {
		order[i] = i
		total += weights[i]
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(runs[a].when[to], runs[b].when[to]) })
	sum, k := 0.0, 0
	for i, level := range Levels {
		for k < len(order)-1 && sum+weights[order[k]] < level*total {
			sum += weights[order[k]]
			k++
		}
		after[i] = -1
		if s := runs[order[k]].when[to]; !math.IsInf(s, 1) {
			after[i] = time.Duration(s * float64(time.Second)).Round(time.Second)
		}
	}
	return after
}
