// Package uplink publishes a backlog to an MQTT 3.1.1 broker and removes from it what the broker has acknowledged.
//
// Readings go out with QoS 1, oldest first, in batches of at most 20 in flight, and no faster than a set rate, so that
// an outage's backlog does not flood the broker. Each connection is a new client with a clean session, and paho's own
// reconnection is off: across a reconnect its tokens may complete without delivery. What was in flight on a lost
// connection is sent again, so a reading may come twice, with the same time, and none is lost.
//
// The status is a retained message, and the last will says that the board is gone. Run blocks; it starts no goroutine but
// paho's, and they end with it.
package uplink

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"stallkeeper/cmd/stallkeeper-probe/internal/backlog"
)

// Options says where to publish.
type Options struct {
	URL         string // mqtt://host:1883 or mqtts://host:8883
	ClientID    string // fixed and unique: two with the same name throw each other out
	Username    string
	Password    string
	CAFile      string // PEM of the authority that signed the broker's certificate; empty: the system's authorities
	StatusTopic string
	Gone        []byte // the status when the board is gone
	PerSecond   int    // readings, at most
	Log         *slog.Logger
}

// Encode gives topic and payload of a record; ok is false for one that cannot be sent, which is then given up.
type Encode func(backlog.Record) (topic string, payload []byte, ok bool)

// Uplink is the connection to the broker. Make one with New.
type Uplink struct {
	opts   Options
	tls    *tls.Config
	queue  *backlog.Queue
	encode Encode
	wake   chan struct{}

	mu     sync.Mutex // guards the fields below
	status []byte
	sent   []byte // the status that the broker has
}

const (
	batch         = 20
	brokerTimeout = 10 * time.Second
	keepAlive     = 30 * time.Second
	firstRetry    = time.Second
	longestRetry  = 30 * time.Second
)

// New checks the options and reads the CA file; it does not connect.
func New(opts Options, queue *backlog.Queue, encode Encode) (*Uplink, error) {
	u := &Uplink{opts: opts, queue: queue, encode: encode, wake: make(chan struct{}, 1)}
	where, err := url.Parse(opts.URL)
	if err != nil {
		return nil, fmt.Errorf("mqtt url: %w", err)
	}
	if where.Scheme == "mqtts" {
		u.tls = &tls.Config{MinVersion: tls.VersionTLS12}
		if opts.CAFile != "" {
			pem, err := os.ReadFile(opts.CAFile)
			if err != nil {
				return nil, fmt.Errorf("read mqtt.ca_file: %w", err)
			}
			u.tls.RootCAs = x509.NewCertPool()
			if !u.tls.RootCAs.AppendCertsFromPEM(pem) {
				return nil, fmt.Errorf("mqtt.ca_file %s holds no certificate in PEM", opts.CAFile)
			}
		}
	}
	return u, nil
}

// Wake says that the backlog or the status has something new.
func (u *Uplink) Wake() {
	select {
	case u.wake <- struct{}{}:
	default:
	}
}

// SetStatus sets the retained status; it goes out when the broker is there and it has changed.
func (u *Uplink) SetStatus(payload []byte) {
	u.mu.Lock()
	u.status = payload
	u.mu.Unlock()
	u.Wake()
}

