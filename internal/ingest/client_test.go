package ingest

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/testrig"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

func options(m *testrig.Mosquitto) ClientOptions {
	return ClientOptions{URL: m.URL(), ClientID: "stallkeeper-test", Now: time.Now, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
}

// runClient runs a client until stop is called or the test ends.
func runClient(t *testing.T, opts ClientOptions, in *Intake) (c *Client, stop func()) {
	t.Helper()
	c, err := NewClient(opts, in)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- c.Run(ctx) }()
	stopped := false
	stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(30 * time.Second):
			t.Error("client does not stop")
		}
	}
	t.Cleanup(stop)
	return c, stop
}

func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for range 2000 {
		if ok() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("waited 20 s in vain until %s", what)
}

// publisher is another client of the broker.
func publisher(t *testing.T, addr string) mqtt.Client {
	t.Helper()
	cl := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("probe").SetAutoReconnect(false))
	if token := cl.Connect(); !token.WaitTimeout(30*time.Second) || token.Error() != nil {
		t.Fatal("connect publisher: ", token.Error())
	}
	t.Cleanup(func() { cl.Disconnect(0) })
	return cl
}

func publish(t *testing.T, cl mqtt.Client, topic string, qos byte, retained bool, payload string) {
	t.Helper()
	if token := cl.Publish(topic, qos, retained, payload); !token.WaitTimeout(30*time.Second) || token.Error() != nil {
		t.Fatal("publish: ", token.Error())
	}
}

func TestClient_StoresWhatComesAndWhatWaited(t *testing.T) {
	m := testrig.StartMosquitto(t)
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	c, stop := runClient(t, options(m), in)
	until(t, "connected", func() bool { return c.Status().Connected })
	pub := publisher(t, m.Addr)
	for qos := byte(0); qos <= 2; qos++ {
		publish(t, pub, "stallkeeper/reading/core", qos, false, fmt.Sprint(60+qos))
	}
	publish(t, pub, "stallkeeper/reading/core", 1, false, "warm")
	until(t, "all are stored", func() bool { r, bad := sink.count(); return r == 3 && bad == 1 })
	stop()
	for i := range 50 {
		publish(t, pub, "stallkeeper/reading/core", 1, false, fmt.Sprint(i))
	}
	_, stop = runClient(t, options(m), in)
	until(t, "what waited is stored", func() bool { r, _ := sink.count(); return r == 53 })
	until(t, "new ones are taken for new", func() (is bool) { // once the client's marker has come back to it
		publish(t, pub, "stallkeeper/reading/core", 1, false, "99")
		sink.set(func() { is = !sink.order[len(sink.order)-1].Backlog })
		return is
	})
	stop()
	for i, r := range sink.order[:53] {
		if waited := i >= 3; r.Backlog != waited {
			t.Errorf("reading %d: backlog %v, want %v", i, r.Backlog, waited)
		}
	}
}

func TestClient_TakesWhatWasNotCommittedAgain(t *testing.T) {
	m := testrig.StartMosquitto(t)
	sink := newSink()
	sink.fail = fmt.Errorf("disk full")
	in := New(mustDecoder(t, nil), sink, time.Now)
	c, _ := runClient(t, options(m), in)
	until(t, "connected", func() bool { return c.Status().Connected })
	pub := publisher(t, m.Addr)
	publish(t, pub, "stallkeeper/reading/core", 1, false, "60")
	publish(t, pub, "stallkeeper/reading/core", 1, false, "warm")
	until(t, "the failure shows", func() bool { return strings.Contains(c.Status().LastError, "disk full") })
	sink.set(func() { sink.fail = nil })
	until(t, "both are stored", func() bool { r, bad := sink.count(); return r == 1 && bad == 1 })
}

func TestClient_PoisonDoesNotBlock(t *testing.T) {
	m := testrig.StartMosquitto(t)
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	c, _ := runClient(t, options(m), in)
	until(t, "connected", func() bool { return c.Status().Connected })
	pub := publisher(t, m.Addr)
	const poison = 1500 // more than the broker's window of 1000 unacknowledged messages
	var last mqtt.Token
	for range poison {
		last = pub.Publish("stallkeeper/reading/core", 1, false, "\xff{")
	}
	last.Wait()
	publish(t, pub, "stallkeeper/reading/core", 1, false, "60")
	until(t, "the reading behind the poison is stored", func() bool { r, bad := sink.count(); return r == 1 && bad == poison })
}

