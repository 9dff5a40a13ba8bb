package store

import (
	"context"
	"database/sql"
	"slices"
	"sync"
	"time"

	"stallkeeper/internal/cook"
)

// Outcome says what became of an item.
type Outcome int

// The outcomes.
const (
	Stored      Outcome = iota
	Duplicate           // the same reading was there
	Conflict            // another value was there for that probe and time; this one went to quarantine
	Quarantined         // a payload that was bad from the start, or a reading that cannot be stored
)

// Item is a reading, or a payload that could not become one.
type Item struct {
	Reading cook.Reading
	Bad     *cook.Quarantined // if set, this is kept and Reading is ignored
	// Done is called once, from Run, in the order in which items were put. Without an error the item is on disk. It must
	// not block. It may be nil.
	Done func(Outcome, error)
}

// queueSize is how many items may wait for the committer, which empties it all the time but for the commit itself; maxBatch how many
// it commits at once.
const (
	queueSize = 2048
	maxBatch  = 1024
)

// intake lets Put and the end of Run agree on which items are still taken.
type intake struct {
	mu       sync.Mutex // guards stopped, and puts against growing after it
	stopped  bool
	stopping chan struct{} // closed with stopped
	puts     sync.WaitGroup
}

func (in *intake) enter() bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	if !in.stopped {
		in.puts.Add(1)
	}
	return !in.stopped
}

// stop lets no more items in and waits until all that are being put are in or refused.
func (in *intake) stop() {
	in.mu.Lock()
	if !in.stopped {
		in.stopped = true
		close(in.stopping)
	}
	in.mu.Unlock()
	in.puts.Wait()
}

// Put hands an item to the committer. It waits while the queue is full. When it returns an error Done is not called.
func (db *DB) Put(ctx context.Context, item Item) error {
	if !db.intake.enter() {
		return ErrStopped
	}
	defer db.intake.puts.Done()
	select {
	case db.queue <- item:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-db.intake.stopping:
		return ErrStopped
	}
}

// probation is how often a store in trouble is tried with a small write while nothing comes in.
const probation = 5 * time.Second

// Run commits what is put until ctx ends, and then what is still waiting. It is to be called once. Failing commits
// do not end it.
func (db *DB) Run(ctx context.Context) error {
	retry := time.NewTicker(probation)
	defer retry.Stop()
	for {
		select {
		case item := <-db.queue:
			db.batch = db.gather(ctx, item)
			db.commit(db.batch)
			clear(db.batch) // what was answered is not held
		case <-retry.C:
			db.retry(ctx)
		case <-ctx.Done():
			db.drain()
			return nil
		}
	}
}

// gather takes what comes within the linger time of the first item.
func (db *DB) gather(ctx context.Context, first Item) []Item {
	batch := append(db.batch[:0], first)
	linger := time.NewTimer(db.opts.Linger)
	defer linger.Stop()
	for len(batch) < maxBatch {
		select {
		case item := <-db.queue:
			batch = append(batch, item)
			continue
		case <-linger.C:
		case <-ctx.Done():
		}
		return db.takeWaiting(batch)
	}
	return batch
}

// takeWaiting adds what is in the queue now.
func (db *DB) takeWaiting(batch []Item) []Item {
	for len(batch) < maxBatch {
		select {
		case item := <-db.queue:
			batch = append(batch, item)
		default:
			return batch
		}
	}
	return batch
}

func (db *DB) drain() {
	db.intake.stop()
	for batch := db.takeWaiting(nil); len(batch) > 0; batch = db.takeWaiting(nil) {
		db.commit(batch)
	}
}

func (db *DB) refuseWaiting() {
	db.intake.stop()
	for batch := db.takeWaiting(nil); len(batch) > 0; batch = db.takeWaiting(nil) {
		answer(batch, nil, ErrStopped)
	}
}

// retry finds out whether a store in trouble has recovered.
func (db *DB) retry(ctx context.Context) {
	if db.reserve.given() {
		switch kept, err := db.reserve.take(); {
		case err != nil:
			db.opts.Log.Debug("room is not kept back again", "error", err)
		case kept:
			db.opts.Log.Info("the disk has room again", "path", db.path)
		}
	}
	if db.trouble.text() == "" {
		return
	}
	if err := db.KeepValue(ctx, "store.tried", []byte(db.opts.Now().UTC().Format(time.RFC3339))); err != nil {
		db.opts.Log.Debug("the database still cannot be written", "error", err)
	}
}

// commit writes a batch in one transaction and answers its items.
func (db *DB) commit(batch []Item) {
	if db.opts.Timed != nil {
		defer db.opts.Timed()()
	}
	outcomes := make([]Outcome, len(batch))
	// What was put is to be committed even while the daemon stops: no context ends this transaction.
	err := db.write(context.Background(), "store readings", func(tx *sql.Tx) error {
		in := &insertion{tx: tx, names: &db.names}
		for i, item := range batch {
			var err error
			if outcomes[i], err = in.item(item); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		db.names.undo()
		answer(batch, nil, err)
		return
	}
	db.names.keep()
	answer(batch, outcomes, nil)
	if hasStored(outcomes) {
		select {
		case db.committed <- struct{}{}:
		default:
		}
	}
}

func hasStored(outcomes []Outcome) bool {
	return slices.Contains(outcomes, Stored)
}

func answer(batch []Item, outcomes []Outcome, err error) {
	for i, item := range batch {
		if item.Done == nil {
			continue
		}
		if err != nil {
			item.Done(Stored, err)
			continue
		}
		item.Done(outcomes[i], nil)
	}
}

// names numbers the probes, those that were heard lately from memory. New ones count once their transaction is committed.
type names struct {
	known map[cook.ProbeID]int64
	fresh map[cook.ProbeID]int64 // looked up or given within the running transaction
}

// maxNames bounds the memory for numbers against a client that makes up names; the others are looked up.
const maxNames = 4096

func (n *names) keep() {
	for name, id := range n.fresh {
		if len(n.known) >= maxNames {
			for any := range n.known {
				delete(n.known, any)
				break
			}
		}
		n.known[name] = id
	}
	n.fresh = nil
}

func (n *names) undo() { n.fresh = nil }
