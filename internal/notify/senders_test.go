package notify

import (
	"bytes"
	"crypto/tls"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/notify/smtptest"
	"stallkeeper/internal/testrig"
)

var raisedAt = time.Date(2026, 5, 3, 2, 38, 46, 0, time.UTC)

func dyingFire() Message {
	a := alarm.Alarm{ID: "pit-falling/1", Kind: alarm.PitFalling, Priority: alarm.High, State: alarm.Active, Cook: 1, Raised: raisedAt,
		Because: "Pit 89.0 °C and falling. The fire may be dying: add fuel."}
	return Message{ID: identify("x"), Path: "phone", Made: raisedAt.Add(time.Second), For: Raised, Why: "it began", Items: []Item{{Alarm: a, Because: a.Because, Firing: true}}}
}

func overAndBeside() Message {
	m := dyingFire()
	m.For, m.Why = Held, "your quiet hours are over"
	m.Items[0].Firing, m.Items[0].Because, m.Items[0].Alarm.Returned = false, "Pit back at 107 °C.", raisedAt.Add(time.Hour)
	b := alarm.Alarm{ID: "probe-silent/core", Kind: alarm.ProbeSilent, Priority: alarm.Medium, State: alarm.Active, Piece: "core", Probe: "core", Raised: raisedAt, Because: "Probe core silent."}
	m.Items = append(m.Items, Item{Alarm: b, Because: b.Because, Firing: true, Was: alarm.Low})
	return m
}

func testMessage() Message {
	return Message{ID: identify("test"), Path: "phone", Made: raisedAt, For: Test, Why: "a test is wanted every day at 18:00"}
}

func indented(t *testing.T, body []byte) string {
	t.Helper()
	var out bytes.Buffer
	if err := json.Indent(&out, body, "", "  "); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	return out.String() + "\n"
}

// receiver keeps the last request and answers with a status.
type receiver struct {
	*httptest.Server
	path, method string
	header       http.Header
	body         []byte
	status       int
}

func newReceiver(t *testing.T) *receiver {
	t.Helper()
	r := &receiver{status: http.StatusOK}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		body, err := io.ReadAll(req.Body)
		if err != nil {
			t.Error(err)
		}
		r.path, r.method, r.header, r.body = req.URL.Path, req.Method, req.Header, body
		w.Header().Set("Location", "/elsewhere")
		w.WriteHeader(r.status)
	}))
	t.Cleanup(r.Close)
	return r
}

// RFC 4231, test case 2.
func TestSign_IsHMACSHA256(t *testing.T) {
	got := Sign([]byte("Jefe"), []byte("what do ya want for nothing?"))
	if want := "sha256=5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"; got != want {
		t.Errorf("Sign = %s, want %s", got, want)
	}
}

