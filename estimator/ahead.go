package estimator

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// ahead is what is planned from the present on.
type ahead struct {
	start    int64 // Unix ms
	coat     coat
	wrapWith coat
	wrapAtC  float64 // 0 = no plan by temperature
	wrapAtMS int64   // 0 = no plan by time
	later    []Event // wraps, unwraps and setpoints after the present, ascending
	setPoint float64 // NaN = unknown
	level    float64 // usual pit minus setpoint, or the usual pit itself without a setpoint
	now      float64 // pit temperature now
	spread   float64 // sd of the pit about its level
	highest  float64 // the highest the core has been, °C
	blind    float64 // how much more the model misses for want of pit readings
	lag      float64 // seconds by which the five-minute median trails a rising probe
	outage   float64 // seconds for which the fire has been out or dying; 0 when it burns
	handled  bool    // a wrap was done, undone or is planned
	raised   bool    // the setpoint was changed, or a change is planned
}

const (
	pitMemory    = 0.6 // hours over which the pit forgets a swing
	unseenSpread = 5.0 // K, sd of a pit nobody measures
	sagMemory    = 3.0 // hours in which the pit leaves its recent level
)

func newAhead(in *Input, h *history, at time.Time) *ahead {
	a := &ahead{start: at.UnixMilli()}
	past := pastEvents(in, at)
	a.coat = coatAt(past, a.start)
	a.setPoint = setPointAt(in, past, a.start)
	a.pitLevel(in, h, past)
	a.outage = h.outage(in, past)
	a.highest, a.lag = h.start, h.medianLag
	for _, o := range h.obs {
		a.highest = math.Max(a.highest, o.c)
	}
	a.raised = len(in.PitPlan) > 0 || slices.ContainsFunc(past, func(e Event) bool { return e.Kind == SetPoint })
	a.handled = in.Plan != nil || slices.ContainsFunc(past, func(e Event) bool { return e.Kind == Wrap || e.Kind == Unwrap })
	if in.Plan != nil && a.coat == bare && !wrappedBefore(past) {
		a.wrapWith = coatOf(in.Plan.With)
		if !in.Plan.AtTime.IsZero() {
			a.wrapAtMS = max(in.Plan.AtTime.UnixMilli(), a.start)
		} else if in.Plan.AtCelsius > 0 {
			a.wrapAtC = float64(in.Plan.AtCelsius)
		}
	}
	a.later = slices.Clone(in.doLater)
	for _, e := range in.PitPlan {
		if e.Kind != SetPoint && e.Kind != "" {
			continue
		}
		if e.Time.After(at) && e.Celsius > 30 && e.Celsius < 400 {
			e.Kind = SetPoint
			a.later = append(a.later, e)
		}
	}
	slices.SortStableFunc(a.later, func(x, y Event) int { return cmp.Or(x.Time.Compare(y.Time), cmp.Compare(x.Celsius, y.Celsius)) })
	return a
}

func wrappedBefore(past []Event) bool {
	return slices.ContainsFunc(past, func(e Event) bool { return e.Kind == Wrap })
}

// pitLevel learns from the last hours how the pit stands to its setpoint and how much it swings.
func (a *ahead) pitLevel(in *Input, h *history, past []Event) {
	n := len(h.pit)
	var sum, squares, weight float64
	for i := n - 1; i >= 0; i-- {
		age := float64(n-i) * h.dt / hour
		if age > 6 {
			break
		}
		ms := h.t0 + int64((float64(i)+0.5)*h.dt*1000)
		d := h.pit[i]
		if !math.IsNaN(a.setPoint) {
			d -= setPointAt(in, past, ms)
		}
		w := math.Exp(-age / 2)
		if !math.IsNaN(a.setPoint) && math.Abs(d) > 20 {
			w *= 0.1
		}
		sum += w * d
		squares += w * d * d
		weight += w
	}
	steps := hour / h.dt
	prior := 0.7 * steps // as much as that many hours at the setpoint with an ordinary fire
	if math.IsNaN(a.setPoint) {
		a.level = sum / weight
		a.spread = math.Sqrt(math.Max(squares/weight-a.level*a.level, 4))
	} else {
		a.level = sum / (weight + prior)
		a.spread = math.Sqrt((math.Max(squares-sum*a.level, 0) + prior*25) / (weight + prior))
	}
	a.blind = h.blindness()
	a.spread = clampTo(math.Max(a.spread, unseenSpread*h.gaps), 1.5, 15)
	k := max(n-int(math.Ceil(600/h.dt)), 0)
	var recent []float64
	recent = append(recent, h.pit[k:]...)
	a.now = median(recent)
}

