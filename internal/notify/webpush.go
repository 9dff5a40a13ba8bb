package notify

import (
	"bytes"
	"context"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"stallkeeper/internal/alarm"
)

// Subscription is a browser that wants to be told (W3C Push API). Its endpoint is a secret: whoever knows it can send.
type Subscription struct {
	Endpoint string
	Public   []byte // the browser's key, uncompressed P-256
	Auth     []byte // 16 bytes
}

// Validate refuses what no push service gives out. A subscription comes from a browser and names an address that the daemon
// will call, so only https at the usual port of a named host is taken; that the name leads to a public address is seen to
// when it is called.
func (s Subscription) Validate() error {
	if len(s.Endpoint) > 2048 {
		return errors.New("the endpoint is longer than 2048 bytes")
	}
	u, err := url.Parse(s.Endpoint)
	switch {
	case err != nil || u.Scheme != "https" || u.Hostname() == "" || u.User != nil || u.Fragment != "" || u.Opaque != "":
		return errors.New("the endpoint is not an https address")
	case u.Port() != "" && u.Port() != "443":
		return errors.New("the endpoint is not at port 443")
	case !strings.Contains(strings.TrimSuffix(u.Hostname(), "."), "."):
		return errors.New("the endpoint's host is no name of the internet")
	}
	if _, err := netip.ParseAddr(u.Hostname()); err == nil {
		return errors.New("the endpoint's host is an address, not a name")
	}
	_, err = pushKey(s.Public, s.Auth)
	return err
}

// Subscribers keeps subscriptions.
type Subscribers interface {
	// Subscribed gives those of a path.
	Subscribed(ctx context.Context, path string) ([]Subscription, error)
	// Unsubscribe drops one; one that is not there is no error.
	Unsubscribe(ctx context.Context, endpoint string) error
}

// WebPushOptions must all be given.
type WebPushOptions struct {
	Key         *VAPID
	Contact     string // mailto: or https: address of who runs the daemon, for the push service (RFC 8292, section 2.1)
	Subscribers Subscribers
	Link        string // the address of the pages; empty is the one that the browser subscribed on
	Zone        *time.Location
	Limit       time.Duration
	Now         func() time.Time
}

// WebPush sends to the browsers that are subscribed to a path, through the push service that each names (RFC 8030),
// encrypted for the browser (RFC 8291). It calls no address but those and follows no redirect.
type WebPush struct {
	o      WebPushOptions
	client *http.Client

	mu   sync.Mutex // guards done
	done map[string]map[string]bool
}

// NewWebPush makes a sender.
func NewWebPush(o WebPushOptions) *WebPush {
	dialer := net.Dialer{Timeout: o.Limit, Control: publicOnly}
	return newWebPush(o, &http.Transport{DisableKeepAlives: true, DialContext: dialer.DialContext, TLSHandshakeTimeout: o.Limit, MaxResponseHeaderBytes: maxHeader})
}

func newWebPush(o WebPushOptions, through http.RoundTripper) *WebPush {
	client := newClient(o.Limit)
	client.Transport = through
	return &WebPush{o: o, client: client, done: map[string]map[string]bool{}}
}

// publicOnly refuses to connect to anything but the internet, whatever a name was resolved to: a subscription must not
// make the daemon call its own machine or its neighbours.
func publicOnly(_, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil {
		return err
	}
	if ip := at.Addr().Unmap(); !ip.IsGlobalUnicast() || ip.IsPrivate() || reserved(ip) {
		return fmt.Errorf("the push service's name leads to %s, which is no address of the internet: it is not called", ip)
	}
	return nil
}

// reserved reports whether an address is set aside by the IANA special-purpose registries (RFC 6890) and is not caught by
// netip: shared carrier space, benchmarks, documentation, translation and tunnels into other spaces.
func reserved(ip netip.Addr) bool {
	return slices.ContainsFunc([]string{"0.0.0.0/8", "100.64.0.0/10", "192.0.0.0/24", "192.0.2.0/24", "192.88.99.0/24", "198.18.0.0/15", "198.51.100.0/24",
		"203.0.113.0/24", "240.0.0.0/4", "64:ff9b::/96", "64:ff9b:1::/48", "100::/64", "2001::/23", "2001:db8::/32", "2002::/16", "fec0::/10"},
		func(p string) bool { return netip.MustParsePrefix(p).Contains(ip) })
}

// pushText is what the service worker is sent.
type pushText struct {
	ID     string `json:"id"`
	Tag    string `json:"tag"` // a later notification with the same tag takes the place of the earlier
	Title  string `json:"title"`
	Body   string `json:"body"`
	URL    string `json:"url,omitempty"`
	Urgent bool   `json:"urgent"`
}

