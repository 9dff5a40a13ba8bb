package station

import (
	"context"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"stallkeeper/cmd/stallkeeper-probe/internal/sysfs"
	"stallkeeper/internal/testrig"
)

// board is a made-up board: its sensors, its /proc and its clock.
type board struct {
	mu   sync.Mutex // guards the fields below
	sys  fstest.MapFS
	proc fstest.MapFS
	at   time.Time
	up   float64
	hang chan struct{} // reads of the sensor called "hang" wait for it
}

const couple = "bus/iio/devices/iio:device0/"

func newBoard() *board {
	b := &board{sys: fstest.MapFS{}, proc: fstest.MapFS{}, at: time.Date(2026, 7, 4, 21, 0, 0, 0, time.UTC), up: 5000, hang: make(chan struct{})}
	b.write("bus/iio/devices/iio:device0/name", "max31855\n")
	b.write(couple+"in_temp_scale", "250\n")
	b.write(couple+"in_temp_raw", "400\n")
	b.write("bus/w1/devices/28-0316a2795bff/temperature", "4000\n")
	b.boot("first")
	return b
}

func (b *board) write(name, text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.sys[name] = &fstest.MapFile{Data: []byte(text)}
}

func (b *board) boot(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.proc["sys/kernel/random/boot_id"] = &fstest.MapFile{Data: []byte(id + "\n")}
	b.proc["uptime"] = &fstest.MapFile{Data: fmt.Appendf(nil, "%.2f 0\n", b.up)}
}

func (b *board) pass(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.at = b.at.Add(d)
	b.up += d.Seconds()
	b.proc["uptime"] = &fstest.MapFile{Data: fmt.Appendf(nil, "%.2f 0\n", b.up)}
}

func (b *board) now() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.at
}

// view is /sys or /proc of the board.
type view struct {
	b    *board
	tree fstest.MapFS
}

func (v view) Open(name string) (fs.File, error) {
	if strings.Contains(name, "hang/in_temp") {
		<-v.b.hang
	}
	v.b.mu.Lock()
	defer v.b.mu.Unlock()
	return v.tree.Open(name)
}

func (view) WriteFile(string, []byte) error { return fs.ErrNotExist }

func (b *board) station(t *testing.T, addr, folder string, more ...Probe) *Station {
	t.Helper()
	cfg := DefaultConfig("shed")
	cfg.MQTT.URL, cfg.MQTT.ClientID = "mqtt://"+addr, "shed"
	cfg.Backlog.Folder, cfg.Backlog.ResendPerSecond = folder, 2000
	cfg.Probes = append([]Probe{{Name: "pit", Device: "iio:max31855/temp", Samples: 3, Gap: time.Microsecond}, {Name: "core", Device: "w1:28-0316a2795bff"}}, more...)
	if err := cfg.Validate(); err != nil {
		t.Fatal(err)
	}
	s, err := New(cfg, Surroundings{Tree: view{b, b.sys}, Proc: view{b, b.proc}, Now: b.now, Synchronised: func() bool { return true },
		Log: slog.New(slog.NewTextHandler(t.Output(), nil))}, false)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// rounds measures n times, ten simulated seconds apart; the pit's value counts the rounds.
func (b *board) rounds(s *Station, from, n int) {
	for i := range n {
		b.write(couple+"in_temp_raw", fmt.Sprint(400+(from+i)))
		s.measure(context.Background())
		b.pass(10 * time.Second)
	}
}

func run(t *testing.T, s *Station) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() { s.link.Run(ctx) })
	return sync.OnceFunc(func() {
		cancel()
		wg.Wait()
	})
}

