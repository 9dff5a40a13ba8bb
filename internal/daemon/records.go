package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/notify"
	"stallkeeper/internal/record"
	"stallkeeper/internal/signer"
	"stallkeeper/internal/store"
)

// checkpointTopic carries the newest checkpoint, retained.
const checkpointTopic = "stallkeeper/checkpoint"

// signEvery is how long new entries wait at most for a checkpoint; lookEvery how often it is looked, by real time.
const (
	signEvery = time.Hour
	lookEvery = 10 * time.Second
)

// books keeps the records: it seals the readings of hours that are over, signs checkpoints and lets them leave the machine.
type books struct {
	*store.DB
	log     *slog.Logger
	now     func() time.Time
	publish func(topic string, payload []byte)
	mail    map[string]notify.Sender // by path
	mailAt  time.Duration            // after midnight
	zone    *time.Location

	mailNext time.Time // no try before; of Run alone, like mailErr
	mailErr  error     // why the last try failed

	mu   sync.Mutex        // guards what follows
	told record.Checkpoint // published last; the way out says it again to a broker that may have forgotten it
	keys *signer.Keys      // nil while there is no usable key
	lack error             // why there is none
}

// openBooks reads the key and enters a new one in the journal. Without a usable key the journal goes on unsigned, loudly: to watch
// the fire matters more.
func openBooks(ctx context.Context, db *store.DB, dir string, log *slog.Logger, now func() time.Time) (*books, error) {
	b := &books{DB: db, log: log, now: now, zone: time.UTC}
	keys, created, err := signer.Open(dir)
	if err != nil {
		b.lack = err
		log.Error("the records are not being signed", "error", err)
		return b, nil
	}
	b.keys = keys
	return b, b.enterKey(ctx, created)
}

// enterKey brings the journal's newest key and that of the folder together: after a first start, a change that was interrupted, or the
// loss of the folder's key.
func (b *books) enterKey(ctx context.Context, created bool) error {
	named, err := b.Keys(ctx)
	if err != nil {
		return err
	}
	if n := len(named); n > 0 {
		newest := named[n-1].Public
		if newest.Equal(b.keys.Public()) {
			return nil
		}
		if b.keys.Next != nil && newest.Equal(signer.PublicOf(b.keys.Next)) {
			return b.keys.Change()
		}
		b.log.Error("the key of the records is another than the journal names: it was lost or exchanged, and who trusts the old key will be told so",
			"journal", newest.ID(), "folder", b.keys.Public().ID(), "created", created)
	}
	if _, err := b.Append(ctx, record.Draft{Maker: record.Maker{By: record.DaemonName, Auth: record.AuthDaemon}, Body: record.NewKey(b.keys.Current, nil)}); err != nil {
		return err
	}
	_, err = b.DB.Checkpoint(ctx, b.keys.Current, b.now())
	return err
}

// Checkpoint signs how far the records reach, and publishes that if it is news.
func (b *books) Checkpoint(ctx context.Context) (record.Checkpoint, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.checkpoint(ctx)
}

func (b *books) checkpoint(ctx context.Context) (record.Checkpoint, error) {
	if b.keys == nil {
		return record.Checkpoint{}, fmt.Errorf("make checkpoint: %w: %w", cook.ErrConflict, b.lack)
	}
	c, err := b.DB.Checkpoint(ctx, b.keys.Current, b.now())
	if err != nil {
		return c, err
	}
	if bytes.Equal(c.Signature, b.told.Signature) {
		return c, nil
	}
	line, err := json.Marshal(c)
	if err != nil {
		return c, err
	}
	b.publish(checkpointTopic, line)
	b.told = c
	return c, nil
}

// Export gives the records of a lot, or all with "", under a checkpoint that covers them.
func (b *books) Export(ctx context.Context, lot cook.LotID) (*record.Export, error) {
	if lot != "" {
		if x, err := b.ExportRecords(ctx, lot); !errors.Is(err, cook.ErrConflict) {
			return x, err
		}
	}
	if _, err := b.Checkpoint(ctx); err != nil {
		return nil, err
	}
	return b.ExportRecords(ctx, lot)
}

// ChangeKey brings in a new key, signed by the old one, which is gone then.
func (b *books) ChangeKey(ctx context.Context, who record.Maker) (record.Entry, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, err := b.checkpoint(ctx); err != nil { // the last by the old key
		return record.Entry{}, err
	}
	if err := b.keys.Prepare(); err != nil {
		return record.Entry{}, err
	}
	entries, err := b.Append(ctx, record.Draft{Maker: who, Body: record.NewKey(b.keys.Next, b.keys.Current)})
	if err != nil {
		return record.Entry{}, err
	}
	if err := b.keys.Change(); err != nil {
		return record.Entry{}, err
	}
	_, err = b.checkpoint(ctx)
	return entries[0], err
}

