package when

import (
	"testing"
	"time"
)

func span(text string) time.Duration {
	d, err := time.ParseDuration(text)
	if err != nil {
		panic(err)
	}
	return d
}

func TestSpan_IsAsPeopleSayIt(t *testing.T) {
	for _, tc := range []struct{ d, want string }{
		{"0s", "0 s"}, {"45.4s", "45 s"}, {"60s", "1 min"}, {"90s", "90 s"}, {"119.6s", "2 min"}, {"50m", "50 min"}, {"59m40s", "1 h"},
		{"4h4m", "4 h 04 min"}, {"4h4m29s", "4 h 04 min"}, {"6h", "6 h"}, {"26h5m", "26 h 05 min"}, {"47h59m40s", "2 days"}, {"48h", "2 days"},
		{"147h20m", "6 days 3 h"}, {"71h45m", "3 days"}, {"-75m", "-1 h 15 min"},
	} {
		if got := Span(span(tc.d)); got != tc.want {
			t.Errorf("Span(%s) = %q, want %q", tc.d, got, tc.want)
		}
	}
}

// The dwell times are rows of published tables (FSIS-GD-2021-14, FSIS-GD-2021-13); the others lie beside the 6 h of a cooling limit.
func TestExact_DoesNotReadLikeTheLimit(t *testing.T) {
	for _, tc := range []struct{ d, want string }{
		{"0s", "0 s"}, {"17s", "17 s"}, {"44.2s", "44.2 s"}, {"169s", "2 min 49 s"}, {"15m", "15 min"}, {"112m", "112 min"}, {"81m24s", "81 min 24 s"},
		{"2h", "2 h"}, {"3h0m5s", "3 h 00 min 05 s"}, {"5h59m59.7s", "6 h"}, {"6h", "6 h"}, {"6h0m20s", "6 h 00 min 20 s"}, {"6h11m", "6 h 11 min"}, {"-20s", "-20 s"},
	} {
		if got := Exact(span(tc.d)); got != tc.want {
			t.Errorf("Exact(%s) = %q, want %q", tc.d, got, tc.want)
		}
	}
}

// The night of 1 November 2026 has 02:00 twice in Chicago: the day is the calendar's, whatever its length.
func TestTimes_BearTheirDayWhereItIsAnother(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 10, 31, 22, 0, 0, 0, chicago)
	for _, tc := range []struct {
		at          time.Time
		near, short string
	}{
		{now.Add(time.Hour), "23:00", "23:00"},
		{now.Add(5 * time.Hour).UTC(), "Sun 1 Nov 02:00", "Sun 02:00"},
		{now.AddDate(0, 0, 7), "Sat 7 Nov 22:00", "Sat 22:00"},
		{now.AddDate(1, 0, 0), "Sun 31 Oct 22:00", "Sun 22:00"},
	} {
		if got := Near(tc.at, now, chicago); got != tc.near {
			t.Errorf("Near(%v) = %q, want %q", tc.at, got, tc.near)
		}
		if got := Short(tc.at, now, chicago); got != tc.short {
			t.Errorf("Short(%v) = %q, want %q", tc.at, got, tc.short)
		}
	}
}
