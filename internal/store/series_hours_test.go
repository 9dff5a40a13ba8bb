package store

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// A series over days of a probe that reads every ten minutes: the extremes of sealed hours, of an hour with a late reading, of one with a
// value that the broker had kept, and of those that are not sealed yet.
func TestSeries_OfHoursWithAndWithoutSeals(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	for hour := range 12 {
		for i := range 6 {
			s.mustPut(t, reading("core", hour*3600+i*600, thermal.Celsius(20+hour)))
		}
	}
	kept := reading("core", 4*3600+5, 99)
	kept.Retained, kept.Clock = true, cook.ArrivalClock
	s.mustPut(t, kept)
	s.mustSeal(t, epoch.Add(10*time.Hour+10*time.Minute), 10)
	s.mustPut(t, reading("core", 2*3600+7, 70), reading("core", 11*3600+7, -5)) // late, and in an hour that is not over
	got, err := s.Series(t.Context(), "core", epoch.Add(30*time.Minute), epoch.Add(12*time.Hour), 6)
	if err != nil {
		t.Fatal(err)
	}
	at := func(hour int) time.Time { return epoch.Add(time.Duration(hour) * time.Hour) }
	want := []cook.Bucket{
		{Time: at(0).Add(30 * time.Minute), Until: at(2), Min: 20, Max: 21, Last: 21}, // cut by the beginning of the span
		{Time: at(2), Until: at(4), Min: 22, Max: 70, Last: 23},
		{Time: at(4), Until: at(6), Min: 24, Max: 25, Last: 25},
		{Time: at(6), Until: at(8), Min: 26, Max: 27, Last: 27},
		{Time: at(8), Until: at(10), Min: 28, Max: 29, Last: 29},
		{Time: at(10), Until: at(12), Min: -5, Max: 31, Last: 31},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// Whatever came when, and however far it is sealed, the series is what a look at every reading gives.
func TestSeries_OfHoursAgreesWithThePlainScan(t *testing.T) {
	round := 0
	s := mustOpen(t, fileOf(t))
	rapid.Check(t, func(rt *rapid.T) {
		round++
		base := epoch.AddDate(0, 0, 10*round) // each story in its own days
		const days = 3
		for range rapid.IntRange(1, 4).Draw(rt, "batches") {
			var batch []cook.Reading
			for range rapid.IntRange(1, 25).Draw(rt, "n") {
				r := reading("core", 0, thermal.Celsius(rapid.IntRange(-40, 300).Draw(rt, "celsius")))
				r.Time = base.Add(time.Duration(rapid.IntRange(0, days*24*4-1).Draw(rt, "quarter")) * 15 * time.Minute)
				switch rapid.IntRange(0, 9).Draw(rt, "kind") {
				case 0:
					r.Quality = cook.Spike
				case 1:
					r.Retained, r.Clock = true, cook.ArrivalClock
				case 2:
					r.Retained = true
				}
				batch = append(batch, r)
			}
			s.mustPut(t, batch...)
			if rapid.Bool().Draw(rt, "seal") {
				if _, err := s.SealHours(t.Context(), base.Add(time.Duration(rapid.IntRange(0, days*24+2).Draw(rt, "sealed"))*time.Hour)); err != nil {
					rt.Fatal(err)
				}
			}
		}
		from := base.Add(time.Duration(rapid.IntRange(0, days*24*60).Draw(rt, "from")) * time.Minute)
		to := from.Add(time.Duration(rapid.IntRange(1, days*24*60).Draw(rt, "length")) * time.Minute)
		points := rapid.IntRange(1, days*24).Draw(rt, "points")
		got, err := s.Series(t.Context(), "core", from, to, points)
		if err != nil {
			rt.Fatal(err)
		}
		if to.Sub(from) < time.Duration(points)*time.Hour {
			return // finer than hours
		}
		begins := from.Truncate(time.Hour)
		width := time.Duration(math.Ceil(to.Sub(begins).Hours()/float64(points))) * time.Hour
		var want []cook.Bucket
		for at := begins; at.Before(to); at = at.Add(width) {
			if b, ok := plainBucket(mustRead(t, s, cook.ReadingQuery{Probe: "core", From: later(from, at), To: earlier(to, at.Add(width)), Limit: 1000})); ok {
				b.Until = earlier(to, at.Add(width))
				want = append(want, b)
			}
		}
		if diff := cmp.Diff(want, got); diff != "" || len(got) > points {
			rt.Fatalf("from %v to %v in %d (got %d): %s", from, to, points, len(got), diff)
		}
	})
}

// plainBucket sums up readings one by one.
func plainBucket(readings []cook.Reading) (b cook.Bucket, ok bool) {
	for _, r := range readings {
		if r.Quality != cook.Good || r.Retained && r.Clock == cook.ArrivalClock {
			continue
		}
		if !ok {
			b, ok = cook.Bucket{Time: r.Time, Min: r.Celsius, Max: r.Celsius}, true
		}
		b.Min, b.Max, b.Last = min(b.Min, r.Celsius), max(b.Max, r.Celsius), r.Celsius
	}
	return b, ok
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
