package station

import (
	"context"
	"errors"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"time"

	"stallkeeper/cmd/stallkeeper-probe/internal/backlog"
	"stallkeeper/cmd/stallkeeper-probe/internal/sysfs"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/convert"
)

// Result is one measurement of one probe: a reading, or what is wrong.
type Result struct {
	Probe   string
	Time    time.Time // the middle of the sampling
	Celsius thermal.Celsius
	Seq     int64
	Samples int
	Spread  thermal.CelsiusDelta // between the lowest and the highest sample
	Err     error                // usually a *sysfs.Fault; the fields above are then empty
}

// sensor is a configured probe. A read that the driver never ends occupies it, and only it.
type sensor struct {
	probe   Probe
	address sysfs.Address
	busy    chan struct{}
	seq     int64
}

// Meter measures all configured probes. It is used by one goroutine.
type Meter struct {
	tree    sysfs.Tree
	now     func() time.Time
	limit   time.Duration // for one probe
	sensors []*sensor
}

// NewMeter prepares the probes of a valid configuration. limit is how long one probe may take.
func NewMeter(probes []Probe, tree sysfs.Tree, limit time.Duration, now func() time.Time) (*Meter, error) {
	m := &Meter{tree: tree, now: now, limit: limit}
	for _, p := range probes {
		a, err := sysfs.ParseAddress(p.Device)
		if err != nil {
			return nil, err
		}
		m.sensors = append(m.sensors, &sensor{probe: p, address: a, busy: make(chan struct{}, 1)})
	}
	return m, nil
}

// Measure samples all probes at the same time and gives their results in the order of the configuration. It returns within
// the limit: a sensor whose driver hangs is reported as slow, and asked again when that read has come back.
func (m *Meter) Measure(ctx context.Context) []Result {
	began := m.now()
	if slices.ContainsFunc(m.sensors, func(s *sensor) bool { return strings.HasPrefix(s.address.String(), "w1:") }) {
		sysfs.Convert(ctx, m.tree)
	}
	results := make([]Result, len(m.sensors))
	var wg sync.WaitGroup
	for i, s := range m.sensors {
		wg.Go(func() { results[i] = m.one(ctx, s, began) })
	}
	wg.Wait()
	for i, s := range m.sensors {
		if results[i].Err == nil {
			s.seq++
			results[i].Seq = s.seq
		}
	}
	return results
}

func (m *Meter) one(ctx context.Context, s *sensor, began time.Time) Result {
	slow := Result{Probe: string(s.probe.Name), Err: &sysfs.Fault{Kind: sysfs.Slow, Err: errSlow}}
	select {
	case s.busy <- struct{}{}:
	default:
		return slow
	}
	ctx, cancel := context.WithTimeout(ctx, m.limit)
	defer cancel()
	if !strings.HasPrefix(s.address.String(), "w1:") {
		began = m.now()
	}
	done := make(chan Result, 1)
	// A read of a hanging driver cannot be interrupted: this goroutine ends when the driver comes back.
	go func() {
		r := s.sample(ctx, m.tree, began, m.now)
		<-s.busy // before the result is taken: the next round may begin at once
		done <- r
	}()
	select {
	case r := <-done:
		return r
	case <-ctx.Done():
		return slow
	}
}

var errSlow = errors.New("the driver does not answer in time: check the wiring; a 1-wire bus needs its pull-up")

// sample takes the median of several samples. Less than half of them may fail.
func (s *sensor) sample(ctx context.Context, t fs.FS, began time.Time, now func() time.Time) Result {
	n, gap := s.address.Oversampling()
	if s.probe.Samples > 0 {
		n = s.probe.Samples
	}
	if s.probe.Gap > 0 {
		gap = s.probe.Gap
	}
	r := Result{Probe: string(s.probe.Name)}
	var values []thermal.Celsius
	failed := 0
	for i := range n {
		if i > 0 {
			select {
			case <-ctx.Done():
				r.Err = ctx.Err()
				return r
			case <-time.After(gap):
			}
		}
		c, err := s.read(t)
		if err == nil {
			values = append(values, c)
			continue
		}
		r.Err = err
		if failed++; 2*failed >= n {
			return r
		}
	}
	r.Err = nil
	slices.Sort(values)
	r.Celsius = (values[(len(values)-1)/2] + values[len(values)/2]) / 2
	r.Samples, r.Spread = len(values), thermal.CelsiusDelta(values[len(values)-1]-values[0])
	r.Time = began.Add(now().Sub(began) / 2)
	return r
}

func (s *sensor) read(t fs.FS) (thermal.Celsius, error) {
	v, err := s.address.Read(t)
	if err != nil {
		return 0, err
	}
	spec := convert.Spec{}
	if s.probe.Convert != nil {
		spec = *s.probe.Convert
	}
	var c thermal.Celsius
	if v.Quantity == sysfs.Celsius {
		c, err = spec.FromChip(thermal.Celsius(v.Value), v.Ambient)
	} else {
		c, err = spec.Celsius(v.Quantity, v.Value)
	}
	if err == nil && !c.Finite() {
		err = errors.New("below absolute zero: check scale and conversion")
	}
	if err != nil {
		return 0, &sysfs.Fault{Kind: sysfs.Range, Err: err}
	}
	return c, nil
}

// record makes the backlog's form of a good result.
func (r Result) record(c clock) backlog.Record {
	rec := backlog.Record{Probe: r.Probe, Celsius: float64(r.Celsius), Seq: r.Seq, Samples: r.Samples, Spread: float64(r.Spread)}
	if c.set {
		rec.Unix = r.Time.UnixMicro()
		return rec
	}
	rec.Boot, rec.Uptime = c.boot, c.uptime-c.now.Sub(r.Time).Seconds()
	return rec
}
