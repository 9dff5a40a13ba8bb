package daemon

import (
	"context"
	"errors"
	"strings"
	"testing"
)

// The stages stop in reverse, each after the one behind it has returned.
func TestRunStages_StopsInReverse(t *testing.T) {
	var order []string
	ctx, cancel := context.WithCancel(context.Background())
	running := make(chan struct{}, 3)
	one := func(name string) stage {
		return stage{name, func(ctx context.Context) error {
			running <- struct{}{}
			<-ctx.Done()
			order = append(order, name) // no race: the next is cancelled only after this one has returned
			return nil
		}}
	}
	go func() {
		for range 3 {
			<-running
		}
		cancel()
	}()
	if err := runStages(ctx, []stage{one("store"), one("watch"), one("intake")}); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(order, " "); got != "intake watch store" {
		t.Errorf("stopped in the order %q", got)
	}
}

func TestRunStages_AFailureStopsTheRest(t *testing.T) {
	broken := errors.New("the disk is gone")
	err := runStages(t.Context(), []stage{
		{"store", func(ctx context.Context) error { <-ctx.Done(); return nil }},
		{"pages", func(context.Context) error { return broken }},
	})
	if !errors.Is(err, broken) || !strings.HasPrefix(err.Error(), "pages: ") {
		t.Errorf("error %v", err)
	}
}
