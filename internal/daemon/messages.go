package daemon

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/config"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/notify"
	"stallkeeper/internal/store"
)

// ledger lets the notifier keep its things in the store.
type ledger struct{ db *store.DB }

var _ notify.Ledger = ledger{}

// telling is what the watch leaves for the notifier.
func telling(a *monitor.Alarmed) ([]byte, error) {
	return json.Marshal(notify.Fact{Alarm: a.Alarm, Because: a.Because, Tell: a.Notify})
}

// State gives the core's state.
func (l ledger) State(ctx context.Context) ([]byte, error) { return l.db.MessageState(ctx) }

// Facts gives what the watch left.
func (l ledger) Facts(ctx context.Context) ([]notify.Fact, int64, error) {
	kept, through, err := l.db.ToTell(ctx)
	if err != nil {
		return nil, 0, err
	}
	facts := make([]notify.Fact, len(kept))
	for i, body := range kept {
		if err := json.Unmarshal(body, &facts[i]); err != nil {
			return nil, 0, fmt.Errorf("read what is to be told: %w", err)
		}
	}
	return facts, through, nil
}

// Keep keeps state and messages.
func (l ledger) Keep(ctx context.Context, state []byte, through int64, messages []notify.Message) error {
	out := make([]store.Outgoing, len(messages))
	for i, m := range messages {
		body, err := json.Marshal(m)
		if err != nil {
			return fmt.Errorf("keep message: %w", err)
		}
		out[i] = store.Outgoing{ID: m.ID, Path: m.Path, Made: m.Made, Body: body}
	}
	return l.db.KeepMessages(ctx, state, through, out)
}

// Waiting gives what is not delivered.
func (l ledger) Waiting(ctx context.Context) ([]notify.Waiting, error) {
	kept, err := l.db.Waiting(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]notify.Waiting, len(kept))
	for i, k := range kept {
		if err := json.Unmarshal(k.Body, &out[i].Message); err != nil {
			return nil, fmt.Errorf("read message %s: %w", k.ID, err)
		}
		out[i].Tries, out[i].Failing = k.Tries, k.Failing
	}
	return out, nil
}

// Tried notes a try.
func (l ledger) Tried(ctx context.Context, id string, t notify.Try) error {
	return l.db.MessageTried(ctx, id, t.At, t.Error, t.Final)
}

// Health gives how the paths did.
func (l ledger) Health(ctx context.Context) (map[string]notify.Health, error) {
	kept, err := l.db.PathsHealth(ctx)
	if err != nil {
		return nil, err
	}
	out := make(map[string]notify.Health, len(kept))
	for path, h := range kept {
		out[path] = notify.Health(h)
	}
	return out, nil
}

// openMessages prepares what tells people; nothing when the configuration names no path and no heartbeat.
func (d *Daemon) openMessages(ctx context.Context) error {
	cfg := d.opts.Config.Notify
	beat, err := d.heartbeat(cfg)
	if err != nil || beat == nil && len(cfg.Paths) == 0 {
		return err
	}
	zone, err := d.opts.Config.Location()
	if err != nil {
		return err
	}
	senders := map[string]notify.Sender{}
	for _, p := range cfg.Paths {
		if senders[p.Name], err = d.sender(p, zone); err != nil {
			return fmt.Errorf("notify.path %q: %w", p.Name, err)
		}
	}
	rungs, err := ladder(cfg, zone)
	if err != nil {
		return err
	}
	standing, err := d.db.OpenAlarms(ctx)
	if err != nil {
		return err
	}
	d.watch.notify, err = notify.New(ctx, notify.Options{Ladder: rungs, Senders: senders, Ledger: ledger{d.db}, Standing: standing, FailingAfter: cfg.FailingAfter,
		KeepTrying: cfg.KeepTrying, Log: d.opts.Log, Now: d.opts.Now, Heartbeat: beat})
	return err
}

// addressBooks says where the day's checkpoint is mailed to.
func (d *Daemon) addressBooks() error {
	cfg := d.opts.Config
	zone, err := cfg.Location()
	if err != nil {
		return err
	}
	hour, minute, err := cfg.Records.Clock()
	if err != nil {
		return err
	}
	d.books.zone, d.books.mailAt = zone, time.Duration(hour)*time.Hour+time.Duration(minute)*time.Minute
	d.books.mail = map[string]notify.Sender{}
	for _, p := range cfg.Notify.Paths {
		if !slices.Contains(cfg.Records.Mail, p.Name) {
			continue
		}
		if d.books.mail[p.Name], err = d.sender(p, zone); err != nil {
			return fmt.Errorf("notify.path %q: %w", p.Name, err)
		}
	}
	return nil
}

