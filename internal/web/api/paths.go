package api

import (
	"errors"
	"net/http"

	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// getPaths lists the paths of messages and how they do.
func (api *API) getPaths(w http.ResponseWriter, r *http.Request) error {
	answer := struct {
		Paths []shop.Path `json:"paths"`
	}{Paths: []shop.Path{}}
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
	delivered, said, err := shop.TestPath(r.Context(), api.opts.PostRoom, r.PathValue("path"), visitor.By(r, "somebody with the API"))
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
	path, err := shop.PathOf(r.Context(), api.opts.PostRoom, r.PathValue("path"))
	if err != nil {
		return err
	}
	if !shop.MayHear(visitor.Of(r).Name, path, api.opts.Login) {
		return problem.New(http.StatusForbidden, "Not allowed", "a browser may be subscribed to a path of the kind webpush whose person is the one who is logged in")
	}
	browser := r.UserAgent()
	err = api.opts.PostRoom.Subscribe(r.Context(), shop.Subscription{Path: path.Name, Endpoint: body.Endpoint, Public: body.Keys.Public, Auth: body.Keys.Auth,
		By: visitor.By(r, visitor.OnPage), Browser: browser[:min(len(browser), 200)]})
	switch {
	case errors.Is(err, shop.ErrBadSubscription):
		return problem.Bad("%v", err)
	case err != nil:
		return problem.Saying(err, "too many browsers are subscribed to this path: switch one of them off")
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
	if _, err := shop.PathOf(r.Context(), api.opts.PostRoom, r.PathValue("path")); err != nil {
		return err
	}
	if err := api.opts.PostRoom.Unsubscribe(r.Context(), body.Endpoint); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
