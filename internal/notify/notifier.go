package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"stallkeeper/internal/alarm"
)

// Options are what a notifier needs; all fields but Heartbeat must be given.
type Options struct {
	Ladder       Ladder
	Senders      map[string]Sender // by the paths of the ladder's routes
	Ledger       Ledger
	Standing     []alarm.Alarm // the alarms as they stand at the start
	FailingAfter time.Duration // a path that fails so long is trouble
	KeepTrying   time.Duration // a message that could not be delivered so long is given up
	Log          *slog.Logger
	Now          func() time.Time
	Heartbeat    *Heartbeat // nil without one
}

// Notifier carries messages from the core to their receivers.
type Notifier struct {
	o     Options
	core  *Core
	kept  []byte // the core's state as it stands in the ledger
	owed  []Fact // what happened while nobody listened; for the first step
	facts chan struct{}
	lanes map[string]*lane

	mu       sync.Mutex            // guards the fields below
	trouble  error                 // why the ledger could not be used the last time
	asked    []Message             // tests that the next step takes
	askedFor int                   // how many there were
	waiting  map[string]chan error // by message: who waits for its first try
	standing map[string][]Item     // by path, for those that want to hear again what stands
}

// lane is one path with its health. One goroutine at a time delivers on it.
type lane struct {
	path   string
	sender Sender
	wake   chan struct{}
	pause  time.Time            // no try before
	fails  int                  // failed tries in a row
	later  map[string]time.Time // refused messages: no try before
	tries  map[string]int       // of refused messages

	refresher Refresher // nil when its receiver need not hear again what stands
	refreshed time.Time // when it last did

	mu        sync.Mutex // guards the fields below
	since     time.Time  // fails since; zero when it works
	err       string
	hurry     bool   // somebody waits: no pause
	delivered uint64 // messages, since the start
	failed    uint64 // tries, since the start
}

// New makes a notifier and takes over what the ledger has kept.
func New(ctx context.Context, o Options) (*Notifier, error) {
	n := &Notifier{o: o, core: NewCore(o.Ladder), facts: make(chan struct{}, 1), lanes: map[string]*lane{},
		waiting: map[string]chan error{}, standing: map[string][]Item{}}
	for _, r := range o.Ladder.Routes {
		if o.Senders[r.Path] == nil {
			return nil, fmt.Errorf("path %q has no sender", r.Path)
		}
		l := &lane{path: r.Path, sender: o.Senders[r.Path], wake: make(chan struct{}, 1), later: map[string]time.Time{}, tries: map[string]int{}}
		l.refresher, _ = l.sender.(Refresher)
		n.lanes[r.Path] = l
	}
	var err error
	if n.kept, err = o.Ledger.State(ctx); err != nil {
		return nil, err
	}
	if err := n.core.Restore(n.kept); err != nil {
		return nil, err
	}
	if err := n.catchUp(ctx); err != nil {
		return nil, err
	}
	waiting, err := o.Ledger.Waiting(ctx)
	if err != nil {
		return nil, err
	}
	for _, w := range waiting {
		switch l := n.lanes[w.Message.Path]; {
		case l == nil:
			gone := Try{At: o.Now(), Error: "the path is no longer in the configuration", Final: true}
			if err := o.Ledger.Tried(ctx, w.Message.ID, gone); err != nil {
				return nil, err
			}
			o.Log.Warn("message given up, for its path is no longer in the configuration", "path", w.Message.Path, "subject", w.Message.Subject())
		case l.since.IsZero() && !w.Failing.IsZero():
			l.since, l.err = w.Failing, "not delivered before the restart"
		}
	}
	return n, nil
}

// catchUp finds what the core has not heard of and will not hear of from the facts that wait.
func (n *Notifier) catchUp(ctx context.Context) error {
	coming, _, err := n.o.Ledger.Facts(ctx)
	if err != nil {
		return err
	}
	n.owed = slices.DeleteFunc(n.core.Missed(n.o.Standing), func(f Fact) bool {
		return slices.ContainsFunc(coming, func(g Fact) bool { return g.Alarm.ID == f.Alarm.ID })
	})
	return nil
}

// Poke says that facts are waiting in the ledger.
func (n *Notifier) Poke() { poke(n.facts) }

