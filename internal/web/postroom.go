package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"stallkeeper/internal/cook"
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

// browserPath is the kind of path that leads to browsers.
const browserPath = "webpush"

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

// testPath sends a test and gives what became of it, in words.
func testPath(ctx context.Context, post PostRoom, path, by string) (delivered bool, said string, err error) {
	if post == nil {
		return false, "", fmt.Errorf("path %q: %w", path, cook.ErrNotFound)
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

// mayHear reports whether a person may have a browser subscribed to a path: their own one. Whoever could subscribe to
// another's would read what that person is told. Without users whoever reaches the page is everybody.
func mayHear(name string, path Path, login bool) bool {
	return path.Kind == browserPath && (!login || path.Person == name)
}

// pathOf finds a path by its name.
func pathOf(ctx context.Context, post PostRoom, name string) (Path, error) {
	if post != nil {
		paths, err := post.Paths(ctx)
		if err != nil {
			return Path{}, err
		}
		for _, p := range paths {
			if p.Name == name {
				return p, nil
			}
		}
	}
	return Path{}, fmt.Errorf("path %q: %w", name, cook.ErrNotFound)
}

// getPaths lists the paths of messages and how they do.
func (api *API) getPaths(w http.ResponseWriter, r *http.Request) error {
	answer := struct {
		Paths []Path `json:"paths"`
	}{Paths: []Path{}}
	if api.opts.PostRoom != nil {
		paths, err := api.opts.PostRoom.Paths(r.Context())
		if err != nil {
			return err
		}
		answer.Paths = append(answer.Paths, paths...)
	}
	return api.give(w, r, http.StatusOK, answer)
}

// postPathTest sends a test message by a path.
func (api *API) postPathTest(w http.ResponseWriter, r *http.Request) error {
	delivered, said, err := testPath(r.Context(), api.opts.PostRoom, r.PathValue("path"), by(r, "somebody with the API"))
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, struct {
		Delivered bool   `json:"delivered"`
		Said      string `json:"said"`
	}{delivered, said})
}

// postSubscription keeps the subscription of a browser.
func (api *API) postSubscription(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Endpoint string `json:"endpoint"`
		Keys     struct {
			Public string `json:"p256dh"`
			Auth   string `json:"auth"`
		} `json:"keys"`
	}
	if err := take(r, &body, false); err != nil {
		return err
	}
	path, err := pathOf(r.Context(), api.opts.PostRoom, r.PathValue("path"))
	if err != nil {
		return err
	}
	if !mayHear(personOf(r).name, path, api.opts.Login) {
		return refused(http.StatusForbidden, "Not allowed", "a browser may be subscribed to a path of the kind webpush whose person is the one who is logged in")
	}
	browser := r.UserAgent()
	err = api.opts.PostRoom.Subscribe(r.Context(), Subscription{Path: path.Name, Endpoint: body.Endpoint, Public: body.Keys.Public, Auth: body.Keys.Auth,
		By: by(r, onPage), Browser: browser[:min(len(browser), 200)]})
	switch {
	case errors.Is(err, ErrBadSubscription):
		return bad("%v", err)
	case err != nil:
		return saying(err, "too many browsers are subscribed to this path: switch one of them off")
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// deleteSubscription drops the subscription of a browser; knowing its endpoint shows that it is one's own.
func (api *API) deleteSubscription(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Endpoint string `json:"endpoint"`
	}
	if err := take(r, &body, false); err != nil {
		return err
	}
	if _, err := pathOf(r.Context(), api.opts.PostRoom, r.PathValue("path")); err != nil {
		return err
	}
	if err := api.opts.PostRoom.Unsubscribe(r.Context(), body.Endpoint); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