// Run publishes until ctx ends, through any number of lost connections. It logs when the broker goes and comes.
func (u *Uplink) Run(ctx context.Context) {
	wait, told := firstRetry, ""
	for ctx.Err() == nil {
		began := u.queue.Len()
		worked, err := u.connection(ctx)
		if ctx.Err() != nil {
			return
		}
		if worked {
			wait, told = firstRetry, ""
		}
		if text := err.Error(); text != told {
			u.opts.Log.Warn("mqtt broker away, readings are kept", "error", text, "waiting", began)
			told = text
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		wait = min(2*wait, longestRetry)
	}
}

// link is one connection.
type link struct {
	paho   mqtt.Client
	failed chan struct{}
	once   sync.Once
	err    error // why; read after failed is closed
}

func (l *link) fail(err error) { l.once.Do(func() { l.err = err; close(l.failed) }) }

// connection works on one connection until it or ctx ends; worked says that the broker accepted it.
func (u *Uplink) connection(ctx context.Context) (worked bool, err error) {
	l := &link{failed: make(chan struct{})}
	l.paho = mqtt.NewClient(u.pahoOptions(l))
	defer l.paho.Disconnect(250)
	if err := l.await(ctx, l.paho.Connect(), 2*brokerTimeout); err != nil {
		return false, fmt.Errorf("connect to %s: %w", u.opts.URL, err)
	}
	u.mu.Lock()
	u.sent = nil
	u.mu.Unlock()
	u.opts.Log.Info("mqtt broker connected", "broker", u.opts.URL, "waiting", u.queue.Len())
	for {
		n, err := u.step(ctx, l)
		if ctx.Err() != nil {
			u.goodbye(l)
			return true, ctx.Err()
		}
		if err != nil {
			l.fail(err)
			return true, l.err
		}
		if n > 0 { // there may be more; keep to the rate
			select {
			case <-ctx.Done():
			case <-l.failed:
				return true, l.err
			case <-time.After(time.Duration(n) * time.Second / time.Duration(u.opts.PerSecond)):
			}
			continue
		}
		select {
		case <-ctx.Done():
		case <-u.wake:
		case <-l.failed:
			return true, l.err
		}
	}
}

func (u *Uplink) pahoOptions(l *link) *mqtt.ClientOptions {
	o := mqtt.NewClientOptions().AddBroker(u.opts.URL).SetClientID(u.opts.ClientID).SetUsername(u.opts.Username).SetPassword(u.opts.Password).
		SetProtocolVersion(4).SetCleanSession(true).SetAutoReconnect(false).SetConnectRetry(false).SetConnectTimeout(brokerTimeout).
		SetKeepAlive(keepAlive).SetPingTimeout(brokerTimeout).SetWriteTimeout(brokerTimeout).
		SetBinaryWill(u.opts.StatusTopic, u.opts.Gone, 1, true).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { l.fail(err) })
	if u.tls != nil {
		o.SetTLSConfig(u.tls)
	}
	return o
}

// await waits for an answer of the broker. A token that completes on a connection that has failed proves nothing.
func (l *link) await(ctx context.Context, token mqtt.Token, limit time.Duration) error {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case <-token.Done():
	case <-l.failed:
		return l.err
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return fmt.Errorf("no answer within %s", limit)
	}
	if err := token.Error(); err != nil {
		return err
	}
	select {
	case <-l.failed:
		return l.err
	default:
		return nil
	}
}

// step sends the status if it has changed and one batch of readings, and waits for their acknowledgements in order.
func (u *Uplink) step(ctx context.Context, l *link) (int, error) {
	if err := u.sendStatus(ctx, l); err != nil {
		return 0, err
	}
	records := u.queue.After(0, batch)
	tokens := make([]mqtt.Token, len(records))
	for i, r := range records {
		if topic, payload, ok := u.encode(r); ok {
			tokens[i] = l.paho.Publish(topic, 1, false, payload)
		}
	}
	for i, r := range records {
		if tokens[i] != nil {
			if err := l.await(ctx, tokens[i], brokerTimeout); err != nil {
				return 0, err
			}
		}
		u.queue.Done(r.ID())
	}
	return len(records), nil
}

func (u *Uplink) sendStatus(ctx context.Context, l *link) error {
	u.mu.Lock()
	status, same := u.status, string(u.status) == string(u.sent)
	u.mu.Unlock()
	if same {
		return nil
	}
	if err := l.await(ctx, l.paho.Publish(u.opts.StatusTopic, 1, true, status), brokerTimeout); err != nil {
		return err
	}
	u.mu.Lock()
	u.sent = status
	u.mu.Unlock()
	return nil
}

// goodbye publishes what the last will would say: a clean disconnect takes the will back.
func (u *Uplink) goodbye(l *link) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	if err := l.await(ctx, l.paho.Publish(u.opts.StatusTopic, 1, true, u.opts.Gone), 2*time.Second); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		u.opts.Log.Warn("the status could not be set to gone", "error", err)
	}
}
