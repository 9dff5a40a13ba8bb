package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	_ "github.com/mattn/go-sqlite3" // the driver "sqlite3"

	"stallkeeper/internal/cook"
)

// FileName is the database's name within the data folder.
const FileName = "stallkeeper.db"

// Options are what a store needs. Log and Now must be given.
type Options struct {
	Linger time.Duration // how long Run gathers readings before it commits; 0 = commits what is there at once
	Log    *slog.Logger
	Now    func() time.Time // names the backups made before a migration
	Timed  func() func()    // called before each commit of readings, and what it gives after it; nil = nobody measures
}

// DefaultLinger is a good group commit time on a solid-state disk. On an SD card some seconds spare the card.
const DefaultLinger = 50 * time.Millisecond

// DB is an open store. It is safe for concurrent use.
type DB struct {
	path   string
	opts   Options
	lock   *fileLock
	writer *sql.DB // one connection
	reader *sql.DB

	queue     chan Item
	batch     []Item // Run's, used again for each commit
	committed chan struct{}
	intake    intake
	names     names // touched by the committer only, except while opening
	trouble   trouble
	reserve   *reserve
}

// readers is how many queries run at a time. A connection that rested for readerRest is closed: open ones keep pages and
// statements in memory.
const (
	readers    = 4
	readerRest = 30 * time.Second
)

// What a connection keeps of the file in memory, in KiB. The system's own cache holds what was read lately all the same; on a small board
// room is scarcer than the calls that this costs.
const (
	writerPages = "-1024"
	readerPages = "-384"
)

// Open opens the store at path and brings its schema up to date; a missing file is made. Errors say what to do:
// ErrNewerSchema, ErrDamaged, ErrForeign and ErrInUse leave the file untouched.
func Open(ctx context.Context, path string, o Options) (*DB, error) {
	return open(ctx, path, o, migrations())
}

func open(ctx context.Context, path string, o Options, steps []migration) (_ *DB, err error) {
	if err := makeFolder(filepath.Dir(path)); err != nil {
		return nil, err
	}
	db := &DB{path: path, opts: o, queue: make(chan Item, queueSize), committed: make(chan struct{}, 1),
		names: names{known: map[cook.ProbeID]int64{}}, reserve: newReserve(path)}
	db.intake.stopping = make(chan struct{})
	defer func() {
		if err != nil {
			err = errors.Join(err, db.closeFiles())
		}
	}()
	if db.lock, err = lockFile(path); err != nil {
		return nil, err
	}
	if err := closeToOthers(path); err != nil {
		return nil, err
	}
	found, err := inspect(ctx, path, len(steps), checkBudget)
	if err != nil {
		return nil, err
	}
	if !found.checked {
		o.Log.Warn("the database is too large for a full check at the start; `stallkeeper backup` checks all of it", "path", path)
	}
	if db.writer, err = sql.Open("sqlite3", writerDSN(path)); err != nil {
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	db.writer.SetMaxOpenConns(1)
	db.writer.SetMaxIdleConns(1)
	if err := db.migrate(ctx, found, steps); err != nil {
		return nil, err
	}
	if _, err := db.writer.ExecContext(ctx, "pragma journal_size_limit = 67108864"); err != nil { // a long backup lets the log grow
		return nil, db.explain("open database", err)
	}
	if db.reader, err = sql.Open("sqlite3", readerDSN(path)); err != nil {
		return nil, fmt.Errorf("open database %q for reading: %w", path, err)
	}
	db.reader.SetMaxOpenConns(readers)
	db.reader.SetMaxIdleConns(readers)
	db.reader.SetConnMaxIdleTime(readerRest)
	switch kept, err := db.reserve.take(); {
	case err != nil: // a watch without it is better than none
		o.Log.Warn("no room is kept back for alarms on a full disk", "error", err)
	case !kept:
		o.Log.Warn("the disk has little room: free some space", "path", filepath.Dir(path), "wanted_bytes", reservePlenty)
	}
	return db, nil
}

// makeFolder makes the data folder where it is missing, so that it survives a power cut.
func makeFolder(dir string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return fmt.Errorf("make the data folder: %w: make it by hand, or name another with --data", err)
	}
	return syncFolder(dir)
}

