package station

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"stallkeeper/cmd/stallkeeper-probe/internal/backlog"
	"stallkeeper/cmd/stallkeeper-probe/internal/sysfs"
	"stallkeeper/cmd/stallkeeper-probe/internal/uplink"
)

// Station measures and publishes. Make one with New.
type Station struct {
	cfg          Config
	tree         sysfs.Tree
	proc         fs.FS
	now          func() time.Time
	synchronised func() bool
	log          *slog.Logger

	meter   *Meter
	queue   *backlog.Queue
	link    *uplink.Uplink
	untimed atomic.Int64
	state   map[string]string // what was last logged about each probe
}

// Surroundings is what a station touches of the board.
type Surroundings struct {
	Tree         sysfs.Tree // like /sys
	Proc         fs.FS      // like /proc
	Now          func() time.Time
	Synchronised func() bool // whether the kernel's clock is synchronised, asked with clock = "ntp"
	Log          *slog.Logger
}

// New opens the backlog and prepares the connection. Without a link (dry) nothing is kept on disk.
func New(cfg Config, at Surroundings, dry bool) (*Station, error) {
	if len(cfg.Probes) == 0 {
		return nil, errors.New("no [[probe]] in the configuration: --list shows what is wired here")
	}
	s := &Station{cfg: cfg, tree: at.Tree, proc: at.Proc, now: at.Now, synchronised: at.Synchronised, log: at.Log, state: map[string]string{}}
	var err error
	if s.meter, err = NewMeter(cfg.Probes, at.Tree, max(cfg.Interval, 5*time.Second), at.Now); err != nil {
		return nil, err
	}
	folder := cfg.Backlog.Folder
	if dry {
		folder = ""
	}
	var bad int
	if s.queue, bad, err = backlog.Open(folder, cfg.Backlog.Readings); err != nil {
		return nil, err
	}
	if bad > 0 {
		s.log.Warn("damaged lines in the backlog were skipped", "lines", bad)
	}
	password, err := cfg.MQTT.Password()
	if err != nil {
		return nil, err
	}
	s.link, err = uplink.New(uplink.Options{URL: cfg.MQTT.URL, ClientID: cfg.MQTT.ClientID, Username: cfg.MQTT.Username, Password: password,
		CAFile: cfg.MQTT.CAFile, StatusTopic: cfg.MQTT.StatusTopic + cfg.Name + "/status", Gone: []byte(`{"online":false}`),
		PerSecond: cfg.Backlog.ResendPerSecond, Log: at.Log}, s.queue, s.encode)
	return s, err
}

func (s *Station) clock() clock { return readClock(s.proc, s.cfg.Clock, s.now(), s.synchronised) }

// encode runs while the backlog drains.
func (s *Station) encode(r backlog.Record) (string, []byte, bool) {
	data, ok := payload(r, s.clock())
	if !ok {
		s.untimed.Add(1)
	}
	return s.cfg.MQTT.ReadingTopic + r.Probe, data, ok
}

// Run measures every interval and publishes until ctx ends; then it writes what is not yet acknowledged to disk.
func (s *Station) Run(ctx context.Context) error {
	var wg sync.WaitGroup
	linkCtx, stop := context.WithCancel(ctx)
	wg.Go(func() { s.link.Run(linkCtx) })
	s.work(ctx)
	stop()
	wg.Wait()
	return s.queue.Spill()
}

func (s *Station) work(ctx context.Context) {
	measure, spill, status := time.NewTicker(s.cfg.Interval), time.NewTicker(s.cfg.Backlog.Spill), time.NewTicker(s.cfg.StatusInterval)
	defer measure.Stop()
	defer spill.Stop()
	defer status.Stop()
	results := s.measure(ctx)
	s.tell(results)
	for {
		select {
		case <-ctx.Done():
			return
		case <-measure.C:
			results = s.measure(ctx)
			if s.changed(results) {
				s.tell(results)
			}
		case <-spill.C:
			s.spill()
		case <-status.C:
			s.tell(results)
		}
	}
}

func (s *Station) spill() {
	const key = " disk" // no probe's name
	err := s.queue.Spill()
	switch {
	case err != nil && s.state[key] != err.Error():
		s.log.Error("readings that wait are in memory only", "error", err)
		s.state[key] = err.Error()
	case err == nil:
		delete(s.state, key)
	}
}

func (s *Station) measure(ctx context.Context) []Result {
	results := s.meter.Measure(ctx)
	if ctx.Err() != nil {
		return results
	}
	c := s.clock()
	for _, r := range results {
		if r.Err == nil {
			s.queue.Add(r.record(c))
		}
	}
	s.link.Wake()
	return results
}