// Run seals, signs and sends until ctx ends, and signs a last time.
func (b *books) Run(ctx context.Context) error {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	if b.lack == nil { // a broker that was started anew has forgotten the retained one
		if _, err := b.Checkpoint(ctx); err != nil && ctx.Err() == nil {
			b.log.Error("no checkpoint of the records at the start", "error", err)
		}
	}
	failed := false
	for {
		err := b.turn(ctx)
		if ctx.Err() == nil && (err != nil) != failed {
			failed = err != nil
			if failed {
				b.log.Error("records not sealed, signed or sent", "error", err)
			} else {
				b.log.Info("records are sealed, signed and sent again")
			}
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			if b.lack != nil {
				return nil
			}
			_, err := b.DB.Checkpoint(context.WithoutCancel(ctx), b.keys.Current, b.now()) // nobody listens to the broker any more
			return err
		}
	}
}

// turn does what is due.
func (b *books) turn(ctx context.Context) error {
	now := b.now()
	made, err := b.SealHours(ctx, now)
	if err != nil {
		return err
	}
	newest, err := b.Checkpoints(ctx, 1)
	if err != nil {
		return err
	}
	if b.lack == nil && (made > 0 || len(newest) == 0 || now.Sub(newest[0].At) >= signEvery || newest[0].At.After(now)) { // after: the clock was put back
		if _, err := b.Checkpoint(ctx); err != nil {
			return err
		}
	}
	return b.mailDay(ctx, now)
}

// mailedKey, a dot and a path: the day of the newest letter by that path.
const mailedKey = "records.mailed"

// mailAgain is how long a letter that did not go out waits for its next try. Choice of this project.
const mailAgain = time.Minute

// mailDay sends the day's checkpoint once by each path, from the set time of the day on.
func (b *books) mailDay(ctx context.Context, now time.Time) error {
	local := now.In(b.zone)
	sinceMidnight := time.Duration(local.Hour())*time.Hour + time.Duration(local.Minute())*time.Minute
	if len(b.mail) == 0 || b.lack != nil || sinceMidnight < b.mailAt {
		return nil
	}
	if wait := b.mailNext.Sub(now); wait > 0 && wait <= mailAgain { // longer: the clock was put back
		return b.mailErr
	}
	b.mailErr = b.mailDue(ctx, local.Format(time.DateOnly), now)
	if b.mailErr != nil {
		b.mailNext = now.Add(mailAgain)
	}
	return b.mailErr
}

// mailDue sends by every path that has not had the day's letter. One that is down keeps no other from its own.
func (b *books) mailDue(ctx context.Context, day string, now time.Time) error {
	var errs []error
	for _, path := range slices.Sorted(maps.Keys(b.mail)) {
		sent, err := b.Value(ctx, mailedKey+"."+path)
		if err != nil && !errors.Is(err, cook.ErrNotFound) {
			return err
		}
		if string(sent) == day {
			continue
		}
		if err := b.mailBy(ctx, path, day, now); err != nil {
			errs = append(errs, fmt.Errorf("mail the checkpoint by %q: %w", path, err))
			continue
		}
		if err := b.KeepValue(ctx, mailedKey+"."+path, []byte(day)); err != nil {
			return errors.Join(append(errs, err)...)
		}
	}
	return errors.Join(errs...)
}

func (b *books) mailBy(ctx context.Context, path, day string, now time.Time) error {
	c, err := b.Checkpoint(ctx)
	if err != nil {
		return err
	}
	title, text, err := checkpointLetter(c)
	if err != nil {
		return err
	}
	return b.mail[path].Send(ctx, notify.NewLetter(path, day, now, "the checkpoint of the records leaves the machine every day", title, text))
}

// checkpointLetter is what is mailed: what to do with it, and the line to hold against the database later.
func checkpointLetter(c record.Checkpoint) (title, text string, err error) {
	line, err := json.Marshal(c)
	if err != nil {
		return "", "", fmt.Errorf("write checkpoint: %w", err)
	}
	title = fmt.Sprintf("Checkpoint of the records: entry %d", c.Seq)
	text = fmt.Sprintf("Keep this. It shows later whether any of the records up to entry %d, or of the sealed readings up to seal %d, was changed or removed:\n"+
		"save the line below in a file and run: stallkeeper records verify --checkpoint FILE\n\n%s", c.Seq, c.Seal, line)
	return title, text, nil
}