// Half an hour without a broker, a restart of the program in the middle of it, and a connection that is cut while the
// backlog drains: nothing lost, order and times right.
func TestStation_HalfAnHourWithoutBroker(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a broker")
	}
	b, m, folder := newBoard(), testrig.NewMosquitto(t), t.TempDir()
	g := newGate(t, m.Addr)
	m.Start()
	r := newReceiver(t)
	r.connect(m.Addr)
	g.set(true)
	s := b.station(t, g.addr, folder)
	stop := run(t, s)
	b.rounds(s, 0, 30)
	r.await(60)

	g.set(false)
	m.Stop()
	b.rounds(s, 30, 90)
	if err := s.queue.Spill(); err != nil {
		t.Fatal(err)
	}
	stop()
	s = b.station(t, g.addr, folder) // after a power cut
	stop = run(t, s)
	defer stop()
	b.rounds(s, 120, 90)
	if n := s.queue.Len(); n < 360 || n > 380 { // up to a batch was on its way when the broker went
		t.Errorf("%d readings wait after half an hour of two probes, want 360 to 380", n)
	}
	if info, err := os.Stat(filepath.Join(folder, "backlog.jsonl")); err != nil || info.Size() > 40000 {
		t.Errorf("the backlog on disk: %v, %v", info, err)
	}

	m.Start()
	r.connect(m.Addr)
	g.set(true)
	r.await(150) // in the middle of the backlog
	g.set(false)
	g.set(true)
	b.rounds(s, 210, 10)
	got := r.await(440)

	start := time.Date(2026, 7, 4, 21, 0, 0, 0, time.UTC)
	next := map[string]int{}
	for _, a := range got {
		i := next[a.topic]
		next[a.topic]++
		if want := start.Add(time.Duration(i) * 10 * time.Second); !a.at.Equal(want) {
			t.Fatalf("%s: reading %d is from %v, want %v", a.topic, i, a.at, want)
		}
		if want := float64(400+i) / 4; a.topic == "stallkeeper/reading/pit" && a.value != want {
			t.Fatalf("reading %d of the pit is %v, want %v", i, a.value, want)
		}
	}
	if len(got) != 440 || next["stallkeeper/reading/core"] != 220 {
		t.Errorf("%d readings, %v", len(got), next)
	}
	if again := len(r.got) - len(got); again > 3*20 {
		t.Errorf("%d readings came twice, more than what was in flight", again)
	}
	for deadline := time.Now().Add(60 * time.Second); s.queue.Len() > 0 && time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
	}
	if err := s.queue.Spill(); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(filepath.Join(folder, "backlog.jsonl")); err != nil || info.Size() != 0 {
		t.Errorf("after everything is acknowledged the file has %v, %v", info, err)
	}
}

func TestStation_StatusSaysWhatIsWrongAndWhenItIsGone(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a broker")
	}
	b, m := newBoard(), testrig.NewMosquitto(t)
	m.Start()
	r := newReceiver(t)
	r.connect(m.Addr)
	b.write("bus/w1/devices/28-0316a2795bff/temperature", "85000\n")
	s := b.station(t, m.Addr, t.TempDir())
	s.cfg.Interval = time.Second
	ctx, stop := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := s.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	waitStatus(t, r, `"core":{"ok":false,"fault":"power-up"`)
	b.write("bus/w1/devices/28-0316a2795bff/temperature", "4000\n")
	waitStatus(t, r, `"core":{"ok":true}`)
	stop()
	wg.Wait()
	waitStatus(t, r, `{"online":false}`)
}

func waitStatus(t *testing.T, r *receiver, want string) {
	t.Helper()
	var last []string
	for deadline := time.Now().Add(60 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		r.mu.Lock()
		last = append([]string(nil), r.status...)
		r.mu.Unlock()
		if len(last) > 0 && strings.Contains(last[len(last)-1], want) {
			return
		}
	}
	t.Fatalf("no status with %s; got %v", want, last)
}

