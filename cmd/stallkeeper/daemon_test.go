package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/testrig"
)

// serving is the daemon running in this process.
type serving struct {
	addresses
	stop func() int
}

// mustServe runs serve until the test ends or stop is called.
func mustServe(t *testing.T, args ...string) *serving {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	var log bytes.Buffer
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, append([]string{"serve", "--http", "127.0.0.1:0"}, args...), in, &log)
		in.Close()
	}()
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err != nil {
		t.Fatalf("serve ended with %d: %s", <-ended, log.String())
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	s := &serving{}
	if err := json.Unmarshal(line, &s.addresses); err != nil {
		t.Fatalf("first line %q: %v", line, err)
	}
	stopped := false
	s.stop = func() int {
		cancel()
		stopped = true
		return <-ended
	}
	t.Cleanup(func() {
		if !stopped {
			if code := s.stop(); code != 0 {
				t.Errorf("serve ended with %d: %s", code, log.String())
			}
		}
		if t.Failed() {
			t.Log(log.String())
		}
	})
	return s
}

// get decodes a JSON answer of the daemon.
func (s *serving) get(t *testing.T, path string, v any) {
	t.Helper()
	res, err := http.Get(s.HTTP + path)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != 200 {
		t.Fatalf("GET %s: %s %s %v", path, res.Status, body, err)
	}
	if err := json.Unmarshal(body, v); err != nil {
		t.Fatalf("GET %s: %v in %s", path, err, body)
	}
}

type readingLine struct {
	Probe   string    `json:"probe"`
	Time    time.Time `json:"time"`
	Celsius float64   `json:"celsius"`
	Quality string    `json:"quality"`
}

// readings gathers every page.
func (s *serving) readings(t *testing.T, query string) []readingLine {
	t.Helper()
	var out []readingLine
	for next := "/api/v1/readings?" + query; next != ""; {
		var page struct {
			Readings []readingLine `json:"readings"`
			Next     *string       `json:"next"`
		}
		s.get(t, next, &page)
		out = append(out, page.Readings...)
		next = ""
		if page.Next != nil {
			next = *page.Next
		}
	}
	return out
}

func eventually(t *testing.T, within time.Duration, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(within); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("not within %v: %s", within, what)
}

