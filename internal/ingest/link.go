package ingest

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// link is one connection to the broker, from CONNECT to its end.
type link struct {
	c      *Client
	paho   mqtt.Client
	inbox  chan arrived
	acks   ackQueue
	failed chan struct{} // closed with the first failure
	once   sync.Once
	err    error // the first failure; read after failed is closed
	worked bool  // it lasted a while, so that the next attempt need not wait long
	queued atomic.Bool
	marker string // payload of the message that ends the backlog
}

// arrived is a message with what was known when it came.
type arrived struct {
	mqtt.Message
	queued bool
}

func (c *Client) newLink() *link {
	l := &link{c: c, inbox: make(chan arrived, inboxSize), failed: make(chan struct{}),
		acks: ackQueue{wake: make(chan struct{}, 1)}, marker: strconv.FormatInt(c.opts.Now().UnixNano(), 36)}
	l.queued.Store(true)
	l.paho = mqtt.NewClient(c.pahoOptions(l))
	return l
}

// fail ends the link. The first reason counts.
func (l *link) fail(err error) {
	l.once.Do(func() { l.err = err; close(l.failed) })
}

// receive runs on paho's goroutine, which also reads the answers to pings.
func (l *link) receive(_ mqtt.Client, m mqtt.Message) {
	if m.Topic() == l.markerTopic() {
		if string(m.Payload()) == l.marker {
			l.queued.Store(false)
		}
		l.acks.expect()
		l.acks.ready(m)
		return
	}
	select {
	case l.inbox <- arrived{m, l.queued.Load()}:
	case <-l.failed:
	}
}

// markerTopic carries a message to oneself. The broker delivers it behind everything that it held back while the daemon
// was away: a number without a time that comes before it was measured at an unknown time.
func (l *link) markerTopic() string { return "stallkeeper/sync/" + l.c.opts.ClientID }

func (l *link) run(ctx context.Context) error {
	if err := l.connect(ctx); err != nil {
		l.fail(err)
		l.paho.Disconnect(0)
		return err
	}
	// work outlives ctx a little, so that what is committed is also acknowledged.
	work, stopWork := context.WithCancel(context.WithoutCancel(ctx))
	var wg sync.WaitGroup
	wg.Go(func() { l.store(ctx) })
	wg.Go(func() { l.acks.run(work) })
	wg.Go(func() { l.c.out.run(work, l) })
	err := l.subscribe(ctx)
	if err == nil {
		l.c.setStatus(true, nil)
		l.c.opts.Log.Info("mqtt broker connected", "broker", l.c.opts.URL)
		err = l.watch(ctx)
	}
	if ctx.Err() != nil {
		l.acks.settle(commitPatience)
		l.sayGoodbye()
	}
	l.fail(err)
	stopWork()
	l.paho.Disconnect(250)
	wg.Wait()
	return err
}

func (l *link) connect(ctx context.Context) error {
	token := l.paho.Connect()
	if err := await(ctx, token, 2*brokerTimeout); err != nil {
		return fmt.Errorf("connect to %s: %w", l.c.opts.URL, err)
	}
	if t, ok := token.(*mqtt.ConnectToken); ok && !t.SessionPresent() {
		l.queued.Store(false)
	}
	return nil
}

var errNoAnswer = errors.New("no answer within")

func await(ctx context.Context, token mqtt.Token, limit time.Duration) error {
	select {
	case <-token.Done():
		return token.Error()
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(limit):
		return fmt.Errorf("%w %s", errNoAnswer, limit)
	}
}

func (l *link) subscribe(ctx context.Context) error {
	want := map[string]byte{l.markerTopic(): 1}
	for _, filter := range l.c.intake.decoder.Filters() {
		want[filter] = 1
	}
	if l.c.opts.Boards != nil {
		want[BoardFilter] = 0
	}
	token := l.paho.SubscribeMultiple(want, nil)
	err := await(ctx, token, brokerTimeout)
	sub, ok := token.(*mqtt.SubscribeToken)
	if !ok || (err != nil && len(sub.Result()) == 0) {
		return fmt.Errorf("subscribe: %w", err)
	}
	for filter, granted := range sub.Result() {
		if granted <= 2 {
			continue
		}
		if filter == BoardFilter {
			l.c.opts.Log.Warn("boards cannot be heard: allow the topic for reading", "topic", filter, "user", l.c.opts.Username)
			continue
		}
		if filter != l.markerTopic() {
			return fmt.Errorf("the broker refuses the subscription to %s: allow it for user %q", filter, l.c.opts.Username)
		}
		l.noMarker()
	}
	return nil
}

