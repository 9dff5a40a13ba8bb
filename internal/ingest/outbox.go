package ingest

import (
	"bytes"
	"context"
	"sync"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// outbox holds what is to be published: the last value of each retained topic, and a bounded queue of passing messages.
type outbox struct {
	mu      sync.Mutex // guards the fields below
	state   map[string]*stateTopic
	passing []passing
	wake    chan struct{}
}

type stateTopic struct {
	payload []byte
	sent    bool // the broker acknowledged this payload on this connection
}

type passing struct {
	topic   string
	payload []byte
}

// maxPassing bounds the messages that wait without being retained; the oldest go first.
const maxPassing = 1000

// publishBatch is how many messages are on their way at once.
const publishBatch = 100

func newOutbox() outbox {
	return outbox{state: map[string]*stateTopic{}, wake: make(chan struct{}, 1)}
}

func (o *outbox) put(topic string, retained bool, payload []byte) {
	payload = bytes.Clone(payload)
	o.mu.Lock()
	switch last := o.state[topic]; {
	case !retained:
		if len(o.passing) >= maxPassing {
			o.passing = o.passing[1:]
		}
		o.passing = append(o.passing, passing{topic, payload})
	case last == nil || !bytes.Equal(last.payload, payload):
		o.state[topic] = &stateTopic{payload: payload}
	}
	o.mu.Unlock()
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// run publishes over one connection. All state is sent anew, because the broker may have lost it.
func (o *outbox) run(ctx context.Context, l *link) {
	o.mu.Lock()
	for _, s := range o.state {
		s.sent = false
	}
	o.mu.Unlock()
	for {
		more := o.send(ctx, l)
		if more {
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-l.failed:
			return
		case <-o.wake:
		}
	}
}

// send publishes one batch, waits for the acknowledgements, and reports whether more is waiting.
func (o *outbox) send(ctx context.Context, l *link) bool {
	pending, passing := o.batch()
	for _, p := range passing {
		l.paho.Publish(p.topic, 1, false, p.payload)
	}
	tokens := map[string]mqtt.Token{}
	for topic, s := range pending {
		tokens[topic] = l.paho.Publish(topic, 1, true, s.payload)
	}
	for topic, token := range tokens {
		if err := await(ctx, token, 2*brokerTimeout); err != nil {
			if ctx.Err() == nil {
				l.fail(err)
			}
			return false
		}
		o.confirm(topic, pending[topic])
	}
	return len(pending) > 0
}

func (o *outbox) batch() (map[string]*stateTopic, []passing) {
	o.mu.Lock()
	defer o.mu.Unlock()
	pending := map[string]*stateTopic{}
	for topic, s := range o.state {
		if !s.sent && len(pending) < publishBatch {
			pending[topic] = s
		}
	}
	passing := o.passing
	o.passing = nil
	return pending, passing
}

// confirm notes an acknowledged value, unless a newer one has come meanwhile, and forgets cleared topics.
func (o *outbox) confirm(topic string, s *stateTopic) {
	o.mu.Lock()
	defer o.mu.Unlock()
	s.sent = true
	if len(s.payload) == 0 && o.state[topic] == s {
		delete(o.state, topic)
	}
}