func publish(t *testing.T, broker, topic string, lines []string) {
	t.Helper()
	host, port, err := net.SplitHostPort(strings.TrimPrefix(broker, "mqtt://"))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(testrig.Program(t, "mosquitto_pub"), "-h", host, "-p", port, "-q", "1", "-t", topic, "-l")
	cmd.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

func TestServe_KeepsWhatIsSentAndSaysWhyNot(t *testing.T) {
	testrig.Program(t, "mosquitto_pub")
	s := mustServe(t, "--data", t.TempDir(), "--broker", "127.0.0.1:0")
	var numbers, objects, packs []string
	base := time.Date(2026, 5, 2, 18, 0, 0, 0, time.UTC)
	for i := range 200 {
		at := base.Add(time.Duration(i) * time.Second)
		numbers = append(numbers, fmt.Sprintf("%.1f", 20+float64(i)/10))
		objects = append(objects, fmt.Sprintf(`{"celsius":%.2f,"time":%q}`, 5+float64(i)/20, at.Format(time.RFC3339)))
		packs = append(packs, fmt.Sprintf(`[{"n":"a","u":"Cel","v":%.2f,"t":%d}]`, 60+float64(i)/50, at.Unix()))
	}
	bad := []string{"warm", "{}", "NaN", `{"celsius":"x"}`, `{"celsius":1e999}`, `{"celsius":20,"time":"yesterday"}`, "-300", `[{"n":"a","v":`, `{"celsius":null}`, "[]"}
	copy(numbers[190:], bad) // 190 numbers and ten that are none
	publish(t, s.Broker, "stallkeeper/reading/pit", numbers)
	publish(t, s.Broker, "stallkeeper/reading/flat", objects)
	publish(t, s.Broker, "stallkeeper/reading/point", packs)
	var got []readingLine
	eventually(t, 20*time.Second, "590 readings", func() bool { got = s.readings(t, "limit=100"); return len(got) >= 590 })
	if len(got) != 590 {
		t.Errorf("%d readings, want 590", len(got))
	}
	var q struct {
		Quarantine []struct{ Topic, Payload, Reason string }
	}
	s.get(t, "/api/v1/quarantine", &q)
	if len(q.Quarantine) != 10 {
		t.Errorf("%d in quarantine, want 10", len(q.Quarantine))
	}
	for _, b := range q.Quarantine {
		if b.Reason == "" || b.Topic != "stallkeeper/reading/pit" {
			t.Errorf("quarantined %q of %s without a reason", b.Payload, b.Topic)
		}
	}
}

// A recorded cook, replayed over MQTT through an outside broker as fast as it goes, gives the stored readings and the
// forecasts that the log itself gives.
func TestReplay_EqualsTheLog(t *testing.T) {
	const log = "../../testdata/cooks/cook-001011"
	broker := testrig.StartMosquitto(t).URL()
	conf := filepath.Join(t.TempDir(), "stallkeeper.toml")
	if err := os.WriteFile(conf, []byte("[mqtt]\nurl = \""+broker+"\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := mustServe(t, "--config", conf, "--data", t.TempDir())
	eventually(t, 10*time.Second, "connected", func() bool {
		res, err := http.Get(s.HTTP + "/readyz")
		if err != nil {
			return false
		}
		defer res.Body.Close()
		return res.StatusCode == 200
	})
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"cook", "replay", "--log", log, "--to", broker, "--speed", "max", "--start-at", s.HTTP}, &out, &errOut); code != 0 {
		t.Fatalf("replay: %d %s", code, errOut.String())
	}
	data, err := os.ReadFile(filepath.Join(log, "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(string(data)), "\n")[1:]
	var got []readingLine
	eventually(t, 60*time.Second, "all readings", func() bool { got = s.readings(t, "limit=10000"); return len(got) >= len(rows) })
	want := map[string]string{}
	for _, row := range rows {
		f := strings.Split(strings.TrimSpace(row), ",")
		want[f[0]+" "+f[1]] = f[2]
	}
	if len(got) != len(want) {
		t.Errorf("%d readings stored, the log has %d", len(got), len(want))
	}
	for _, r := range got {
		if w := want[r.Time.Format(time.RFC3339)+" "+r.Probe]; fmt.Sprint(r.Celsius) != w {
			t.Fatalf("%s at %v: %v, the log has %q", r.Probe, r.Time, r.Celsius, w)
		}
	}
	compareForecasts(t, s, log)
}

func compareForecasts(t *testing.T, s *serving, log string) {
	t.Helper()
	var kept struct {
		Forecasts []json.RawMessage `json:"forecasts"`
	}
	var cooks struct {
		Cooks []struct {
			ID     int64
			Pieces []struct{ ID string }
		}
	}
	s.get(t, "/api/v1/cooks", &cooks)
	path := fmt.Sprintf("/api/v1/cooks/%d/pieces/%s/forecasts", cooks.Cooks[0].ID, cooks.Cooks[0].Pieces[0].ID)
	eventually(t, 120*time.Second, "150 forecasts", func() bool { s.get(t, path, &kept); return len(kept.Forecasts) >= 150 })
	for i := 5; i < len(kept.Forecasts); i += len(kept.Forecasts) / 8 {
		var line struct{ At string }
		if err := json.Unmarshal(kept.Forecasts[i], &line); err != nil {
			t.Fatal(err)
		}
		var out, errOut bytes.Buffer
		if code := run(context.Background(), []string{"forecast", "--log", log, "--at", line.At, "--json"}, &out, &errOut); code != 0 {
			t.Fatalf("forecast: %d %s", code, errOut.String())
		}
		if got, want := strings.TrimSpace(string(kept.Forecasts[i])), strings.TrimSpace(out.String()); got != want {
			t.Errorf("at %s the daemon kept\n%s\nthe log gives\n%s", line.At, got, want)
		}
	}
}
