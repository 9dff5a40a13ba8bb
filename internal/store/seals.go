package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// sealGrace is how long after its end an hour still waits for readings. What comes later makes a new seal. Choice of this project.
const sealGrace = 10 * time.Minute

// sealChunk is how many seals are written in one transaction.
const sealChunk = 500

// closedAt is the end of the last hour that waits for no more readings.
func closedAt(now time.Time) time.Time { return now.Add(-sealGrace).UTC().Truncate(time.Hour) }

// sealedTo is how far sealing came: every hour before Until, and every reading up to Seq.
type sealedTo struct {
	Until time.Time `json:"until"`
	Seq   int64     `json:"seq"`
}

const sealedKey = "records.sealed"

// hourOf is one hour of one probe.
type hourOf struct {
	id    int64
	probe cook.ProbeID
	hour  int64 // its start, in microseconds
}

const hourMicros = int64(time.Hour / time.Microsecond)

// SealHours seals every hour that is over, and again those for which readings came late. It gives how many seals it made. Called again
// it does nothing until the next hour is over.
func (db *DB) SealHours(ctx context.Context, now time.Time) (int, error) {
	done, err := db.sealedTo(ctx)
	if err != nil {
		return 0, err
	}
	closed := closedAt(now)
	if closed.Equal(done.Until) {
		return 0, nil
	}
	if closed.Before(done.Until) {
		done.Until = closed // the clock was put back: without this nothing would be sealed until it is there again
	}
	seq, err := db.LastSeq(ctx)
	if err != nil {
		return 0, err
	}
	hours, err := db.hoursToSeal(ctx, done, closed)
	if err != nil {
		return 0, err
	}
	made := 0
	for chunk := range slices.Chunk(hours, sealChunk) {
		n, err := db.seal(ctx, chunk, seq, now)
		if err != nil {
			return made, err
		}
		made += n
	}
	mark, err := json.Marshal(sealedTo{closed, seq})
	if err != nil {
		return made, err
	}
	return made, db.KeepValue(ctx, sealedKey, mark)
}

func (db *DB) sealedTo(ctx context.Context) (done sealedTo, err error) {
	kept, err := db.Value(ctx, sealedKey)
	if errors.Is(err, cook.ErrNotFound) {
		return done, nil
	}
	if err == nil {
		err = json.Unmarshal(kept, &done)
	}
	if err != nil {
		return done, fmt.Errorf("read how far readings are sealed: %w", err)
	}
	return done, nil
}

// hoursToSeal are the hours with readings from done.Until to closed, and the earlier ones that got readings since.
func (db *DB) hoursToSeal(ctx context.Context, done sealedTo, closed time.Time) ([]hourOf, error) {
	names, err := db.probeNames(ctx)
	if err != nil {
		return nil, err
	}
	lo, hi := minMicros, micros(closed)
	var out []hourOf
	if !done.Until.IsZero() {
		lo = micros(done.Until)
		// Left to itself SQLite looks at every reading there is.
		rows, err := db.reader.QueryContext(ctx, `select distinct probe, time - ((time % ?1) + ?1) % ?1 from readings indexed by readings_by_seq where seq > ?2 and time < ?3`, hourMicros, done.Seq, lo)
		if err != nil {
			return nil, db.explain("look for late readings", err)
		}
		out, err = collect(rows, func(rows *sql.Rows) (h hourOf, err error) {
			err = rows.Scan(&h.id, &h.hour)
			h.probe = names[h.id]
			return h, err
		})
		if err != nil {
			return nil, db.explain("look for late readings", err)
		}
	}
	for id, name := range names {
		for from := lo; ; {
			var at int64
			err := db.reader.QueryRowContext(ctx, `select time from readings where probe = ? and time >= ? and time < ? order by time limit 1`, id, from, hi).Scan(&at)
			if errors.Is(err, sql.ErrNoRows) {
				break
			}
			if err != nil {
				return nil, db.explain("look for hours to seal", err)
			}
			hour := hourStart(at)
			out = append(out, hourOf{id, name, hour})
			from = hour + hourMicros
		}
	}
	slices.SortFunc(out, func(a, b hourOf) int { return cmp.Or(cmp.Compare(a.hour, b.hour), cmp.Compare(a.id, b.id)) })
	return out, nil
}

