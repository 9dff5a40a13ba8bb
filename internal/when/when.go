// Package when writes clock times and durations as people read them, the same on pages, in messages, alarms, verdicts and documents.
// What programs read (RFC 3339, seconds) is not its matter. It reads no clock: now is an argument, and so is the zone of the reader.
package when

import (
	"fmt"
	"strings"
	"time"
)

// Span writes how long something takes: "45 s", "50 min", "4 h 04 min", "6 h", from two days on "6 days 3 h". Seconds stand only below two
// minutes; above, it is rounded to the minute, and from two days on to the hour. A negative span has a minus.
func Span(d time.Duration) string {
	if d < 0 {
		return "-" + Span(-d)
	}
	if s := d.Round(time.Second); s < 2*time.Minute && s != time.Minute {
		return fmt.Sprintf("%d s", s/time.Second)
	}
	d = d.Round(time.Minute)
	if d < 48*time.Hour {
		return hours(d)
	}
	d = d.Round(time.Hour)
	days, rest := d/(24*time.Hour), d%(24*time.Hour)
	if rest == 0 {
		return fmt.Sprintf("%d days", days)
	}
	return fmt.Sprintf("%d days %d h", days, rest/time.Hour)
}

// hours writes whole minutes.
func hours(d time.Duration) string {
	h, m := d/time.Hour, d%time.Hour/time.Minute
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %02d min", h, m)
}

// Exact writes a span that is held against a limit, so that what misses by seconds does not read like the limit itself: "6 h", "6 h 00 min 20 s".
// Below two hours it counts in minutes, as published tables do: "112 min", "81 min 24 s"; below two minutes in seconds: "44.2 s".
func Exact(d time.Duration) string {
	if d < 0 {
		return "-" + Exact(-d)
	}
	if d < 2*time.Minute {
		return strings.TrimSuffix(fmt.Sprintf("%.1f", d.Seconds()), ".0") + " s"
	}
	d = d.Round(time.Second)
	minutes, s := d.Truncate(time.Minute), d%time.Minute/time.Second
	text := fmt.Sprintf("%d min", minutes/time.Minute)
	if d >= 2*time.Hour {
		if text = hours(minutes); s != 0 {
			text = fmt.Sprintf("%d h %02d min", minutes/time.Hour, minutes%time.Hour/time.Minute)
		}
	}
	if s != 0 {
		text += fmt.Sprintf(" %02d s", s)
	}
	return text
}

// Clock writes the time of day: "04:20".
func Clock(t time.Time, in *time.Location) string { return t.In(in).Format("15:04") }

// Day writes a time with its day: "Sat 2 May 04:20".
func Day(t time.Time, in *time.Location) string { return t.In(in).Format("Mon 2 Jan 15:04") }

// Near writes the time of day, with its day where that is not the day of now: "04:20", "Sat 2 May 04:20".
func Near(t, now time.Time, in *time.Location) string {
	if SameDay(t, now, in) {
		return Clock(t, in)
	}
	return Day(t, in)
}

// Short is Near for narrow places and for times less than a week away: "04:20", "Sat 04:20".
func Short(t, now time.Time, in *time.Location) string {
	if SameDay(t, now, in) {
		return Clock(t, in)
	}
	return t.In(in).Format("Mon 15:04")
}

// SameDay reports whether two times are of one calendar day.
func SameDay(a, b time.Time, in *time.Location) bool {
	y, m, d := a.In(in).Date()
	yy, mm, dd := b.In(in).Date()
	return y == yy && m == mm && d == dd
}

// Date writes a time in full: "Thu 5 Nov 2026, 16:00". In the hour that comes twice when the clocks are set back, the offset stands behind it:
// "Sun 25 Oct 2026, 02:30 (UTC+01:00)".
func Date(t time.Time, in *time.Location) string {
	t = t.In(in)
	text := t.Format("Mon 2 Jan 2006, 15:04")
	if twice(t) {
		text += " (" + offset(t) + ")"
	}
	return text
}

// Calendar writes the day alone, in full: "Thu 5 Nov 2026".
func Calendar(t time.Time, in *time.Location) string { return t.In(in).Format("Mon 2 Jan 2006") }

// Zone names the zone in which times stand, with its offset at t, to be said once beside them: "Europe/Berlin (UTC+01:00)". A machine's own
// zone has no name that means anything elsewhere.
func Zone(in *time.Location, t time.Time) string {
	switch name := in.String(); {
	case in == time.UTC || name == "UTC":
		return "UTC"
	case in == time.Local || name == "" || name == "Local":
		return "this machine's zone (" + offset(t.In(in)) + ")"
	default:
		return name + " (" + offset(t.In(in)) + ")"
	}
}

func offset(t time.Time) string { return t.Format("UTC-07:00") }

// twice reports whether the clock shows this time of this day at another moment too.
func twice(t time.Time) bool {
	for _, d := range []time.Duration{30 * time.Minute, time.Hour, 2 * time.Hour} { // by which clocks are set back somewhere
		for _, other := range []time.Time{t.Add(d), t.Add(-d)} {
			if other.Hour() == t.Hour() && other.Minute() == t.Minute() && other.Day() == t.Day() {
				return true
			}
		}
	}
	return false
}