func TestClient_BrokerGoneAndBack(t *testing.T) {
	m := testrig.StartMosquitto(t)
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	opts := options(m)
	opts.Will = Will{Topic: "stallkeeper/status", Payload: []byte("offline")}
	c, stop := runClient(t, opts, in)
	c.Publish("stallkeeper/status", true, []byte("online"))
	c.Publish("stallkeeper/alarm/1", true, []byte("active"))
	until(t, "connected", func() bool { return c.Status().Connected })
	m.Stop()
	until(t, "the loss shows, and what to do", func() bool {
		s := c.Status()
		return !s.Connected && strings.HasSuffix(s.Trouble, "does not answer, nothing listens there: start it, or correct mqtt.url")
	})
	c.Publish("stallkeeper/alarm/1", true, []byte("returned"))
	m.Start() // with nothing of before: it kept no file
	until(t, "connected again", func() bool { return c.Status().Connected })
	if s := c.Status(); s.Trouble != "" || s.LastError == "" {
		t.Errorf("connected again, trouble %q, last error %q: want no trouble that is over", s.Trouble, s.LastError)
	}
	pub := publisher(t, m.Addr)
	seen := make(chan string, 10)
	pub.Subscribe("stallkeeper/#", 1, func(_ mqtt.Client, m mqtt.Message) {
		seen <- m.Topic() + "=" + string(m.Payload())
	}).Wait()
	publish(t, pub, "stallkeeper/reading/core", 1, false, "60")
	until(t, "the reading is stored", func() bool { r, _ := sink.count(); return r == 1 })
	stop()
	want := map[string]bool{"stallkeeper/status=online": true, "stallkeeper/alarm/1=returned": true, "stallkeeper/status=offline": true}
	for deadline := time.After(30 * time.Second); len(want) > 0; {
		select {
		case got := <-seen:
			delete(want, got)
		case <-deadline:
			t.Fatalf("others do not see %v", want)
		}
	}
}

func TestClient_RetainedReadingIsNotNew(t *testing.T) {
	m := testrig.StartMosquitto(t)
	pub := publisher(t, m.Addr)
	publish(t, pub, "stallkeeper/reading/core", 1, true, "60")
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	for range 2 { // the broker sends it again at each subscription
		c, stop := runClient(t, options(m), in)
		until(t, "connected", func() bool { return c.Status().Connected })
		until(t, "it came", func() bool { return in.Stats().Messages > 0 })
		time.Sleep(50 * time.Millisecond)
		stop()
	}
	if len(sink.order) != 1 || !sink.order[0].Retained || sink.order[0].Live() {
		t.Errorf("stored %+v, want one marked as retained", sink.order)
	}
}

func TestClient_PasswordAndTLS(t *testing.T) {
	passwords := filepath.Join(t.TempDir(), "passwords")
	passwd := exec.CommandContext(t.Context(), testrig.Program(t, "mosquitto_passwd"), "-b", "-c", passwords, "daemon", "secret")
	if out, err := passwd.CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	cert, key := testrig.Certificate(t)
	// As root, mosquitto gives up its rights and could not read the files.
	m := testrig.StartMosquitto(t, "allow_anonymous false", "password_file "+passwords, "certfile "+cert, "keyfile "+key, "user root")
	in := New(mustDecoder(t, nil), newSink(), time.Now)
	opts := options(m)
	opts.URL, opts.Username, opts.Password, opts.CAFile = "mqtts://"+m.Addr, "daemon", "secret", cert
	c, stop := runClient(t, opts, in)
	until(t, "connected over TLS", func() bool { return c.Status().Connected })
	stop()
	tests := []struct {
		name   string
		change func(*ClientOptions)
		want   string
	}{
		{"wrong password", func(o *ClientOptions) { o.Password = "wrong" }, `refuses the user "daemon": correct mqtt.username`},
		{"unknown authority", func(o *ClientOptions) { o.CAFile = "" }, "not trusted: name its authority in mqtt.ca_file"},
		{"without TLS", func(o *ClientOptions) { o.URL, o.CAFile = "mqtt://"+m.Addr, "" }, "want TLS"},
	}
	for _, tt := range tests {
		o := opts
		tt.change(&o)
		c, stop := runClient(t, o, in)
		until(t, tt.name+" shows", func() bool { return strings.Contains(c.Status().Trouble, tt.want) })
		if c.Status().Connected {
			t.Errorf("%s: connected", tt.name)
		}
		stop()
	}
}

func TestNewClient_SaysWhatIsWrong(t *testing.T) {
	junk := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(junk, []byte("no certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		o    ClientOptions
		want string
	}{
		{ClientOptions{URL: "broker:1883", ClientID: "x"}, "write it like"},
		{ClientOptions{URL: "http://broker", ClientID: "x"}, "write it like"},
		{ClientOptions{URL: "mqtt://broker"}, "fixed name"},
		{ClientOptions{URL: "mqtt://broker", ClientID: "x", CAFile: junk}, "not mqtts"},
		{ClientOptions{URL: "mqtts://broker", ClientID: "x", CAFile: junk}, "no certificate"},
		{ClientOptions{URL: "mqtts://broker", ClientID: "x", CAFile: junk + "x"}, "read CA file"},
	}
	for _, tt := range tests {
		tt.o.Now = time.Now
		if _, err := NewClient(tt.o, nil); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("NewClient(%+v) = %v, want an error with %q", tt.o.URL, err, tt.want)
		}
	}
}