// The names and the version are those of the Alertmanager's documentation ("webhook_config").
func TestWebhook_SendsTheAlertmanagersBodySigned(t *testing.T) {
	r := newReceiver(t)
	w := NewWebhook(WebhookOptions{URL: r.URL + "/in", Secret: []byte("key"), Token: "word", Link: "https://smoker.example.org", Limit: 5 * time.Second})
	for name, m := range map[string]Message{"webhook-raised.json": dyingFire(), "webhook-held.json": overAndBeside(), "webhook-test.json": testMessage()} {
		if err := w.Send(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if r.path != "/in" || r.header.Get(SignatureHeader) != Sign([]byte("key"), r.body) || r.header.Get(MessageHeader) != m.ID ||
			r.header.Get("Authorization") != "Bearer word" || r.header.Get("Content-Type") != "application/json" {
			t.Errorf("%s %v", r.path, r.header)
		}
		testrig.Golden(t, name, indented(t, r.body))
	}
}

func TestWebhook_TellsRefusalFromFailure(t *testing.T) {
	r := newReceiver(t)
	w := NewWebhook(WebhookOptions{URL: r.URL + "/?token=hidden", Limit: 5 * time.Second})
	for _, test := range []struct {
		status  int
		taken   bool
		refused bool
	}{{200, true, false}, {202, true, false}, {204, true, false}, {301, false, true}, {400, false, true}, {401, false, true}, {404, false, true},
		{408, false, false}, {429, false, false}, {500, false, false}, {503, false, false}} {
		r.status = test.status
		err := w.Send(t.Context(), dyingFire())
		if (err == nil) != test.taken || errors.Is(err, ErrRefused) != test.refused {
			t.Errorf("answer %d: Send = %v, want taken %v, refused %v", test.status, err, test.taken, test.refused)
		}
	}
	r.Close()
	if err := w.Send(t.Context(), dyingFire()); err == nil || errors.Is(err, ErrRefused) || strings.Contains(err.Error(), "hidden") {
		t.Errorf("nobody there: Send = %v, want a failure without the address", err)
	}
}

// The endpoint and the fields are those of the Alertmanager's OpenAPI document, postAlerts and postableAlert.
func TestAlertmanager_PostsAlerts(t *testing.T) {
	r := newReceiver(t)
	am := NewAlertmanager(WebhookOptions{URL: r.URL + "/", Link: "https://smoker.example.org", Limit: 5 * time.Second})
	for name, m := range map[string]Message{"alerts-raised.json": dyingFire(), "alerts-held.json": overAndBeside(), "alerts-test.json": testMessage()} {
		if err := am.Send(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if r.method != http.MethodPost || r.path != "/api/v2/alerts" {
			t.Errorf("%s %s", r.method, r.path)
		}
		testrig.Golden(t, name, indented(t, r.body))
	}
}

func script(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "siren")
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"+text), 0o700); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestCommand_GetsJSONAndArgumentsAsTheyAre(t *testing.T) {
	t.Setenv("SMOKER_SECRET", "hidden")
	out := filepath.Join(t.TempDir(), "out")
	c := NewCommand([]string{script(t, `printf '%s|' "$@" > "`+out+`"; cat >> "`+out+`"; echo "|$SMOKER_SECRET" >> "`+out+`"`), "$(date)", "a b"}, 10*time.Second, time.UTC, "")
	if err := c.Send(t.Context(), dyingFire()); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	parts := strings.SplitN(string(got), "|", 3)
	if parts[0] != "$(date)" || parts[1] != "a b" || !strings.HasSuffix(parts[2], "|\n") {
		t.Errorf("arguments and environment %q", got)
	}
	testrig.Golden(t, "command.json", indented(t, []byte(strings.TrimSuffix(parts[2], "|\n"))))
}

func TestCommand_FailsWithWhatItSaid(t *testing.T) {
	err := NewCommand([]string{script(t, "cat >/dev/null; echo no power >&2; exit 3")}, 10*time.Second, time.UTC, "").Send(t.Context(), dyingFire())
	if err == nil || !strings.Contains(err.Error(), "exit status 3") || !strings.Contains(err.Error(), "no power") {
		t.Errorf("Send = %v, want the status and what it said", err)
	}
	if err := NewCommand([]string{script(t, "exit 0")}, 10*time.Second, time.UTC, "").Send(t.Context(), dyingFire()); err != nil {
		t.Errorf("a program that reads nothing: %v", err)
	}
	if err := NewCommand([]string{"/nowhere/siren"}, time.Second, time.UTC, "").Send(t.Context(), dyingFire()); err == nil {
		t.Error("a program that is not there was run")
	}
}

func TestCommand_KeepsLittleOfAProgramThatPrintsForEver(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	err := NewCommand([]string{script(t, "echo no power; head -c 67108864 /dev/zero; exit 3")}, 30*time.Second, time.UTC, "").Send(t.Context(), dyingFire())
	runtime.ReadMemStats(&after)
	if err == nil || !strings.Contains(err.Error(), "no power") || len(err.Error()) > 2000 {
		t.Errorf("Send = %v, want the beginning of what it said", err)
	}
	if used := (after.TotalAlloc - before.TotalAlloc) >> 20; used > 8 {
		t.Errorf("64 MiB of output took %d MiB of memory", used)
	}
}

func TestCommand_IsKilledAtItsLimitWithAllItStarted(t *testing.T) {
	out := filepath.Join(t.TempDir(), "pid")
	c := NewCommand([]string{script(t, `sleep 60 & echo $! > "`+out+`"; wait`)}, time.Second, time.UTC, "")
	begun := time.Now()
	if err := c.Send(t.Context(), dyingFire()); err == nil || !strings.Contains(err.Error(), "not done within 1s, killed") {
		t.Errorf("Send = %v, want it killed", err)
	}
	if d := time.Since(begun); d > 10*time.Second {
		t.Errorf("it took %v", d)
	}
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		state, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
		if syscall.Kill(pid, 0) != nil || err != nil || strings.Contains(string(state), ") Z ") { // a zombie where nobody reaps
			return
		}
		if time.Now().After(end) {
			t.Fatal("what the program started still runs")
		}
	}
}

