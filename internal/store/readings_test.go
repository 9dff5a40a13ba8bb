package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"stallkeeper/estimator/thermal"
	"strings"
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

func TestPut_ArrivalTimedReadingsAreAllNew(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	arrival := func(c float64) cook.Reading {
		r := reading("core", 0, thermal.Celsius(c))
		r.Clock = cook.ArrivalClock
		return r
	}
	s.mustPut(t, arrival(60), arrival(60), reading("core", 1, 70), arrival(61))
	s.mustPut(t, arrival(62)) // a clock that stands still
	want := []string{"0s core 60", "1µs core 60", "2µs core 61", "3µs core 62", "1s core 70"}
	if diff := cmp.Diff(want, brief(mustRead(t, s, cook.ReadingQuery{Limit: 10}))); diff != "" {
		t.Error(diff)
	}
}

func TestPut_ARetainedValueDoesNotPileUp(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	retained := func(seconds int, c thermal.Celsius, clock cook.Clock) cook.Reading {
		r := reading("core", seconds, c)
		r.Retained, r.Clock = true, clock
		return r
	}
	got := s.mustPut(t,
		retained(0, 60, cook.ArrivalClock),
		reading("core", 5, 60),
		retained(10, 60, cook.ArrivalClock), // at the next connection
		retained(20, 61, cook.ArrivalClock),
		retained(30, 60, cook.ArrivalClock), // not the last retained one any more
		retained(40, 60, cook.DeviceClock),  // a time of its own makes it a reading like others
		retained(40, 60, cook.DeviceClock),
	)
	if diff := cmp.Diff([]Outcome{Stored, Stored, Duplicate, Stored, Stored, Stored, Duplicate}, got); diff != "" {
		t.Error(diff)
	}
	for _, r := range mustRead(t, s, cook.ReadingQuery{Limit: 10}) {
		if r.Retained != (r.Time.Second() != 5) {
			t.Errorf("%v is marked retained: %v", r.Time, r.Retained)
		}
	}
}

func TestPut_APoisonousItemDoesNotHoldUpItsNeighbours(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	with := func(edit func(*cook.Reading)) Item {
		r := reading("core", 1, 60)
		edit(&r)
		return Item{Reading: r}
	}
	bad := []Item{
		with(func(r *cook.Reading) { r.Celsius = thermal.Celsius(math.NaN()) }),
		with(func(r *cook.Reading) { r.Celsius = thermal.Celsius(math.Inf(1)) }),
		with(func(r *cook.Reading) { r.Probe = "" }),
		with(func(r *cook.Reading) { r.Probe = "a\x00b" }),
		with(func(r *cook.Reading) { r.Quality = "fair" }),
		with(func(r *cook.Reading) { r.Clock = "" }),
		with(func(r *cook.Reading) { r.Time = time.Time{} }),
		with(func(r *cook.Reading) { r.Time = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC) }),
		{Bad: &cook.Quarantined{Time: epoch, Topic: "stallkeeper/reading/core", Reason: "payload is empty"}},
		{Bad: &cook.Quarantined{Time: epoch, Topic: "x", Payload: bytes.Repeat([]byte{0xff}, 1<<20), Reason: strings.Repeat("long ", 1<<16)}},
	}
	items := append([]Item{{Reading: reading("core", 0, 60)}}, bad...)
	items = append(items, Item{Reading: reading("core", 2, 60)})
	outcomes, errs := s.put(t, items...)
	for i := range items {
		want := Quarantined
		if i == 0 || i == len(items)-1 {
			want = Stored
		}
		if errs[i] != nil || outcomes[i] != want {
			t.Errorf("item %d: %v, %v, want %v", i, outcomes[i], errs[i], want)
		}
	}
	kept, err := s.Quarantine(t.Context(), 0, 100)
	if err != nil || len(kept) != len(bad) {
		t.Errorf("%d in quarantine, %v, want %d", len(kept), err, len(bad))
	}
	if page, err := s.Quarantine(t.Context(), kept[2].ID, 2); err != nil || len(page) != 2 || page[0].ID != kept[3].ID {
		t.Errorf("the page behind the third = %v, %v", page, err)
	}
}