// changed logs what is new about each probe and reports whether anything is.
func (s *Station) changed(results []Result) bool {
	changed := false
	for _, r := range results {
		text := ""
		if r.Err != nil {
			text = r.Err.Error()
		}
		last, known := s.state[r.Probe]
		if known && last == text {
			continue
		}
		changed = true
		s.state[r.Probe] = text
		if text != "" {
			s.log.Warn("probe gives no value", "probe", r.Probe, "fault", faultKind(r.Err), "error", text)
		} else if known {
			s.log.Info("probe works again", "probe", r.Probe)
		}
	}
	return changed
}

// tell sets the retained status.
func (s *Station) tell(results []Result) {
	s.changed(results)
	h := health{Online: true, Interval: s.cfg.Interval.Seconds(), Waiting: s.queue.Len(), Thinned: s.queue.Thinned(), Untimed: s.untimed.Load(),
		Probes: map[string]probeHealth{}}
	if c := s.clock(); c.set {
		h.Time = c.now.UTC().Format(time.RFC3339)
	}
	if v, ok := sysfs.Battery(s.tree); ok {
		h.Battery = &v
	}
	if v, ok := sysfs.Link(s.proc); ok {
		h.Link = &v
	}
	for _, r := range results {
		p := probeHealth{OK: r.Err == nil}
		if r.Err != nil {
			p.Fault, p.Text = string(faultKind(r.Err)), r.Err.Error()
		}
		h.Probes[r.Probe] = p
	}
	data, err := json.Marshal(h)
	if err != nil {
		s.log.Error("status", "error", err)
		return
	}
	s.link.SetStatus(data)
}

func faultKind(err error) sysfs.Kind {
	var f *sysfs.Fault
	if errors.As(err, &f) {
		return f.Kind
	}
	return sysfs.NoValue
}

// Once measures once and waits until the broker has everything, at most the patience. The error names what is missing.
func (s *Station) Once(ctx context.Context, patience time.Duration) error {
	results := s.measure(ctx)
	s.tell(results)
	ctx, stop := context.WithTimeout(ctx, patience)
	defer stop()
	var wg sync.WaitGroup
	wg.Go(func() { s.link.Run(ctx) })
	for s.queue.Len() > 0 && ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-time.After(20 * time.Millisecond):
		}
	}
	stop()
	wg.Wait()
	if err := s.queue.Spill(); err != nil {
		return err
	}
	if n := s.queue.Len(); n > 0 {
		return fmt.Errorf("broker %s did not take %d readings within %s: they wait in %s", s.cfg.MQTT.URL, n, patience, s.cfg.Backlog.Folder)
	}
	return firstFault(results)
}

func firstFault(results []Result) error {
	for _, r := range results {
		if r.Err != nil {
			return fmt.Errorf("probe %s: %w", r.Probe, r.Err)
		}
	}
	return nil
}

// DryRun measures and prints what would be published; with once it ends after the first round.
func (s *Station) DryRun(ctx context.Context, out io.Writer, once bool) error {
	ticker := time.NewTicker(s.cfg.Interval)
	defer ticker.Stop()
	for {
		results := s.meter.Measure(ctx)
		c := s.clock()
		for _, r := range results {
			line := fmt.Sprintf("%s%s no value (%s): %v", s.cfg.MQTT.ReadingTopic, r.Probe, faultKind(r.Err), r.Err)
			if r.Err == nil {
				data, _ := payload(r.record(c), c)
				line = fmt.Sprintf("%s%s %s", s.cfg.MQTT.ReadingTopic, r.Probe, data)
			}
			if _, err := fmt.Fprintln(out, line); err != nil {
				return err
			}
		}
		if once {
			return firstFault(results)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
		}
	}
}

// List prints the sensors that are wired here, each with its address and its present value or fault.
func List(ctx context.Context, tree sysfs.Tree, out io.Writer) error {
	found := sysfs.List(tree)
	if len(found) == 0 {
		_, err := fmt.Fprintln(out, "no sensor found: enable the overlay of your sensor (1-wire, converter chip) and load its driver")
		return err
	}
	sysfs.Convert(ctx, tree)
	for _, a := range found {
		text := ""
		switch v, err := a.Read(tree); {
		case err != nil:
			text = fmt.Sprintf("%s: %v", faultKind(err), err)
		case v.Quantity == sysfs.Celsius:
			text = fmt.Sprintf("%.3f °C", v.Value)
		default:
			text = fmt.Sprintf("%.4g mV", v.Value)
		}
		if _, err := fmt.Fprintf(out, "%-32s %s\n", a, text); err != nil {
			return err
		}
	}
	return nil
}
