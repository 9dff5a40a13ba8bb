package station

import (
	"encoding/json"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// mosquitto is Debian's broker as a child process.
type mosquitto struct {
	t    *testing.T
	path string
	conf string
	addr string
	cmd  *exec.Cmd
}

func newMosquitto(t *testing.T) *mosquitto {
	t.Helper()
	m := &mosquitto{t: t, path: "/usr/sbin/mosquitto"} // not in the PATH of ordinary users on Debian
	if _, err := os.Stat(m.path); err != nil {
		if os.Getenv("STALLKEEPER_REQUIRE") == "1" {
			t.Fatal("mosquitto is required: apt-get install mosquitto")
		}
		t.Skip("mosquitto is not installed: apt-get install mosquitto")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m.addr = l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(m.addr)
	m.conf = filepath.Join(t.TempDir(), "mosquitto.conf")
	text := "listener " + port + " 127.0.0.1\nallow_anonymous true\nmax_queued_messages 100000\n"
	if err := os.WriteFile(m.conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(m.stop)
	return m
}

func (m *mosquitto) start() {
	m.t.Helper()
	m.cmd = exec.Command(m.path, "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	for range 300 {
		if c, err := net.Dial("tcp", m.addr); err == nil {
			_ = c.Close() // only asked whether it listens
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

// gate stands between the station and the broker, so that the receiver of the test is always there first.
type gate struct {
	t      *testing.T
	addr   string
	target string

	mu    sync.Mutex // guards the fields below
	open  bool
	conns map[net.Conn]bool
}

func newGate(t *testing.T, target string) *gate {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	g := &gate{t: t, addr: l.Addr().String(), target: target, conns: map[net.Conn]bool{}}
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() { g.pass(c) })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		g.set(false)
		wg.Wait()
	})
	return g
}

func (g *gate) pass(near net.Conn) {
	far, err := net.Dial("tcp", g.target)
	g.mu.Lock()
	if err != nil || !g.open {
		g.mu.Unlock()
		_ = near.Close()
		if err == nil {
			_ = far.Close()
		}
		return
	}
	g.conns[near], g.conns[far] = true, true
	g.mu.Unlock()
	var wg sync.WaitGroup
	for _, pair := range [][2]net.Conn{{near, far}, {far, near}} {
		wg.Go(func() {
			_, _ = io.Copy(pair[0], pair[1]) // ends with the connection, in whatever way
			_ = pair[0].Close()
			_ = pair[1].Close()
		})
	}
	wg.Wait()
}

// set opens the gate, or closes it and cuts every connection.
func (g *gate) set(open bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.open = open
	if !open {
		for c := range g.conns {
			_ = c.Close()
		}
		clear(g.conns)
	}
}

// arrival is what the receiver got.
type arrival struct {
	topic string
	at    time.Time
	value float64
	seq   int64
}

// receiver subscribes to everything.
type receiver struct {
	t      *testing.T
	client mqtt.Client

	mu     sync.Mutex // guards the fields below
	got    []arrival
	status []string
	raw    []string
}

func newReceiver(t *testing.T) *receiver { return &receiver{t: t} }

func (r *receiver) connect(addr string) {
	r.t.Helper()
	r.client = mqtt.NewClient(mqtt.NewClientOptions().AddBroker("mqtt://" + addr).SetClientID("receiver").SetAutoReconnect(false))
	if token := r.client.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		r.t.Fatal("receiver:", token.Error())
	}
	if token := r.client.Subscribe("stallkeeper/#", 1, r.receive); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		r.t.Fatal("receiver:", token.Error())
	}
	r.t.Cleanup(func() { r.client.Disconnect(100) })
}

func (r *receiver) receive(_ mqtt.Client, m mqtt.Message) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if strings.HasPrefix(m.Topic(), "stallkeeper/probe/") {
		r.status = append(r.status, string(m.Payload()))
		return
	}
	r.raw = append(r.raw, string(m.Payload()))
	var p reading
	if json.Unmarshal(m.Payload(), &p) != nil {
		return
	}
	at, err := time.Parse(time.RFC3339Nano, p.Time)
	if err != nil {
		r.t.Errorf("%s: %v", m.Payload(), err)
	}
	r.got = append(r.got, arrival{m.Topic(), at, p.Celsius, p.Seq})
}

// await waits until there are n different readings and gives them in the order of their first arrival.
func (r *receiver) await(n int) []arrival {
	r.t.Helper()
	for deadline := time.Now().Add(60 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if first := r.first(); len(first) >= n {
			return first
		}
	}
	r.t.Fatalf("%d of %d readings arrived", len(r.first()), n)
	return nil
}

func (r *receiver) first() []arrival {
	r.mu.Lock()
	defer r.mu.Unlock()
	type key struct {
		topic string
		at    time.Time
	}
	seen := map[key]bool{}
	var out []arrival
	for _, a := range r.got {
		if k := (key{a.topic, a.at}); !seen[k] {
			seen[k] = true
			out = append(out, a)
		}
	}
	return out
}
