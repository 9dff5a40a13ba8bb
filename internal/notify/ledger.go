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

// ErrRefused is in the error when the receiver understood and said no.
var ErrRefused = errors.New("refused")
