package store

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/cook"
)

func TestPut_KeepsEverythingOfAReading(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	want := []cook.Reading{
		reading("pit/left", 0, 107.25),
		{Probe: "core", Time: epoch.Add(time.Second + 123456*time.Microsecond), Celsius: -127, Quality: cook.Open, Clock: cook.ArrivalClock,
			Backlog: true, Arrived: epoch.Add(time.Hour), Seq: 41, Raw: "225 F"},
		{Probe: "core", Time: epoch.Add(2 * time.Second), Celsius: 61, Quality: cook.Suspect, Clock: cook.HandClock, Retained: true},
	}
	s.mustPut(t, want...)
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	got, err := mustOpen(t, path).Readings(t.Context(), cook.ReadingQuery{Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestPut_ProbeAndTimeAreTheIdentityOfATimedReading(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	got := s.mustPut(t,
		reading("core", 0, 60),
		reading("core", 0, 60), // sent again within one batch
		reading("core", 0, 61), // another value
		reading("flat", 0, 61), // another probe
		reading("core", 1, 60), // another time
	)
	got = append(got, s.mustPut(t, reading("core", 0, 60), reading("core", 0, 62))...) // in a later batch
	if diff := cmp.Diff([]Outcome{Stored, Duplicate, Conflict, Stored, Stored, Duplicate, Conflict}, got); diff != "" {
		t.Error(diff)
	}
	kept, err := s.Quarantine(t.Context(), 0, 10)
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, q := range kept {
		texts = append(texts, fmt.Sprintf("%s %s: %s", q.Topic, q.Payload, q.Reason))
	}
	want := []string{
		`stallkeeper/reading/core {"celsius":62,"time":"2026-05-02T18:00:00Z"}: conflict: for probe "core" at 2026-05-02T18:00:00Z the value 60 °C stands already; 62 °C came later`,
		`stallkeeper/reading/core {"celsius":61,"time":"2026-05-02T18:00:00Z"}: conflict: for probe "core" at 2026-05-02T18:00:00Z the value 60 °C stands already; 61 °C came later`,
	}
	if diff := cmp.Diff(want, texts); diff != "" {
		t.Error(diff)
	}
}
