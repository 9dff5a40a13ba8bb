package shop_test

import (
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/webtest"
)

// By the page and by the API the same is refused. Cook 7 has four entries: lid, spritz, wrap and fuel.
func TestLogEvent_KeepsWhatCanBe(t *testing.T) {
	s := webtest.NewNight(t).Shop(t)
	lid := cook.Event{Kind: cook.EventLid}
	for _, tc := range []struct {
		what   string
		entry  cook.Entry
		status int
	}{
		{"yet to come", cook.Entry{Event: cook.Event{Kind: cook.EventLid, Time: s.Now().Add(time.Hour)}}, 400},
		{"a piece that is not there", cook.Entry{Event: cook.Event{Kind: cook.EventWrap, With: "foil", Piece: "ham"}}, 400},
		{"corrects nothing", cook.Entry{Event: lid, Corrects: 99}, 400},
		{"withdraws nothing", cook.Entry{Withdraw: true}, 400},
		{"a note with a control character", cook.Entry{Event: lid, Note: "a\x00b"}, 400},
	} {
		if _, err := s.LogEvent(t.Context(), 7, tc.entry); statusOf(err) != tc.status {
			t.Errorf("%s: %v, want status %d", tc.what, err, tc.status)
		}
	}
	kept, err := s.LogEvent(t.Context(), 7, cook.Entry{Corrects: 3, Withdraw: true, By: "KM"})
	if err != nil || kept.Kind != cook.EventWrap || kept.Piece != "shoulder" || !kept.Logged.Equal(s.Now()) {
		t.Fatalf("withdrawn: %+v, %v; want the wrap that never was, logged now", kept, err)
	}
	if _, err := s.LogEvent(t.Context(), 7, cook.Entry{Corrects: 3, Withdraw: true}); statusOf(err) != 409 {
		t.Errorf("withdrawn twice: %v, want a conflict", err)
	}
	if _, err := s.LogEvent(t.Context(), 99, cook.Entry{Event: lid}); statusOf(err) != 404 {
		t.Errorf("in no cook: %v, want not found", err)
	}
}

func TestEnterReading_JudgesWhatWasRead(t *testing.T) {
	s := webtest.NewNight(t).Shop(t)
	for celsius, want := range map[float64]cook.Quality{61.5: cook.Good, 85: cook.Good, -127: cook.Open} { // 85 is a power-up value to a sensor, not to a person
		r, err := s.EnterReading(t.Context(), "flat", thermal.Celsius(celsius), time.Time{})
		if err != nil || r.Quality != want || r.Clock != cook.HandClock || !r.Time.Equal(s.Now()) {
			t.Errorf("%v °C by hand: %+v, %v; want %s", celsius, r, err, want)
		}
	}
	if _, err := s.EnterReading(t.Context(), "flat", -300, time.Time{}); statusOf(err) != 400 {
		t.Errorf("below absolute zero: %v", err)
	}
	if _, err := s.EnterReading(t.Context(), "flat", 60, s.Now().Add(time.Hour)); statusOf(err) != 400 {
		t.Errorf("read in an hour: %v", err)
	}
}
