package web

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"stallkeeper/internal/cook"
)

// counter is a post room with a working path, one that fails, and one to browsers.
type counter struct {
	mu     sync.Mutex // guards the fields below
	tested []string
	subs   []Subscription
}

func (c *counter) Paths(context.Context) ([]Path, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	at := time.Date(2026, 11, 26, 8, 1, 0, 0, time.UTC)
	return []Path{
		{Name: "mail", Kind: "email", Person: "pitmaster", Delivered: at, Failed: at.Add(-time.Hour), Error: "dial tcp: no route to host"},
		{Name: "siren", Kind: "command", Failed: at, Error: `run /usr/local/bin/siren: exit status 1: "no relay"`, FailingSince: at.Add(-20 * time.Minute), Pending: 2, Oldest: at.Add(-20 * time.Minute)},
		{Name: "browser", Kind: browserPath, Person: "pitmaster", Browsers: len(c.subs)},
	}, nil
}

func (c *counter) Test(_ context.Context, path, by string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.tested = append(c.tested, path+" "+by)
	switch path {
	case "mail":
		return nil
	case "siren":
		return fmt.Errorf("%w: exit status 1", ErrNotDelivered)
	case "browser":
		return ErrTestWaits
	}
	return fmt.Errorf("path %q: %w", path, cook.ErrNotFound)
}

func (c *counter) PushKey() string {
	return "BA1Hxzyi1RUM1b5wjxsn7nGxAszw2u61m164i3MrAIxHF6YK5h4SDYic-dRuU_RCPCfA5aq9ojSwk5Y2EmClBPs"
}

func (c *counter) Subscribe(_ context.Context, s Subscription) error {
	if s.Endpoint == "https://127.0.0.1/" {
		return fmt.Errorf("%w: the endpoint's host is an address, not a name", ErrBadSubscription)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.subs = append(c.subs, s)
	return nil
}

func (c *counter) Unsubscribe(_ context.Context, endpoint string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.subs = slices.DeleteFunc(c.subs, func(s Subscription) bool { return s.Endpoint == endpoint })
	return nil
}