func mustMailServer(t *testing.T) *smtptest.Server {
	t.Helper()
	s, err := smtptest.Start()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Down(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func mailer(t *testing.T, addr string) *Email {
	t.Helper()
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	return NewEmail(EmailOptions{Host: host, Port: n, Security: Plain, From: "smoker@example.org", To: []string{"pitmaster@example.org"}, Zone: time.UTC,
		Link: "https://smoker.example.org", Limit: 10 * time.Second})
}

func TestEmail_IsAPlainLetterWithAStableID(t *testing.T) {
	s := mustMailServer(t)
	m := dyingFire()
	if err := mailer(t, s.Addr()).Send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	l := s.Letters()[0]
	subject, err := new(mime.WordDecoder).DecodeHeader(l.Header.Get("Subject"))
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(quotedprintable.NewReader(strings.NewReader(l.Body)))
	if err != nil {
		t.Fatal(err)
	}
	if subject != "Now: Pit 89.0 °C and falling" || l.Header.Get("Message-ID") != "<"+m.ID+"@stallkeeper>" || l.Header.Get("Auto-Submitted") != "auto-generated" ||
		l.Header.Get("Date") != "Sun, 03 May 2026 02:38:47 +0000" || !strings.Contains(l.From, "smoker@example.org") || !strings.Contains(l.To[0], "pitmaster@example.org") {
		t.Errorf("subject %q, header %v, from %s, to %s", subject, l.Header, l.From, l.To)
	}
	if want := m.Text(time.UTC, "https://smoker.example.org"); strings.ReplaceAll(string(body), "\r\n", "\n") != want {
		t.Errorf("body %q, want %q", body, want)
	}
}

func TestEmail_TellsRefusalFromFailure(t *testing.T) {
	s := mustMailServer(t)
	e := mailer(t, s.Addr())
	s.Refuse("550 5.1.1 unknown")
	if err := e.Send(t.Context(), dyingFire()); !errors.Is(err, ErrRefused) {
		t.Errorf("550: Send = %v, want it refused", err)
	}
	s.Refuse("451 4.3.0 later")
	if err := e.Send(t.Context(), dyingFire()); err == nil || errors.Is(err, ErrRefused) {
		t.Errorf("451: Send = %v, want a failure", err)
	}
	s.Refuse("")
	s.CutNext()
	if err := e.Send(t.Context(), dyingFire()); err == nil || errors.Is(err, ErrRefused) {
		t.Errorf("connection cut: Send = %v, want a failure", err)
	}
	demanding := NewEmail(EmailOptions{Host: e.o.Host, Port: e.o.Port, Security: StartTLS, From: e.o.From, To: e.o.To, Zone: time.UTC, Limit: 10 * time.Second})
	if err := demanding.Send(t.Context(), dyingFire()); err == nil {
		t.Error("a letter went out in the clear although STARTTLS is demanded")
	}
	if n := len(s.Letters()); n != 1 {
		t.Errorf("%d letters, want the one whose confirmation was cut", n)
	}
}

func TestEmail_LogsInOverStartTLS(t *testing.T) {
	cert, pool := testrig.SelfSigned(t)
	s, err := smtptest.StartGuarded(&tls.Config{Certificates: []tls.Certificate{cert}}, "smoker", "open sesame")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Down(); err != nil {
			t.Error(err)
		}
	})
	e := mailer(t, s.Addr())
	e.o.Security, e.o.TLS, e.o.Username, e.o.Password = StartTLS, &tls.Config{RootCAs: pool, ServerName: e.o.Host, MinVersion: tls.VersionTLS12}, "smoker", "wrong"
	if err := e.Send(t.Context(), dyingFire()); err == nil {
		t.Error("a wrong password was taken")
	}
	e.o.Password = "open sesame"
	if err := e.Send(t.Context(), dyingFire()); err != nil {
		t.Error(err)
	}
	e.o.TLS = nil // the system's authorities do not know this server
	if err := e.Send(t.Context(), dyingFire()); err == nil {
		t.Error("an unknown certificate was trusted")
	}
	if n := len(s.Letters()); n != 1 {
		t.Errorf("%d letters, want 1", n)
	}
}
