package broker

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
)

// Options say where the broker listens, who may use it, and who takes the readings.
type Options struct {
	Listen      string      // address such as 127.0.0.1:1883; port 0 picks a free one
	TLS         *tls.Config // nil: plain
	BehindProxy bool        // allows plain MQTT off loopback: something in front of it encrypts
	Users       []User      // who may connect; demanded off loopback
	MaxClients  int         // clients connected at once

	// IsReading reports whether publishes on the topic are readings, for Consume.
	IsReading func(topic string) bool
	// PublishTopics are further topic filters that users may publish to, beside stallkeeper/reading/#.
	PublishTopics []string
	// Observe sees what clients publish on other topics, last wills among it; nil: nobody looks. It does not wait long.
	Observe func(topic string, payload []byte)
	// Consume takes one reading message. It may wait (backpressure). It calls done once, with nil after the commit, from
	// any goroutine, also after Run has returned; it does not call done when it returns an error.
	Consume func(ctx context.Context, topic string, payload []byte, done func(error)) error

	Log *slog.Logger
	Now func() time.Time
}

// User may connect with a password. PasswordHash is bcrypt ("$2…").
type User struct {
	Name         string
	PasswordHash string
	ReadOnly     bool // may subscribe, not publish
}

// Limits that a probe never meets. From memory of what such brokers commonly set; no source.
const (
	maxPacket        = 64 << 10 // bytes
	maxUnderWay      = 8 << 20  // bytes of readings between the clients and the commit
	maxInflight      = 1024     // QoS 2 handshakes open per session
	maxSubscriptions = 100      // per client
	maxTopicBytes    = 256      // of a subscription
	maxTopicLevels   = 16
	maxWaiting       = 4096 // messages queued to one subscriber inside the library
	sessionLifetime  = time.Hour
	settleAtEnd      = 3 * time.Second // for open commits when the broker stops, so that they are still acknowledged
)

// Stats counts what happened since the start.
type Stats struct {
	Clients       int   // connected now
	Received      int64 // messages of readings taken in
	Acknowledged  int64 // of these with QoS 1 or 2, acknowledged after the commit
	Failed        int64 // of these not committed; their clients were disconnected to send again
	Denied        int64 // publishes dropped because the client may not publish there
	Refused       int64 // connections refused: too many, bad password, or no MQTT
	SlowConsumers int64 // clients disconnected because they did not read
	Oversized     int64 // clients disconnected because of a packet over 64 KiB
}

// Broker is the embedded broker.
type Broker struct {
	opts     Options
	log      *slog.Logger // limited in lines per minute
	listener *listener
	server   *mqtt.Server
	hook     *hook
	auth     *auth
	unheard  unheard
	forward  chan forwarded

	unread atomic.Int64 // bytes that wait for clients to read them

	received, acknowledged, failed, denied, refused, slow, oversized atomic.Int64
}

// forwarded is a committed reading on its way to other subscribers.
type forwarded struct {
	topic   string
	payload []byte
}

// maxForward bounds the committed readings that wait for live subscribers. Beyond it they miss some; the store does not.
const maxForward = 4096

// New checks the options and opens the port. Clients are served from Run on. The error says what to do.
func New(opts Options) (*Broker, error) {
	if err := opts.check(); err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", opts.Listen)
	if err != nil {
		return nil, fmt.Errorf("listen for mqtt on %s: %w", opts.Listen, err)
	}
	if err := opts.MayListen(l.Addr()); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	b := &Broker{opts: opts, log: slog.New(newQuiet(opts.Log.Handler(), opts.Now)), forward: make(chan forwarded, maxForward)}
	b.auth = newAuth(opts, isLoopback(l.Addr()))
	b.listener = &listener{b: b, net: l, live: map[*conn]uint64{}}
	b.server = mqtt.New(&mqtt.Options{
		Capabilities: capabilities(opts.MaxClients),
		Logger:       slog.New(newQuiet(opts.Log.Handler(), opts.Now)), // a budget of its own
		InlineClient: true,
		// The library's statistics stop the world for each update; the daemon has its own.
		SysTopicResendInterval: 3600,
	})
	b.hook = newHook(b)
	if err := errors.Join(b.server.AddHook(b.hook, nil), b.server.AddListener(b.listener)); err != nil {
		return nil, errors.Join(fmt.Errorf("prepare mqtt broker: %w", err), l.Close())
	}
	return b, nil
}

