package ingest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/internal/cook"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// memorySink keeps what is put, under the store's rule: one value per probe and time.
type memorySink struct {
	mu       sync.Mutex
	readings map[string]cook.Reading
	order    []cook.Reading
	bad      []cook.Quarantined
	fail     error // of commits
	refuse   error // of Put and Quarantine
	hold     bool  // commits wait for release
	held     []func()
}

func newSink() *memorySink { return &memorySink{readings: map[string]cook.Reading{}} }

func (s *memorySink) Put(ctx context.Context, r cook.Reading, done func(Outcome, error)) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.refuse != nil {
		return s.refuse
	}
	commit := func() { done(s.commit(r)) }
	if s.hold {
		s.held = append(s.held, commit)
		return nil
	}
	commit()
	return nil
}

func (s *memorySink) commit(r cook.Reading) (Outcome, error) {
	if s.fail != nil {
		return 0, s.fail
	}
	key := fmt.Sprint(r.Probe, r.Time.UnixMicro())
	if r.Clock == cook.ArrivalClock {
		key = fmt.Sprint(r.Probe, len(s.order), "th")
	}
	if r.Clock == cook.ArrivalClock && r.Retained {
		key = fmt.Sprint(r.Probe, r.Celsius, "retained")
	}
	last, there := s.readings[key]
	switch {
	case there && last.Celsius == r.Celsius:
		return Duplicate, nil
	case there:
		return Conflict, nil
	}
	s.readings[key] = r
	s.order = append(s.order, r)
	return Stored, nil
}

func (s *memorySink) Quarantine(ctx context.Context, q cook.Quarantined, done func(error)) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.refuse != nil {
		return s.refuse
	}
	if s.fail == nil {
		s.bad = append(s.bad, q)
	}
	done(s.fail)
	return nil
}

func (s *memorySink) release() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, commit := range s.held {
		commit()
	}
	s.held = nil
}

func (s *memorySink) set(f func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f()
}

func (s *memorySink) count() (readings, bad int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.order), len(s.bad)
}

func frozen() time.Time { return noon }

func message(topic, payload string) Message {
	return Message{Topic: TopicPrefix + topic, Payload: []byte(payload)}
}

// handle takes in one message and reports the error that ends its promise, and whether done was called.
func handle(t *testing.T, in *Intake, m Message) (called bool, doneErr, err error) {
	t.Helper()
	err = in.Handle(t.Context(), m, func(err error) {
		if called {
			t.Errorf("done is called twice for %s", m.Payload)
		}
		called, doneErr = true, err
	})
	return called, doneErr, err
}

func TestIntake_AcknowledgesAPackWhenAllOfItIsCommitted(t *testing.T) {
	sink := newSink()
	sink.hold = true
	in := New(mustDecoder(t, nil), sink, frozen)
	called := false
	err := in.Handle(t.Context(), message("core", `[{"n":"a","u":"Cel","v":1},{"n":"b","u":"Cel","v":2},{"n":"c","u":"Cel","v":-300}]`),
		func(err error) { called = true })
	if err != nil {
		t.Fatal(err)
	}
	if called {
		t.Fatal("done is called before the commit of the readings")
	}
	sink.release()
	if readings, bad := sink.count(); !called || readings != 2 || bad != 1 {
		t.Errorf("called %v with %d readings and %d in quarantine, want 2 and 1", called, readings, bad)
	}
}

func TestIntake_PromisesNothingWhenTheStoreFails(t *testing.T) {
	full := errors.New("disk full")
	for _, payload := range []string{"68.2", "warm", `[{"n":"a","u":"Cel","v":1},{"n":"b","u":"Cel","v":2}]`} {
		sink := newSink()
		sink.fail = full
		in := New(mustDecoder(t, nil), sink, frozen)
		if called, doneErr, err := handle(t, in, message("core", payload)); !called || !errors.Is(doneErr, full) || err != nil {
			t.Errorf("commit fails: %s: done %v with %v, error %v", payload, called, doneErr, err)
		}
		sink.set(func() { sink.refuse = full })
		if called, _, err := handle(t, in, message("core", payload)); called || !errors.Is(err, full) {
			t.Errorf("queue refuses: %s: done %v, error %v, want only the error", payload, called, err)
		}
		if got := in.Stats(); got.Stored+got.Quarantined != 0 {
			t.Errorf("Stats() = %+v, want nothing stored", got)
		}
	}
}

