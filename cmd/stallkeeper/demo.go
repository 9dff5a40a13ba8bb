package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"stallkeeper/internal/config"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/daemon"
	"stallkeeper/internal/simulate"
)

type demoCmd struct {
	Data   string  `placeholder:"DIR" help:"Keep the database here (default: a temporary folder, removed at the end)."`
	HTTP   string  `name:"http" placeholder:"ADDR" help:"Where the pages listen (default: 127.0.0.1:8080, or a free port)."`
	Broker string  `placeholder:"ADDR" help:"Where the embedded MQTT broker listens (default: 127.0.0.1:1883, or a free port)."`
	Speed  float64 `default:"120" help:"How many times real time the invented night runs (${default})."`
}

// Help gives an example.
func (demoCmd) Help() string {
	return `Example:

    stallkeeper demo --speed 300

An invented cook of three pieces from the evening to the next day, published over MQTT to the daemon's own broker, with the lot of one of
them from the brine on. Every page says that the data is invented. After the cook the pages stay until Ctrl-C.`
}

// Run serves and publishes the invented cook.
func (d demoCmd) Run(c *console) error {
	if !(d.Speed > 0 && d.Speed <= 5000) {
		return fmt.Errorf("speed %v: give a number above 0, at most 5000", d.Speed)
	}
	cfg := config.Default()
	cfg.Data = d.Data
	if d.Data == "" {
		dir, err := os.MkdirTemp("", "stallkeeper-demo-")
		if err != nil {
			return fmt.Errorf("make a folder for the demo: %w", err)
		}
		defer os.RemoveAll(dir)
		cfg.Data = dir
	}
	cfg.Probes = []config.Probe{{ID: "ambient", Role: cook.RoleAmbient}, {ID: "cooler", Role: cook.RoleCooler}}
	if d.HTTP != "" {
		cfg.HTTP.Listen = d.HTTP
	}
	if d.Broker != "" {
		cfg.Broker.Listen = d.Broker
	}
	today := time.Now()
	start := time.Date(today.Year(), today.Month(), today.Day(), 20, 30, 0, 0, today.Location())
	clock := &demoClock{begin: start.Add(-time.Minute), speed: d.Speed}
	served, err := daemon.New(c.ctx, daemon.Options{Config: cfg, Log: logger(c.errOut, false), Now: clock.now, Invented: true,
		HTTPFallback: d.HTTP == "", BrokerFallback: d.Broker == ""})
	if err != nil {
		return err
	}
	if err := announce(c, served, cfg.Data); err != nil {
		return errors.Join(err, served.Close())
	}
	fmt.Fprintf(c.errOut, "An invented overnight cook at %v times real time. Open %s\n", d.Speed, served.Addresses().HTTP)
	group, ctx := errgroup.WithContext(c.ctx)
	group.Go(func() error { return served.Run(ctx) })
	group.Go(func() error {
		err := (&invention{addresses: served.Addresses(), clock: clock}).run(ctx, simulate.Demo(start))
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
		clock.stop() // no reading comes any more: a clock that ran on would make every probe a silent one
		fmt.Fprintln(c.errOut, "The invented cook is over and its clock stands. The pages stay until Ctrl-C.")
		return nil
	})
	return group.Wait()
}

// demoClock stands at its beginning until it is let go, then runs speed times as fast as real time, and stands again once it is stopped.
type demoClock struct {
	begin time.Time
	speed float64
	runs  atomic.Pointer[func() time.Time]
}

func (c *demoClock) now() time.Time {
	if run := c.runs.Load(); run != nil {
		return (*run)()
	}
	return c.begin
}

func (c *demoClock) run() {
	f := scaled(c.begin, c.speed)
	c.runs.Store(&f)
}

func (c *demoClock) stop() {
	at := c.now()
	f := func() time.Time { return at }
	c.runs.Store(&f)
}

// invention publishes a simulated cook to a running daemon as a person and probes would: events by the API, readings by MQTT.
type invention struct {
	addresses daemon.Addresses
	clock     *demoClock
}

func (v *invention) run(ctx context.Context, s simulate.Scenario) error {
	sim, err := simulate.New(s)
	if err != nil {
		return err
	}
	api := daemonAPI{URL: v.addresses.HTTP}
	p, err := dialPublisher(ctx, v.addresses.Broker)
	if err != nil {
		return err
	}
	defer p.close()
	lot := newDemoLot(api, s.Started)
	if err := v.patiently(ctx, func() error { return api.call(ctx, "GET", "/lots", nil, nil) }); err != nil {
		return err
	}
	if err := lot.past(ctx, p, s); err != nil {
		return err
	}
	v.clock.run()
	var answer struct {
		ID cook.ID `json:"id"`
	}
	if err := api.call(ctx, "POST", "/cooks", describe(s), &answer); err != nil {
		return err
	}
	if err := lot.move(ctx, s.Started, cook.StageSmoke, answer.ID); err != nil {
		return err
	}
	for m, ok := sim.Next(); ok; m, ok = sim.Next() {
		if err := until(ctx, v.clock.now, v.clock.speed, m.Time); err != nil {
			return err
		}
		if err := sendAll(ctx, p, m.Readings); err != nil {
			return err
		}
		for _, e := range m.Events {
			entry := cook.Entry{Event: cook.Event{Time: e.Time, Kind: cook.EventKind(e.Kind), Piece: cook.PieceID(e.Piece), With: e.With, Celsius: e.Celsius}}
			if err := api.call(ctx, "POST", fmt.Sprintf("/cooks/%d/events", answer.ID), entry, nil); err != nil {
				return err
			}
			if err := lot.follow(ctx, e); err != nil {
				return err
			}
		}
	}
	if err := p.flush(ctx); err != nil {
		return err
	}
	truth, _ := sim.Truth(string(demoPiece))
	if err := lot.served(ctx, s, truth); err != nil {
		return err
	}
	return api.call(ctx, "POST", fmt.Sprintf("/cooks/%d/end", answer.ID), struct{}{}, nil)
}

func sendAll(ctx context.Context, p *publisher, readings []simulate.Reading) error {
	for _, r := range readings {
		if err := p.send(ctx, cook.Reading{Probe: cook.ProbeID(r.Probe), Time: cook.Instant(r.Time), Celsius: r.Celsius}); err != nil {
			return err
		}
	}
	return nil
}

// patiently tries again while the pages are still coming up.
func (v *invention) patiently(ctx context.Context, do func() error) error {
	var err error
	for range 50 {
		if err = do(); err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
	}
	return err
}

// describe turns a scenario into the cook that a person would start.
func describe(s simulate.Scenario) cook.Cook {
	c := cook.Cook{Name: s.Name, Started: s.Started, ServeBy: s.ServeBy, AltitudeM: s.AltitudeM, Pit: cook.Pit{SetPoint: s.SetPoint, Fire: string(s.Fire)}}
	for _, p := range s.Pieces {
		piece := cook.Piece{ID: cook.PieceID(p.ID), Cut: p.Cut, MassKg: p.MassKg, ThicknessMM: p.ThicknessMM, Target: p.Target, Intact: p.Intact}
		if p.Plan != nil {
			piece.Plan = &cook.WrapPlan{Wrap: p.Plan.With, AtC: p.Plan.AtCelsius}
		}
		c.Pieces = append(c.Pieces, piece)
	}
	return c
}
