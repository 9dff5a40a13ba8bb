package broker

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// committer stands for the store: it commits when told, or at once.
type committer struct {
	mu      sync.Mutex
	hold    bool
	fail    error
	refuse  error
	pending []func(error)
	got     []string
	arrived chan struct{}
}

func newCommitter() *committer { return &committer{arrived: make(chan struct{}, 1<<16)} }

func (c *committer) consume(_ context.Context, topic string, payload []byte, done func(error)) error {
	c.mu.Lock()
	if c.refuse != nil {
		defer c.mu.Unlock()
		return c.refuse
	}
	c.got = append(c.got, strings.TrimPrefix(topic, readings)+"="+string(payload))
	hold, fail := c.hold, c.fail
	if hold {
		c.pending = append(c.pending, done)
	}
	c.mu.Unlock()
	if !hold {
		done(fail)
	}
	c.arrived <- struct{}{}
	return nil
}

func (c *committer) commit(err error) {
	c.mu.Lock()
	pending := c.pending
	c.pending = nil
	c.mu.Unlock()
	for _, done := range pending {
		done(err)
	}
}

func (c *committer) set(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

func (c *committer) all() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return append([]string(nil), c.got...)
}

func (c *committer) await(t *testing.T, n int) {
	t.Helper()
	for range n {
		select {
		case <-c.arrived:
		case <-time.After(patience):
			t.Fatalf("only %d messages came: %v", len(c.all()), c.all())
		}
	}
}

func options(c *committer) Options {
	return Options{Listen: "127.0.0.1:0", MaxClients: 50, Consume: c.consume, Now: time.Now,
		IsReading: func(topic string) bool { return strings.HasPrefix(topic, readings) },
		Log:       slog.New(slog.NewTextHandler(io.Discard, nil))}
}

// patience is how long a test waits for what must come; only one that fails waits so long, however busy the machine is.
const patience = 30 * time.Second

// start runs a broker until the test ends.
func start(t *testing.T, opts Options) *Broker {
	t.Helper()
	b, err := New(opts)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(patience):
			t.Error("broker does not stop")
		}
	})
	return b
}

func connect(t *testing.T, b *Broker, id string, change ...func(*paho.ClientOptions)) paho.Client {
	t.Helper()
	cl, err := tryConnect(t, b, id, change...)
	if err != nil {
		t.Fatal(err)
	}
	return cl
}

func tryConnect(t *testing.T, b *Broker, id string, change ...func(*paho.ClientOptions)) (paho.Client, error) {
	t.Helper()
	o := paho.NewClientOptions().AddBroker("tcp://" + b.Addr().String()).SetClientID(id).
		SetAutoReconnect(false).SetProtocolVersion(4)
	for _, f := range change {
		f(o)
	}
	cl := paho.NewClient(o)
	token := cl.Connect()
	if !token.WaitTimeout(10 * time.Second) {
		return nil, errors.New("no answer to CONNECT")
	}
	t.Cleanup(func() { cl.Disconnect(0) })
	return cl, token.Error()
}

func TestBroker_AcknowledgesAfterTheCommit(t *testing.T) {
	for qos := byte(1); qos <= 2; qos++ {
		t.Run(fmt.Sprint("QoS ", qos), func(t *testing.T) {
			c := newCommitter()
			c.hold = true
			b := start(t, options(c))
			cl := connect(t, b, "probe")
			var tokens []paho.Token
			for i := range 5 {
				tokens = append(tokens, cl.Publish("stallkeeper/reading/core", qos, false, fmt.Sprint(60+i)))
			}
			c.await(t, 5)
			for i, token := range tokens {
				if token.WaitTimeout(20 * time.Millisecond) {
					t.Errorf("message %d is acknowledged before the commit: %v", i, token.Error())
				}
			}
			c.commit(nil)
			for i, token := range tokens {
				if !token.WaitTimeout(patience) || token.Error() != nil {
					t.Errorf("message %d is not acknowledged after the commit: %v", i, token.Error())
				}
			}
			if got := b.Stats(); got.Received != 5 || got.Acknowledged != 5 {
				t.Errorf("Stats() = %+v, want 5 received and acknowledged", got)
			}
		})
	}
}

func TestBroker_StoresQoS0(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	cl := connect(t, b, "probe")
	cl.Publish("stallkeeper/reading/pit/left", 0, false, "107").Wait()
	c.await(t, 1)
	if got := fmt.Sprint(c.all()); got != "[pit/left=107]" {
		t.Errorf("stored %s, want [pit/left=107]", got)
	}
}

func TestBroker_DisconnectsWhenTheCommitFails(t *testing.T) {
	c := newCommitter()
	c.fail = errors.New("disk full")
	b := start(t, options(c))
	lost := make(chan error, 1)
	cl := connect(t, b, "probe", func(o *paho.ClientOptions) {
		o.SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	})
	cl.Publish("stallkeeper/reading/core", 1, false, "60")
	select {
	case <-lost:
	case <-time.After(patience):
		t.Fatal("the client stays connected, so that it will never send again")
	}
	if got := b.Stats(); got.Acknowledged != 0 || got.Failed != 1 {
		t.Errorf("Stats() = %+v, want 1 failed, none acknowledged", got)
	}
}

func TestBroker_PassesCommittedReadingsAndOtherTopicsOn(t *testing.T) {
	c := newCommitter()
	c.hold = true
	b := start(t, options(c))
	seen := make(chan string, 10)
	sub := connect(t, b, "display")
	sub.Subscribe("#", 1, func(_ paho.Client, m paho.Message) { seen <- m.Topic() + "=" + string(m.Payload()) }).Wait()
	cl := connect(t, b, "probe")
	cl.Publish("stallkeeper/reading/core", 1, false, "60")
	c.await(t, 1)
	cl.Publish("garden/gate", 1, false, "open").Wait()
	expect(t, seen, "garden/gate=open") // the reading is not committed yet
	c.commit(nil)
	expect(t, seen, "stallkeeper/reading/core=60")
	if err := b.Publish("stallkeeper/status", true, []byte("online")); err != nil {
		t.Fatal(err)
	}
	expect(t, seen, "stallkeeper/status=online")
}

func expect(t *testing.T, seen <-chan string, want string) {
	t.Helper()
	select {
	case got := <-seen:
		if got != want {
			t.Errorf("subscriber got %s, want %s", got, want)
		}
	case <-time.After(patience):
		t.Errorf("subscriber got nothing, want %s", want)
	}
}
