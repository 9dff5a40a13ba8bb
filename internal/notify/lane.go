package notify

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"stallkeeper/internal/when"
)

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
			out = append(out, fmt.Sprintf("Messages by %s have failed since %s (%s)", path, when.Clock(l.since, n.o.Ladder.Zone), l.err))
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