// watch sends the marker until it comes back (a full queue at the broker may drop it) and waits for the end. A marker
// that does not come within two minutes is not let through by the broker.
func (l *link) watch(ctx context.Context) error {
	const again, tries = 5 * time.Second, 24
	for n := 0; ; n++ {
		l.worked = n > 0
		if l.queued.Load() && n == tries {
			l.noMarker()
		}
		if l.queued.Load() {
			l.paho.Publish(l.markerTopic(), 1, false, l.marker)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-l.failed:
			return l.err
		case <-time.After(again):
		}
	}
}

// noMarker takes readings without a time for new ones from now on.
func (l *link) noMarker() {
	l.queued.Store(false)
	l.c.opts.Log.Warn("readings without a time that waited at the broker cannot be told from new ones: allow the topic for reading and writing",
		"topic", l.markerTopic(), "user", l.c.opts.Username)
}

// store hands messages to the intake in their order until ctx or the link ends.
func (l *link) store(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-l.failed:
			return
		case m := <-l.inbox:
			l.acks.expect()
			if board, ok := DecodeBoard(m.Topic(), m.Payload()); ok && l.c.opts.Boards != nil {
				l.c.opts.Boards(board, m.Retained())
			}
			if !l.c.intake.Consumes(m.Topic()) { // left in the session by an earlier configuration
				l.acks.ready(m)
				continue
			}
			in := Message{Topic: m.Topic(), Payload: m.Payload(), Retained: m.Retained(), Queued: m.queued}
			if err := l.c.intake.Handle(ctx, in, func(err error) { l.committed(m, err) }); err != nil {
				l.committed(m, err)
			}
		}
	}
}

// committed runs on the store's goroutine. What is not on disk is not acknowledged; the broker delivers it again on the
// next connection.
func (l *link) committed(m mqtt.Message, err error) {
	if err == nil {
		l.acks.ready(m)
		return
	}
	l.acks.forget()
	if !errors.Is(err, context.Canceled) {
		l.fail(fmt.Errorf("reading not stored, the broker will deliver it again: %w", err))
	}
}

func (l *link) sayGoodbye() {
	if l.c.opts.Will.Topic == "" {
		return
	}
	token := l.paho.Publish(l.c.opts.Will.Topic, 1, true, l.c.opts.Will.Payload)
	token.WaitTimeout(time.Second)
}

// ackQueue acknowledges on a goroutine of its own: an acknowledgement may wait for the network, the store must not.
type ackQueue struct {
	mu      sync.Mutex // guards the fields below
	open    int        // messages handed to the store or waiting here
	waiting []mqtt.Message
	wake    chan struct{}
}

func (q *ackQueue) expect() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.open++
}

func (q *ackQueue) forget() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.open--
}

func (q *ackQueue) ready(m mqtt.Message) {
	q.mu.Lock()
	q.waiting = append(q.waiting, m)
	q.mu.Unlock()
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

func (q *ackQueue) run(ctx context.Context) {
	for {
		q.mu.Lock()
		batch := q.waiting
		q.waiting = nil
		q.mu.Unlock()
		for _, m := range batch {
			m.Ack()
		}
		q.mu.Lock()
		q.open -= len(batch)
		q.mu.Unlock()
		if len(batch) > 0 {
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-q.wake:
		}
	}
}

// settle waits until everything handed to the store is acknowledged, but not longer than the limit.
func (q *ackQueue) settle(limit time.Duration) {
	const step = 5 * time.Millisecond
	for range limit / step {
		q.mu.Lock()
		open := q.open
		q.mu.Unlock()
		if open == 0 {
			return
		}
		time.Sleep(step)
	}
}
