package store

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/alarm"
)

func waitingIDs(t *testing.T, s *shop) (ids []string) {
	t.Helper()
	waiting, err := s.Waiting(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range waiting {
		ids = append(ids, m.ID)
	}
	return ids
}

func TestOutbox_KeepsStateMessagesAndWhatIsToldTogether(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	a := alarm.Alarm{ID: "pit-falling/1", Kind: alarm.PitFalling, State: alarm.Active, Changed: epoch}
	for _, telling := range []string{"one", "two", "three"} {
		if err := s.KeepAlarmToTell(t.Context(), a, []byte(telling)); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := s.OpenAlarms(t.Context()); err != nil || len(got) != 1 {
		t.Errorf("open alarms %v, %v, want the one", got, err)
	}
	if state, err := s.MessageState(t.Context()); err != nil || state != nil {
		t.Errorf("state %q, %v, want none at the beginning", state, err)
	}
	tellings, through, err := s.ToTell(t.Context())
	if err != nil || len(tellings) != 3 {
		t.Fatalf("to tell %q, %v", tellings, err)
	}
	both := []Outgoing{{ID: "b", Path: "mail", Made: epoch, Body: []byte("{}")}, {ID: "a", Path: "bell", Made: epoch, Body: []byte("{}")}}
	if err := s.KeepMessages(t.Context(), []byte("state"), through-1, both); err != nil {
		t.Fatal(err)
	}
	if err := s.MessageTried(t.Context(), "a", epoch.Add(time.Minute), "no route", false); err != nil {
		t.Fatal(err)
	}
	if err := s.MessageTried(t.Context(), "a", epoch.Add(time.Hour), "no route", false); err != nil {
		t.Fatal(err)
	}
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}

	s = mustOpen(t, path)
	if tellings, _, err = s.ToTell(t.Context()); err != nil || len(tellings) != 1 || string(tellings[0]) != "three" {
		t.Errorf("to tell %q, %v, want the third", tellings, err)
	}
	if state, err := s.MessageState(t.Context()); err != nil || string(state) != "state" {
		t.Errorf("state %q, %v", state, err)
	}
	waiting, err := s.Waiting(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := []Outgoing{{ID: "b", Path: "mail", Made: epoch, Body: []byte("{}")}, // in the order in which they were kept
		{ID: "a", Path: "bell", Made: epoch, Body: []byte("{}"), Tries: 2, Failing: epoch.Add(time.Minute)}}
	if diff := cmp.Diff(want, waiting); diff != "" {
		t.Error(diff)
	}
}

func TestOutbox_AddsNoMessageTwice(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	m := []Outgoing{{ID: "a", Path: "mail", Made: epoch, Body: []byte("{}")}}
	keep := func() {
		t.Helper()
		if err := s.KeepMessages(t.Context(), nil, 0, m); err != nil {
			t.Fatal(err)
		}
	}
	keep()
	keep()
	if got := waitingIDs(t, s); len(got) != 1 {
		t.Errorf("waiting %v, want it once", got)
	}
	if err := s.MessageTried(t.Context(), "a", epoch, "", true); err != nil {
		t.Fatal(err)
	}
	keep()
	if got := waitingIDs(t, s); len(got) != 0 {
		t.Errorf("waiting %v after it was delivered, want none", got)
	}
	m[0].Made = epoch.Add(outboxKept + time.Hour) // so late that the first has been forgotten
	m = append(m, Outgoing{ID: "b", Path: "mail", Made: m[0].Made, Body: []byte("{}")})
	keep()
	keep()
	if got := waitingIDs(t, s); len(got) != 2 {
		t.Errorf("waiting %v, want two", got)
	}
}

func TestPathsHealth_RemembersTheLastDeliveryAndTheLastFailure(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	if err := s.KeepMessages(t.Context(), nil, 0, []Outgoing{{ID: "a", Path: "mail", Made: epoch, Body: []byte("{}")}, {ID: "b", Path: "mail", Made: epoch, Body: []byte("{}")}}); err != nil {
		t.Fatal(err)
	}
	for _, try := range []struct {
		id, trouble string
		after       time.Duration
	}{{"a", "", time.Minute}, {"b", "no route", 2 * time.Minute}, {"b", "refused", 3 * time.Minute}, {"b", "", 4 * time.Minute}} {
		if err := s.MessageTried(t.Context(), try.id, epoch.Add(try.after), try.trouble, try.trouble == ""); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.PathsHealth(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]PathHealth{"mail": {Delivered: epoch.Add(4 * time.Minute), Failed: epoch.Add(3 * time.Minute), Error: "refused"}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
