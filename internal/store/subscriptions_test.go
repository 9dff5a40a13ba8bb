package store

import (
	"errors"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/cook"
)

func TestSubscriptions_AreKeptReplacedAndDropped(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	sub := Subscription{Endpoint: "https://push.example.net/a", Path: "phone", Public: []byte{4, 1}, Auth: []byte{2}, Made: epoch, By: "cook", Browser: "one"}
	for _, browser := range []string{"one", "two"} {
		sub.Browser = browser
		if err := s.Subscribe(t.Context(), sub); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	s = mustOpen(t, path)
	got, err := s.Subscriptions(t.Context(), "phone")
	if diff := cmp.Diff([]Subscription{sub}, got); diff != "" || err != nil {
		t.Error(diff, err)
	}
	if got, err := s.Subscriptions(t.Context(), "mail"); err != nil || len(got) != 0 {
		t.Errorf("of another path: %v, %v", got, err)
	}
	for range 2 {
		if err := s.Unsubscribe(t.Context(), sub.Endpoint); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := s.Subscriptions(t.Context(), "phone"); err != nil || len(got) != 0 {
		t.Errorf("after it was dropped: %v, %v", got, err)
	}
}

func TestSubscriptions_HaveAnEnd(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	var err error
	for i := 0; err == nil && i <= mostSubscriptions; i++ {
		err = s.Subscribe(t.Context(), Subscription{Endpoint: fmt.Sprint("https://push.example.net/", i), Path: "phone", Public: []byte{4}, Auth: []byte{2}, Made: epoch})
	}
	if !errors.Is(err, cook.ErrConflict) {
		t.Errorf("one too many: %v, want %v", err, cook.ErrConflict)
	}
}
