package metrics

import (
	"log/slog"
	"math"
	"net/http/httptest"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/testrig"
)

type fixed struct{ snapshot monitor.Snapshot }

func (f fixed) Snapshot() monitor.Snapshot { return f.snapshot }

// night has every case of known and unknown: a silent probe, a disconnected one, a piece without forecast, a ready time
// beyond the horizon, no serving hour.
func night() monitor.Snapshot {
	now := time.Date(2026, 5, 3, 2, 0, 0, 0, time.UTC)
	stored := cook.Stored{ID: 12, Cook: cook.Cook{Started: now.Add(-5 * time.Hour), Pit: cook.Pit{SetPoint: 107},
		Events: []cook.Event{{Time: now.Add(-time.Hour), Kind: cook.EventSetPoint, Celsius: 121}}}}
	last := func(v float64, q cook.Quality) cook.Reading {
		return cook.Reading{Time: now.Add(-3 * time.Second), Celsius: thermal.Celsius(v), Quality: q}
	}
	f := estimator.Forecast{At: now, Core: 68.25, Target: 92.5, State: estimator.Stall, PNever: 0.2}
	for i := range 4 {
		f.Ready[i] = now.Add(time.Duration(i+4) * time.Hour)
	}
	return monitor.Snapshot{
		Now: now,
		Probes: []monitor.ProbeView{
			{ID: "co", Role: cook.RoleCO, Last: last(9, cook.Good)},
			{ID: "core", Role: cook.RolePiece, Last: last(68.25, cook.Good), Battery: &cook.Battery{Device: "shed", Board: true, Percent: 73}},
			{ID: "declared", Role: cook.RoleCooler},
			{ID: "garage", Last: last(11, cook.Good), Silent: true},
			{ID: "pit/left", Role: cook.RolePit, Last: last(-127, cook.Open)},
		},
		Cooks: []monitor.CookView{{Stored: stored, NewestAt: now, Pieces: []monitor.PieceView{
			{Piece: cook.Piece{ID: "core", Target: 92.5}, Forecast: f, Forecasted: true, DangerZone: 2 * time.Hour, ServeChance: math.NaN()},
			{Piece: cook.Piece{ID: "late", Target: 95}, ServeChance: math.NaN()},
		}}},
		Alarms:   []alarm.Alarm{{ID: "pit-low/12", State: alarm.Active}, {ID: "probe-silent/garage", State: alarm.Acked}},
		Intake:   monitor.IntakeView{Connected: true, Clients: 3, Received: 5120, Quarantined: 2},
		Failures: 1,
	}
}

func mustRegister(t *testing.T, s monitor.Snapshot) (*prometheus.Registry, *Metrics) {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	m, err := New(registry, fixed{s}, "1.0.0")
	if err != nil {
		t.Fatal(err)
	}
	return registry, m
}

func TestPage_IsAsKept(t *testing.T) {
	registry, m := mustRegister(t, night())
	m.Committed(12 * time.Millisecond)
	m.Committed(3 * time.Second)
	m.Forecasted(200 * time.Millisecond)
	m.Duplicates(4)
	for name, accept := range map[string]string{"page.txt": "text/plain", "page.openmetrics": "application/openmetrics-text; version=1.0.0"} {
		w := httptest.NewRecorder()
		r := httptest.NewRequest("GET", "/metrics", nil)
		r.Header.Set("Accept", accept)
		Handler(registry, slog.New(slog.DiscardHandler)).ServeHTTP(w, r)
		got := strings.ReplaceAll(w.Body.String(), runtime.Version(), "GO")
		got = cutCreated(got)
		testrig.Golden(t, name, got)
	}
}

// cutCreated drops the lines that carry the time at which the process began.
func cutCreated(page string) string {
	var out []string
	for line := range strings.SplitSeq(page, "\n") {
		if !strings.Contains(line, "_created") {
			out = append(out, line)
		}
	}
	return strings.Join(out, "\n")
}

// The linter knows the published naming rules: base units, _total, no reserved labels.
func TestNames_FollowTheConventions(t *testing.T) {
	registry, _ := mustRegister(t, night())
	problems, err := testutil.GatherAndLint(registry)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

func TestUnknown_IsAbsentNotZero(t *testing.T) {
	registry, _ := mustRegister(t, monitor.Snapshot{Probes: []monitor.ProbeView{{ID: "core"}}})
	for name, want := range map[string]int{
		"stallkeeper_probe_temperature_celsius": 0, "stallkeeper_probe_reading_timestamp_seconds": 0, "stallkeeper_piece_core_celsius": 0,
		"stallkeeper_quiet_until_timestamp_seconds": 0, "stallkeeper_probe_silent": 1, "stallkeeper_intake_connected": 1, "stallkeeper_alarms": 5,
	} {
		got, err := testutil.GatherAndCount(registry, name)
		if err != nil {
			t.Fatal(err)
		}
		if got != want {
			t.Errorf("%s has %d samples, want %d", name, got, want)
		}
	}
}

func TestNew_RefusesARegistryThatHasThem(t *testing.T) {
	registry, _ := mustRegister(t, night())
	if _, err := New(registry, fixed{}, "1.0.0"); err == nil {
		t.Error("registered twice without an error")
	}
}