// base is the level the pit is steered to at a time.
func (a *ahead) base(ms int64) float64 {
	sp, level := a.setPoint, a.level
	if math.IsNaN(sp) {
		sp, level = a.level, 0
	}
	for _, e := range a.later {
		if e.Kind == SetPoint && e.Time.UnixMilli() <= ms {
			sp = float64(e.Celsius)
		}
	}
	return sp + level
}

// outcome is one scenario to its end.
type outcome struct {
	ready float64 // seconds after the present; +Inf when not within the horizon
	wrap  float64
	// stallEnd is when a stall ends, seconds after the present; 0 when there is none.
	stallEnd float64
	path     []float32 // probe temperature at pathTimes
}

// pathTimes are the seconds after the present at which a scenario's temperature is kept.
var pathTimes = func() (t []float64) {
	for s := 0.0; s <= Horizon.Seconds(); {
		t = append(t, s)
		switch {
		case s < 4*hour:
			s += 600
		case s < 12*hour:
			s += 1200
		default:
			s += 3600
		}
	}
	return t
}()

// run carries one member forward until its reading reaches the target or the horizon.
func (a *ahead) run(m member, prior *Prior, target float64, pitRNG, ownRNG *rand.Rand) outcome {
	out := outcome{ready: math.Inf(1), wrap: math.Inf(1), path: make([]float32, 0, 48)}
	c, p, n := m.c, m.p, &prior.Noise
	around := m.coat
	wrapWith := a.wrapWith
	if around != bare {
		wrapWith = bare
	}
	wrapAt := a.wrapAtC
	if wrapAt > 0 {
		wrapAt = a.drawAbove(wrapAt+prior.Habits.WrapShift, prior.Habits.WrapSpread, ownRNG)
	}
	if with, at := a.drawWrap(&prior.Habits, ownRNG); with != bare && around == bare && wrapWith == bare {
		wrapWith, wrapAt = with, at
	}
	raiseAt, raiseBy := a.drawRaise(&prior.Habits, ownRNG)
	raised, wrapped := 0.0, false
	deviation, back := a.now-a.base(a.start), a.drawRelit(pitRNG)
	drift := n.PitDrift*pitRNG.NormFloat64() - n.PitSag
	sag := 0.0
	misfit, bias := 0.0, m.bias
	reading := c.probe(&m.g) + bias
	t := 0.0
	for t < Horizon.Seconds() {
		dt := stepAhead(t)
		if len(out.path) < len(pathTimes) && t >= pathTimes[len(out.path)] {
			out.path = append(out.path, float32(reading))
		}
		ms := a.start + int64(t*1000)
		if wrapWith != bare && (a.wrapAtMS > 0 && ms >= a.wrapAtMS || wrapAt > 0 && reading >= wrapAt) && !wrapped {
			around, wrapped = wrapWith, true
			if a.wrapWith != bare { // a wrap that no plan announces calls nobody
				out.wrap = t
			}
		}
		around = a.coatLater(ms, around)
		hours := dt / hour
		keep := math.Exp(-hours / pitMemory)
		sag += (drift - sag) * (1 - math.Exp(-hours/sagMemory))
		deviation = sag + (deviation-sag)*keep + a.spread*math.Sqrt(1-keep*keep)*pitRNG.NormFloat64()
		if t < back {
			deviation = a.coldPit(t) - a.base(ms)
		}
		root := math.Sqrt(hours)
		p.hNow *= math.Exp(n.WalkH * root * ownRNG.NormFloat64())
		p.wNow *= math.Exp(n.WalkWet * root * ownRNG.NormFloat64())
		if reading >= raiseAt {
			raised = raiseBy
		}
		before := c.probe(&m.g)
		c.step(&p, &m.g, a.base(ms)+raised+deviation, dt, around)
		computed := c.probe(&m.g)
		if around == bare && computed > stallFrom && computed-before < stallFastest*hours {
			out.stallEnd = t + dt
		}
		fade := math.Exp(-hours / biasMemory)
		fresh := math.Exp(-hours / n.MisfitH)
		bias *= fade
		misfit = misfit*fresh + n.Ahead*a.blind*math.Sqrt(1-fresh*fresh)*ownRNG.NormFloat64()
		next := math.Min(computed+bias+misfit, a.ceiling(around, p.boil, a.base(ms)+raised))
		if next >= target {
			f := 1.0
			if next > reading {
				f = clampTo((target-reading)/(next-reading), 0, 1)
			}
			out.ready = math.Max(t+f*dt+a.lag, 1)
			break
		}
		reading = next
		t += dt
	}
	return out
}

