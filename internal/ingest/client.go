package ingest

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"slices"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// ClientOptions says how to reach an outside broker.
type ClientOptions struct {
	URL      string // mqtt://host:1883 or mqtts://host:8883
	ClientID string // fixed and unique: the broker keeps the session, and what came while the daemon was away, under it
	Username string
	Password string
	CAFile   string                       // PEM file of the authority that signed the broker's certificate; empty: the system's authorities
	Will     Will                         // published by the broker when the daemon dies, and by Run when it ends
	Boards   func(b Board, retained bool) // what boards say about themselves; nil: nobody asks
	Log      *slog.Logger
	Now      func() time.Time
}

// Will is a retained message that others see when the daemon is gone.
type Will struct {
	Topic   string // empty: none
	Payload []byte
}

// Status tells how the connection to the outside broker stands.
type Status struct {
	Connected bool
	Since     time.Time // when it last changed
	Trouble   string    // why there is no connection and what to do, for people; empty while there is one
	LastError string    // why the last attempt or connection ended, in the library's words; empty if none did
}

// Client takes readings from an outside broker and publishes the daemon's own topics there.
//
// Each connection is a new paho client with the same client id and a persistent session: acknowledgements and tokens
// of a lost connection are worthless (paho drops the former and may complete the latter without delivery), and this way
// none outlives it. What was not acknowledged comes again from the broker.
type Client struct {
	opts   ClientOptions
	tls    *tls.Config
	intake *Intake
	out    outbox

	mu     sync.Mutex // guards status
	status Status
}

// Waits between attempts to connect, doubling from the first to the longest.
const (
	firstRetry   = 500 * time.Millisecond
	longestRetry = 30 * time.Second
)

const (
	keepAlive      = 30 * time.Second
	brokerTimeout  = 10 * time.Second // for one answer of the broker
	writeTimeout   = 5 * time.Second  // paho's Publish waits this long when the connection is being lost
	commitPatience = 3 * time.Second  // for open commits at the end, so that they are still acknowledged
)

// inboxSize is the number of messages that may wait for the store. It is larger than the window of unacknowledged messages that
// is advised for mosquitto (1000): the handler of a full inbox would hold up the pings.
const inboxSize = 8192

// NewClient checks the options and reads the CA file; it does not connect. The broker's certificate is always checked.
func NewClient(opts ClientOptions, intake *Intake) (*Client, error) {
	u, err := url.Parse(opts.URL)
	if err != nil || u.Host == "" || !slices.Contains([]string{"mqtt", "mqtts"}, u.Scheme) {
		return nil, fmt.Errorf("broker url %q: write it like mqtt://host:1883 or mqtts://host:8883", opts.URL)
	}
	if opts.ClientID == "" {
		return nil, errors.New("client id is empty: a persistent session needs a fixed name, such as stallkeeper")
	}
	c := &Client{opts: opts, intake: intake, out: newOutbox()}
	c.status.Since = opts.Now()
	if u.Scheme == "mqtts" {
		c.tls = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	if opts.CAFile == "" {
		return c, nil
	}
	if c.tls == nil {
		return nil, errors.New("a CA file is given, but the broker url is not mqtts://: change the url, or leave the file out")
	}
	pem, err := os.ReadFile(opts.CAFile)
	if err != nil {
		return nil, fmt.Errorf("read CA file of the broker: %w", err)
	}
	c.tls.RootCAs = x509.NewCertPool()
	if !c.tls.RootCAs.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("CA file %q holds no certificate: give a PEM file", opts.CAFile)
	}
	return c, nil
}

// Publish sends a message to others. A retained one is kept as the last value of its topic and sent again after each
// reconnect; an empty retained payload clears the topic. Others are sent once, if there is a connection. It does not wait.
func (c *Client) Publish(topic string, retained bool, payload []byte) {
	c.out.put(topic, retained, payload)
}

// Status tells how the connection stands.
func (c *Client) Status() Status {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.status
}

func (c *Client) setStatus(connected bool, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if connected != c.status.Connected {
		c.status.Connected, c.status.Since = connected, c.opts.Now()
	}
	c.status.Trouble = ""
	if err != nil {
		c.status.LastError, c.status.Trouble = err.Error(), c.trouble(err)
	}
}

// Run keeps a connection until ctx ends, then acknowledges what is committed, publishes the will and disconnects.
// A broker that is away is no error: Run tries again, and Status tells.
func (c *Client) Run(ctx context.Context) error {
	wait := firstRetry
	for {
		l := c.newLink()
		err := l.run(ctx)
		c.setStatus(false, err)
		if ctx.Err() != nil {
			return nil
		}
		if l.worked {
			wait = firstRetry
		}
		c.opts.Log.Warn("mqtt broker connection ended", "broker", c.opts.URL, "error", err, "retry_in", wait)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(wait):
		}
		wait = min(2*wait, longestRetry)
	}
}

func (c *Client) pahoOptions(l *link) *mqtt.ClientOptions {
	o := mqtt.NewClientOptions().
		AddBroker(c.opts.URL).
		SetClientID(c.opts.ClientID).
		SetUsername(c.opts.Username).
		SetPassword(c.opts.Password).
		SetProtocolVersion(4).
		SetCleanSession(false).
		SetAutoReconnect(false).
		SetConnectRetry(false).
		SetAutoAckDisabled(true).
		SetOrderMatters(true).
		SetKeepAlive(keepAlive).
		SetPingTimeout(brokerTimeout).
		SetConnectTimeout(brokerTimeout).
		SetWriteTimeout(writeTimeout).
		SetCustomOpenConnectionFn(c.dial).
		SetDefaultPublishHandler(l.receive). // before connecting: queued messages come before any subscription
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { l.fail(fmt.Errorf("connection lost: %w", err)) })
	if c.opts.Will.Topic != "" {
		o.SetBinaryWill(c.opts.Will.Topic, c.opts.Will.Payload, 1, true)
	}
	return o
}