// writerDSN asks for FULL: the driver's own default in WAL mode may lose the last commits in a power cut.
func writerDSN(path string) string {
	return fileURI(path, url.Values{
		"mode": {"rwc"}, "_journal_mode": {"WAL"}, "_synchronous": {"FULL"}, "_busy_timeout": {"10000"},
		"_txlock": {"immediate"}, "_foreign_keys": {"1"}, "_stmt_cache_size": {"64"}, "_cache_size": {writerPages},
	})
}

func readerDSN(path string) string {
	return fileURI(path, url.Values{"mode": {"ro"}, "_query_only": {"1"}, "_busy_timeout": {"10000"}, "_stmt_cache_size": {"64"},
		"_cache_size": {readerPages}})
}

func fileURI(path string, v url.Values) string {
	return (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: v.Encode()}).String()
}

// Close ends the store. Items that Run has not taken are given an error. Run must have returned, or never been called.
func (db *DB) Close() error {
	db.refuseWaiting()
	return db.closeFiles()
}

func (db *DB) closeFiles() error {
	var errs []error
	if db.reader != nil {
		errs = append(errs, db.reader.Close())
	}
	if db.writer != nil {
		errs = append(errs, db.writer.Close())
	}
	if db.lock != nil {
		errs = append(errs, db.lock.release())
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close database %q: %w", db.path, err)
	}
	return nil
}

// Trouble says why the last write failed, and what to do; empty when it succeeded.
func (db *DB) Trouble() string { return db.trouble.text() }

// Scarce says that the disk is full and that the room which was kept back is in use, and what to do; empty when there is room.
func (db *DB) Scarce() string { return db.reserve.trouble() }

// Committed receives after every commit that stored readings; a slow reader misses repeats, not the last.
func (db *DB) Committed() <-chan struct{} { return db.committed }

// write runs one transaction on the writing connection. Any error undoes it. An error that is not about the data is
// the store's trouble, and logged when it begins and when it is over.
func (db *DB) write(ctx context.Context, doing string, f func(tx *sql.Tx) error) error {
	err := db.transaction(ctx, f)
	if err == nil {
		if db.trouble.set(nil) {
			db.opts.Log.Info("the database can be written again", "path", db.path)
		}
		return nil
	}
	err = db.explain(doing, err)
	if hopeless(err) && ctx.Err() == nil && db.trouble.set(err) {
		db.opts.Log.Error("the database cannot be written", "error", err)
	}
	if full(err) {
		db.giveReserve()
	}
	return err
}

// giveReserve makes a little room for what comes next.
func (db *DB) giveReserve() {
	switch given, err := db.reserve.give(); {
	case err != nil:
		db.opts.Log.Error("the reserve could not be used", "error", err)
	case given:
		db.opts.Log.Error(db.reserve.trouble())
	}
}

func (db *DB) transaction(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := db.writer.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		// On a full disk SQLite has undone the transaction by itself, and says so here; the first error is the one that tells.
		if back := tx.Rollback(); back != nil && !hopeless(err) {
			return errors.Join(err, back)
		}
		return err
	}
	return tx.Commit()
}

// trouble holds the reason of the last failed write.
type trouble struct {
	mu  sync.Mutex // guards err
	err error
}

// set notes the outcome of a write and reports whether trouble began or ended with it.
func (t *trouble) set(err error) (changed bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	changed = (t.err == nil) != (err == nil)
	t.err = err
	return changed
}

func (t *trouble) text() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.err == nil {
		return ""
	}
	return t.err.Error()
}

// micros is a time as it is kept.
func micros(t time.Time) int64 { return cook.Instant(t).UnixMicro() }

func instant(us int64) time.Time { return time.UnixMicro(us).UTC() }

// span is a stretch of time as it is kept; zero times are open ends.
func span(from, to time.Time) (lo, hi int64) {
	lo, hi = minMicros, maxMicros
	if !from.IsZero() {
		lo = ceilMicros(from)
	}
	if !to.IsZero() {
		hi = ceilMicros(to)
	}
	return lo, hi
}

// ceilMicros rounds up: a kept time t is at or after x exactly when its microseconds are at least those of x rounded up.
func ceilMicros(t time.Time) int64 {
	us := micros(t)
	if instant(us).Before(t) {
		us++
	}
	return us
}

// Times outside the years 1 to 9999 cannot be written as RFC 3339. These are their limits in microseconds since 1970.
const (
	minMicros int64 = -62_135_596_800 * 1_000_000 // 0001-01-01
	maxMicros int64 = 253_402_300_800 * 1_000_000 // 10000-01-01, not included
)
