package estimator

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// Estimator makes forecasts from a prior. It may be used from several goroutines at once.
type Estimator struct{ prior Prior }

// New makes an estimator with a prior, which must pass Check: with another it panics or talks nonsense.
func New(p Prior) *Estimator { return &Estimator{prior: p} }

// draws is the number of scenarios in a forecast.
const draws = 200

// Forecast says when the piece reaches its target, from what was known at a time. It is a function of its arguments.
func (e *Estimator) Forecast(in Input, at time.Time) Forecast {
	return e.forecast(&in, newTrace(in.Core, at), newTrace(in.Pit, at), at)
}

func (e *Estimator) forecast(in *Input, coreTrace, pitTrace trace, at time.Time) Forecast {
	from := int64(math.MinInt64)
	if !in.Started.IsZero() {
		from = in.Started.UnixMilli()
	}
	from = max(from, at.UnixMilli()-maxLog.Milliseconds())
	read := clean(coreTrace.within(from, at.UnixMilli()), coreRoom)
	core := inMeat(read, in.Target)
	pit := clean(pitTrace.within(from, at.UnixMilli()), pitRoom)
	f := Forecast{At: at, Core: thermal.Celsius(math.NaN()), Target: in.Target, State: Unknown, PNever: 1, WaterKg: math.NaN()}
	blind := len(core) == 0
	if !blind {
		f.Core = lastMedian(core)
	}
	switch {
	case !(in.Target > coldestReading && in.Target < hottestReading):
		f.Because = "no target temperature is set"
		return f
	case blind && (in.Started.IsZero() || in.Started.After(at)):
		f.Because = "there is no core reading yet"
		return f
	case blind:
		e.fromNothing(&f, in, pit, read)
		return f
	}
	if when, ok := readyAt(core, in.Target); ok {
		for i := range f.Ready {
			f.Ready[i] = when
		}
		f.State, f.Since, f.PNever = Ready, when, 0
		f.Because = fmt.Sprintf("the five-minute median reached %.1f °C", float64(in.Target))
		return f
	}
	s := e.scenarios(in, core, pit, at)
	f.fill(s.ends)
	f.fan(s, float64(in.Target))
	f.explain(in, s, core)
	return f
}

// fromNothing forecasts a piece that was put on but has shown no reading: from what it is and from its pit alone.
func (e *Estimator) fromNothing(f *Forecast, in *Input, pit, read []point) {
	s := e.scenarios(in, nil, pit, f.At)
	f.fill(s.ends)
	f.fan(s, float64(in.Target))
	f.StallEnd = time.Time{}
	why := "there is no core reading yet"
	if len(read) > 0 {
		why = fmt.Sprintf("the core probe reads %.0f °C, as no piece does: it is in the air, or the probes are mixed up", read[len(read)-1].c)
	}
	f.Because = why + ": this is what the piece and its pit alone let expect" + s.fireOut(in) + f.obstacle(in, s)
}

// lastMedian is the median of the readings of the five minutes up to the last one.
func lastMedian(core []point) thermal.Celsius {
	const span = 5 * 60 * 1000
	i := len(core) - 1
	for i > 0 && core[i-1].ms > core[len(core)-1].ms-span {
		i--
	}
	return thermal.Celsius(median(values(core[i:])))
}

// scenarios is a forecast before it is corrected, with what it rests on.
type scenarios struct {
	h       *history
	a       *ahead
	traits  traits
	pit     []point
	members []member
	ends    []outcome
}

func (e *Estimator) scenarios(in *Input, core, pit []point, at time.Time) *scenarios {
	s := &scenarios{pit: pit, traits: e.prior.traits(in, pit)}
	s.h = newHistory(in, core, pit, e.prior.putOn(in, &s.traits, core, pit), at, float64(thermal.BoilingPoint(in.AltitudeM)))
	s.a = newAhead(in, s.h, at)
	s.members = e.infer(&s.traits, in, s.h, s.a, pit)
	s.ends = make([]outcome, len(s.members))
	for k := range s.members {
		s.ends[k] = s.run(e, in, k, 0)
	}
	s.lose(e, in, at)
	return s
}

// run carries a scenario to its end. Its pit goes by its index alone, so that the pieces of one pit share it; another try
// takes another member with other luck.
func (s *scenarios) run(e *Estimator, in *Input, k, try int) outcome {
	m := s.members[(k+try*len(s.members)/3)%len(s.members)]
	own := rand.NewPCG(seedOf(in)^uint64(k), 3+uint64(try))
	return s.a.run(m, &e.prior, float64(in.Target), rand.New(rand.NewPCG(uint64(k), 2)), rand.New(own))
}

// infer draws members from the posterior: each way of drying and each account of the wrap in proportion to how well it
// explains the history.
func (e *Estimator) infer(tr *traits, in *Input, h *history, a *ahead, pit []point) []member {
	type candidate struct {
		problem *problem
		post    posterior
	}
	var all []candidate
	var logs []float64
	for _, hyp := range h.hypotheses(a) {
		told := *h
		told.coats = hyp.coats
		for _, way := range e.prior.Ways {
			mean, cov := way.at(tr, len(pit) > 0)
			c := candidate{problem: newProblem(&told, &e.prior, newNormal(mean, h.loosen(cov)))}
			c.post = c.problem.fit(vector{}, 12)
			all = append(all, c)
			logs = append(logs, math.Log(way.Weight*hyp.prior)+c.post.logEvidence())
		}
	}
	var members []member
	rng := rand.New(rand.NewPCG(seedOf(in), 1))
	cum := 0.0
	for i, share := range shares(logs) {
		cum += share
		count := int(math.Round(cum*draws)) - len(members)
		if count > 0 {
			members = append(members, all[i].problem.sample(&all[i].post, count, rng)...)
		}
	}
	return members
}

// fill turns scenarios into quantiles.
func (f *Forecast) fill(ends []outcome) {
	times := make([]float64, len(ends))
	never := 0
	for k, o := range ends {
		times[k] = o.ready
		if math.IsInf(o.ready, 1) {
			never++
		}
		f.Draws = append(f.Draws, Draw{Ready: after(f.At, o.ready), Wrap: after(f.At, o.wrap)})
	}
	f.PNever = float64(never) / float64(len(ends))
	slices.Sort(times)
	for i, level := range Levels {
		if level <= 1-f.PNever {
			x := level*float64(len(times)) - 0.5
			k := int(clampTo(x, 0, float64(len(times)-1)))
			f.Ready[i] = after(f.At, times[k])
		}
	}
}

func after(at time.Time, seconds float64) time.Time {
	if math.IsInf(seconds, 1) {
		return time.Time{}
	}
	return at.Add(time.Duration(seconds * float64(time.Second)))
}

// maxLog is how far back a log is looked at.
const maxLog = 96 * time.Hour

func seedOf(in *Input) uint64 {
	h := fnv.New64a()
	h.Write([]byte(in.Cut))
	var b [8]byte
	for _, x := range []float64{in.MassKg, in.ThicknessMM, float64(in.Target)} {
		binary.LittleEndian.PutUint64(b[:], math.Float64bits(x))
		h.Write(b[:])
	}
	return h.Sum64()
}
