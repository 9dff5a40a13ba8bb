package daemon

import (
	"context"
	"errors"
	"fmt"
)

// stage is a part of the daemon that blocks while it works and returns when its context ends.
type stage struct {
	name string
	run  func(context.Context) error
}

// runStages starts the stages in order. When ctx ends, or one of them does, it stops them in reverse order, each only
// after the one behind it has returned: what takes things in goes first, what keeps them goes last.
func runStages(ctx context.Context, stages []stage) error {
	type ended struct {
		index int
		err   error
	}
	ends := make(chan ended, len(stages))
	cancels := make([]context.CancelFunc, len(stages))
	for i, s := range stages {
		own, cancel := context.WithCancel(context.WithoutCancel(ctx))
		cancels[i] = cancel
		go func() {
			err := s.run(own)
			if err == nil && own.Err() == nil {
				err = errors.New("ended by itself")
			}
			if err != nil && !errors.Is(err, context.Canceled) {
				err = fmt.Errorf("%s: %w", s.name, err)
			} else {
				err = nil
			}
			ends <- ended{i, err}
		}()
	}
	var errs []error
	done := make([]bool, len(stages))
	note := func(e ended) { done[e.index] = true; errs = append(errs, e.err) }
	select {
	case <-ctx.Done():
	case e := <-ends:
		note(e)
	}
	for i := len(stages) - 1; i >= 0; i-- {
		cancels[i]()
		for !done[i] {
			note(<-ends)
		}
	}
	return errors.Join(errs...)
}
