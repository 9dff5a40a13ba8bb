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

// In Berlin the clocks went back from 03:00 to 02:00 on 25 October 2026 (EU Directive 2000/84/EC: the last Sunday of October, 01:00 UTC); on Lord
// Howe Island they go back by half an hour (time zone database, Australia/Lord_Howe).
func TestDate_IsOneMoment(t *testing.T) {
	for _, tc := range []struct{ zone, at, want string }{
		{"Europe/Berlin", "2026-11-05T15:00:00Z", "Thu 5 Nov 2026, 16:00"},
		{"Europe/Berlin", "2026-10-24T23:59:00Z", "Sun 25 Oct 2026, 01:59"},
		{"Europe/Berlin", "2026-10-25T00:30:00Z", "Sun 25 Oct 2026, 02:30 (UTC+02:00)"},
		{"Europe/Berlin", "2026-10-25T01:30:00Z", "Sun 25 Oct 2026, 02:30 (UTC+01:00)"},
		{"Europe/Berlin", "2026-10-25T02:00:00Z", "Sun 25 Oct 2026, 03:00"},
		{"Australia/Lord_Howe", "2026-04-04T14:45:00Z", "Sun 5 Apr 2026, 01:45 (UTC+11:00)"},
		{"Australia/Lord_Howe", "2026-04-04T15:15:00Z", "Sun 5 Apr 2026, 01:45 (UTC+10:30)"},
		{"UTC", "2026-05-03T11:05:59Z", "Sun 3 May 2026, 11:05"},
	} {
		in, err := time.LoadLocation(tc.zone)
		if err != nil {
			t.Fatal(err)
		}
		at, err := time.Parse(time.RFC3339, tc.at)
		if err != nil {
			t.Fatal(err)
		}
		if got := Date(at, in); got != tc.want {
			t.Errorf("Date(%s) in %s = %q, want %q", tc.at, tc.zone, got, tc.want)
		}
	}
}

func TestZone_IsNamedWithItsOffset(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		in   *time.Location
		want string
	}{{berlin, "Europe/Berlin (UTC+02:00)"}, {time.UTC, "UTC"}, {time.FixedZone("", -5*3600), "this machine's zone (UTC-05:00)"}} {
		if got := Zone(tc.in, at); got != tc.want {
			t.Errorf("Zone = %q, want %q", got, tc.want)
		}
	}
}