// A board that boots in the past: readings are timed by their age until the clock is set, and truly afterwards. What
// was measured in an earlier boot without a clock has no time, and is given up and counted.
func TestPayload_ClockThatIsNotSet(t *testing.T) {
	b := newBoard()
	truth := b.now()
	b.at = time.Date(1970, 1, 1, 0, 1, 0, 0, time.UTC)
	s := b.station(t, "127.0.0.1:1", t.TempDir())
	b.rounds(s, 0, 1)
	b.pass(20 * time.Second)
	rec := s.queue.After(0, 1)[0]
	if _, data, ok := s.encode(rec); !ok || string(data) != `[{"n":"pit","u":"Cel","v":100,"t":-30}]` {
		t.Errorf("without a clock: %s, %v", data, ok)
	}
	b.at = truth.Add(30 * time.Second) // network time arrives
	if _, data, ok := s.encode(rec); !ok || !strings.Contains(string(data), `"time":"2026-07-04T21:00:00Z"`) {
		t.Errorf("after the clock is set: %s, %v", data, ok)
	}
	b.boot("second")
	if _, _, ok := s.encode(rec); ok || s.untimed.Load() != 1 {
		t.Errorf("after a reboot a reading without a time was sent, or not counted: %d", s.untimed.Load())
	}
}

func TestMeter_MedianTimeAndFaults(t *testing.T) {
	b := newBoard()
	b.write("bus/iio/devices/iio:device1/name", "mcp3008\n")
	b.write("bus/iio/devices/iio:device1/in_voltage0_raw", "411\n") // 1000 ohm divider at 3.3 V, 10 bit: about 100 °C
	b.write("bus/iio/devices/iio:device1/in_voltage0_scale", "3.2258\n")
	cfg, err := ParseConfig(`
[[probe]]
name = "pit"
device = "iio:mcp3008/voltage0"
gap = "1us"
[probe.convert]
kind = "ntc"
points = [{ celsius = 0.0, ohms = 32650.9 }, { celsius = 25.0, ohms = 10000.0 }, { celsius = 100.0, ohms = 678.4 }]
divider_ohms = 1000.0
reference_volts = 3.3
[[probe]]
name = "later"
device = "hwmon:sht3x/temp1"
[[probe]]
name = "hanging"
device = "iio:hang/temp"
[[probe]]
name = "core"
device = "w1:28-0316a2795bff"
[probe.convert]
kind = "ds18b20"
correction_k = -0.5
`, "shed")
	if err != nil {
		t.Fatal(err)
	}
	b.write("bus/iio/devices/iio:hang/in_temp_raw", "1")
	meter, err := NewMeter(cfg.Probes, view{b, b.sys}, 300*time.Millisecond, b.now)
	if err != nil {
		t.Fatal(err)
	}
	got := meter.Measure(context.Background())
	if got[0].Err != nil || got[0].Celsius < 99 || got[0].Celsius > 101 || got[0].Samples != 9 {
		t.Errorf("thermistor = %+v", got[0])
	}
	if faultKind(got[1].Err) != sysfs.Missing {
		t.Errorf("missing sensor = %+v", got[1])
	}
	if faultKind(got[2].Err) != sysfs.Slow {
		t.Errorf("hanging driver = %+v", got[2])
	}
	if got[3].Err != nil || got[3].Celsius != 3.5 || got[3].Seq != 1 {
		t.Errorf("corrected = %+v", got[3])
	}
	b.write("class/hwmon/hwmon3/name", "sht3x\n")
	b.write("class/hwmon/hwmon3/temp1_input", "21500\n")
	close(b.hang)
	if got = meter.Measure(context.Background()); got[1].Err != nil || got[1].Celsius != 21.5 || got[3].Seq != 2 {
		t.Errorf("after it appeared: %+v", got)
	}
}

// A week of four probes without a broker fits into the memory of a small board.
func TestStation_MemoryIsBounded(t *testing.T) {
	b := newBoard()
	s := b.station(t, "127.0.0.1:1", "")
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for i := range 4 * 60480 {
		s.queue.Add(Result{Probe: []string{"pit", "flat", "point", "fridge"}[i%4], Time: b.at.Add(time.Duration(i) * 10 * time.Second), Celsius: 107}.record(clock{set: true}))
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if n := s.queue.Len(); n > 20000 || n < 10000 {
		t.Errorf("%d readings wait", n)
	}
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 6<<20 {
		t.Errorf("the heap grew by %d bytes", grown)
	}
}
