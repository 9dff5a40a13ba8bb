// Package daemon builds the whole from a configuration, runs it, and takes it down in order.
//
// It is the only place that wires packages together, starts goroutines and hands out the clock. Readings flow from a
// broker through ingest into the store; the watch loop reads what was committed and gives it to the monitor, whose
// effects are kept and published; messages to people pass through the store too, so that a kill loses none. The order of
// the end is fixed: intake, pages, messages, monitor, store.
package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"runtime/debug"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"stallkeeper/estimator"
	"stallkeeper/internal/broker"
	"stallkeeper/internal/config"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/metrics"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/notify"
	"stallkeeper/internal/store"
	"stallkeeper/internal/web"
	"stallkeeper/internal/web/shop"
)

// Options are what the daemon is built from.
type Options struct {
	Config config.Config
	Log    *slog.Logger
	Now    func() time.Time // may run faster than real time; only staleness and arrival times depend on it
	// Invented marks the demo: every page says that the data is made up.
	Invented bool
	// Fallbacks take a free port when the default one is taken.
	HTTPFallback, BrokerFallback bool
}

// Addresses are where the daemon listens.
type Addresses struct {
	HTTP   string // such as http://127.0.0.1:8080
	Broker string // such as mqtt://127.0.0.1:1883: the embedded broker, or the outside one in use
}

// Daemon is the whole, built but not yet running.
type Daemon struct {
	opts   Options
	db     *store.DB
	intake *ingest.Intake
	broker *broker.Broker // nil with an outside broker
	client *ingest.Client // nil with the embedded one
	web    *web.Server
	ln     net.Listener
	watch  *watch
	books  *books

	estimator *estimator.Estimator
	metrics   *metrics.Metrics

	pushKey *notify.VAPID // nil when no path leads to browsers
}

// statusTopic says whether the daemon is alive: retained, with a last will.
const statusTopic = "stallkeeper/status"

// New opens the store, restores what was going on, and binds the sockets. Nothing runs yet. On error nothing is left open.
func New(ctx context.Context, o Options) (d *Daemon, err error) {
	d = &Daemon{opts: o}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.Close())
			d = nil
		}
	}()
	if err := guardDoors(o.Config); err != nil {
		return d, err
	}
	if err := os.MkdirAll(o.Config.Data, 0o700); err != nil {
		return d, fmt.Errorf("make data folder: %w (name a folder that may be written to, with --data)", err)
	}
	path := filepath.Join(o.Config.Data, store.FileName)
	if d.db, err = store.Open(ctx, path, store.Options{Linger: o.Config.Store.Linger, Log: o.Log, Now: o.Now, Timed: d.timeCommit}); err != nil {
		return d, err
	}
	location, err := o.Config.Location()
	if err != nil {
		return d, err
	}
	roles := map[cook.ProbeID]cook.Role{}
	for _, p := range o.Config.Probes {
		roles[p.ID] = p.Role
	}
	prior, err := learned(o.Config.Forecast.Prior)
	if err != nil {
		return d, err
	}
	d.estimator = estimator.New(prior)
	core := monitor.New(monitor.Options{Estimator: d.estimator, Settings: o.Config.Alarm, Roles: roles, FuelEvery: o.Config.Fuel.Every, Zone: location,
		Safety: o.Config.Safety.Policy()})
	d.watch = newWatch(core, d.db, o.Log, o.Now)
	if err := d.watch.restore(ctx); err != nil {
		return d, err
	}
	if d.books, err = openBooks(ctx, d.db, o.Config.Data, o.Log, o.Now); err != nil {
		return d, err
	}
	if err := d.openIntake(); err != nil {
		return d, err
	}
	d.books.publish = d.watch.publish
	if err := d.openMessages(ctx); err != nil {
		return d, err
	}
	if err := d.addressBooks(); err != nil {
		return d, err
	}
	return d, d.openWeb()
}

