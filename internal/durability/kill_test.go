package durability

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/store"
	"stallkeeper/internal/testrig"
)

// The test starts itself again as the daemon to be killed; these tell it so.
const (
	childDir    = "STALLKEEPER_DURABILITY_DIR"
	childListen = "STALLKEEPER_DURABILITY_LISTEN"
	childURL    = "STALLKEEPER_DURABILITY_URL"
)

// child is the daemon's intake until SIGTERM.
func child() int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	k, err := openIntake(ctx, settings{dir: os.Getenv(childDir), listen: os.Getenv(childListen), url: os.Getenv(childURL), log: os.Stderr})
	if err == nil {
		err = k.run(ctx)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "child:", err)
		return 1
	}
	return 0
}

func startChild(t *testing.T, s settings) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDir+"="+s.dir, childListen+"="+s.listen, childURL+"="+s.url)
	cmd.Stderr = t.Output()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd
}

// The load: 8 publishers with 250 readings a second each are 2,000 a second, also through the times without a daemon.
const (
	publishers = 8
	perSecond  = 250
	tick       = 20 * time.Millisecond
	window     = 500 // messages on their way at once
)

// kills is 10 in the suite and 100 with STALLKEEPER_SOAK=1.
func kills() int {
	if os.Getenv("STALLKEEPER_SOAK") == "1" {
		return 100
	}
	return 10
}

// TestKill_AcknowledgedReadingsAreThereOnce kills the daemon at random moments under load. Each reading has a time
// of its own, so that a lost or a doubled one shows.
func TestKill_AcknowledgedReadingsAreThereOnce(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	t.Run("embedded broker", func(t *testing.T) {
		addr := testrig.FreeAddr(t)
		killUnderLoad(t, settings{dir: t.TempDir(), listen: addr}, addr)
	})
	t.Run("mosquitto", func(t *testing.T) {
		addr := testrig.StartMosquitto(t).Addr
		killUnderLoad(t, settings{dir: t.TempDir(), url: "mqtt://" + addr}, addr)
	})
}

func killUnderLoad(t *testing.T, s settings, addr string) {
	const seed = 20260301
	moments := rand.New(rand.NewPCG(seed, uint64(kills())))
	cmd := startChild(t, s)
	testrig.AwaitPort(t, addr)
	awaitIntake(t, s.dir, addr)
	first := count(t, s.dir, allReadings)
	var pubs [publishers]*publisher
	var wg sync.WaitGroup
	var stop atomic.Bool
	begin := time.Now()
	for i := range pubs {
		pubs[i] = &publisher{addr: addr, probe: fmt.Sprintf("p%d", i), begin: begin, ended: &stop}
		wg.Go(pubs[i].run)
	}
	for range kills() {
		time.Sleep(time.Duration(200+moments.IntN(800)) * time.Millisecond)
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // killed: its status says so
		cmd = startChild(t, s)
	}
	stop.Store(true)
	wg.Wait()
	took := time.Since(begin)
	sent := 0
	for _, p := range pubs {
		sent += p.sent
	}
	awaitCount(t, s.dir, allReadings, first+sent, 2*time.Minute)
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("the daemon does not end well: %v", err)
	}
	t.Logf("seed %d: %d kills, %d readings acknowledged, %.0f a second", seed, kills(), sent, float64(sent)/took.Seconds())
	checkAll(t, s.dir, pubs[:])
}

// awaitIntake sends readings until one is stored: a broker keeps nothing for a subscriber that it does not know yet.
// It returns when all of them are in.
func awaitIntake(t *testing.T, dir, addr string) {
	t.Helper()
	for range 100 {
		pub(t, addr, "stallkeeper/reading/ready", 1, []string{"20"})
		time.Sleep(200 * time.Millisecond)
		if n, err := tryCount(dir, allReadings); err == nil && n > 0 {
			break
		}
	}
	for before := 0; ; time.Sleep(300 * time.Millisecond) {
		now := count(t, dir, allReadings)
		if now == before && now > 0 {
			return
		}
		before = now
	}
}