func poke(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// settle is how long the climb waits after a start, so that the watch can say first what has ended meanwhile.
const settle = 10 * time.Second

// beat is how often the ladder is looked at.
const beat = time.Second

// Run plans and delivers until ctx ends. What is not delivered then stays in the ledger.
func (n *Notifier) Run(ctx context.Context) error {
	var work sync.WaitGroup
	for _, l := range n.lanes {
		work.Go(func() { n.deliver(ctx, l) })
	}
	if n.o.Heartbeat != nil {
		work.Go(func() { n.o.Heartbeat.run(ctx, n.o.Log) })
	}
	defer work.Wait()
	ticks := time.NewTicker(beat)
	defer ticks.Stop()
	if len(n.core.s.Climbs) > 0 {
		select {
		case <-ctx.Done():
		case <-time.After(settle):
		}
	}
	for {
		select {
		case <-ctx.Done():
			return n.plan(context.WithoutCancel(ctx))
		case <-n.facts:
		case <-ticks.C:
		}
		n.note(n.plan(ctx))
	}
}

// Turn does once what Run does all the time: it plans, and tries each path that is not in a pause. Not to be called
// beside Run.
func (n *Notifier) Turn(ctx context.Context) error {
	errs := []error{n.plan(ctx)}
	for _, r := range n.o.Ladder.Routes {
		_, err := n.pass(ctx, n.lanes[r.Path])
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// note remembers whether the ledger works, and logs when that changes.
func (n *Notifier) note(err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if err != nil && n.trouble == nil {
		n.o.Log.Error("messages cannot be kept", "error", err)
	}
	n.trouble = err
}

// plan lets the core take a step and keeps what comes out of it. On an error nothing has happened.
func (n *Notifier) plan(ctx context.Context) error {
	facts, through, err := n.o.Ledger.Facts(ctx)
	if err != nil {
		return err
	}
	now := n.o.Now()
	messages := n.core.Step(now, slices.Concat(n.owed, facts), n.failing(now))
	state, err := n.core.State()
	if err != nil {
		return err
	}
	tests := n.tests()
	messages = append(messages, tests...)
	if len(facts) == 0 && len(messages) == 0 && bytes.Equal(state, n.kept) {
		n.noteStanding()
		return nil
	}
	if err := n.o.Ledger.Keep(ctx, state, through, messages); err != nil {
		return errors.Join(err, n.core.Restore(n.kept))
	}
	n.kept, n.owed = state, nil
	n.noteStanding()
	n.taken(len(tests))
	for _, m := range messages {
		n.o.Log.Info("message", "path", m.Path, "for", m.For, "subject", m.Subject(), "id", m.ID)
		if l := n.lanes[m.Path]; l != nil {
			poke(l.wake)
		}
	}
	return nil
}

// deliver works on one path until ctx ends.
func (n *Notifier) deliver(ctx context.Context, l *lane) {
	ticks := time.NewTicker(beat)
	defer ticks.Stop()
	poke(l.wake) // what waited over a restart
	idle := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-l.wake:
			idle = false
		case <-ticks.C:
		}
		if idle && !n.refreshDue(l) {
			continue
		}
		left, err := n.pass(ctx, l)
		n.note(err)
		idle = err == nil && left == 0
	}
}

// pass tries what waits on a path, oldest first, and gives how many still wait.
func (n *Notifier) pass(ctx context.Context, l *lane) (left int, err error) {
	if l.hurried() {
		l.pause = time.Time{}
	}
	if resting(n.o.Now(), l.pause) {
		return 1, nil
	}
	waiting, err := n.o.Ledger.Waiting(ctx)
	if err != nil {
		return 0, err
	}
	waiting = slices.DeleteFunc(waiting, func(w Waiting) bool { return w.Message.Path != l.path })
	left = len(waiting)
	for _, w := range waiting {
		id := w.Message.ID
		if ctx.Err() != nil || resting(n.o.Now(), l.later[id]) {
			continue
		}
		sendErr := l.sender.Send(ctx, w.Message)
		if sendErr != nil && ctx.Err() != nil {
			return left, nil // cut short by the end of the daemon: that says nothing about the path
		}
		now := n.o.Now()
		final := sendErr == nil || now.Sub(w.Message.Made) > n.o.KeepTrying
		if err := n.o.Ledger.Tried(context.WithoutCancel(ctx), id, Try{At: now, Error: text(sendErr), Final: final}); err != nil {
			return left, err
		}
		if final {
			left--
		}
		n.judge(l, w, sendErr, now, final)
		n.answer(id, sendErr)
		if sendErr != nil && !errors.Is(sendErr, ErrRefused) {
			return left, nil // the path is down: those behind would fare no better
		}
	}
	n.refresh(ctx, l)
	return left, nil
}

// refreshDue reports whether the path's receiver is to hear again what stands.
func (n *Notifier) refreshDue(l *lane) bool {
	if l.refresher == nil {
		return false
	}
	since := n.o.Now().Sub(l.refreshed)
	n.mu.Lock()
	defer n.mu.Unlock()
	return len(n.standing[l.path]) > 0 && (since >= l.refresher.Every() || since < 0)
}

// refresh says again what stands. That it is over is said by the same goroutine, so that it cannot be overtaken.
func (n *Notifier) refresh(ctx context.Context, l *lane) {
	if !n.refreshDue(l) {
		return
	}
	n.mu.Lock()
	items := n.standing[l.path]
	n.mu.Unlock()
	now := n.o.Now()
	err := l.refresher.Refresh(ctx, l.path, items, now)
	switch {
	case err != nil && ctx.Err() != nil:
	case err != nil:
		n.health(l, now, err.Error())
		l.fails++
		l.pause = now.Add(pause(l.fails))
	default:
		l.refreshed, l.fails = now, 0
		if len(l.later) == 0 {
			n.health(l, time.Time{}, "")
		}
	}
}

// noteStanding puts down what the refreshing lanes are to say.
func (n *Notifier) noteStanding() {
	n.mu.Lock()
	defer n.mu.Unlock()
	for path, l := range n.lanes {
		if l.refresher != nil {
			n.standing[path] = n.core.standing(path)
		}
	}
}

// judge notes what a try says about the path, and when to try again.
func (n *Notifier) judge(l *lane, w Waiting, err error, now time.Time, final bool) {
	id := w.Message.ID
	l.count(err)
	if err == nil {
		l.fails, l.pause = 0, time.Time{}
		delete(l.later, id)
		delete(l.tries, id)
		if len(l.later) == 0 { // else the path works, but something on it is still refused
			n.health(l, time.Time{}, "")
		}
		return
	}
	n.health(l, now, err.Error())
	if final {
		n.o.Log.Error("message given up", "path", l.path, "subject", w.Message.Subject(), "error", err)
		delete(l.later, id)
		delete(l.tries, id)
	}
	if errors.Is(err, ErrRefused) {
		if !final {
			l.tries[id]++
			l.later[id] = now.Add(pause(l.tries[id]))
		}
		return
	}
	l.fails++
	l.pause = now.Add(pause(l.fails))
}

// longestPause is the longest wait between two tries.
const longestPause = 5 * time.Minute

// pause is the wait after so many failed tries in a row: 5 s, doubled each time.
func pause(fails int) time.Duration { return min(5*time.Second<<min(fails-1, 10), longestPause) }

// resting reports whether a pause still runs. One that is longer than any can be is from before the clock was put back.
func resting(now, until time.Time) bool { return now.Before(until) && until.Sub(now) <= longestPause }

func (n *Notifier) health(l *lane, failed time.Time, err string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case failed.IsZero() && !l.since.IsZero():
		l.since, l.err = time.Time{}, ""
		n.o.Log.Info("messages get through again", "path", l.path)
	case !failed.IsZero():
		if l.since.IsZero() {
			l.since = failed
			n.o.Log.Warn("message not delivered, it will be tried again", "path", l.path, "error", err)
		}
		l.err = err
	}
}

// failing names the paths that have not delivered for long enough.
func (n *Notifier) failing(now time.Time) map[string]bool {
	out := map[string]bool{}
	for path, l := range n.lanes {
		l.mu.Lock()
		if l.since.After(now) { // the clock was put back
			l.since = now
		}
		out[path] = !l.since.IsZero() && now.Sub(l.since) >= n.o.FailingAfter
		l.mu.Unlock()
	}
	return out
}

// Trouble says which paths do not deliver, since when and why; empty when all are well.
func (n *Notifier) Trouble() string {
	failing := n.failing(n.o.Now())
	var out []string
	n.mu.Lock()
	if n.trouble != nil {
		out = append(out, "Messages cannot be kept: "+n.trouble.Error())
	}
	n.mu.Unlock()
	for _, path := range slices.Sorted(maps.Keys(failing)) {
		if l := n.lanes[path]; failing[path] {
			l.mu.Lock()
			out = append(out, fmt.Sprintf("Messages by %s have failed since %s (%s)", path, l.since.In(n.o.Ladder.Zone).Format("15:04"), l.err))
			l.mu.Unlock()
		}
	}
	return strings.Join(out, "; ")
}

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
