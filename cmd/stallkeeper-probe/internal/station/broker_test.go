package station

import (
	"encoding/json"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

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