// learned is the prior in a file, or the one that comes with the program.
func learned(file string) (estimator.Prior, error) {
	if file == "" {
		return estimator.DefaultPrior(), nil
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return estimator.Prior{}, fmt.Errorf("read forecast.prior: %w", err)
	}
	p, err := estimator.ReadPrior(data)
	if err != nil {
		return p, fmt.Errorf("forecast.prior %s: %w", file, err)
	}
	return p, nil
}

// openIntake prepares the decoder and the broker, embedded or outside.
func (d *Daemon) openIntake() error {
	cfg := d.opts.Config
	decoder, err := ingest.NewDecoder(mappings(cfg.MQTT.Mappings), conversions(cfg.Probes), corrections(cfg.Probes))
	if err != nil {
		return err
	}
	var gas []cook.ProbeID
	for _, p := range cfg.Probes {
		if p.Role == cook.RoleCO {
			gas = append(gas, p.ID)
		}
	}
	d.intake = ingest.New(decoder, sink{d.db}, d.opts.Now, gas...)
	d.watch.stats, d.watch.asides = d.intake.Stats, d.intake.Asides
	if cfg.MQTT.URL != "" {
		password, err := cfg.MQTT.Password()
		if err != nil {
			return err
		}
		d.client, err = ingest.NewClient(ingest.ClientOptions{URL: mqttScheme(cfg.MQTT.URL), ClientID: cfg.MQTT.ClientID, Username: cfg.MQTT.Username,
			Password: password, CAFile: cfg.MQTT.CAFile, Will: ingest.Will{Topic: statusTopic, Payload: []byte(`{"online":false}`)},
			Boards: d.watch.board, Log: d.opts.Log, Now: d.opts.Now}, d.intake)
		if err != nil {
			return err
		}
		d.watch.publish = func(topic string, payload []byte) { d.client.Publish(topic, true, payload) }
		d.watch.link = func() monitor.IntakeView { return outside(d.client) }
		return nil
	}
	tls, err := config.TLS(cfg.Broker.TLSCert, cfg.Broker.TLSKey)
	if err != nil {
		return err
	}
	o := broker.Options{Listen: cfg.Broker.Listen, TLS: tls, BehindProxy: cfg.HTTP.BehindProxy, Users: brokerUsers(cfg.Users), MaxClients: cfg.Broker.MaxClients,
		IsReading: decoder.Consumes, PublishTopics: mappingTopics(cfg.MQTT.Mappings),
		Observe: func(topic string, payload []byte) {
			if b, ok := ingest.DecodeBoard(topic, payload); ok {
				d.watch.board(b, false)
			}
		},
		Consume: func(ctx context.Context, topic string, payload []byte, done func(error)) error {
			return d.intake.Handle(ctx, ingest.Message{Topic: topic, Payload: payload}, done)
		}, Log: d.opts.Log, Now: d.opts.Now}
	d.broker, err = broker.New(o)
	if d.opts.BrokerFallback && errors.Is(err, syscall.EADDRINUSE) {
		o.Listen = anyPort(o.Listen)
		d.opts.Log.Warn("the broker's default port is taken, using a free one", "taken", cfg.Broker.Listen)
		d.broker, err = broker.New(o)
	}
	if err != nil {
		return err
	}
	d.watch.publish = func(topic string, payload []byte) {
		if err := d.broker.Publish(topic, true, payload); err != nil {
			d.opts.Log.Warn("state not published", "topic", topic, "error", err)
		}
	}
	d.watch.link = func() monitor.IntakeView { return inside(d.broker) }
	return nil
}

