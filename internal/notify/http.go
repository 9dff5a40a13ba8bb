package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"time"
)

// maxHeader is how much of an answer's header is taken, in bytes; of its body little is.
const maxHeader = 64 << 10

// newClient makes a client that keeps no connections, follows no redirects (a POST would become a GET) and takes at most
// the limit for everything.
func newClient(limit time.Duration) *http.Client {
	return &http.Client{
		Timeout:       limit,
		Transport:     &http.Transport{DisableKeepAlives: true, Proxy: http.ProxyFromEnvironment, MaxResponseHeaderBytes: maxHeader},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// post sends JSON and takes any 2xx for an answer.
func post(ctx context.Context, client *http.Client, url string, body []byte, header http.Header) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		return err
	}
	maps.Copy(req.Header, header)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "stallkeeper")
	return finish(client.Do(req))
}

// finish turns an answer into an error. The address is left out, for it may hold a secret.
func finish(resp *http.Response, err error) error {
	if err != nil {
		var in *url.Error
		if errors.As(err, &in) {
			err = in.Err
		}
		return err
	}
	said, readErr := io.ReadAll(io.LimitReader(resp.Body, 200))
	closeErr := resp.Body.Close()
	code := resp.StatusCode
	switch {
	case code/100 == 2:
		return nil // taken; what else it said does not matter
	case code == http.StatusRequestTimeout, code == http.StatusTooEarly, code == http.StatusTooManyRequests, code/100 == 5:
		return errors.Join(fmt.Errorf("the receiver answered %s: %q", resp.Status, said), readErr, closeErr)
	case code/100 == 3:
		return fmt.Errorf("the receiver answered %s to %q, redirects are not followed: write that address into the configuration: %w", resp.Status, resp.Header.Get("Location"), ErrRefused)
	}
	return fmt.Errorf("the receiver answered %s: %q: %w", resp.Status, said, ErrRefused)
}