func TestIntake_CountsWhatHappens(t *testing.T) {
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, frozen)
	timed := `{"celsius":68.2,"time":"2026-03-01T11:00:00Z","seq":%d}`
	for _, m := range []Message{
		message("core", fmt.Sprintf(timed, 1)),
		message("core", fmt.Sprintf(timed, 1)),                                  // a duplicate
		message("core", `{"celsius":70,"time":"2026-03-01T11:00:00Z","seq":5}`), // a conflict, and 2, 3, 4 are missing
		message("core", `{"celsius":70,"time":"2026-03-01T11:30:00Z","seq":1}`), // the device was restarted
		message("core", `warm`),
		{Topic: "stallkeeper/reading/pit", Payload: []byte("107"), Retained: true},
		{Topic: "stallkeeper/reading/pit", Payload: []byte("107"), Retained: true}, // sent again at the next subscription
		{Topic: "stallkeeper/reading/pit", Payload: []byte("108"), Retained: true},
		message("core", `[{"n":"a","u":"Cel","v":1},{"n":"b","u":"%RH","v":2}]`),
	} {
		if called, doneErr, err := handle(t, in, m); !called || doneErr != nil || err != nil {
			t.Fatalf("%s: done %v with %v, error %v", m.Payload, called, doneErr, err)
		}
	}
	want := Stats{Messages: 9, Stored: 5, Duplicates: 2, Conflicts: 1, Quarantined: 1, Ignored: 1, Retained: 3, Backlog: 4, SeqMissing: 3}
	if got := in.Stats(); got != want {
		t.Errorf("Stats() = %+v\nwant      %+v", got, want)
	}
}

func TestIntake_Judges(t *testing.T) {
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, frozen)
	for _, payload := range []string{"84", "85", "-127", "300", "85"} {
		if _, doneErr, err := handle(t, in, message("core", payload)); doneErr != nil || err != nil {
			t.Fatal(doneErr, err)
		}
	}
	_, doneErr, err := handle(t, in, message("flat", "85")) // its first value: what the sensor holds after power-on
	if doneErr != nil || err != nil {
		t.Fatal(doneErr, err)
	}
	var got []cook.Quality
	for _, r := range sink.order {
		got = append(got, r.Quality)
	}
	want := []cook.Quality{cook.Good, cook.Good, cook.Open, cook.OutOfRange, cook.Good, cook.PowerUp}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("qualities = %v, want %v", got, want)
	}
}

func TestIntake_DoesNotTakePartsPerMillionForDegrees(t *testing.T) {
	sink := newSink()
	in := New(mustDecoder(t, nil), sink, frozen, "shed")
	for _, payload := range []string{"85", "0", "400", "1200", "-5"} {
		if _, doneErr, err := handle(t, in, message("shed", payload)); doneErr != nil || err != nil {
			t.Fatal(doneErr, err)
		}
	}
	var got []cook.Quality
	for _, r := range sink.order {
		got = append(got, r.Quality)
	}
	want := []cook.Quality{cook.Good, cook.Good, cook.Good, cook.Good, cook.OutOfRange}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("qualities = %v, want %v", got, want)
	}
}

func TestIntake_MemoryIsBoundedAgainstInventedNames(t *testing.T) {
	in := New(mustDecoder(t, nil), newSink(), frozen)
	for i := range 2 * maxTracked {
		m := message(fmt.Sprint("p", i), "20")
		if _, doneErr, err := handle(t, in, m); doneErr != nil || err != nil {
			t.Fatal(doneErr, err)
		}
	}
	if len(in.probes) > maxTracked {
		t.Errorf("%d probes tracked, want at most %d", len(in.probes), maxTracked)
	}
}
