package shop

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/web/problem"
)

// PostRoom is how messages leave the daemon.
type PostRoom interface {
	// Paths gives the paths of messages, none when none is configured.
	Paths(ctx context.Context) ([]Path, error)
	// Test sends a test message and waits for its first try: nil when it was delivered, ErrNotDelivered or ErrTestWaits.
	Test(ctx context.Context, path, by string) error
	// PushKey is the public key for subscriptions of browsers, base64url; empty when no path leads to browsers.
	PushKey() string
	// Subscribe keeps a browser's subscription to a path; ErrBadSubscription when it is not one.
	Subscribe(ctx context.Context, s Subscription) error
	// Unsubscribe drops a subscription; one that is not there is no error.
	Unsubscribe(ctx context.Context, endpoint string) error
}

// Path is a path of messages and how it does.
type Path struct {
	Name         string    `json:"name"`
	Kind         string    `json:"kind"`             // email, webhook, alertmanager, command or webpush
	Person       string    `json:"person,omitempty"` // whom it reaches; empty: a machine
	Delivered    time.Time `json:"delivered,omitzero"`
	Failed       time.Time `json:"failed,omitzero"`
	Error        string    `json:"error,omitempty"` // of the last failed try
	FailingSince time.Time `json:"failing_since,omitzero"`
	Pending      int       `json:"pending"` // messages that wait
	Oldest       time.Time `json:"oldest,omitzero"`
	Browsers     int       `json:"browsers,omitempty"` // subscribed, of kind webpush
}

// BrowserPath is the kind of path that leads to browsers.
const BrowserPath = "webpush"

// Subscription is a browser's, as the Push API gives it.
type Subscription struct {
	Path     string
	Endpoint string
	Public   string // base64url
	Auth     string
	By       string // who is logged in
	Browser  string
}

// What a PostRoom may answer.
var (
	ErrNotDelivered    = errors.New("the test was not delivered")
	ErrTestWaits       = errors.New("the test is kept and not yet tried")
	ErrBadSubscription = errors.New("this is no subscription to a push service")
)

// testWait is how long the answer waits for a test to be tried.
const testWait = 10 * time.Second

// TestPath sends a test and gives what became of it, in words. It waits ten seconds at most; a test that is not delivered is no error.
func TestPath(ctx context.Context, post PostRoom, path, by string) (delivered bool, said string, err error) {
	if _, err := PathOf(ctx, post, path); err != nil {
		return false, "", err
	}
	ctx, cancel := context.WithTimeout(ctx, testWait)
	defer cancel()
	switch err := post.Test(ctx, path, by); {
	case err == nil:
		return true, "The test by " + path + " was delivered.", nil
	case errors.Is(err, ErrNotDelivered):
		return false, fmt.Sprintf("The test by %s did not get through: %s. It is tried again.", path, strings.TrimPrefix(err.Error(), ErrNotDelivered.Error()+": ")), nil
	case errors.Is(err, ErrTestWaits):
		return false, "The test by " + path + " waits behind other messages and goes out when they do.", nil
	default:
		return false, "", err
	}
}

// MayHear reports whether a person may have a browser subscribed to a path: their own one. Whoever could subscribe to
// another's would read what that person is told. Without users whoever reaches the page is everybody.
func MayHear(name string, path Path, login bool) bool {
	return path.Kind == BrowserPath && (!login || path.Person == name)
}

// PathOf finds a path by its name; a problem of status 404 that names those there are where there is none, or no post room.
func PathOf(ctx context.Context, post PostRoom, name string) (Path, error) {
	var names []string
	if post != nil {
		paths, err := post.Paths(ctx)
		if err != nil {
			return Path{}, err
		}
		for _, p := range paths {
			if p.Name == name {
				return p, nil
			}
			names = append(names, strconv.Quote(p.Name))
		}
	}
	there := "there are " + strings.Join(names, ", ")
	if len(names) == 0 {
		there = "there is none, name one under [[notify.path]] in the configuration"
	}
	return Path{}, problem.New(http.StatusNotFound, "Not found", "no path of messages is called "+problem.Clip(name)+": "+there)
}