func TestReadings_PagesMeetWithoutGapOrRepeat(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	var all []cook.Reading
	var want []string
	for i := range 50 {
		for _, probe := range []cook.ProbeID{"core", "flat", "pit"} {
			if (i+len(probe))%3 == 0 {
				continue // the probes differ in their gaps
			}
			all = append(all, reading(probe, i, thermal.Celsius(i)))
			want = append(want, fmt.Sprintf("%s %s %d", time.Duration(i)*time.Second, probe, i))
		}
	}
	slices.Reverse(all)
	s.mustPut(t, all...)
	for _, limit := range []int{1, 2, 7, 1000} {
		var got []cook.Reading
		for q := (cook.ReadingQuery{Limit: limit}); ; {
			page := mustRead(t, s, q)
			got = append(got, page...)
			if len(page) < limit {
				break
			}
			q.AfterTime, q.AfterProbe = page[limit-1].Time, page[limit-1].Probe
		}
		if diff := cmp.Diff(want, brief(got)); diff != "" {
			t.Errorf("pages of %d: %s", limit, diff)
		}
	}
	part := mustRead(t, s, cook.ReadingQuery{Probe: "pit", From: epoch.Add(3 * time.Second), To: epoch.Add(6 * time.Second), Limit: 9})
	if diff := cmp.Diff([]string{"4s pit 4", "5s pit 5"}, brief(part)); diff != "" {
		t.Error(diff)
	}
	if got := mustRead(t, s, cook.ReadingQuery{Probe: "nobody", Limit: 9}); got != nil {
		t.Errorf("readings of an unknown probe: %v", got)
	}
}

