package notify

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// PathState is how a path does.
type PathState struct {
	Name     string
	Person   string    // empty: a machine
	Health             // over restarts
	Since    time.Time // fails since; zero when it works
	Pending  int       // messages that wait
	Oldest   time.Time // when the first of them was made; zero when none waits
	Sent     uint64    // delivered messages, since the start
	Failures uint64    // failed tries, since the start
}

// Paths gives the state of every path, in the order of the ladder.
func (n *Notifier) Paths(ctx context.Context) ([]PathState, error) {
	health, err := n.o.Ledger.Health(ctx)
	if err != nil {
		return nil, err
	}
	waiting, err := n.o.Ledger.Waiting(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]PathState, len(n.o.Ladder.Routes))
	for i, r := range n.o.Ladder.Routes {
		p := PathState{Name: r.Path, Person: r.Person, Health: health[r.Path]}
		for _, w := range waiting {
			if w.Message.Path != r.Path {
				continue
			}
			if p.Pending++; p.Oldest.IsZero() || w.Message.Made.Before(p.Oldest) {
				p.Oldest = w.Message.Made
			}
		}
		l := n.lanes[r.Path]
		l.mu.Lock()
		p.Since, p.Sent, p.Failures = l.since, l.delivered, l.failed
		l.mu.Unlock()
		out[i] = p
	}
	return out, nil
}

// ErrNoPath is in the error when there is no path of that name.
var ErrNoPath = errors.New("no such path: it is named by [[notify.path]] in the configuration")

// ErrWaiting is in the error when a test was kept and not yet tried.
var ErrWaiting = errors.New("the test waits behind other messages and goes out when they do")

// Test sends a test message by a path, at once and through the outbox like every other, and waits for its first try. The
// error is the try's; it is tried again like every other message.
func (n *Notifier) Test(ctx context.Context, path, by string) error {
	id, outcome, err := n.ask(path, by)
	if err != nil {
		return err
	}
	defer n.giveUp(id)
	select {
	case err := <-outcome:
		return err
	case <-ctx.Done():
		return fmt.Errorf("test %s: %w", path, ErrWaiting)
	}
}

// ask leaves a test for the next step.
func (n *Notifier) ask(path, by string) (id string, outcome <-chan error, err error) {
	if n.lanes[path] == nil {
		return "", nil, fmt.Errorf("test %q: %w", path, ErrNoPath)
	}
	now := n.o.Now()
	n.mu.Lock()
	defer n.mu.Unlock()
	n.askedFor++
	m := Message{ID: identify("asked", now.UnixMicro(), n.askedFor, path), Path: path, Made: now.UTC(), For: Test, Why: orSomebody(by) + " asked for a test"}
	n.asked = append(n.asked, m)
	tried := make(chan error, 1)
	n.waiting[m.ID] = tried
	n.Poke()
	return m.ID, tried, nil
}

func (n *Notifier) giveUp(id string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	delete(n.waiting, id)
}

// tests gives what was asked for; taken says how many of them are kept.
func (n *Notifier) tests() []Message {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.asked[:len(n.asked):len(n.asked)]
}

func (n *Notifier) taken(tests int) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for _, m := range n.asked[:tests] {
		l := n.lanes[m.Path]
		l.mu.Lock()
		l.hurry = true
		l.mu.Unlock()
	}
	n.asked = n.asked[tests:]
}

// answer tells who waits for a message how its try went.
func (n *Notifier) answer(id string, err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if c := n.waiting[id]; c != nil {
		c <- err
		delete(n.waiting, id)
	}
}

// hurried reports, once, whether somebody waits for the path.
func (l *lane) hurried() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	was := l.hurry
	l.hurry = false
	return was
}

func (l *lane) count(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err == nil {
		l.delivered++
	} else {
		l.failed++
	}
}