// Send encrypts and hands the message to the push service of each subscribed browser. A browser whose service says that
// it is gone is dropped. At a repeat those that have it already are left out.
func (p *WebPush) Send(ctx context.Context, m Message) error {
	all, err := p.o.Subscribers.Subscribed(ctx, m.Path)
	if err != nil {
		return err
	}
	text, err := p.text(m)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrRefused, err)
	}
	var errs []error
	left := 0
	for _, s := range all {
		if p.has(m.ID, s.Endpoint) {
			left++
			continue
		}
		switch err := p.push(ctx, m, s, text); {
		case errors.Is(err, errGone):
			errs = append(errs, p.o.Subscribers.Unsubscribe(ctx, s.Endpoint))
		case err != nil:
			errs, left = append(errs, err), left+1
		default:
			left++
			p.note(m.ID, s.Endpoint)
		}
	}
	if left == 0 {
		errs = append(errs, errors.New("no browser is subscribed: open the settings on the phone and switch notifications on"))
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	p.forget(m.ID)
	return nil
}

func (p *WebPush) has(id, endpoint string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.done[id][endpoint]
}

func (p *WebPush) note(id, endpoint string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.done[id] == nil {
		p.done[id] = map[string]bool{}
	}
	p.done[id][endpoint] = true
}

func (p *WebPush) forget(id string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.done, id)
}

// longestBody is how much of a message goes into a notification, in bytes; the page has the rest.
const longestBody = 1200

func (p *WebPush) text(m Message) ([]byte, error) {
	body := m.Text(p.o.Zone, "")
	if len(body) > longestBody {
		body = strings.ToValidUTF8(body[:longestBody], "") + " …"
	}
	title := m.Subject()
	if len(title) > longestBody {
		title = strings.ToValidUTF8(title[:longestBody], "") + " …"
	}
	return json.Marshal(pushText{ID: m.ID, Tag: topic(m), Title: title, Body: body, URL: p.o.Link, Urgent: urgent(m)})
}

// topic names what the message is about, so that of what waits at the push service only the newest word is kept (RFC 8030,
// section 5.4: at most 32 characters of base64url).
func topic(m Message) string {
	if len(m.Items) != 1 {
		return m.ID
	}
	a := m.Items[0].Alarm
	return identify("topic", a.ID, a.Raised.UnixMicro())
}

func urgent(m Message) bool {
	return slices.ContainsFunc(m.Items, func(it Item) bool {
		return it.Firing && m.For != Acknowledged && (it.Alarm.Priority == alarm.High || it.Alarm.Priority == alarm.Medium)
	})
}

// keepFor is how long the push service keeps a message for a phone that is off. What is older says nothing of the fire.
const keepFor = 4 * time.Hour

var errGone = errors.New("the browser is no longer subscribed")

func (p *WebPush) push(ctx context.Context, m Message, s Subscription, text []byte) error {
	if err := s.Validate(); err != nil {
		return errGone // kept by an older rule, or changed in the file: nothing can be sent there
	}
	u, err := url.Parse(s.Endpoint)
	if err != nil {
		return err
	}
	auth, err := p.o.Key.authorization(u, p.o.Contact, p.o.Now())
	if err != nil {
		return err
	}
	own, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		return err
	}
	salt := make([]byte, saltSize)
	rand.Read(salt) // never fails
	body, err := encryptPush(s.Public, s.Auth, text, salt, own)
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.Endpoint, bytes.NewReader(body))
	if err != nil {
		return err
	}
	urgency := "normal"
	if urgent(m) {
		urgency = "high"
	}
	maps.Copy(req.Header, http.Header{"Authorization": {auth}, "Content-Type": {"application/octet-stream"}, "Content-Encoding": {"aes128gcm"},
		"Ttl": {fmt.Sprint(int(keepFor / time.Second))}, "Urgency": {urgency}, "Topic": {topic(m)}, "User-Agent": {"stallkeeper"}})
	resp, err := p.client.Do(req)
	return pushed(u.Host, resp, err)
}

// pushed turns the service's answer into an error. What it said is not passed on, nor the path of the endpoint, a secret.
func pushed(host string, resp *http.Response, err error) error {
	if err != nil {
		var in *url.Error
		if errors.As(err, &in) {
			err = in.Err
		}
		return fmt.Errorf("call push service %s: %w", host, err)
	}
	code, closeErr := resp.StatusCode, resp.Body.Close()
	switch {
	case code/100 == 2:
		return nil // taken
	case code == http.StatusNotFound || code == http.StatusGone: // RFC 8030, section 7.3
		return errors.Join(errGone, closeErr)
	case code == http.StatusTooManyRequests || code/100 == 5:
		return errors.Join(fmt.Errorf("push service %s answered %s", host, resp.Status), closeErr)
	}
	return errors.Join(fmt.Errorf("push service %s answered %s: %w", host, resp.Status, ErrRefused), closeErr)
}
