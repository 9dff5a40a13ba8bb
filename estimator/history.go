package estimator

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"
)

// history is one log up to the moment of the forecast, cut into equal steps for the column.
type history struct {
	t0    int64     // Unix ms of the first step's beginning
	dt    float64   // seconds per step
	pit   []float64 // measured or assumed pit temperature per step, °C
	coats []coat    // what surrounded the piece per step
	obs   []obs
	boil  float64
	start float64 // first reading
	gaps  float64 // share of the steps without a pit reading

	shift     []float64 // by how much each observation is out of date for the probe's place, K
	medianLag float64   // seconds by which the five-minute median trails a rising probe
	unread    bool      // no reading of the core is known
	assumed   bool      // start is assumed: nobody read the core when the piece was put on
}

// obs is a median of the core readings near the end of a step.
type obs struct {
	step int // after this many steps
	c    float64
}

// baseStep is the length of a step; longer logs have longer steps so that the cost stays bounded.
const (
	baseStep = 120.0
	maxSteps = 400
	maxObs   = 90
)

// What is assumed of a piece that no probe has read (common practice, no source): its temperature when it was put on, °C,
// and the sd of that beyond a read one's, K.
const (
	fromCooler  = 5.0
	unreadStart = 4.0
)

// newHistory cuts a log. core and pit are cleaned; without a core the piece was put on when the cook started. putOn, Unix ms,
// counts if it comes before the first core reading.
func newHistory(in *Input, core, pit []point, putOn int64, at time.Time, boil float64) *history {
	end := at.UnixMilli()
	h := &history{boil: boil, unread: len(core) == 0}
	if h.unread {
		core = []point{{max(in.Started.UnixMilli(), end-maxLog.Milliseconds()), fromCooler}}
	}
	h.t0 = min(core[0].ms, putOn)
	seconds := math.Max(float64(end-h.t0)/1000, 1)
	h.dt = baseStep * math.Max(1, math.Ceil(seconds/baseStep/maxSteps))
	n := max(int(math.Ceil(seconds/h.dt-1e-9)), 1)
	h.dt = seconds / float64(n)
	h.pit, h.gaps = pitSteps(in, pit, h.t0, h.dt, n, end)
	h.coats = make([]coat, n)
	events := pastEvents(in, at)
	for i := range h.coats {
		h.coats[i] = coatAt(events, h.t0+int64((float64(i)+0.5)*h.dt*1000))
	}
	h.observe(core)
	if h.unread {
		h.obs = nil
	}
	if h.assumed = h.unread || h.t0 < core[0].ms; h.assumed {
		h.start = fromCooler
	}
	var moved []int64
	for _, e := range events {
		if e.Kind == ProbeMoved {
			moved = append(moved, e.Time.UnixMilli())
		}
	}
	h.shift = h.shifts(moved)
	h.medianLag = medianLag(core, end)
	return h
}

// loosen lets the start vary where it is assumed.
func (h *history) loosen(cov *mat.SymDense) *mat.SymDense {
	if h.assumed {
		cov.SetSym(pStart, pStart, cov.At(pStart, pStart)+unreadStart*unreadStart)
	}
	return cov
}

// A probe that is put in late finds the piece warm inside and hot at its surface. Choices of this project, no source.
const (
	putInLate  = 15 * time.Minute // after the piece was put on
	warmInside = 15.0             // °C, warmer than what comes from a cooler or a kitchen table: at a known start
	surelyOn   = 35.0             // °C, without one
	longestOn  = 12 * 60          // minutes that are looked back
)

// putOn is when the piece was put on, Unix ms, if its probe came later: as was written down, or else when an average piece of its
// kind would have had to be put on to read as it did first. Otherwise it is the first reading's time.
func (p *Prior) putOn(in *Input, tr *traits, core, pit []point) int64 {
	if len(core) == 0 {
		return math.MaxInt64
	}
	first := core[0]
	if started := in.Started.UnixMilli(); !in.Started.IsZero() && first.ms-started >= putInLate.Milliseconds() {
		if first.c > warmInside {
			return started
		}
		return first.ms
	}
	around := setPointAt(in, nil, first.ms)
	if math.IsNaN(around) {
		around = usualPit
		if len(pit) > 0 {
			around = pit[0].c
		}
	}
	if !(first.c > surelyOn) || first.c > around-5 {
		return first.ms
	}
	mean, _ := p.Ways[0].at(tr, true)
	piece := mean.physics(fromCooler, 100)
	g, c := piece.grid(), piece.fresh()
	minutes := 0
	for ; minutes < longestOn && c.probe(&g) < first.c; minutes += 2 {
		c.step(&piece, &g, around, 120, bare)
	}
	return first.ms - int64(minutes)*60000
}

// blindness is how much more the model misses where the pit was not measured: up to twice as much.
func (h *history) blindness() float64 { return 1 + h.gaps }

// medianLag is half the time the readings of the last five minutes span, as the log was kept over the last half hour.
func medianLag(core []point, end int64) float64 {
	n := len(core) - upTo(core, end-30*60*1000)
	if n < 2 {
		return 0
	}
	every := 1800 / float64(n)
	return math.Max(0, 300-every) / 2
}