// checkAll compares what is stored with what was acknowledged, reading by reading.
func checkAll(t *testing.T, dir string, pubs []*publisher) {
	t.Helper()
	if n := count(t, dir, allBad); n != 0 {
		t.Errorf("%d in quarantine, want none", n)
	}
	ctx := context.Background()
	k, err := openIntake(ctx, settings{dir: dir, listen: "127.0.0.1:0", log: t.Output()}) // looks for damage
	if err != nil {
		t.Fatal(err)
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	defer func() {
		if err := k.run(stopped); err != nil {
			t.Error(err)
		}
	}()
	for _, p := range pubs {
		n := 0
		for r, err := range k.db.ReadingsOf(ctx, []cook.ProbeID{cook.ProbeID(p.probe)}, time.Time{}, time.Time{}) {
			if err != nil {
				t.Fatal(err)
			}
			if at, celsius := reading(n); !r.Time.Equal(at) || float64(r.Celsius) != celsius {
				t.Fatalf("%s: reading %d is %v at %v, want %v at %v", p.probe, n, float64(r.Celsius), r.Time, celsius, at)
			}
			n++
		}
		if n != p.sent {
			t.Errorf("%s: %d readings are stored, %d were acknowledged", p.probe, n, p.sent)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, store.FileName)); err != nil {
		t.Error(err)
	}
}

// reading gives time and value of a publisher's n-th reading.
func reading(n int) (time.Time, float64) {
	return time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC).Add(time.Duration(n) * 250 * time.Millisecond), 20 + float64(n%1000)/10
}

// publisher sends readings one after another and again after a lost connection, until each is acknowledged.
type publisher struct {
	addr, probe string
	begin       time.Time
	ended       *atomic.Bool
	sent        int   // readings begun
	open        []int // readings not yet acknowledged
}

type flight struct {
	n     int
	token mqtt.Token
}

func (p *publisher) run() {
	for !p.ended.Load() || len(p.open) > 0 {
		p.connection()
	}
}

// connection sends until the connection ends. An acknowledgement counts if it came on the connection of its message.
func (p *publisher) connection() {
	lost := make(chan struct{})
	cl := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + p.addr).SetClientID(p.probe).SetAutoReconnect(false).
		SetConnectTimeout(time.Second).
		SetWriteTimeout(500 * time.Millisecond). // Publish waits this long when the connection is being lost
		SetConnectionLostHandler(func(mqtt.Client, error) { close(lost) }))
	if token := cl.Connect(); !token.WaitTimeout(2*time.Second) || token.Error() != nil {
		time.Sleep(20 * time.Millisecond)
		return
	}
	defer cl.Disconnect(0)
	var flights []flight
	send := func(n int) {
		at, celsius := reading(n)
		payload := fmt.Sprintf(`{"celsius":%v,"time":%q,"seq":%d}`, celsius, at.Format(time.RFC3339Nano), n+1)
		flights = append(flights, flight{n, cl.Publish("stallkeeper/reading/"+p.probe, 1, false, payload)})
	}
	for _, n := range p.open {
		send(n)
	}
	for range time.Tick(tick) {
		flights = p.collect(flights)
		select {
		case <-lost:
			p.collect(flights)
			return
		default:
		}
		if p.ended.Load() && len(flights) == 0 {
			return
		}
		for due := int(time.Since(p.begin).Seconds() * perSecond); p.sent < due && len(flights) < window && !p.ended.Load(); {
			p.open = append(p.open, p.sent)
			send(p.sent)
			p.sent++
		}
	}
}

// collect takes the acknowledged readings off the open ones and gives the flights that are still waiting.
func (p *publisher) collect(flights []flight) (waiting []flight) {
	done := map[int]bool{}
	for _, f := range flights {
		select {
		case <-f.token.Done():
			done[f.n] = f.token.Error() == nil
		default:
			waiting = append(waiting, f)
		}
	}
	open := p.open[:0]
	for _, n := range p.open {
		if !done[n] {
			open = append(open, n)
		}
	}
	p.open = open
	return waiting
}
