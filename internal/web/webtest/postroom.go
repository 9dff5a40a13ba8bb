package webtest

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/shop"
)

// Counter is a post room with a working path, one that fails, and one to browsers.
type Counter struct {
	mu     sync.Mutex // guards the fields below
	tested []string
	Subs   []shop.Subscription
}

func (c *Counter) Paths(context.Context) ([]shop.Path, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	at := time.Date(2026, 11, 26, 8, 1, 0, 0, time.UTC)
	return []shop.Path{
		{Name: "mail", Kind: "email", Person: "pitmaster", Delivered: at, Failed: at.Add(-time.Hour), Error: "dial tcp: no route to host"},
		{Name: "siren", Kind: "command", Failed: at, Error: `run /usr/local/bin/siren: exit status 1: "no relay"`, FailingSince: at.Add(-20 * time.Minute), Pending: 2, Oldest: at.Add(-20 * time.Minute)},
		{Name: "browser", Kind: shop.BrowserPath, Person: "pitmaster", Browsers: len(c.Subs)},
	}, nil
}

func (c *Counter) Test(_ context.Context, path, by string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.tested = append(c.tested, path+" "+by)
	switch path {
	case "mail":
		return nil
	case "siren":
		return fmt.Errorf("%w: exit status 1", shop.ErrNotDelivered)
	case "browser":
		return shop.ErrTestWaits
	}
	return fmt.Errorf("path %q: %w", path, cook.ErrNotFound)
}

func (c *Counter) PushKey() string {
	return "BA1Hxzyi1RUM1b5wjxsn7nGxAszw2u61m164i3MrAIxHF6YK5h4SDYic-dRuU_RCPCfA5aq9ojSwk5Y2EmClBPs"
}

func (c *Counter) Subscribe(_ context.Context, s shop.Subscription) error {
	if s.Endpoint == "https://127.0.0.1/" {
		return fmt.Errorf("%w: the endpoint's host is an address, not a name", shop.ErrBadSubscription)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.Subs = append(c.Subs, s)
	return nil
}

func (c *Counter) Unsubscribe(_ context.Context, endpoint string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.Subs = slices.DeleteFunc(c.Subs, func(s shop.Subscription) bool { return s.Endpoint == endpoint })
	return nil
}