// ceiling is what no reading passes: the boiling point in foil, the pit itself otherwise.
func (a *ahead) ceiling(around coat, boil, pit float64) float64 {
	if around == inFoil {
		return math.Min(boil, pit)
	}
	return pit + 1
}

// biasMemory is how many hours the present misfit lasts.
const biasMemory = 4.0

func stepAhead(t float64) float64 {
	switch {
	case t < hour:
		return 60
	case t < 6*hour:
		return 120
	}
	return 300
}

// coatLater applies wraps and unwraps that lie ahead.
func (a *ahead) coatLater(ms int64, around coat) coat {
	for _, e := range a.later {
		if e.Time.UnixMilli() > ms {
			break
		}
		switch e.Kind {
		case Wrap:
			around = coatOf(e.With)
		case Unwrap:
			around = bare
		}
	}
	return around
}

// drawAbove draws a temperature at which a person acts, given that it was not reached yet.
func (a *ahead) drawAbove(mean, sd float64, rng *rand.Rand) float64 {
	lowest := normalCDF((a.highest - mean) / sd)
	u := lowest + (1-lowest)*rng.Float64()
	return math.Max(mean+sd*normalQuantile(math.Min(u, 1-1e-6)), a.highest)
}

// drawWrap draws a wrap that no plan announces: none, in most scenarios. A log with a wrap or an unwrap in it has shown
// what the cook does, and gets none.
func (a *ahead) drawWrap(h *Habits, rng *rand.Rand) (with coat, at float64) {
	u, v := rng.Float64(), rng.Float64()
	passed := normalCDF((a.highest - h.WrapAt) / h.WrapSpread)
	if a.handled || h.WrapShare <= 0 || u > h.WrapShare*(1-passed)/(1-h.WrapShare*passed) {
		return bare, 0
	}
	at = a.drawAbove(h.WrapAt, h.WrapSpread, rng)
	if v < 0.5 {
		return inPaper, at
	}
	return inFoil, at
}

// drawRaise draws where the pit is raised without a plan, and by how much; +Inf when it is not.
func (a *ahead) drawRaise(h *Habits, rng *rand.Rand) (at, by float64) {
	u, v, w := rng.Float64(), rng.Float64(), rng.Float64()
	if a.raised || len(h.RaiseBy) == 0 || math.IsNaN(a.setPoint) {
		return math.Inf(1), 0
	}
	passed := normalCDF((a.highest - h.RaiseAt) / h.RaiseSD)
	if u > h.RaiseShare*(1-passed)/(1-h.RaiseShare*passed) {
		return math.Inf(1), 0
	}
	x := h.RaiseAt + h.RaiseSD*normalQuantile(clampTo(passed+(1-passed)*v, 1e-6, 1-1e-6))
	return x, h.RaiseBy[int(w*float64(len(h.RaiseBy)))]
}

func normalCDF(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

func normalQuantile(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }
