package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"mime"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/config"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/notify/smtptest"
	"stallkeeper/internal/store"
)

// post is what of the daemon the messages need: a real store, and the notifier as it is wired.
type post struct {
	t   *testing.T
	dir string
	cfg config.Config
	now time.Time
	db  *store.DB
	w   *watch
}

func newPost(t *testing.T, text string) *post {
	t.Helper()
	cfg, err := config.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	p := &post{t: t, dir: t.TempDir(), cfg: cfg, now: time.Date(2026, 5, 2, 23, 0, 0, 0, time.UTC)}
	p.open()
	t.Cleanup(func() { p.must(p.db.Close()) })
	return p
}

func (p *post) must(err error) {
	p.t.Helper()
	if err != nil {
		p.t.Fatal(err)
	}
}

func (p *post) clock() time.Time { return p.now }

func (p *post) open() {
	p.t.Helper()
	log := slog.New(slog.NewTextHandler(p.t.Output(), nil))
	var err error
	p.db, err = store.Open(p.t.Context(), filepath.Join(p.dir, store.FileName), store.Options{Log: log, Now: p.clock})
	p.must(err)
	d := &Daemon{opts: Options{Config: p.cfg, Log: log, Now: p.clock}, db: p.db, watch: newWatch(monitor.New(monitor.Options{Settings: p.cfg.Alarm}), p.db, log, p.clock)}
	d.watch.publish = func(string, []byte) {}
	p.must(d.openMessages(p.t.Context()))
	p.w = d.watch
}

// kill forgets all that is not in the store and starts anew.
func (p *post) kill() {
	p.t.Helper()
	p.must(p.db.Close())
	p.open()
}

// change is what the monitor would give out.
func (p *post) change(id alarm.ID, to alarm.State, because string) {
	a := alarm.Alarm{ID: id, Kind: alarm.Kind(strings.SplitN(string(id), "/", 2)[0]), Priority: alarm.High, State: to, Because: because, Raised: p.now, Changed: p.now}
	p.w.act(p.t.Context(), []monitor.Effect{{Alarm: &monitor.Alarmed{Change: alarm.Change{Alarm: a, Because: because}, Notify: true}}})
	p.must(p.w.trouble)
}

// pass lets time go by in steps of five seconds.
func (p *post) pass(d time.Duration) {
	p.t.Helper()
	for end := p.now.Add(d); p.now.Before(end); p.now = p.now.Add(5 * time.Second) {
		p.must(p.w.notify.Turn(p.t.Context()))
	}
}

func twoPaths(t *testing.T, hookURL, mailAddr string) string {
	t.Helper()
	secret := filepath.Join(t.TempDir(), "key")
	writeFile(t, secret, "a long random text\n")
	return fmt.Sprintf(`
timezone = "UTC"
[[notify.person]]
name = "pitmaster"
[[notify.path]]
name = "hook"
kind = "webhook"
high_after = "0s"
url = %q
secret_file = %q
[[notify.path]]
name = "mail"
person = "pitmaster"
kind = "email"
high_after = "0s"
server = %q
security = "none"
from = "smoker@example.org"
to = ["pitmaster@example.org"]
`, hookURL, secret, mailAddr)
}

// newTwoPaths is a post with a hook and a mail server that take what it sends.
func newTwoPaths(t *testing.T) (*post, *hook, *smtptest.Server) {
	t.Helper()
	mail, err := smtptest.Start()
	if err != nil {
		t.Fatal(err)
	}
	h := &hook{}
	server := httptest.NewServer(h)
	t.Cleanup(func() {
		server.Close()
		if err := mail.Down(); err != nil {
			t.Error(err)
		}
	})
	return newPost(t, twoPaths(t, server.URL, mail.Addr())), h, mail
}

// subjects gives the subjects of what was taken, decoded (RFC 2047).
func subjects(t *testing.T, s *smtptest.Server) (out []string) {
	t.Helper()
	for _, l := range s.Letters() {
		text, err := new(mime.WordDecoder).DecodeHeader(l.Header.Get("Subject"))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, text)
	}
	return out
}

