package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/simulate"
)

// A day of eight probes at a reading a second, as fast as it goes: nothing is lost, memory stays small and flat, and the
// growth of the database is said.
func TestSoak_ADayOfReadings(t *testing.T) {
	if os.Getenv("STALLKEEPER_SOAK") == "" {
		t.Skip("takes some minutes: set STALLKEEPER_SOAK=1, or make soak")
	}
	dir := t.TempDir()
	log, count := inventDay(t, filepath.Join(dir, "log"))
	program := filepath.Join(dir, "stallkeeper")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("build: %v: %s", err, out)
	}
	data := filepath.Join(dir, "data")
	daemon := exec.Command(program, "serve", "--data", data, "--http", "127.0.0.1:0", "--broker", "127.0.0.1:0")
	var daemonLog bytes.Buffer
	daemon.Stderr = &daemonLog
	if err := daemon.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		_ = daemon.Process.Signal(os.Interrupt)
		if err := daemon.Wait(); err != nil {
			t.Errorf("daemon ended: %v: %s", err, daemonLog.String())
		}
	}()
	s := &serving{}
	eventually(t, 10*time.Second, "addresses", func() bool {
		text, err := os.ReadFile(filepath.Join(data, addressesFile))
		return err == nil && json.Unmarshal(text, &s.addresses) == nil
	})
	began := time.Now()
	replayed := make(chan int, 1)
	var errOut bytes.Buffer
	go func() {
		replayed <- run(context.Background(), []string{"cook", "replay", "--log", log, "--to", s.Broker, "--speed", "max", "--start-at", s.HTTP}, &bytes.Buffer{}, &errOut)
	}()
	var resident []int
	done := false
	for end := time.Now().Add(40 * time.Minute); time.Now().Before(end); time.Sleep(time.Second) {
		resident = append(resident, statusKB(t, daemon.Process.Pid, "VmRSS"))
		select {
		case code := <-replayed:
			if code != 0 {
				t.Fatalf("replay: %d %s", code, errOut.String())
			}
			done = true
		default:
		}
		if done && s.applied(t).Equal(dayEnd()) {
			break
		}
	}
	took := time.Since(began)
	if got := len(s.readings(t, "limit=10000")); got != count {
		t.Errorf("%d readings stored, %d published", got, count)
	}
	size := int64(0)
	for _, name := range []string{"stallkeeper.db", "stallkeeper.db-wal"} {
		if info, err := os.Stat(filepath.Join(data, name)); err == nil {
			size += info.Size()
		}
	}
	peak := statusKB(t, daemon.Process.Pid, "VmHWM") // also while all of it was read back
	third := len(resident) / 3
	middle, last := slices.Max(resident[third:2*third]), slices.Max(resident[2*third:])
	t.Logf("%d readings in %v (%.0f/s); resident at most %d kB, in the middle third %d, in the last %d, %d with the day read back; database %.1f MB",
		count, took.Round(time.Second), float64(count)/took.Seconds(), slices.Max(resident), middle, last, peak, float64(size)/1e6)
	if peak > 60<<10 {
		t.Errorf("resident memory reached %d kB, at most 60 MB are allowed", peak)
	}
	if float64(last) > 1.15*float64(middle) {
		t.Errorf("resident memory grew from %d to %d kB", middle, last)
	}
}

func dayStart() time.Time { return time.Date(2026, 5, 2, 12, 0, 0, 0, time.UTC) }
func dayEnd() time.Time   { return dayStart().Add(24 * time.Hour) }

// inventDay writes a log of seven pieces and a pit, and gives the number of its readings.
func inventDay(t *testing.T, dir string) (string, int) {
	t.Helper()
	s := simulate.Demo(dayStart())
	s.Length, s.Interval = 24*time.Hour, 15*time.Second
	base := s.Pieces
	s.Pieces, s.Probes = nil, []simulate.Probe{{Name: "pit", Sees: simulate.SeesPit, Noise: .3, Step: .1}}
	for i := range 7 {
		p := base[i%len(base)]
		p.ID = fmt.Sprintf("piece%d", i+1)
		s.Pieces = append(s.Pieces, p)
		s.Probes = append(s.Probes, simulate.Probe{Name: p.ID, Sees: simulate.SeesPiece, Piece: p.ID, Noise: .1, Step: .1})
	}
	taken, _, err := simulate.All(s)
	if err != nil {
		t.Fatal(err)
	}
	readings := everySecond(taken, s.Interval)
	described := describe(s)
	text, err := cook.EncodeCook(&described)
	if err != nil {
		t.Fatal(err)
	}
	var rows bytes.Buffer
	if err := cook.WriteReadings(&rows, readings); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{cook.LogCookFile: text, cook.LogReadingsFile: rows.Bytes()} {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir, len(readings)
}

// everySecond fills the seconds between simulated readings by straight lines, rounded as a probe would.
func everySecond(taken []simulate.Reading, interval time.Duration) []cook.Reading {
	last := map[string]simulate.Reading{}
	var out []cook.Reading
	for _, r := range taken {
		from, ok := last[r.Probe]
		last[r.Probe] = r
		if !ok {
			out = append(out, cook.Reading{Probe: cook.ProbeID(r.Probe), Time: r.Time, Celsius: r.Celsius})
			continue
		}
		for at := from.Time.Add(time.Second); !at.After(r.Time); at = at.Add(time.Second) {
			share := float64(at.Sub(from.Time)) / float64(interval)
			c := float64(from.Celsius) + share*float64(r.Celsius-from.Celsius)
			out = append(out, cook.Reading{Probe: cook.ProbeID(r.Probe), Time: at, Celsius: thermal.Celsius(math.Round(10*c) / 10)})
		}
	}
	slices.SortStableFunc(out, func(a, b cook.Reading) int { return a.Time.Compare(b.Time) })
	return out
}

// applied is the time of the newest forecast of any piece.
func (s *serving) applied(t *testing.T) time.Time {
	var f struct{ Forecasts []struct{ At time.Time } }
	s.get(t, "/api/v1/forecasts", &f)
	var newest time.Time
	for _, x := range f.Forecasts {
		if x.At.After(newest) {
			newest = x.At
		}
	}
	return newest
}

// statusKB reads a size of a process: VmRSS is what is resident now, VmHWM the most that ever was.
func statusKB(t *testing.T, pid int, size string) int {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(size + `:\s+(\d+) kB`).FindSubmatch(text)
	if m == nil {
		t.Fatalf("no %s in /proc", size)
	}
	kb, err := strconv.Atoi(string(m[1]))
	if err != nil {
		t.Fatal(err)
	}
	return kb
}