func (d *Daemon) heartbeat(cfg config.Notify) (*notify.Heartbeat, error) {
	url := cfg.HeartbeatURL
	if url == "" {
		var err error
		if url, err = config.Secret("notify.heartbeat_url_file", cfg.HeartbeatURLFile); err != nil || url == "" {
			return nil, err
		}
	}
	return &notify.Heartbeat{URL: url, Post: cfg.HeartbeatPost, Every: cfg.HeartbeatEvery, Well: d.ready}, nil
}

func ladder(cfg config.Notify, zone *time.Location) (notify.Ladder, error) {
	out := notify.Ladder{Zone: zone, Test: cfg.TestAt != ""}
	var err error
	if out.Test {
		if out.TestAt, err = notify.ParseClock(cfg.TestAt); err != nil {
			return out, fmt.Errorf("notify.test_at: %w", err)
		}
	}
	for _, p := range cfg.People {
		who := notify.Person{Name: p.Name, Quiet: p.QuietFrom != "", Holds: p.QuietHolds}
		if who.Holds == "" {
			who.Holds = alarm.Low
		}
		if who.Quiet {
			if who.QuietFrom, err = notify.ParseClock(p.QuietFrom); err != nil {
				return out, fmt.Errorf("notify.person %q: quiet_from: %w", p.Name, err)
			}
			if who.QuietTo, err = notify.ParseClock(p.QuietUntil); err != nil {
				return out, fmt.Errorf("notify.person %q: quiet_until: %w", p.Name, err)
			}
		}
		out.People = append(out.People, who)
	}
	for _, p := range cfg.Paths {
		out.Routes = append(out.Routes, notify.Route{Path: p.Name, Person: p.Person, After: p.After(), Again: p.AgainEvery,
			Acks: p.Kind == config.PathCommand || p.Kind == config.PathWebhook})
	}
	return out, nil
}

// usualLimit is how long one try may take where the configuration does not say.
const usualLimit = 30 * time.Second

func (d *Daemon) sender(p config.Path, zone *time.Location) (notify.Sender, error) {
	link := d.opts.Config.Notify.Link
	limit := p.TimeLimit
	if limit == 0 {
		limit = usualLimit
	}
	switch p.Kind {
	case config.PathEmail:
		return email(p, link, zone, limit)
	case config.PathCommand:
		return notify.NewCommand(p.Command, limit, zone, link), nil
	case config.PathWebPush:
		return d.webPush(p, zone, limit)
	}
	o := notify.WebhookOptions{URL: p.URL, Link: link, Limit: limit}
	var err error
	if p.URLFile != "" {
		if o.URL, err = config.Secret("url_file", p.URLFile); err != nil {
			return nil, err
		}
	}
	if o.Token, err = config.Secret("token_file", p.TokenFile); err != nil {
		return nil, err
	}
	secret, err := config.Secret("secret_file", p.SecretFile)
	if err != nil {
		return nil, err
	}
	o.Secret = []byte(secret)
	if p.SecretFile != "" && strings.TrimSpace(secret) == "" {
		return nil, fmt.Errorf("secret_file %q is empty: put a long random text into it", p.SecretFile)
	}
	if p.Kind == config.PathAlertmanager {
		return notify.NewAlertmanager(o), nil
	}
	return notify.NewWebhook(o), nil
}

func email(p config.Path, link string, zone *time.Location, limit time.Duration) (notify.Sender, error) {
	host, port, err := p.HostPort()
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	security := notify.Security(p.Security)
	if security == "" {
		security = notify.StartTLS
	}
	o := notify.EmailOptions{Host: host, Port: port, Security: security, Username: p.Username, From: p.From, To: p.To, Link: link, Zone: zone, Limit: limit}
	if o.Password, err = config.Secret("password_file", p.PasswordFile); err != nil {
		return nil, err
	}
	if p.CAFile != "" {
		pem, err := os.ReadFile(p.CAFile)
		if err != nil {
			return nil, fmt.Errorf("read ca_file: %w", err)
		}
		pool := x509.NewCertPool()
		if !pool.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("ca_file %q holds no certificate in PEM", p.CAFile)
		}
		o.TLS = &tls.Config{RootCAs: pool, ServerName: host, MinVersion: tls.VersionTLS12}
	}
	return notify.NewEmail(o), nil
}
