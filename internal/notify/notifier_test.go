package notify

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/internal/alarm"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// desk is a ledger in memory, for failures; the real one is tested with the store in internal/daemon.
type desk struct {
	state   []byte
	facts   []Fact
	waiting []Waiting
	fail    error // of Keep
}

func (d *desk) State(context.Context) ([]byte, error) { return d.state, nil }

func (d *desk) Facts(context.Context) ([]Fact, int64, error) {
	return d.facts, int64(len(d.facts)), nil
}

func (d *desk) Keep(_ context.Context, state []byte, through int64, messages []Message) error {
	if d.fail != nil {
		return d.fail
	}
	d.state, d.facts = state, d.facts[through:]
	for _, m := range messages {
		d.waiting = append(d.waiting, Waiting{Message: m})
	}
	return nil
}

func (d *desk) Waiting(context.Context) ([]Waiting, error) { return slices.Clone(d.waiting), nil }

func (d *desk) Tried(_ context.Context, id string, t Try) error {
	i := slices.IndexFunc(d.waiting, func(w Waiting) bool { return w.Message.ID == id })
	d.waiting[i].Tries++
	if t.Final {
		d.waiting = slices.Delete(d.waiting, i, i+1)
	}
	return nil
}

func (d *desk) Health(context.Context) (map[string]Health, error) { return nil, nil }

type sendFunc func(Message) error

func (f sendFunc) Send(_ context.Context, m Message) error { return f(m) }

type rig struct {
	*Notifier
	d    *desk
	now  time.Time
	sent []string
	say  func(Message) error
}

// newRig has one path, "phone", on which everything goes out at once.
func newRig(t *testing.T) *rig {
	t.Helper()
	r := &rig{d: &desk{}, now: evening, say: func(Message) error { return nil }}
	l := Ladder{Zone: time.UTC, Routes: []Route{{Path: "phone", After: after{alarm.High: 0}}}}
	var err error
	r.Notifier, err = New(t.Context(), Options{Ladder: l, Ledger: r.d, FailingAfter: 2 * time.Minute, KeepTrying: time.Hour, Log: slog.New(slog.NewTextHandler(t.Output(), nil)),
		Now: func() time.Time { return r.now }, Senders: map[string]Sender{"phone": sendFunc(func(m Message) error {
			err := r.say(m)
			if err == nil {
				r.sent = append(r.sent, r.now.Format("15:04:05 ")+string(m.Items[0].Alarm.ID))
			}
			return err
		})}})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (r *rig) raise(id alarm.ID) {
	r.d.facts = append(r.d.facts, Fact{Alarm: alarm.Alarm{ID: id, Priority: alarm.High, State: alarm.Active, Raised: r.now, Because: "It is so."}, Because: "It is so.", Tell: true})
}

func (r *rig) pass(t *testing.T, d time.Duration) {
	t.Helper()
	for end := r.now.Add(d); r.now.Before(end); r.now = r.now.Add(time.Second) {
		if err := r.Turn(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
}

func TestNotifier_TriesAgainWithGrowingPauses(t *testing.T) {
	r := newRig(t)
	var tries []string
	r.say = func(Message) error {
		tries = append(tries, r.now.Sub(evening).String())
		return errors.New("no route")
	}
	r.raise("a")
	r.pass(t, 15*time.Minute)
	same(t, tries, "0s", "5s", "15s", "35s", "1m15s", "2m35s", "5m15s", "10m15s")
	if got, want := r.Trouble(), "Messages by phone have failed since 20:00 (no route)"; got != want {
		t.Errorf("trouble %q, want %q", got, want)
	}
	r.say = func(Message) error { return nil }
	r.pass(t, 5*time.Minute)
	same(t, r.sent, "20:15:15 a")
	if got := r.Trouble(); got != "" {
		t.Errorf("trouble %q, want none", got)
	}
}

func TestNotifier_ARefusedMessageHoldsUpNobody(t *testing.T) {
	r := newRig(t)
	r.say = func(m Message) error {
		if m.Items[0].Alarm.ID == "bad" {
			return fmt.Errorf("400: %w", ErrRefused)
		}
		return nil
	}
	r.raise("bad")
	r.raise("good")
	r.pass(t, 5*time.Minute)
	same(t, r.sent, "20:00:00 good")
	if got := r.Trouble(); !strings.Contains(got, "phone") {
		t.Errorf("trouble %q, want the message that is refused", got)
	}
	r.pass(t, 2*time.Hour)
	if len(r.d.waiting) != 0 {
		t.Errorf("%v still waits after it should have been given up", r.d.waiting)
	}
	if got := r.Trouble(); got == "" {
		t.Error("no trouble although a message was lost")
	}
	r.raise("next")
	r.pass(t, time.Minute)
	if got := r.Trouble(); got != "" {
		t.Errorf("trouble %q, want none after the next was taken", got)
	}
}

func TestNotifier_WithoutItsLedgerNothingHasHappened(t *testing.T) {
	r := newRig(t)
	r.raise("a")
	r.d.fail = errors.New("disk full")
	for range 3 {
		if err := r.Turn(t.Context()); !errors.Is(err, r.d.fail) {
			t.Errorf("Turn = %v, want %v", err, r.d.fail)
		}
	}
	r.d.fail = nil
	r.pass(t, time.Minute)
	same(t, r.sent, "20:00:00 a")
}

func TestNotifier_KnowsAfterARestartThatAPathFailed(t *testing.T) {
	r := newRig(t)
	r.d.waiting = []Waiting{{Message: Message{ID: "x", Path: "phone"}, Tries: 3, Failing: evening.Add(-time.Hour)},
		{Message: Message{ID: "y", Path: "a path that was taken out of the configuration"}}}
	again, err := New(t.Context(), r.o)
	if err != nil {
		t.Fatal(err)
	}
	if got := again.Trouble(); !strings.Contains(got, "phone have failed since 19:00") {
		t.Errorf("trouble %q, want it known from before", got)
	}
	if len(r.d.waiting) != 1 {
		t.Errorf("waiting %v, want the other given up", r.d.waiting)
	}
}

// Run in a bubble of simulated time: a slow receiver does not hold up the other path, and the end waits for what it started.
func TestNotifier_RunKeepsPathsApart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var slow, quick atomic.Int32
		d := &desk{}
		ctx, stop := context.WithCancel(t.Context())
		o := Options{Ledger: lockedDesk(d), FailingAfter: time.Minute, KeepTrying: time.Hour, Log: slog.New(slog.DiscardHandler), Now: time.Now,
			Ladder: Ladder{Zone: time.UTC, Routes: []Route{{Path: "slow", After: after{alarm.High: 0}}, {Path: "quick", After: after{alarm.High: 0}}}},
			Senders: map[string]Sender{"slow": waiting(func(ctx context.Context) error { slow.Add(1); <-ctx.Done(); return ctx.Err() }),
				"quick": waiting(func(context.Context) error { quick.Add(1); return nil })}}
		d.facts = []Fact{{Alarm: alarm.Alarm{ID: "a", Priority: alarm.High, State: alarm.Active, Raised: time.Now(), Because: "So."}, Tell: true}}
		n, err := New(ctx, o)
		if err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- n.Run(ctx) }()
		time.Sleep(5 * time.Second)
		if slow.Load() != 1 || quick.Load() != 1 {
			t.Errorf("slow tried %d times, quick %d, want once each", slow.Load(), quick.Load())
		}
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if len(d.waiting) != 1 || d.waiting[0].Tries != 0 {
			t.Errorf("waiting %v, want the one that was cut short, not counted against its path", d.waiting)
		}
	})
}

