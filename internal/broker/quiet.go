package broker

import (
	"context"
	"log/slog"
	"sync"
	"time"
)

// quiet makes the library's log bearable: warnings and errors only, without packet dumps (they hold payloads), and not
// more than a few a minute, so that a hostile client cannot fill the disk.
type quiet struct {
	slog.Handler
	budget *budget
}

// budget is shared by all handlers derived from one.
type budget struct {
	now func() time.Time

	mu      sync.Mutex // guards the fields below
	since   time.Time
	spent   int
	omitted int
}

const linesPerMinute = 10

func newQuiet(h slog.Handler, now func() time.Time) quiet {
	return quiet{h, &budget{now: now}}
}

// Enabled drops the library's chatter.
func (q quiet) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && q.Handler.Enabled(ctx, level)
}

// Handle writes a line without packets, if there is budget.
func (q quiet) Handle(ctx context.Context, r slog.Record) error {
	omitted, ok := q.budget.spend()
	if !ok {
		return nil
	}
	short := slog.NewRecord(r.Time, r.Level, "mqtt broker: "+r.Message, r.PC)
	r.Attrs(func(a slog.Attr) bool {
		if a.Key != "pk" && a.Key != "packet" {
			short.AddAttrs(a)
		}
		return true
	})
	if omitted > 0 {
		short.AddAttrs(slog.Int("lines_omitted", omitted))
	}
	return q.Handler.Handle(ctx, short)
}

// WithAttrs keeps the budget.
func (q quiet) WithAttrs(attrs []slog.Attr) slog.Handler {
	return quiet{q.Handler.WithAttrs(attrs), q.budget}
}

// WithGroup keeps the budget.
func (q quiet) WithGroup(name string) slog.Handler {
	return quiet{q.Handler.WithGroup(name), q.budget}
}

// spend reports whether a line may be written, and how many were not since the last one.
func (b *budget) spend() (omitted int, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.now()
	if age := now.Sub(b.since); age < 0 || age > time.Minute {
		b.since, b.spent = now, 0
	}
	if b.spent >= linesPerMinute {
		b.omitted++
		return 0, false
	}
	b.spent++
	omitted, b.omitted = b.omitted, 0
	return omitted, true
}