// Both receivers are down for an hour; the daemon is killed twice meanwhile. Each message arrives once, in order.
func TestMessages_SurviveReceiversDownAndKills(t *testing.T) {
	p, h, mail := newTwoPaths(t)
	p.change("pit-high/1", alarm.Active, "Pit 140 °C.")
	p.pass(time.Minute)
	p.change("pit-high/1", alarm.Returned, "Pit back at 107 °C.")
	p.pass(time.Minute)

	h.down = true
	p.must(mail.Down())
	p.change("pit-falling/1", alarm.Active, "Pit 89 °C and falling.")
	p.pass(20 * time.Minute)
	if got := p.w.notify.Trouble(); !strings.Contains(got, "hook have failed since 23:02") || !strings.Contains(got, "mail have failed since 23:02") {
		t.Errorf("trouble %q, want both paths since 23:02", got)
	}
	p.kill()
	if got := p.w.notify.Trouble(); !strings.Contains(got, "hook have failed since 23:02") {
		t.Errorf("trouble %q after the kill, want it still known", got)
	}
	p.change("pit-falling/1", alarm.Returned, "Pit back at 107 °C.")
	p.kill() // before anybody has looked at it
	p.pass(20 * time.Minute)
	p.change("probe-silent/core", alarm.Active, "Probe core silent for 10 min.")
	p.pass(20 * time.Minute)

	h.down = false
	p.must(mail.Up())
	p.pass(10 * time.Minute)
	if got := p.w.notify.Trouble(); got != "" {
		t.Errorf("trouble %q after an hour, want none", got)
	}
	p.kill()
	p.pass(time.Hour)
	same(t, "hook", h.got, []string{"raised: Pit 140 °C", "over: Pit back at 107 °C", "raised: Pit 89 °C and falling", "over: Pit back at 107 °C", "raised: Probe core silent for 10 min"})
	same(t, "mail", subjects(t, mail), []string{"Now: Pit 140 °C", "Over: Pit back at 107 °C", "Now: Pit 89 °C and falling", "Over: Pit back at 107 °C", "Now: Probe core silent for 10 min"})
}

// A kill between the delivery and its note is the one need for a repeat; both carry the same ID.
func TestMessages_AreRepeatedOnlyWhenNobodyKnowsWhetherTheyArrived(t *testing.T) {
	p, h, mail := newTwoPaths(t)
	ctx, die := context.WithCancel(t.Context())
	h.took = die // the message is taken, and the daemon is gone
	mail.CutNext()
	p.change("pit-falling/1", alarm.Active, "Pit 89 °C and falling.")
	if err := p.w.notify.Turn(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("Turn = %v, want it cut short", err)
	}
	h.took = nil
	p.kill()
	p.pass(10 * time.Minute)
	if len(h.ids) < 1 || len(h.ids) > 2 || h.ids[0] != h.ids[len(h.ids)-1] || len(h.ids[0]) != 32 {
		t.Errorf("the hook got %q, want it once, or twice under one ID", h.ids)
	}
	if got := subjects(t, mail); len(got) != 2 || mail.Letters()[0].Header.Get("Message-ID") != mail.Letters()[1].Header.Get("Message-ID") {
		t.Errorf("mail %q, want two with the same Message-ID", got)
	}
}

// A daemon as it is run: a reading comes in by the embedded broker's sink and the message goes out.
func TestDaemon_SendsWhatTheMonitorRaises(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	h := &hook{}
	server := httptest.NewServer(h)
	defer server.Close()
	beats := make(chan struct{}, 10)
	heart := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { beats <- struct{}{} }))
	defer heart.Close()
	text := strings.Replace(twoPaths(t, server.URL, deadAddr(t)), "[[notify.person]]", fmt.Sprintf("[notify]\nheartbeat_url = %q\nfailing_after = \"10s\"\n[[notify.person]]", heart.URL), 1)
	cfg, err := config.Parse(text + "[http]\nlisten = \"127.0.0.1:0\"\n[broker]\nlisten = \"127.0.0.1:0\"\n[[probe]]\nid = \"shed\"\nrole = \"co\"\n")
	if err != nil {
		t.Fatal(err)
	}
	cfg.Data = t.TempDir()
	d, err := New(t.Context(), Options{Config: cfg, Log: slog.New(slog.NewTextHandler(t.Output(), nil)), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	desk := &desk{d.db, d.watch, d.intake, time.Now}
	if err := desk.HandReading(ctx, cook.Reading{Probe: "shed", Celsius: 250}); err != nil { // parts per million
		t.Fatal(err)
	}
	within(t, "the message", func() bool { return len(h.taken()) > 0 })
	if got := h.taken(); len(got) != 1 || !strings.Contains(got[0], "Carbon monoxide 250 ppm at shed") {
		t.Errorf("sent %q, want the carbon monoxide", got)
	}
	within(t, "the dead mail path in the view", func() bool {
		return strings.Contains(d.watch.Snapshot().Intake.Delivery, "Messages by mail have failed")
	})
	if err := desk.Acknowledge(ctx, "co/shed", "pitmaster"); err != nil {
		t.Fatal(err)
	}
	within(t, "the acknowledgement at the machine", func() bool { return len(h.taken()) == 2 })
	select {
	case <-beats:
	case <-time.After(10 * time.Second):
		t.Error("no heartbeat")
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
