package metrics

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
)

func TestMessages_ShowWhatWaitsAndWhatFailed(t *testing.T) {
	at := time.Date(2026, 5, 3, 2, 40, 0, 0, time.UTC)
	registry := prometheus.NewPedanticRegistry()
	var trouble error
	paths := func() ([]Path, error) {
		return []Path{{Name: "mail", Pending: 2, Oldest: at.Add(-90 * time.Second), Delivered: 7, Failures: 3}, {Name: "siren"}}, trouble
	}
	if err := Messages(registry, paths, func() time.Time { return at }); err != nil {
		t.Fatal(err)
	}
	want := `
# HELP stallkeeper_messages_delivered_total Messages delivered since the start.
# TYPE stallkeeper_messages_delivered_total counter
stallkeeper_messages_delivered_total{path="mail"} 7
stallkeeper_messages_delivered_total{path="siren"} 0
# HELP stallkeeper_messages_failures_total Tries to deliver that failed since the start.
# TYPE stallkeeper_messages_failures_total counter
stallkeeper_messages_failures_total{path="mail"} 3
stallkeeper_messages_failures_total{path="siren"} 0
# HELP stallkeeper_messages_oldest_seconds Age of the oldest message that waits. Absent when none does.
# TYPE stallkeeper_messages_oldest_seconds gauge
stallkeeper_messages_oldest_seconds{path="mail"} 90
# HELP stallkeeper_messages_pending Messages that wait for their delivery.
# TYPE stallkeeper_messages_pending gauge
stallkeeper_messages_pending{path="mail"} 2
stallkeeper_messages_pending{path="siren"} 0
`
	if err := testutil.GatherAndCompare(registry, strings.NewReader(want)); err != nil {
		t.Error(err)
	}
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("lint: %v %v", problems, err)
	}
	trouble = errors.New("disk full")
	if _, err := registry.Gather(); err == nil || !strings.Contains(err.Error(), "disk full") {
		t.Errorf("Gather = %v, want the trouble", err)
	}
}