// pastEvents gives the events at or before a time, ascending.
func pastEvents(in *Input, at time.Time) []Event {
	var out []Event
	for _, e := range in.Events {
		if !e.Time.After(at) {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b Event) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.With, b.With), cmp.Compare(a.Celsius, b.Celsius))
	})
	return out
}

func coatOf(w Wrapping) coat {
	if w == Paper {
		return inPaper
	}
	return inFoil
}

// coatAt is what surrounds the piece at a time, from ordered events.
func coatAt(events []Event, ms int64) coat {
	c := bare
	for _, e := range events {
		if e.Time.UnixMilli() > ms {
			break
		}
		switch e.Kind {
		case Wrap:
			c = coatOf(e.With)
		case Unwrap:
			c = bare
		}
	}
	return c
}

// setPointAt is the pit's setpoint at a time, NaN when there is none.
func setPointAt(in *Input, events []Event, ms int64) float64 {
	sp := float64(in.SetPoint)
	if !(sp > 30 && sp < 400) {
		sp = math.NaN()
	}
	for _, e := range events {
		if e.Kind == SetPoint && e.Time.UnixMilli() <= ms && e.Celsius > 30 && e.Celsius < 400 {
			sp = float64(e.Celsius)
		}
	}
	return sp
}

// pitSteps averages the pit over the steps. Gaps up to twenty minutes are bridged in a straight line; longer ones take
// the setpoint plus the level the pit has kept against it.
func pitSteps(in *Input, pit []point, t0 int64, dt float64, n int, end int64) (steps []float64, gaps float64) {
	sum, count := make([]float64, n), make([]float64, n)
	for _, p := range pit {
		if p.ms < t0 || p.ms > end {
			continue
		}
		i := min(int(float64(p.ms-t0)/1000/dt), n-1)
		sum[i] += p.c
		count[i]++
	}
	events := pastEvents(in, time.UnixMilli(end))
	steps = make([]float64, n)
	var level, weight float64
	mid := func(i int) int64 { return t0 + int64((float64(i)+0.5)*dt*1000) }
	for i := range n {
		if count[i] == 0 {
			continue
		}
		steps[i] = sum[i] / count[i]
		if sp := setPointAt(in, events, mid(i)); !math.IsNaN(sp) && math.Abs(steps[i]-sp) < 25 {
			level += steps[i] - sp
			weight++
		}
	}
	level /= weight + 3
	lastKnown := -1
	for i := 0; i <= n; i++ {
		if i < n && count[i] == 0 {
			continue
		}
		for j := lastKnown + 1; j < i; j++ {
			steps[j] = setPointAt(in, events, mid(j)) + level
			switch {
			case math.IsNaN(steps[j]) && lastKnown >= 0:
				steps[j] = steps[lastKnown]
			case math.IsNaN(steps[j]) && i < n:
				steps[j] = steps[i]
			case math.IsNaN(steps[j]):
				steps[j] = usualPit
			}
			bridge := float64(i-lastKnown) * dt
			if lastKnown >= 0 && i < n && bridge <= 20*60 {
				f := float64(j-lastKnown) / float64(i-lastKnown)
				steps[j] = steps[lastKnown] + f*(steps[i]-steps[lastKnown])
			} else if lastKnown >= 0 && float64(j-lastKnown)*dt <= 10*60 {
				steps[j] = steps[lastKnown]
			}
			gaps++
		}
		lastKnown = i
	}
	return steps, gaps / float64(n)
}

// usualPit is assumed where neither a setpoint nor a reading is known, °C.
const usualPit = 110

// observe takes medians of the core readings, one per interval, at the ends of steps.
func (h *history) observe(core []point) {
	n := len(h.pit)
	every := max(int(math.Ceil(float64(n)/maxObs)), int(math.Round(480/h.dt)), 1)
	h.start = median(values(core[:min(3, upTo(core, h.t0+3*60*1000))]))
	var window []float64
	j := 0
	for end := n % every; end <= n; end += every {
		if end == 0 {
			continue
		}
		hi := h.t0 + int64(float64(end)*h.dt*1000) + 1
		lo := hi - int64(float64(every)*h.dt*1000)
		window = window[:0]
		var when float64
		for ; j < len(core) && core[j].ms <= hi; j++ {
			if core[j].ms > lo {
				window = append(window, core[j].c)
				when += float64(core[j].ms - h.t0)
			}
		}
		if len(window) == 0 {
			continue
		}
		when /= float64(len(window)) * 1000
		step := min(max(int(math.Round(when/h.dt)), 1), n)
		if k := len(h.obs); k > 0 && h.obs[k-1].step >= step {
			continue
		}
		h.obs = append(h.obs, obs{step, median(window)})
	}
	if len(h.obs) == 0 { // all readings stand where no interval begins
		h.obs = []obs{{n, core[len(core)-1].c}}
	}
}

func upTo(points []point, ms int64) int {
	n := 0
	for n < len(points) && points[n].ms <= ms {
		n++
	}
	return max(n, 1)
}

func values(points []point) []float64 {
	out := make([]float64, len(points))
	for i, p := range points {
		out[i] = p.c
	}
	return out
}