func (d *Daemon) openWeb() error {
	cfg := d.opts.Config
	location, err := cfg.Location()
	if err != nil {
		return err
	}
	tls, err := config.TLS(cfg.HTTP.TLSCert, cfg.HTTP.TLSKey)
	if err != nil {
		return err
	}
	d.ln, err = net.Listen("tcp", cfg.HTTP.Listen)
	if d.opts.HTTPFallback && errors.Is(err, syscall.EADDRINUSE) {
		d.opts.Log.Warn("the pages' default port is taken, using a free one", "taken", cfg.HTTP.Listen)
		d.ln, err = net.Listen("tcp", anyPort(cfg.HTTP.Listen))
	}
	if err != nil {
		return fmt.Errorf("listen for pages: %w (is another one running? choose an address with --http)", err)
	}
	registry := prometheus.NewRegistry()
	if d.metrics, err = metrics.New(registry, d.watch, version()); err != nil {
		return err
	}
	d.watch.measured = d.metrics
	if err := metrics.Messages(registry, postRoom{d}.counts, d.opts.Now); err != nil {
		return err
	}
	d.web, err = web.New(web.Options{
		Shop: shop.Shop{Desk: &desk{d.db, d.watch, d.intake, d.opts.Now}, Library: d.db, View: d.watch, PostRoom: postRoom{d}, Papers: d.db, Checks: d.books, Checking: checking(cfg),
			Records: d.books, Documents: documents{d.books, location, cfg.Records.Shop}, KeepYears: cfg.Records.KeepYears, Planner: d.estimator, Estimator: d.estimator, Now: d.opts.Now, Location: location},
		Log: d.opts.Log, Invented: d.opts.Invented, Broker: d.Addresses().Broker, Metrics: metrics.Handler(registry, d.opts.Log), Ready: d.ready,
		People: webPeople(cfg.Records.People), Users: webUsers(cfg.Users), TLS: tls, BehindProxy: cfg.HTTP.BehindProxy})
	if err != nil {
		return err
	}
	return d.web.MayListen(d.ln.Addr())
}

// Addresses tells where the daemon listens.
func (d *Daemon) Addresses() Addresses {
	a := Addresses{Broker: d.opts.Config.MQTT.URL}
	if d.broker != nil {
		a.Broker = d.broker.Scheme() + "://" + d.broker.Addr().String()
	}
	if d.ln != nil {
		scheme := "http"
		if d.opts.Config.HTTP.TLSCert != "" {
			scheme = "https"
		}
		a.HTTP = scheme + "://" + d.ln.Addr().String()
	}
	return a
}

// Run works until ctx ends, then stops in order and closes the store.
func (d *Daemon) Run(ctx context.Context) error {
	stages := []stage{
		{"store", d.db.Run},
		{"records", d.books.Run},
		{"watch", d.watch.Run},
	}
	if d.watch.notify != nil {
		stages = append(stages, stage{"messages", d.watch.notify.Run})
	}
	stages = append(stages,
		stage{"pages", func(ctx context.Context) error { return d.web.Run(ctx, d.ln) }},
		stage{"intake", d.runIntake})
	if err := sdNotify("READY=1"); err != nil {
		d.opts.Log.Warn("systemd not notified", "error", err)
	}
	err := runStages(ctx, stages)
	return errors.Join(err, sdNotify("STOPPING=1"), d.db.Close())
}

func (d *Daemon) runIntake(ctx context.Context) error {
	d.watch.publish(statusTopic, []byte(`{"online":true}`))
	if d.client != nil {
		return d.client.Run(ctx)
	}
	return d.broker.Run(ctx)
}

// Close gives up a daemon that was built and never run.
func (d *Daemon) Close() error {
	var errs []error
	if d.ln != nil {
		errs = append(errs, d.ln.Close())
	}
	if d.broker != nil {
		ended, end := context.WithCancel(context.Background())
		end()
		errs = append(errs, d.broker.Run(ended)) // takes the port back
	}
	if d.db != nil {
		errs = append(errs, d.db.Close())
	}
	return errors.Join(errs...)
}

// timeCommit measures a commit by real time, whatever clock the daemon runs on.
func (d *Daemon) timeCommit() func() {
	began := time.Now()
	return func() { d.metrics.Committed(time.Since(began)) }
}

// ready is nil when readings can come in, be kept and be judged in time.
func (d *Daemon) ready() error {
	if trouble := d.db.Trouble(); trouble != "" {
		return errors.New(trouble)
	}
	if in := d.watch.link(); !in.Connected {
		return errors.New(cmp.Or(in.Trouble, "not connected to the broker yet"))
	}
	return d.watch.wellWithReadings()
}

func version() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		return info.Main.Version
	}
	return "unknown"
}

func anyPort(addr string) string {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return addr
	}
	return net.JoinHostPort(host, "0")
}
