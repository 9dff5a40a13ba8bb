package broker

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// hook connects the library to the store. Its methods run on the goroutines of the clients unless said otherwise.
type hook struct {
	mqtt.HookBase
	b   *Broker
	ctx context.Context // of Run

	mu       sync.Mutex // guards the fields below
	sessions map[string]*session
	underWay int           // bytes between the clients and the commit
	open     int           // messages between the clients and the commit
	freed    chan struct{} // closed and replaced when bytes become free
}

func newHook(b *Broker) *hook {
	return &hook{b: b, sessions: map[string]*session{}, freed: make(chan struct{})}
}

// ID names the hook in the library's log.
func (h *hook) ID() string { return "stallkeeper" }

// Provides lists the steps that the hook takes part in.
func (h *hook) Provides(step byte) bool {
	return bytes.IndexByte([]byte{mqtt.OnConnect, mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnSessionEstablish,
		mqtt.OnDisconnect, mqtt.OnClientExpired, mqtt.OnSubscribe, mqtt.OnPacketRead, mqtt.OnPublish, mqtt.OnWillSent}, step) >= 0
}

// OnConnect runs before the login. A will that the client could not publish itself is dropped, because the library would
// publish it unchecked, and so is one on a topic of readings: nothing was measured.
func (h *hook) OnConnect(cl *mqtt.Client, pk packets.Packet) error {
	if len(cl.ID) > maxTopicBytes {
		h.b.refused.Add(1)
		return packets.ErrClientIdentifierNotValid
	}
	if cl.Properties.Will.Flag != 0 {
		cl.Properties.Will.Retain = false
		topic := cl.Properties.Will.TopicName
		if !h.b.auth.mayPublish(string(cl.Properties.Username), topic) || h.b.opts.IsReading(topic) {
			cl.Properties.Will = mqtt.Will{}
		}
	}
	return nil
}

// OnConnectAuthenticate decides about a login.
func (h *hook) OnConnectAuthenticate(cl *mqtt.Client, pk packets.Packet) bool {
	err := h.b.auth.login(string(pk.Connect.Username), pk.Connect.Password, cl.Net.Remote)
	if err != nil {
		h.b.refused.Add(1)
		h.b.log.Warn("mqtt login refused", "client", cl.ID, "user", string(pk.Connect.Username), "remote", cl.Net.Remote, "because", err)
	}
	return err == nil
}

// OnACLCheck lets every publish through to OnPublish, which drops what is not allowed: for 3.1.1 the library would
// disconnect, and a device that also publishes its signal strength would never stay connected (MQTT 3.1.1 section 3.3.5
// allows either).
func (h *hook) OnACLCheck(cl *mqtt.Client, topic string, write bool) bool {
	return write || h.b.auth.mayRead(string(cl.Properties.Username), topic)
}

// OnSubscribe grants QoS 0, and makes excessive filters invalid, so that they are refused.
func (h *hook) OnSubscribe(cl *mqtt.Client, pk packets.Packet) packets.Packet {
	room := maxSubscriptions - cl.State.Subscriptions.Len()
	for i := range pk.Filters {
		f := &pk.Filters[i]
		f.Qos = 0
		if i >= room || len(f.Filter) > maxTopicBytes || strings.Count(f.Filter, "/") >= maxTopicLevels {
			f.Filter = ""
		}
	}
	return pk
}

