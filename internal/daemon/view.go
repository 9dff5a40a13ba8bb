package daemon

import (
	"errors"

	"stallkeeper/internal/broker"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/monitor"
)

// intake is how the ways in and out stand.
func (w *watch) intake() monitor.IntakeView {
	v, s := w.link(), w.stats()
	w.measured.Duplicates(int(s.Duplicates - w.repeats))
	w.repeats = s.Duplicates
	if w.trouble != nil {
		v.Trouble = w.trouble.Error()
	}
	if t := w.db.Trouble(); t != "" {
		v.Trouble = t
	}
	v.Received, v.Quarantined = uint64(s.Stored), uint64(s.Quarantined+s.Conflicts)
	v.Scarce = w.db.Scarce()
	if w.notify != nil {
		v.Delivery = w.notify.Trouble()
	}
	return v
}

// outside is how the connection to an outside broker stands.
func outside(c *ingest.Client) monitor.IntakeView {
	s := c.Status()
	return monitor.IntakeView{Connected: s.Connected, Outside: true, Trouble: s.Trouble}
}

// inside is how the daemon's own broker stands.
func inside(b *broker.Broker) monitor.IntakeView {
	v := monitor.IntakeView{Connected: true, Clients: b.Stats().Clients}
	for _, u := range b.Unheard() {
		v.Unheard = append(v.Unheard, monitor.Unheard{Topic: u.Topic, Meant: ingest.Meant(u.Topic), Times: u.Times, Last: u.Last})
	}
	return v
}

// wellWithReadings is nil unless stored readings have waited for too long to be judged.
func (w *watch) wellWithReadings() error {
	if late := w.Snapshot().Intake.Late; late != "" {
		return errors.New(late)
	}
	return nil
}

// show makes the present state visible and tells those who look.
func (w *watch) show() {
	s := w.core.Snapshot()
	w.snapshot.Store(&s)
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.subs {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

// Snapshot gives the state as it was last shown.
func (w *watch) Snapshot() monitor.Snapshot { return *w.snapshot.Load() }

// Changed gives a channel that receives after changes until stop is called.
func (w *watch) Changed() (<-chan struct{}, func()) {
	c := make(chan struct{}, 1)
	w.mu.Lock()
	w.subs[c] = true
	w.mu.Unlock()
	return c, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.subs, c)
	}
}
