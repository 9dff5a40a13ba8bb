package notify

import (
	"context"
	"errors"
	"time"
)

// Ledger keeps what must survive a restart. What it has kept without an error is on disk.
type Ledger interface {
	// State gives the core's state as last kept, empty at the beginning.
	State(ctx context.Context) ([]byte, error)
	// Facts gives the changes that have not been dealt with, oldest first, and the number of the last of them.
	Facts(ctx context.Context) (facts []Fact, through int64, err error)
	// Keep keeps a new state and new messages and drops the facts up to a number, all or nothing. A message whose ID is
	// there, waiting or done, is not added again.
	Keep(ctx context.Context, state []byte, through int64, messages []Message) error
	// Waiting gives what is not delivered, oldest first.
	Waiting(ctx context.Context) ([]Waiting, error)
	// Tried notes the outcome of a try.
	Tried(ctx context.Context, id string, t Try) error
	// Health gives what is known of the paths from their tries, over restarts.
	Health(ctx context.Context) (map[string]Health, error)
}

// Health is how a path did the last times.
type Health struct {
	Delivered time.Time // the last delivery; zero when there was none
	Failed    time.Time // the last failed try; zero when there was none
	Error     string    // of that try
}

// Waiting is a message that is not delivered.
type Waiting struct {
	Message Message
	Tries   int
	Failing time.Time // its first failed try; zero before that
}

// Try is the outcome of one try to deliver.
type Try struct {
	At    time.Time
	Error string // empty: delivered
	Final bool   // no further try: delivered, or given up
}

// Sender delivers by one path. An error that wraps ErrRefused is about this message; every other one about the path. No
// error means that the receiver has taken it. Send returns within the time of its context, or its own limit.
type Sender interface {
	Send(ctx context.Context, m Message) error
}

// Refresher is a sender whose receiver must be told again and again of what stands.
type Refresher interface {
	Sender
	// Refresh says once more what stands; there is at least one item. Errors are as those of Send.
	Refresh(ctx context.Context, path string, standing []Item, now time.Time) error
	// Every is how often.
	Every() time.Duration
}

// ErrRefused is in the error when the receiver understood and said no.
var ErrRefused = errors.New("refused")
