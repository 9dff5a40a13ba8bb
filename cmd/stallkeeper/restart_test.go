package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/testrig"
)

// Off loopback the daemon asks for users and TLS before anything runs, or is made: no folder, no database.
func TestServe_RefusesAnOpenDoor(t *testing.T) {
	for _, args := range [][]string{
		{"--http", "0.0.0.0:0", "--broker", "127.0.0.1:0"},
		{"--http", "127.0.0.1:0", "--broker", "0.0.0.0:0"},
		{"--http", ":0", "--broker", "127.0.0.1:0"},
	} {
		var out, errOut bytes.Buffer
		data := t.TempDir() + "/new"
		code := run(context.Background(), append([]string{"serve", "--data", data}, args...), &out, &errOut)
		if _, err := os.Stat(data); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%v: the folder was made: %v", args, err)
		}
		if code != 2 || out.Len() > 0 || !strings.Contains(errOut.String(), "users") {
			t.Errorf("%v: exit %d, %q, %q", args, code, out.String(), errOut.String())
		}
	}
}

// A port that was asked for by name and is taken is an error that says what to do; a taken default falls back.
func TestServe_SaysWhichPortIsTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"serve", "--data", t.TempDir(), "--broker", "127.0.0.1:0", "--http", l.Addr().String()}, &out, &errOut); code != 2 || !strings.Contains(errOut.String(), "--http") {
		t.Errorf("exit %d: %s", code, errOut.String())
	}
}

// After a stop and a start a running cook goes on: same readings, a forecast at once, and what was ended stays ended.
func TestServe_GoesOnAfterARestart(t *testing.T) {
	testrig.Program(t, "mosquitto_pub")
	data := t.TempDir()
	s := mustServe(t, "--data", data, "--broker", "127.0.0.1:0")
	began := time.Now().UTC().Add(-2 * time.Hour).Truncate(time.Second)
	cook := map[string]any{"name": "restart", "started": began, "pit": map[string]any{"setpoint_c": 107},
		"pieces": []any{map[string]any{"id": "flat", "cut": "brisket_flat", "mass_kg": 2.4, "thickness_mm": 52, "target_c": 93}}}
	api := daemonAPI{URL: s.HTTP}
	if err := api.call(t.Context(), "POST", "/cooks", cook, nil); err != nil {
		t.Fatal(err)
	}
	var flat, pit []string
	for i := range 120 {
		at := began.Add(time.Duration(i) * time.Minute).Format(time.RFC3339)
		flat = append(flat, fmt.Sprintf(`{"celsius":%.1f,"time":%q}`, 5+float64(i)/3, at))
		pit = append(pit, fmt.Sprintf(`{"celsius":%.1f,"time":%q}`, 106+float64(i%3), at))
	}
	publish(t, s.Broker, "stallkeeper/reading/pit", pit)
	publish(t, s.Broker, "stallkeeper/reading/flat", flat)
	var before struct{ Forecasts []map[string]any }
	// A pit without its piece is forecast minute by minute, which takes a while on a busy machine.
	eventually(t, 2*time.Minute, "a forecast of the last minute", func() bool {
		s.get(t, "/api/v1/forecasts", &before)
		return len(before.Forecasts) == 1 && before.Forecasts[0]["at"] == began.Add(119*time.Minute).Format(time.RFC3339)
	})
	stored := s.readings(t, "limit=1000")
	if code := s.stop(); code != 0 {
		t.Fatalf("stopped with %d", code)
	}

	again := mustServe(t, "--data", data, "--broker", "127.0.0.1:0")
	var after struct{ Forecasts []map[string]any }
	eventually(t, 30*time.Second, "the same forecast", func() bool {
		again.get(t, "/api/v1/forecasts", &after)
		return len(after.Forecasts) == 1
	})
	if fmt.Sprint(before.Forecasts) != fmt.Sprint(after.Forecasts) {
		t.Errorf("before the stop\n%v\nafter it\n%v", before.Forecasts, after.Forecasts)
	}
	if got := again.readings(t, "limit=1000"); fmt.Sprint(got) != fmt.Sprint(stored) {
		t.Errorf("%d readings after the restart, %d before", len(got), len(stored))
	}
	if err := (daemonAPI{URL: again.HTTP}).call(t.Context(), "POST", "/cooks/1/end", struct{}{}, nil); err != nil {
		t.Error(err)
	}
	if err := (daemonAPI{URL: again.HTTP}).call(t.Context(), "POST", "/cooks/1/end", struct{}{}, nil); err == nil {
		t.Error("a cook can be ended twice")
	}
}
