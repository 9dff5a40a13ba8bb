package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
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
