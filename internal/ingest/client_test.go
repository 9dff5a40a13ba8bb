package ingest

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// mosquitto is Debian's broker as a child process.
type mosquitto struct {
	t    *testing.T
	conf string
	addr string
	cmd  *exec.Cmd
}

// startMosquitto starts a broker with the settings that the README asks for, plus further lines of configuration.
func startMosquitto(t *testing.T, more ...string) *mosquitto {
	t.Helper()
	if _, err := exec.LookPath(mosquittoPath()); err != nil {
		if os.Getenv("STALLKEEPER_REQUIRE") == "1" {
			t.Fatal("mosquitto is required: apt-get install mosquitto mosquitto-clients")
		}
		t.Skip("mosquitto is not installed: apt-get install mosquitto mosquitto-clients")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m := &mosquitto{t: t, addr: l.Addr().String(), conf: filepath.Join(t.TempDir(), "mosquitto.conf")}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(m.addr)
	lines := append([]string{"listener " + port + " 127.0.0.1", "max_queued_messages 100000", "max_inflight_messages 1000"}, more...)
	if len(more) == 0 {
		lines = append(lines, "allow_anonymous true")
	}
	if err := os.WriteFile(m.conf, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start()
	t.Cleanup(m.stop)
	return m
}

func mosquittoPath() string {
	if path, err := exec.LookPath("mosquitto"); err == nil {
		return path
	}
	return "/usr/sbin/mosquitto" // not in the PATH of ordinary users on Debian
}

func (m *mosquitto) start() {
	m.t.Helper()
	m.cmd = exec.Command(mosquittoPath(), "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	for range 200 {
		if c, err := net.Dial("tcp", m.addr); err == nil {
			if err := c.Close(); err != nil {
				m.t.Fatal(err)
			}
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	m.t.Fatal("mosquitto does not listen")
}

func (m *mosquitto) stop() {
	if m.cmd == nil {
		return
	}
	if err := m.cmd.Process.Kill(); err != nil {
		m.t.Error(err)
	}
	_ = m.cmd.Wait() // killed: its status says so
	m.cmd = nil
}

func (m *mosquitto) options() ClientOptions {
	return ClientOptions{URL: "mqtt://" + m.addr, ClientID: "stallkeeper-test", Now: time.Now,
		Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
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
	if token := cl.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatal("connect publisher: ", token.Error())
	}
	t.Cleanup(func() { cl.Disconnect(0) })
	return cl
}

func publish(t *testing.T, cl mqtt.Client, topic string, qos byte, retained bool, payload string) {
	t.Helper()
	if token := cl.Publish(topic, qos, retained, payload); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatal("publish: ", token.Error())
	}
}

func TestClient_StoresWhatComesAndWhatWaited(t *testing.T) {
	m := startMosquitto(t)
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	c, stop := runClient(t, m.options(), in)
	until(t, "connected", func() bool { return c.Status().Connected })
	pub := publisher(t, m.addr)
	for qos := byte(0); qos <= 2; qos++ {
		publish(t, pub, "stallkeeper/reading/core", qos, false, fmt.Sprint(60+qos))
	}
	publish(t, pub, "stallkeeper/reading/core", 1, false, "warm")
	until(t, "all are stored", func() bool { r, bad := sink.count(); return r == 3 && bad == 1 })
	stop()
	for i := range 50 {
		publish(t, pub, "stallkeeper/reading/core", 1, false, fmt.Sprint(i))
	}
	_, stop = runClient(t, m.options(), in)
	until(t, "what waited is stored", func() bool { r, _ := sink.count(); return r == 53 })
	publish(t, pub, "stallkeeper/reading/core", 1, false, "99")
	until(t, "new ones are stored", func() bool { r, _ := sink.count(); return r == 54 })
	stop()
	for i, r := range sink.order {
		if waited := i >= 3 && i < 53; r.Backlog != waited {
			t.Errorf("reading %d: backlog %v, want %v", i, r.Backlog, waited)
		}
	}
}

func TestClient_TakesWhatWasNotCommittedAgain(t *testing.T) {
	m := startMosquitto(t)
	sink := newSink()
	sink.fail = fmt.Errorf("disk full")
	in := New(mustDecoder(t, nil), sink, time.Now)
	c, _ := runClient(t, m.options(), in)
	until(t, "connected", func() bool { return c.Status().Connected })
	pub := publisher(t, m.addr)
	publish(t, pub, "stallkeeper/reading/core", 1, false, "60")
	publish(t, pub, "stallkeeper/reading/core", 1, false, "warm")
	until(t, "the failure shows", func() bool { return strings.Contains(c.Status().LastError, "disk full") })
	sink.set(func() { sink.fail = nil })
	until(t, "both are stored", func() bool { r, bad := sink.count(); return r == 1 && bad == 1 })
}

func TestClient_PoisonDoesNotBlock(t *testing.T) {
	m := startMosquitto(t)
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	c, _ := runClient(t, m.options(), in)
	until(t, "connected", func() bool { return c.Status().Connected })
	pub := publisher(t, m.addr)
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
	m := startMosquitto(t)
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	opts := m.options()
	opts.Will = Will{Topic: "stallkeeper/status", Payload: []byte("offline")}
	c, stop := runClient(t, opts, in)
	c.Publish("stallkeeper/status", true, []byte("online"))
	c.Publish("stallkeeper/alarm/1", true, []byte("active"))
	until(t, "connected", func() bool { return c.Status().Connected })
	m.stop()
	until(t, "the loss shows", func() bool { s := c.Status(); return !s.Connected && s.LastError != "" })
	c.Publish("stallkeeper/alarm/1", true, []byte("returned"))
	m.start() // with nothing of before: it kept no file
	until(t, "connected again", func() bool { return c.Status().Connected })
	pub := publisher(t, m.addr)
	seen := make(chan string, 10)
	pub.Subscribe("stallkeeper/#", 1, func(_ mqtt.Client, m mqtt.Message) {
		seen <- m.Topic() + "=" + string(m.Payload())
	}).Wait()
	publish(t, pub, "stallkeeper/reading/core", 1, false, "60")
	until(t, "the reading is stored", func() bool { r, _ := sink.count(); return r == 1 })
	stop()
	want := map[string]bool{"stallkeeper/status=online": true, "stallkeeper/alarm/1=returned": true, "stallkeeper/status=offline": true}
	for deadline := time.After(10 * time.Second); len(want) > 0; {
		select {
		case got := <-seen:
			delete(want, got)
		case <-deadline:
			t.Fatalf("others do not see %v", want)
		}
	}
}

func TestClient_RetainedReadingIsNotNew(t *testing.T) {
	m := startMosquitto(t)
	pub := publisher(t, m.addr)
	publish(t, pub, "stallkeeper/reading/core", 1, true, "60")
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, time.Now)
	for range 2 { // the broker sends it again at each subscription
		c, stop := runClient(t, m.options(), in)
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
	passwd, err := exec.LookPath("mosquitto_passwd")
	if err != nil && os.Getenv("STALLKEEPER_REQUIRE") != "1" {
		t.Skip("mosquitto_passwd is not installed: apt-get install mosquitto")
	}
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	if out, err := exec.CommandContext(t.Context(), passwd, "-b", "-c", file("passwords"), "daemon", "secret").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	writeCertificate(t, file("cert.pem"), file("key.pem"))
	// As root, mosquitto gives up its rights and could not read the files.
	m := startMosquitto(t, "allow_anonymous false", "password_file "+file("passwords"), "certfile "+file("cert.pem"), "keyfile "+file("key.pem"), "user root")
	in := New(mustDecoder(t, nil), newSink(), time.Now)
	opts := m.options()
	opts.URL, opts.Username, opts.Password, opts.CAFile = "mqtts://"+m.addr, "daemon", "secret", file("cert.pem")
	c, stop := runClient(t, opts, in)
	until(t, "connected over TLS", func() bool { return c.Status().Connected })
	stop()
	tests := []struct {
		name   string
		change func(*ClientOptions)
		want   string
	}{
		{"wrong password", func(o *ClientOptions) { o.Password = "wrong" }, "not Authorized"},
		{"unknown authority", func(o *ClientOptions) { o.CAFile = "" }, "certificate"},
		{"without TLS", func(o *ClientOptions) { o.URL, o.CAFile = "mqtt://"+m.addr, "" }, "connect to mqtt://"},
	}
	for _, tt := range tests {
		o := opts
		tt.change(&o)
		c, stop := runClient(t, o, in)
		until(t, tt.name+" shows", func() bool { return strings.Contains(c.Status().LastError, tt.want) })
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

// writeCertificate makes a self-signed certificate for 127.0.0.1.
func writeCertificate(t *testing.T, certFile, keyFile string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test broker"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: cert}, keyFile: {Type: "PRIVATE KEY", Bytes: private}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
