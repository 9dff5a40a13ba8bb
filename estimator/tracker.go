package estimator

import "time"

// Tracker keeps the samples of one piece as they come and forecasts from them. It gives exactly the forecast that
// Estimator.Forecast gives for the same data, in whatever order they came. It keeps one sample per five seconds over
// the six days before the last time asked for, so a cook that never ends does not grow; pieces tracked beside each other
// share the readings of their pit. It is not safe for use from several goroutines.
type Tracker struct {
	e     *Estimator
	in    Input
	core  trace
	pit   *sharedPit
	seen  int // changes of the pit that the last forecast knew
	last  Forecast
	fresh bool
}

// sharedPit is the kept samples of a pit and the number of times they have changed.
type sharedPit struct {
	trace
	changes int
}

// Track starts from an input with or without samples.
func (e *Estimator) Track(in Input) *Tracker { return e.track(in, &sharedPit{}) }

// Beside starts the tracker of another piece in the same pit. The pit's readings given to either count for both.
func (t *Tracker) Beside(in Input) *Tracker { return t.e.track(in, t.pit) }

func (e *Estimator) track(in Input, pit *sharedPit) *Tracker {
	t := &Tracker{e: e, pit: pit}
	t.AddCore(in.Core...)
	t.AddPit(in.Pit...)
	t.Amend(in)
	return t
}

// AddCore adds readings of the piece.
func (t *Tracker) AddCore(s ...Sample) {
	for _, x := range s {
		if t.core.add(x) {
			t.fresh = false
		}
	}
}

// AddPit adds readings of the pit.
func (t *Tracker) AddPit(s ...Sample) {
	for _, x := range s {
		if t.pit.add(x) {
			t.pit.changes++
		}
	}
}

// Amend replaces all that is known about the piece except its samples.
func (t *Tracker) Amend(in Input) {
	in.Core, in.Pit = nil, nil
	t.in = in
	t.fresh = false
}

// Forecast is the forecast at a time. Asked again for the same time with nothing new, it answers from memory.
func (t *Tracker) Forecast(at time.Time) Forecast {
	// Forgetting goes by the time asked for: a sample from a clock that runs ahead must not push out the real ones.
	long := at.Add(-maxLog - Horizon - 12*time.Hour).UnixMilli()
	t.core.forget(long)
	t.pit.forget(long)
	if !t.fresh || t.seen != t.pit.changes || !t.last.At.Equal(at) {
		t.last = t.e.forecast(&t.in, t.core, t.pit.trace, at)
		t.fresh, t.seen = true, t.pit.changes
	}
	return t.last
}