func TestReadingsOf_StreamsInOrderAcrossChunks(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	const n = streamChunk + 100
	for i := range n {
		for _, probe := range []cook.ProbeID{"core", "pit"} {
			if err := s.Put(t.Context(), Item{Reading: reading(probe, i, 60)}); err != nil {
				t.Fatal(err)
			}
		}
	}
	s.mustPut(t, reading("other", 0, 1))
	i := 0
	for r, err := range s.ReadingsOf(t.Context(), []cook.ProbeID{"pit", "core", "pit"}, time.Time{}, time.Time{}) {
		if err != nil {
			t.Fatal(err)
		}
		if want := reading([]cook.ProbeID{"core", "pit"}[i%2], i/2, 60); r != want {
			t.Fatalf("reading %d = %v, want %v", i, r, want)
		}
		i++
	}
	if i != 2*n {
		t.Errorf("%d readings, want %d", i, 2*n)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, err := range s.ReadingsOf(ctx, nil, time.Time{}, time.Time{}) {
		if !errors.Is(err, context.Canceled) {
			t.Errorf("a cancelled stream gives %v", err)
		}
	}
}

func TestReadingsAfter_FollowsTheCommitsOverARestart(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	s.mustPut(t, reading("core", 10, 60), reading("core", 5, 59)) // late
	select {
	case <-s.Committed():
	case <-time.After(10 * time.Second):
		t.Fatal("nobody was told of the commit")
	}
	first, err := s.ReadingsAfter(t.Context(), 0, 1)
	if err != nil || len(first) != 1 {
		t.Fatal(first, err)
	}
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	s = mustOpen(t, path)
	s.mustPut(t, reading("core", 5, 59), reading("core", 7, 61)) // the first is a duplicate
	rest, err := s.ReadingsAfter(t.Context(), first[0].Seq, 10)
	if err != nil {
		t.Fatal(err)
	}
	var got []cook.Reading
	for _, r := range append(first, rest...) {
		got = append(got, r.Reading)
	}
	if diff := cmp.Diff([]string{"10s core 60", "5s core 59", "7s core 61"}, brief(got)); diff != "" {
		t.Error(diff)
	}
}

func TestProbes_KnowsFirstAndLast(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	s.mustPut(t, reading("pit/left", 9, 100), reading("core", 3, 60), reading("core", 1, 60), reading("core", 2, 60))
	got, err := s.Probes(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := []Probe{{"core", epoch.Add(time.Second), epoch.Add(3 * time.Second)}, {"pit/left", epoch.Add(9 * time.Second), epoch.Add(9 * time.Second)}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestSeries_KeepsExtremesOfGoodReadings(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	var all []cook.Reading
	for i := range 100 {
		r := reading("core", i, thermal.Celsius(i%10))
		switch i {
		case 13:
			r.Celsius = 40 // a true peak within its stretch
		case 14:
			r.Celsius, r.Quality = 300, cook.OutOfRange
		case 15:
			r.Celsius, r.Retained, r.Clock = 90, true, cook.ArrivalClock
		case 50, 51, 52, 53, 54, 55, 56, 57, 58, 59:
			continue // a gap
		}
		all = append(all, r)
	}
	s.mustPut(t, all...)
	got, err := s.Series(t.Context(), "core", epoch, epoch.Add(100*time.Second), 10)
	if err != nil {
		t.Fatal(err)
	}
	var want []cook.Bucket
	for i := range 10 {
		b := cook.Bucket{Time: epoch.Add(time.Duration(10*i) * time.Second), Until: epoch.Add(time.Duration(10*i+10) * time.Second), Min: 0, Max: 9, Last: 9}
		if i == 1 {
			b.Max = 40
		}
		if i != 5 {
			want = append(want, b)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	for _, points := range []int{1, 3, 7, 99, 100, 1000} {
		open, err := s.Series(t.Context(), "core", time.Time{}, time.Time{}, points)
		if err != nil || len(open) > points || len(open) == 0 {
			t.Errorf("%d points asked: %d, %v", points, len(open), err)
		}
	}
	if none, err := s.Series(t.Context(), "nobody", epoch, time.Time{}, 10); none != nil || err != nil {
		t.Errorf("series of an unknown probe = %v, %v", none, err)
	}
}

// A board without a clock boots in the past, more than once at the very same time, and is set right later.
func TestPut_WhenTheClockSteps(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	boot := time.Date(1970, 1, 1, 0, 0, 9, 0, time.UTC)
	arrival := func(at time.Time, c thermal.Celsius) cook.Reading {
		return cook.Reading{Probe: "core", Time: at, Celsius: c, Quality: cook.Good, Clock: cook.ArrivalClock, Arrived: at}
	}
	sent := []cook.Reading{
		arrival(epoch.Add(time.Hour), 61), // a clock that was too fast
		arrival(boot, 60), arrival(boot.Add(time.Second), 60.5),
		arrival(boot, 62), arrival(boot.Add(time.Second), 62), // booted again
		arrival(epoch, 63),
	}
	for _, r := range sent {
		if got := s.mustPut(t, r); got[0] != Stored {
			t.Errorf("%v: outcome %d, want it stored", r.Time, got[0])
		}
	}
	after, err := s.ReadingsAfter(t.Context(), 0, 100)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range after { // as they came, whatever the clock said
		if r.Celsius != sent[i].Celsius || r.Time.Sub(sent[i].Time).Abs() > time.Microsecond || !r.Arrived.Equal(sent[i].Arrived) {
			t.Errorf("commit %d is %v, want %v", i, r.Reading, sent[i])
		}
	}
	if got := mustRead(t, s, cook.ReadingQuery{From: epoch, Limit: 9}); len(got) != 2 {
		t.Errorf("%d readings of the night, want 2", len(got))
	}
}

// In Berlin 02:30 came twice on 25 October 2026 (the IANA time zone database); both are kept, in order.
func TestPut_TheNightTheClocksGoBack(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zone database on this machine: ", err)
	}
	s := mustOpen(t, fileOf(t))
	first := time.Date(2026, 10, 25, 2, 30, 0, 0, time.FixedZone("CEST", 2*3600))
	second := time.Date(2026, 10, 25, 2, 30, 0, 0, time.FixedZone("CET", 1*3600))
	r1, r2 := reading("core", 0, 60), reading("core", 0, 61)
	r1.Time, r2.Time = first.In(berlin), second.In(berlin)
	if got := s.mustPut(t, r2, r1); got[0] != Stored || got[1] != Stored {
		t.Errorf("outcomes %v, want both stored", got)
	}
	got := mustRead(t, s, cook.ReadingQuery{From: first, To: second.Add(time.Minute), Limit: 9})
	if len(got) != 2 || !got[0].Time.Equal(first) || !got[1].Time.Equal(second) || got[0].Time.Location() != time.UTC {
		t.Errorf("readings %v", got)
	}
}

func TestSpoken_IsTheNewestCommitOfEachProbe(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	kept := reading("kept", 0, 5)
	kept.Retained = true
	s.mustPut(t, reading("gone", 0, 5))
	s.mustPut(t, reading("pit", 1, 107), reading("core", 9, 61), reading("core", 2, 60), kept) // core sends a backlog: its older reading came last
	s.mustPut(t, reading("late", 3, 1))
	got, err := s.Spoken(t.Context(), 1, 5)
	if err != nil {
		t.Fatal(err)
	}
	want := []Sequenced{{2, reading("pit", 1, 107)}, {4, reading("core", 2, 60)}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if got, err := s.Spoken(t.Context(), 6, 6); err != nil || len(got) != 0 {
		t.Errorf("behind the newest: %v, %v", got, err)
	}
}