func (db *DB) probeNames(ctx context.Context) (map[int64]cook.ProbeID, error) {
	rows, err := db.reader.QueryContext(ctx, `select id, name from probes`)
	if err != nil {
		return nil, db.explain("read probes", err)
	}
	out := map[int64]cook.ProbeID{}
	_, err = collect(rows, func(rows *sql.Rows) (id int64, err error) {
		var name string
		err = rows.Scan(&id, &name)
		out[id] = cook.ProbeID(name)
		return id, err
	})
	return out, err
}

// seal makes seals of the hours whose readings are not as their last seal says.
func (db *DB) seal(ctx context.Context, hours []hourOf, through int64, now time.Time) (made int, err error) {
	sums := make([]record.Readings, 0, len(hours))
	for _, h := range hours {
		sum, err := db.sumHour(ctx, h, through)
		if err != nil {
			return 0, err
		}
		sums = append(sums, sum)
	}
	err = db.write(ctx, "seal readings", func(tx *sql.Tx) error {
		made = 0
		seq, prev, err := sealHead(ctx, tx)
		if err != nil {
			return err
		}
		for _, sum := range sums {
			replaces, same, err := lastSeal(ctx, tx, sum)
			if err != nil {
				return err
			}
			if same || sum.Count == 0 {
				continue
			}
			s := sum.Follow(seq+1, prev, now, replaces)
			if err := insertSeal(ctx, tx, s); err != nil {
				return err
			}
			seq, prev = s.Seq, s.Hash
			made++
		}
		return nil
	})
	return made, err
}

// sumHour sums up the readings of an hour that were committed up to the numbered one.
func (db *DB) sumHour(ctx context.Context, h hourOf, through int64) (record.Readings, error) {
	d := record.NewDigester(h.probe, instant(h.hour))
	for r, err := range leanReadings(ctx, db.reader, h.probe, fmt.Sprintf(`where r.probe = %d and r.time >= %d and r.time < %d and r.seq <= %d order by r.time`, h.id, h.hour, h.hour+hourMicros, through)) {
		if err != nil {
			return record.Readings{}, db.explain("sum up readings", err)
		}
		d.Add(r.Reading)
	}
	sum := d.Readings()
	sum.Through = through
	return sum, nil
}

// lastSeal gives the number of the hour's seal, 0 if it has none, and whether it says the same.
func lastSeal(ctx context.Context, tx *sql.Tx, sum record.Readings) (seq int64, same bool, err error) {
	var count int64
	var digest []byte
	err = tx.QueryRowContext(ctx, `select seq, count, digest from seals where probe = ? and hour = ? order by seq desc limit 1`,
		string(sum.Probe), micros(sum.Hour)).Scan(&seq, &count, &digest)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, false, nil
	}
	return seq, count == sum.Count && string(digest) == string(sum.Digest[:]), err
}

func sealHead(ctx context.Context, tx *sql.Tx) (seq int64, hash record.Hash, err error) {
	var h []byte
	err = tx.QueryRowContext(ctx, `select seq, hash from seals order by seq desc limit 1`).Scan(&seq, &h)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, hash, nil
	}
	copy(hash[:], h)
	return seq, hash, err
}

func insertSeal(ctx context.Context, tx *sql.Tx, s record.Seal) error {
	_, err := tx.ExecContext(ctx, `insert into seals (seq, probe, hour, count, min, max, digest, through, made, replaces, prev, hash) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		s.Seq, string(s.Probe), micros(s.Hour), s.Count, degrees(s.Min), degrees(s.Max), s.Digest[:], s.Through, micros(s.Made), s.Replaces, s.Prev[:], s.Hash[:])
	return err
}

func degrees(c *thermal.Celsius) any {
	if c == nil {
		return nil
	}
	return float64(*c)
}
