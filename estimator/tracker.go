package estimator

import "time"

// Tracker keeps the samples of one piece as they come and forecasts from them. It gives exactly the forecast that
// Estimator.Forecast gives for the same data, in whatever order they came. It keeps one sample per five seconds over
// the six days before the last time asked for, so a cook that never ends does not grow. It is not safe for use from several goroutines.
type Tracker struct {
	e         *Estimator
	in        Input
	core, pit trace
	last      Forecast
	fresh     bool
}

// Track starts from an input with or without samples.
func (e *Estimator) Track(in Input) *Tracker {
	t := &Tracker{e: e}
	t.AddCore(in.Core...)
	t.AddPit(in.Pit...)
	t.Amend(in)
	return t
}

// AddCore adds readings of the piece.
func (t *Tracker) AddCore(s ...Sample) { t.add(&t.core, s) }

// AddPit adds readings of the pit.
func (t *Tracker) AddPit(s ...Sample) { t.add(&t.pit, s) }

func (t *Tracker) add(to *trace, samples []Sample) {
	for _, s := range samples {
		if to.add(s) {
			t.fresh = false
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
	if !t.fresh || !t.last.At.Equal(at) {
		t.last = t.e.forecast(&t.in, t.core, t.pit, at)
		t.fresh = true
	}
	return t.last
}