func capabilities(maxClients int) *mqtt.Capabilities {
	c := mqtt.NewDefaultServerCapabilities()
	c.MaximumClients = int64(maxClients)
	c.MaximumPacketSize = maxPacket
	c.MaximumInflight = maxInflight
	c.ReceiveMaximum = maxInflight
	c.MaximumClientWritesPending = maxWaiting
	c.MaximumSessionExpiryInterval = uint32(sessionLifetime / time.Second)
	c.MaximumMessageExpiryInterval = 0 // else the library deletes the daemon's retained state after this time
	c.TopicAliasMaximum = 0
	c.SharedSubAvailable = 0
	return c
}

func (o Options) check() error {
	switch {
	case o.MaxClients < 1:
		return fmt.Errorf("max clients %d: allow at least 1", o.MaxClients)
	case o.IsReading == nil || o.Consume == nil || o.Log == nil || o.Now == nil:
		return errors.New("broker options: IsReading, Consume, Log and Now are required")
	}
	for _, u := range o.Users {
		if err := u.check(); err != nil {
			return err
		}
	}
	return nil
}

// MayListen demands credentials and encryption where strangers can reach the port. It needs Users, TLS and BehindProxy.
func (o Options) MayListen(addr net.Addr) error {
	switch {
	case isLoopback(addr):
		return nil
	case len(o.Users) == 0:
		return fmt.Errorf("mqtt would listen on %s, open to the network, without users: add users, or listen on 127.0.0.1", addr)
	case o.TLS == nil && !o.BehindProxy:
		return fmt.Errorf("mqtt would listen on %s, open to the network, without TLS: set a certificate and key, listen on 127.0.0.1, or set behind_proxy if a proxy encrypts", addr)
	}
	return nil
}

func isLoopback(addr net.Addr) bool {
	a, ok := addr.(*net.TCPAddr)
	return ok && a.IP.IsLoopback()
}

// Addr is where the broker listens.
func (b *Broker) Addr() net.Addr { return b.listener.net.Addr() }

// Scheme is "mqtt", or "mqtts" with TLS.
func (b *Broker) Scheme() string {
	if b.opts.TLS != nil {
		return "mqtts"
	}
	return "mqtt"
}

// Run serves clients until ctx ends. It then takes nothing new, acknowledges what is committed within a few seconds, and disconnects all.
func (b *Broker) Run(ctx context.Context) error {
	b.hook.ctx = ctx
	if err := b.server.Serve(); err != nil {
		return errors.Join(fmt.Errorf("serve mqtt: %w", err), b.server.Close())
	}
	var wg sync.WaitGroup
	stopped := make(chan struct{})
	wg.Go(func() { b.forwardAll(stopped) })
	<-ctx.Done()
	b.listener.stop()
	b.hook.settle(settleAtEnd)
	b.listener.hangUp()
	err := b.server.Close()
	close(stopped)
	wg.Wait()
	if err != nil {
		return fmt.Errorf("stop mqtt broker: %w", err)
	}
	return nil
}

// Publish sends a message of the daemon to subscribers; a retained one is kept, an empty retained payload clears the
// topic. It does not wait for anyone.
func (b *Broker) Publish(topic string, retained bool, payload []byte) error {
	if topic == "" || strings.ContainsAny(topic, "+#") {
		return fmt.Errorf("publish: topic %q is empty or has a wildcard", topic)
	}
	if err := b.server.Publish(topic, payload, retained, 0); err != nil {
		return fmt.Errorf("publish on %s: %w", topic, err)
	}
	return nil
}

// forwardAll gives committed readings to other subscribers.
func (b *Broker) forwardAll(stopped <-chan struct{}) {
	for {
		select {
		case <-stopped:
			return
		case f := <-b.forward:
			if err := b.server.Publish(f.topic, f.payload, false, 0); err != nil {
				b.log.Warn("mqtt reading not passed on to subscribers", "topic", f.topic, "error", err)
			}
		}
	}
}

// Stats tells the counts so far.
func (b *Broker) Stats() Stats {
	return Stats{Clients: int(atomic.LoadInt64(&b.server.Info.ClientsConnected)),
		Received: b.received.Load(), Acknowledged: b.acknowledged.Load(), Failed: b.failed.Load(),
		Denied: b.denied.Load(), Refused: b.refused.Load(), SlowConsumers: b.slow.Load(), Oversized: b.oversized.Load()}
}
