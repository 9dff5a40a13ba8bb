package daemon

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"stallkeeper/internal/config"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/metrics"
	"stallkeeper/internal/notify"
	"stallkeeper/internal/store"
	"stallkeeper/internal/web/shop"
)

// pushKeyFile holds the key by which push services know the daemon, beside the database. It is in no backup of the
// database: without it every browser has to be subscribed anew.
const pushKeyFile = "webpush-key.pem"

// subscribers lets the push sender use the store.
type subscribers struct{ db *store.DB }

var _ notify.Subscribers = subscribers{}

// Subscribed gives the browsers of a path.
func (s subscribers) Subscribed(ctx context.Context, path string) ([]notify.Subscription, error) {
	kept, err := s.db.Subscriptions(ctx, path)
	if err != nil {
		return nil, err
	}
	out := make([]notify.Subscription, len(kept))
	for i, k := range kept {
		out[i] = notify.Subscription{Endpoint: k.Endpoint, Public: k.Public, Auth: k.Auth}
	}
	return out, nil
}

// Unsubscribe drops one.
func (s subscribers) Unsubscribe(ctx context.Context, endpoint string) error {
	return s.db.Unsubscribe(ctx, endpoint)
}

func (d *Daemon) webPush(p config.Path, zone *time.Location, limit time.Duration) (notify.Sender, error) {
	if d.pushKey == nil {
		var err error
		if d.pushKey, err = notify.LoadVAPID(filepath.Join(d.opts.Config.Data, pushKeyFile)); err != nil {
			return nil, err
		}
	}
	return notify.NewWebPush(notify.WebPushOptions{Key: d.pushKey, Contact: p.Contact, Subscribers: subscribers{d.db}, Link: d.opts.Config.Notify.Link,
		Zone: zone, Limit: limit, Now: d.opts.Now}), nil
}

// postRoom shows the paths of messages to the pages, and does what people ask of them.
type postRoom struct {
	d *Daemon
}

var _ shop.PostRoom = postRoom{}

// Paths gives how every path does.
func (p postRoom) Paths(ctx context.Context) ([]shop.Path, error) {
	if p.d.watch.notify == nil {
		return nil, nil
	}
	states, err := p.d.watch.notify.Paths(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]shop.Path, len(states))
	for i, s := range states {
		out[i] = shop.Path{Name: s.Name, Person: s.Person, Delivered: s.Delivered, Failed: s.Failed, Error: s.Error, FailingSince: s.Since, Pending: s.Pending, Oldest: s.Oldest}
		for _, c := range p.d.opts.Config.Notify.Paths {
			if c.Name == s.Name {
				out[i].Kind = c.Kind
			}
		}
		if out[i].Kind != config.PathWebPush {
			continue
		}
		browsers, err := p.d.db.Subscriptions(ctx, s.Name)
		if err != nil {
			return nil, err
		}
		out[i].Browsers = len(browsers)
	}
	return out, nil
}

// countLimit is how long a scrape waits for the store.
const countLimit = 5 * time.Second

// counts gives what the metrics show of the paths.
func (p postRoom) counts() ([]metrics.Path, error) {
	if p.d.watch.notify == nil {
		return nil, nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), countLimit)
	defer cancel()
	states, err := p.d.watch.notify.Paths(ctx)
	out := make([]metrics.Path, len(states))
	for i, s := range states {
		out[i] = metrics.Path{Name: s.Name, Pending: s.Pending, Oldest: s.Oldest, Delivered: s.Sent, Failures: s.Failures}
	}
	return out, err
}

// Test sends a test message and says how its first try went.
func (p postRoom) Test(ctx context.Context, path, by string) error {
	if p.d.watch.notify == nil {
		return fmt.Errorf("test %q: %w", path, cook.ErrNotFound)
	}
	switch err := p.d.watch.notify.Test(ctx, path, by); {
	case errors.Is(err, notify.ErrNoPath):
		return fmt.Errorf("%w: %w", err, cook.ErrNotFound)
	case errors.Is(err, notify.ErrWaiting):
		return fmt.Errorf("%w: %w", shop.ErrTestWaits, err)
	case err != nil:
		return fmt.Errorf("%w: %w", shop.ErrNotDelivered, err)
	}
	return nil
}

// PushKey is what a browser needs for a subscription; empty when no path leads to browsers.
func (p postRoom) PushKey() string {
	if p.d.pushKey == nil {
		return ""
	}
	return p.d.pushKey.Public()
}

// Subscribe keeps a browser's subscription to a path.
func (p postRoom) Subscribe(ctx context.Context, s shop.Subscription) error {
	public, err := base64.RawURLEncoding.DecodeString(s.Public)
	if err != nil {
		return fmt.Errorf("%w: keys.p256dh is not base64url without padding", shop.ErrBadSubscription)
	}
	auth, err := base64.RawURLEncoding.DecodeString(s.Auth)
	if err != nil {
		return fmt.Errorf("%w: keys.auth is not base64url without padding", shop.ErrBadSubscription)
	}
	if err := (notify.Subscription{Endpoint: s.Endpoint, Public: public, Auth: auth}).Validate(); err != nil {
		return fmt.Errorf("%w: %w", shop.ErrBadSubscription, err)
	}
	return p.d.db.Subscribe(ctx, store.Subscription{Endpoint: s.Endpoint, Path: s.Path, Public: public, Auth: auth, Made: p.d.opts.Now(), By: s.By, Browser: s.Browser})
}

// Unsubscribe drops a subscription.
func (p postRoom) Unsubscribe(ctx context.Context, endpoint string) error {
	return p.d.db.Unsubscribe(ctx, endpoint)
}