// OnPublish takes readings away from the library (ErrRejectPacket: no acknowledgement, the client stays) and hands them
// to the store. It waits only while too much is under way.
func (h *hook) OnPublish(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	if cl.Net.Inline {
		return pk, nil
	}
	if !h.b.auth.mayPublish(string(cl.Properties.Username), pk.TopicName) {
		h.b.denied.Add(1)
		if h.b.opts.IsReading(pk.TopicName) || ofDaemon(pk.TopicName) {
			h.b.log.Warn("mqtt publish dropped: this client may not publish there", "client", cl.ID, "topic", pk.TopicName)
		} else {
			h.b.log.Warn("mqtt publish dropped: it is no topic of readings; correct it in the device, or map it in the configuration", "client", cl.ID, "topic", pk.TopicName)
			h.b.unheard.note(pk.TopicName, h.b.opts.Now())
		}
		return pk, packets.CodeSuccessIgnore
	}
	if !h.b.opts.IsReading(pk.TopicName) {
		pk.FixedHeader.Retain = false
		h.observe(pk)
		if !strings.HasPrefix(pk.TopicName, boards) && len(h.b.server.Topics.Subscribers(pk.TopicName).Subscriptions) == 0 {
			h.b.unheard.note(pk.TopicName, h.b.opts.Now())
		}
		return pk, nil
	}
	s := h.session(cl)
	if pk.FixedHeader.Qos == 2 && !s.begin(pk.PacketID) {
		return pk, packets.ErrRejectPacket
	}
	if err := h.consume(s, cl, pk); err != nil {
		s.fail(cl, pk, err)
	}
	return pk, packets.ErrRejectPacket
}

// OnWillSent sees the last will of a client that is gone.
func (h *hook) OnWillSent(_ *mqtt.Client, pk packets.Packet) { h.observe(pk) }

func (h *hook) observe(pk packets.Packet) {
	if h.b.opts.Observe != nil {
		h.b.opts.Observe(pk.TopicName, pk.Payload)
	}
}

func (h *hook) consume(s *session, cl *mqtt.Client, pk packets.Packet) error {
	size := len(pk.Payload) + len(pk.TopicName) + 256
	if err := h.reserve(size); err != nil {
		return err
	}
	h.b.received.Add(1)
	err := h.b.opts.Consume(h.ctx, pk.TopicName, pk.Payload, func(err error) {
		h.committed(s, cl, pk, err)
		h.release(size)
	})
	if err != nil {
		h.release(size)
		return fmt.Errorf("take in reading: %w", err)
	}
	return nil
}

// committed runs on the store's goroutine and does not wait.
func (h *hook) committed(s *session, cl *mqtt.Client, pk packets.Packet, err error) {
	if err != nil {
		h.b.failed.Add(1)
		level := slog.LevelError
		if h.ctx.Err() != nil {
			level = slog.LevelInfo // the broker ends, and its store with it
		}
		h.b.log.Log(context.WithoutCancel(h.ctx), level, "mqtt reading not stored; its client is disconnected to send it again", "topic", pk.TopicName, "error", err)
		s.fail(cl, pk, err)
		return
	}
	if pk.FixedHeader.Qos > 0 {
		h.b.acknowledged.Add(1)
		s.acknowledge(cl, pk)
	}
	select {
	case h.b.forward <- forwarded{pk.TopicName, pk.Payload}:
	default: // subscribers are behind; they see the next ones
	}
}

// reserve waits until there is room for a message on its way to the commit.
func (h *hook) reserve(size int) error {
	for {
		if err := h.ctx.Err(); err != nil {
			return err
		}
		h.mu.Lock()
		if h.underWay == 0 || h.underWay+size <= maxUnderWay {
			h.underWay += size
			h.open++
			h.mu.Unlock()
			return nil
		}
		freed := h.freed
		h.mu.Unlock()
		select {
		case <-freed:
		case <-h.ctx.Done():
		}
	}
}

func (h *hook) release(size int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.underWay -= size
	h.open--
	close(h.freed)
	h.freed = make(chan struct{})
}

// settle waits until everything handed to the store is committed and acknowledged, but not longer than the limit.
func (h *hook) settle(limit time.Duration) {
	end := time.NewTimer(limit)
	defer end.Stop()
	for {
		h.mu.Lock()
		open, freed := h.open, h.freed
		h.mu.Unlock()
		if open == 0 {
			return
		}
		select {
		case <-freed:
		case <-end.C:
			return
		}
	}
}

// OnPacketRead lets the library answer PUBREL with success for a message that this hook acknowledged with PUBREC.
func (h *hook) OnPacketRead(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	if pk.FixedHeader.Type == packets.Pubrel && h.session(cl).end(pk.PacketID) {
		cl.State.Inflight.Set(packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Pubrec}, PacketID: pk.PacketID})
	}
	return pk, nil
}

var errTooManyHandshakes = errors.New("too many QoS 2 messages without PUBREL: finish some before sending more")
