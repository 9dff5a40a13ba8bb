package simulate

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// Moment is what came to be known at one time. Its slices are reused by the next call of Next.
type Moment struct {
	Time     time.Time
	Readings []Reading
	Events   []Event // since the moment before, in time order
}

// Truth is what no probe shows, at the present moment.
type Truth struct {
	Core, Surface thermal.Celsius // on the axis at mid-thickness; mean over the surface
	Loss          float64         // share of the raw mass gone
	EvaporatedKg  float64
	DrippedKg     float64 // juice run off, or standing in a wrap
	RenderedKg    float64 // fat
}

// Run is a scenario under way. It is not safe for concurrent use.
type Run struct {
	scenario Scenario
	vapour   *vapourTable
	pressure float64
	boil     float64
	pit      *pit
	pieces   []*piece
	sensors  []*sensor
	cooler   cooler
	script   []Act // in time order, those still to come
	faults   []FireFault
	now      time.Duration
	begun    bool
	steamed  float64 // kg/s, of all pieces
	taken    float64 // W, by all pieces
	moment   Moment
}

// piece is a body with what was planned and done.
type piece struct {
	Piece
	body    *body
	off     bool
	planned bool          // the planned wrap is on the script
	leaving bool          // the taking off is on the script
	ready   bool          // its first probe has shown the target for a while
	readyAt time.Duration // since when, if so
}

// maxStep bounds the time step of pit and film, s.
const maxStep = 2.5

// New begins a run. The error names everything that cannot be simulated.
func New(s Scenario) (*Run, error) {
	if err := s.check(); err != nil {
		return nil, fmt.Errorf("simulate %q: %w", s.Name, err)
	}
	r := &Run{scenario: s, vapour: newVapourTable(), pressure: airPressure(s.AltitudeM), cooler: cooler{t: 3.4}}
	r.boil = r.vapour.boiling(r.pressure)
	r.pit = newPit(&s, rand.New(rand.NewPCG(s.Seed, 1)))
	outdoor, _ := r.vapour.at(float64(s.Weather.DewPoint))
	r.pit.humid = massRatio*outdoor/(r.pressure-outdoor) + r.pit.power*r.pit.moisture/r.pit.flow
	for _, p := range s.Pieces {
		r.pieces = append(r.pieces, &piece{Piece: p, body: newBody(p)})
	}
	for i, p := range s.Probes {
		rng := rand.New(rand.NewPCG(s.Seed, uint64(100+i)))
		r.sensors = append(r.sensors, newSensor(p, r.seen(p, s.Started), rng))
	}
	r.script, r.faults = slices.Clone(s.Script), slices.Clone(s.Faults)
	slices.SortStableFunc(r.script, func(a, b Act) int { return cmp.Compare(a.After, b.After) })
	slices.SortStableFunc(r.faults, func(a, b FireFault) int { return cmp.Compare(a.After, b.After) })
	return r, nil
}

// Next moves the cook on by one interval (the first call stays at the start) and reports false once it is over.
func (r *Run) Next() (Moment, bool) {
	r.moment.Readings, r.moment.Events = r.moment.Readings[:0], r.moment.Events[:0]
	if r.begun {
		if r.now+r.scenario.Interval > r.scenario.Length || r.over() {
			return Moment{}, false
		}
		r.advance(r.scenario.Interval)
	}
	r.begun = true
	at := r.scenario.Started.Add(r.now)
	r.moment.Time = at
	for _, s := range r.sensors {
		s.follow(r.seen(s.Probe, at), r.scenario.Interval.Seconds())
		if v, ok := s.read(r.scenario.Interval); ok {
			r.moment.Readings = append(r.moment.Readings, Reading{Probe: s.Name, Time: at, Celsius: v})
		}
	}
	r.intend()
	return r.moment, true
}

// over reports whether every piece has been ready for as long as the scenario wants to see.
func (r *Run) over() bool {
	return r.scenario.Stop > 0 && len(r.pieces) > 0 &&
		!slices.ContainsFunc(r.pieces, func(p *piece) bool { return !p.ready || r.now-p.readyAt < r.scenario.Stop })
}

// advance runs the physics over a span, doing what the script says at its time.
func (r *Run) advance(span time.Duration) {
	steps := max(int(math.Ceil(span.Seconds()/maxStep)), 1)
	step := span / time.Duration(steps)
	end := r.now + span
	for i := range steps {
		if i == steps-1 {
			step = end - r.now
		}
		r.perform()
		r.physics(step.Seconds())
		r.now += step
	}
}

func (r *Run) physics(dt float64) {
	out := r.scenario.Weather.outdoors(r.scenario.Started.Add(r.now))
	r.pit.step(dt, out, r.taken)
	r.cooler.step(dt)
	outdoor, _ := r.vapour.at(float64(r.scenario.Weather.DewPoint))
	r.pit.breathe(dt, massRatio*outdoor/(r.pressure-outdoor), r.steamed)
	vapour := r.pit.vapour(r.pressure)
	r.taken, r.steamed = 0, 0
	for _, p := range r.pieces {
		s := around{air: r.pit.ta + float64(p.Spot), wall: r.pit.tw, vapour: vapour, pressure: r.pressure, boil: r.boil,
			convect: r.pit.convect, radiate: r.pit.radiation(p.body.faces[radial].ts)}
		if p.off {
			s = around{air: 21, wall: 21, vapour: outdoor, pressure: r.pressure, boil: r.boil, convect: boxLeak, still: true}
		}
		took, steamed := p.body.step(dt, s, r.vapour)
		p.body.evaporated += steamed * dt
		if !p.off {
			r.taken += took
			r.steamed += steamed
		}
	}
}

// boxLeak is the heat a wrapped piece in an insulated box loses, W/(m²K) (a choice of this project, no source).
const boxLeak = 1.5

// seen is the truth in front of a probe.
func (r *Run) seen(p Probe, at time.Time) float64 {
	switch p.Sees {
	case SeesPiece:
		return r.piece(p.Piece).body.at(p.Depth)
	case SeesAmbient:
		return r.scenario.Weather.outdoors(at)
	case SeesCooler:
		return r.cooler.t
	}
	return r.pit.seen()
}

func (r *Run) piece(id string) *piece {
	i := slices.IndexFunc(r.pieces, func(p *piece) bool { return p.ID == id })
	return r.pieces[i] // the scenario was checked: it is there
}

// Truth tells the hidden state of a piece; an unknown id gives false.
func (r *Run) Truth(id string) (Truth, bool) {
	i := slices.IndexFunc(r.pieces, func(p *piece) bool { return p.ID == id })
	if i < 0 {
		return Truth{}, false
	}
	b := r.pieces[i].body
	return Truth{Core: thermal.Celsius(b.at(0)), Surface: thermal.Celsius(b.meanSurface()), Loss: b.loss(),
		EvaporatedKg: b.evaporated, DrippedKg: b.dripped, RenderedKg: b.rendered}, true
}

// All runs a scenario to its end at once.
func All(s Scenario) ([]Reading, []Event, error) {
	r, err := New(s)
	if err != nil {
		return nil, nil, err
	}
	var readings []Reading
	var events []Event
	for m, ok := r.Next(); ok; m, ok = r.Next() {
		readings = append(readings, m.Readings...)
		events = append(events, m.Events...)
	}
	return readings, events, nil
}
