package daemon

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/config"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/notify"
	"stallkeeper/internal/notify/smtptest"
	"stallkeeper/internal/store"
)

// hook is a receiver of webhooks that can be down, and can take a message and die before it says so.
type hook struct {
	mu   sync.Mutex // guards the fields below
	down bool
	got  []string // "status summary", as they came
	ids  []string
	took func() // called once a message is taken
	came int    // requests
}

func (h *hook) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.came++
	if h.down {
		w.WriteHeader(http.StatusBadGateway)
		return
	}
	body, err := io.ReadAll(r.Body)
	var m struct {
		Alerts []struct {
			Status      string
			Annotations map[string]string
		}
	}
	if err != nil || json.Unmarshal(body, &m) != nil || r.Header.Get(notify.SignatureHeader) != notify.Sign([]byte("a long random text"), body) {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	for _, a := range m.Alerts {
		h.got = append(h.got, a.Annotations["reason"]+": "+a.Annotations["summary"])
	}
	h.ids = append(h.ids, r.Header.Get(notify.MessageHeader))
	if h.took != nil {
		h.took()
	}
}

func (h *hook) taken() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.got)
}

func (h *hook) tries() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.came
}

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

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s:\n got %q\nwant %q", what, got, want)
	}
}

// Both receivers are down for an hour; the daemon is killed twice meanwhile. Each message arrives once, in order.
func TestMessages_SurviveReceiversDownAndKills(t *testing.T) {
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
	p := newPost(t, twoPaths(t, server.URL, mail.Addr()))
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
	p := newPost(t, twoPaths(t, server.URL, mail.Addr()))
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

// deadAddr is an address of this machine at which nobody listens.
func deadAddr(t *testing.T) string {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if err := ln.Close(); err != nil {
		t.Fatal(err)
	}
	return ln.Addr().String()
}

func within(t *testing.T, what string, f func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !f(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not come within 30 s", what)
		}
	}
}

// messagesChild tells the child of the next test its configuration.
const messagesChild = "STALLKEEPER_MESSAGES_CHILD"

// The daemon as its own process, killed with SIGKILL twice while webhook and mail server are down. Each message arrives once
// by each path.
func TestDaemon_KilledTwiceWhileTheReceiverIsDown(t *testing.T) {
	if path := os.Getenv(messagesChild); path != "" {
		runUntilKilled(t, path)
		return
	}
	h := &hook{down: true}
	server := httptest.NewServer(h)
	defer server.Close()
	mail, err := smtptest.Start()
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := mail.Down(); err != nil {
			t.Error(err)
		}
	}()
	if err := mail.Down(); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	secret, file := filepath.Join(dir, "key"), filepath.Join(dir, "stallkeeper.toml")
	writeFile(t, secret, "a long random text\n")
	writeFile(t, file, fmt.Sprintf(`
data = %q
[http]
listen = "127.0.0.1:0"
[broker]
listen = "127.0.0.1:0"
[[probe]]
id = "shed"
role = "co"
[[probe]]
id = "kitchen"
role = "co"
[[notify.path]]
name = "hook"
kind = "webhook"
high_after = "0s"
url = %q
secret_file = %q
[[notify.path]]
name = "mail"
kind = "email"
high_after = "0s"
server = %q
security = "none"
from = "smoker@example.org"
to = ["pitmaster@example.org"]
`, filepath.Join(dir, "data"), server.URL, secret, mail.Addr()))
	for _, probe := range []string{"shed", "kitchen"} {
		c := startChild(t, file)
		tried := h.tries()
		c.post(t, probe, 250) // parts per million
		within(t, "the alarm", func() bool { return strings.Contains(c.get(t, "/api/v1/alarms"), "at "+probe) })
		within(t, "a try to deliver", func() bool { return h.tries() > tried })
		within(t, "a try to mail", func() bool { return strings.Contains(c.get(t, "/api/v1/paths"), `"kind":"email","failed":`) })
		c.kill(t)
	}
	h.mu.Lock()
	h.down = false
	h.mu.Unlock()
	if err := mail.Up(); err != nil {
		t.Fatal(err)
	}
	c := startChild(t, file)
	within(t, "both messages", func() bool { return len(h.taken()) >= 2 && len(mail.Letters()) >= 2 })
	time.Sleep(3 * time.Second) // for a repeat that should not come
	c.kill(t)
	got := h.taken()
	if len(got) != 2 || !strings.Contains(got[0], "at shed") || !strings.Contains(got[1], "at kitchen") {
		t.Errorf("taken %q, want the shed's and the kitchen's, each once", got)
	}
	if got := subjects(t, mail); len(got) != 2 || !strings.Contains(got[0], "at shed") || !strings.Contains(got[1], "at kitchen") {
		t.Errorf("mailed %q, want the shed's and the kitchen's, each once", got)
	}
}

func runUntilKilled(t *testing.T, path string) {
	t.Helper()
	cfg, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(t.Context(), Options{Config: cfg, Log: slog.New(slog.NewTextHandler(os.Stderr, nil)), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(d.Addresses().HTTP)
	t.Fatal(d.Run(t.Context()))
}

// child is a daemon in a process of its own.
type child struct {
	cmd  *exec.Cmd
	http string
}

func startChild(t *testing.T, path string) *child {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run", "^TestDaemon_KilledTwiceWhileTheReceiverIsDown$")
	cmd.Env = append(os.Environ(), messagesChild+"="+path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() }) // has ended already unless the test failed
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	return &child{cmd, strings.TrimSpace(line)}
}

func (c *child) post(t *testing.T, probe string, ppm float64) {
	t.Helper()
	resp, err := http.Post(c.http+"/api/v1/readings", "application/json", strings.NewReader(fmt.Sprintf(`{"probe":%q,"celsius":%v}`, probe, ppm)))
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	if err := errors.Join(err, resp.Body.Close()); err != nil || resp.StatusCode/100 != 2 {
		t.Fatalf("%s: %s, %v", resp.Status, body, err)
	}
}

func (c *child) get(t *testing.T, path string) string {
	t.Helper()
	resp, err := http.Get(c.http + path)
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	if err := errors.Join(err, resp.Body.Close()); err != nil {
		t.Fatal(err)
	}
	return string(body)
}

func (c *child) kill(t *testing.T) {
	t.Helper()
	if err := c.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Wait(); err == nil {
		t.Fatal("the child ended by itself")
	}
}