type waiting func(ctx context.Context) error

func (f waiting) Send(ctx context.Context, _ Message) error { return f(ctx) }

// shared lets several goroutines use a desk.
type shared struct {
	d    *desk
	turn chan struct{}
}

func lockedDesk(d *desk) *shared {
	s := &shared{d, make(chan struct{}, 1)}
	s.turn <- struct{}{}
	return s
}

func (s *shared) State(ctx context.Context) ([]byte, error) { return s.d.State(ctx) }

func (s *shared) Facts(ctx context.Context) ([]Fact, int64, error) {
	<-s.turn
	defer func() { s.turn <- struct{}{} }()
	return s.d.Facts(ctx)
}

func (s *shared) Keep(ctx context.Context, state []byte, through int64, messages []Message) error {
	<-s.turn
	defer func() { s.turn <- struct{}{} }()
	return s.d.Keep(ctx, state, through, messages)
}

func (s *shared) Waiting(ctx context.Context) ([]Waiting, error) {
	<-s.turn
	defer func() { s.turn <- struct{}{} }()
	return s.d.Waiting(ctx)
}

func (s *shared) Tried(ctx context.Context, id string, t Try) error {
	<-s.turn
	defer func() { s.turn <- struct{}{} }()
	return s.d.Tried(ctx, id, t)
}

func (s *shared) Health(ctx context.Context) (map[string]Health, error) { return s.d.Health(ctx) }

func TestHeartbeat_StopsWhenTheWatchIsNotWell(t *testing.T) {
	var got, posts atomic.Int32
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		got.Add(1)
		if r.Method == http.MethodPost {
			posts.Add(1)
		}
	}))
	defer server.Close()
	client := newClient(5 * time.Second)
	var ill error
	h := &Heartbeat{URL: server.URL, Every: time.Minute, Well: func() error { return ill }}
	if err := h.call(t.Context(), client); err != nil {
		t.Error(err)
	}
	ill = errors.New("disk full")
	if err := h.call(t.Context(), client); !errors.Is(err, ill) {
		t.Errorf("call = %v, want it held back", err)
	}
	ill, h.Post = nil, true
	if err := h.call(t.Context(), client); err != nil {
		t.Error(err)
	}
	if got.Load() != 2 || posts.Load() != 1 {
		t.Errorf("%d calls, %d by POST, want 2 and 1", got.Load(), posts.Load())
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { defer close(ended); h.run(ctx, slog.New(slog.DiscardHandler)) }()
	for got.Load() < 3 {
		time.Sleep(time.Millisecond)
	}
	stop()
	<-ended
}
