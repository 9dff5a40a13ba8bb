// Package shop is the daemon as those meet it who ask something of it, by the API or on a page: the ports to what is kept, what is live and
// who does what they ask, and the acts that join several of them, such as a plan as it stands now, portions taken out of stock, or the next
// stage of a lot. Errors that wrap cook.ErrNotFound, cook.ErrConflict or are a problem.Error are for who asks. It serves nothing and keeps
// nothing; Shop.Now is its only clock.
package shop

import (
	"context"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/record"
)

// Desk does what a person asks for: it keeps it in the store first, then tells the monitor. What is done is kept when the error is nil.
type Desk interface {
	StartCook(ctx context.Context, c cook.Cook) (cook.ID, error)
	LogEvent(ctx context.Context, id cook.ID, e cook.Entry) (cook.Entry, error)
	Amend(ctx context.Context, id cook.ID, a cook.Amendment) error
	EndCook(ctx context.Context, id cook.ID, at time.Time) error
	// ImportLog keeps a cook log as an ended cook with its readings. With cook.ErrConflict and an id the cook is kept, but
	// readings that stand in the store with another value are in quarantine.
	ImportLog(ctx context.Context, log *cook.Log) (cook.ID, error)
	Acknowledge(ctx context.Context, id alarm.ID, by string) error
	Shelve(ctx context.Context, id alarm.ID, until time.Time, by string) error
	// HandReading keeps a reading typed in by a person; cook.ErrConflict if another value stands at that time.
	HandReading(ctx context.Context, r cook.Reading) error
	// WhatIf forecasts a piece of a running cook as if the events were done. Times may lie in the future; a wrap with
	// Celsius comes when the core reaches that.
	WhatIf(ctx context.Context, id cook.ID, piece cook.PieceID, events []cook.Event) (estimator.Forecast, error)
}

// Library reads what is kept.
type Library interface {
	// Readings are ascending by time (then by probe), from inclusive, to exclusive; zero times are open; probe "" is all.
	// After skips up to and including that position of an earlier page.
	Readings(ctx context.Context, q cook.ReadingQuery) ([]cook.Reading, error)
	// Series thins a probe's good readings to at most points buckets that keep the extremes.
	Series(ctx context.Context, probe cook.ProbeID, from, to time.Time, points int) ([]cook.Bucket, error)
	// Quarantine is newest first.
	Quarantine(ctx context.Context, beforeID int64, limit int) ([]cook.Quarantined, error)
	Cooks(ctx context.Context, beforeID cook.ID, limit int) ([]cook.Stored, error) // newest first
	Cook(ctx context.Context, id cook.ID) (*cook.Stored, error)
	// Forecasts of one piece as they were made, ascending by time.
	Forecasts(ctx context.Context, id cook.ID, piece cook.PieceID, from, to time.Time) ([]cook.KeptForecast, error)
	AlarmHistory(ctx context.Context, before time.Time, limit int) ([]alarm.Alarm, error) // newest first
}

// Records keeps the journal of the lots. Errors about what an entry says wrap record.ErrDraft, cook.ErrNotFound or cook.ErrConflict, and
// are for the sender.
type Records interface {
	Append(ctx context.Context, drafts ...record.Draft) ([]record.Entry, error) // all or none
	Entries(ctx context.Context, q record.Query) ([]record.Entry, error)
	Entry(ctx context.Context, seq int64) (record.Entry, error)
	Lot(ctx context.Context, id cook.LotID) (*record.Lot, error)
	// Lots are newest first, from before the one that the numbered entry opened; next is what to give for the following page.
	Lots(ctx context.Context, before int64, limit int, running bool) (lots []*record.Lot, next int64, err error)
	Keys(ctx context.Context) ([]record.Key, error)                          // oldest first
	Checkpoints(ctx context.Context, limit int) ([]record.Checkpoint, error) // the newest, oldest first
	Checkpoint(ctx context.Context) (record.Checkpoint, error)               // signs one now
	Export(ctx context.Context, lot cook.LotID) (*record.Export, error)      // "" = everything
	ChangeKey(ctx context.Context, who record.Maker) (record.Entry, error)
}

// Documents writes a lot out for those who inspect it.
type Documents interface {
	// Document gives the lot as "pdf", "csv" or "json"; the same records give the same bytes.
	Document(ctx context.Context, lot cook.LotID, format string) ([]byte, error)
}

// View gives the live state.
type View interface {
	Snapshot() monitor.Snapshot
	// Changed gives a channel that receives after every change until stop is called; slow readers miss repeats, not the last.
	Changed() (c <-chan struct{}, stop func())
}

// Shop is the daemon as those who ask things of it meet it: what is kept, what is live, and who does what they ask. Nil ports are allowed
// where nothing asks for them; only PostRoom may be nil while the daemon runs.
type Shop struct {
	Desk      Desk
	Library   Library
	View      View
	PostRoom  PostRoom // nil = no messages are sent
	Papers    Papers
	Checks    Checks
	Checking  Checking
	Records   Records   // the journal of the lots
	Documents Documents // the same records for reading
	KeepYears int       // how long records are kept at least, where the law asks for less

	Planner   plan.Forecaster      // for plans: when meat is ready and how it cools
	Estimator *estimator.Estimator // what no running cook has: a piece before the fire is lit, and how long one keeps warm
	Now       func() time.Time
	Location  *time.Location // for local times on pages and in names
}

// Running finds a running cook in the live state; what it gives points into s.
func Running(s *monitor.Snapshot, id cook.ID) (*monitor.CookView, bool) {
	for i := range s.Cooks {
		if s.Cooks[i].Stored.ID == id {
			return &s.Cooks[i], true
		}
	}
	return nil, false
}
