package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// session is a daemon with a probe that goes from the room into ice, and after five minutes into boiling water. Each
// question takes ten seconds of its clock.
type session struct {
	at       time.Time
	ice      float64 // what the probe shows there
	boil     float64
	readings []map[string]any
	stays    bool // in the room
	kept     map[string]any
}

func (s *session) now() time.Time { return s.at }

func (s *session) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	start := time.Date(2026, 7, 4, 9, 0, 0, 0, time.UTC)
	switch {
	case r.URL.Path == "/api/v1/checks" && r.Method == http.MethodGet:
		fmt.Fprint(w, `{"probe":"flat","checks":[],"passed":null,"tolerance_k":1,"correction":{"slope":1,"k":0.25}}`)
		return
	case r.URL.Path == "/api/v1/probes":
		heard := "flat"
		if s.stays {
			heard = "point"
		}
		fmt.Fprintf(w, `{"probes":[{"id":"pit","time":"2026-07-04T08:59:50Z"},{"id":"garage","time":null},{"id":%q,"time":"2026-07-04T08:59:50Z"}]}`, heard)
		return
	case r.URL.Path == "/api/v1/checks":
		if err := json.NewDecoder(r.Body).Decode(&s.kept); err != nil {
			panic(err)
		}
		fmt.Fprint(w, `{"number":12}`)
		return
	}
	if r.URL.Path != "/api/v1/readings" || r.URL.Query().Get("probe") != "flat" {
		http.Error(w, "not found", http.StatusNotFound)
		return
	}
	s.at = s.at.Add(10 * time.Second)
	t := s.at.Sub(start).Seconds()
	c := s.ice + (21-s.ice)*math.Exp(-t/15)
	switch {
	case s.stays:
		c = 21
	case t > 300:
		c = s.boil + (s.ice-s.boil)*math.Exp(-(t-300)/15)
	}
	quality := "good"
	if len(s.readings) == 3 {
		c, quality = 85, "power-up"
	}
	s.readings = append(s.readings, map[string]any{"probe": "flat", "time": s.at.Format(time.RFC3339), "celsius": c, "quality": quality})
	from, err := time.Parse(time.RFC3339, r.URL.Query().Get("from"))
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	out := []map[string]any{}
	for _, one := range s.readings {
		if one["time"].(string) >= from.Format(time.RFC3339) {
			out = append(out, one)
		}
	}
	if err := json.NewEncoder(w).Encode(map[string]any{"readings": out, "next": nil}); err != nil {
		panic(err)
	}
}

func TestProbeCheck_Session(t *testing.T) {
	for _, test := range []struct {
		name   string
		probe  *session
		points []string
		want   error
		say    []string // in the answer
		tell   string   // while it waits
	}{
		{"good", &session{ice: 0.2, boil: 99.3}, []string{"ice", "boil"}, nil, []string{`"passed":true`, `"reference_c":98.98`, `"error_k":0.2`}, "still moving"},
		{"out of tolerance", &session{ice: 1.6, boil: 100.2}, []string{"ice", "boil"}, errFinding,
			[]string{`"passed":false`, `"error_k":1.6`, `"correction_k":-1.3`, `"entry":12`, "since its last good check"}, "Settled at 1.6"},
		{"broken", &session{ice: 14, boil: 99}, []string{"ice"}, errFinding, []string{`"correction":null`, "do not correct it"}, "Settled at 14.0"},
		{"ice alone", &session{ice: -0.4, boil: 99}, []string{"ice"}, nil, []string{`"passed":true`, `"correction_slope":1,"correction_k":0.6`}, "a reading was refused: power-up"},
		{"left in the room", &session{stays: true}, []string{"ice"}, errFinding, nil, "is the probe in?"},
		{"not known to the daemon", &session{stays: true}, []string{"ice"}, errFinding, nil, "Probe flat has not spoken yet. Those that have: pit, point."},
	} {
		t.Run(test.name, func(t *testing.T) {
			test.probe.at = time.Date(2026, 7, 4, 9, 0, 0, 0, time.UTC)
			server := httptest.NewServer(test.probe)
			defer server.Close()
			var out, errOut bytes.Buffer
			cmd := probeCheckCmd{Probe: "flat", Points: test.points, Altitude: "300m", By: "KM", Wait: 15 * time.Minute, JSON: true,
				daemonAPI: daemonAPI{URL: server.URL}, now: test.probe.now, poll: time.Microsecond}
			if err := cmd.Run(&console{ctx: context.Background(), out: &out, errOut: &errOut}); !errors.Is(err, test.want) {
				t.Errorf("Run = %v, want %v", err, test.want)
			}
			for _, want := range test.say {
				if !strings.Contains(out.String(), want) {
					t.Errorf("answer %s lacks %s", &out, want)
				}
			}
			if kept := test.probe.kept; len(test.say) > 0 && (kept["probe"] != "flat" || kept["by"] != "KM" || kept["tolerance_k"] != 1.0 || len(kept["points"].([]any)) != len(test.points)) {
				t.Errorf("kept %v", kept)
			}
			if !strings.Contains(errOut.String(), test.tell) {
				t.Errorf("session lacks %q:\n%s", test.tell, &errOut)
			}
		})
	}
}

func TestProbeCheck_RefusesWrongUse(t *testing.T) {
	for args, want := range map[string]string{
		"--probe flat":                                  "give --altitude 300m or --pressure",
		"--probe flat --altitude 300":                   "no unit of length",
		"--probe flat --altitude 300m --pressure 9hPa":  "not both",
		"--probe flat --pressure 985":                   "985hPa",
		"--probe flat --pressure 9hPa":                  "between 500 and 1100",
		"--probe flat --points ice,ice":                 "twice",
		"--probe flat --points steam --altitude 0m":     "use ice or boil",
		"--probe flat --points ice --tolerance 20C":     "between 0 and 5",
		"--probe flat --points ice --data /nowhere/sk":  "is it running?",
		"--probe fl+at --points ice --data /nowhere/sk": "has one of + # $",
	} {
		var out, errOut bytes.Buffer
		code := run(context.Background(), append([]string{"probe", "check"}, strings.Fields(args)...), &out, &errOut)
		if code != 2 || !strings.Contains(errOut.String(), want) || strings.Count(errOut.String(), "\n") > 2 {
			t.Errorf("%s: exit %d, %s; want it to say %q", args, code, fmt.Sprintf("%.300s", &errOut), want)
		}
	}
}
