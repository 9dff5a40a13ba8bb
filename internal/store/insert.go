package store

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// The kept codes of qualities and clocks are their places in these lists.
func qualities() []cook.Quality {
	return []cook.Quality{cook.Good, cook.PowerUp, cook.Open, cook.OutOfRange, cook.Spike, cook.Stuck, cook.Suspect}
}

func clocks() []cook.Clock { return []cook.Clock{cook.DeviceClock, cook.ArrivalClock, cook.HandClock} }

// insertion stores items within one transaction.
type insertion struct {
	tx    *sql.Tx
	names *names
	stmts map[string]*sql.Stmt
	taken map[int64]stretch // by probe: found without a free time
}

// stretch is of times in which every microsecond has a reading, the end not included.
type stretch struct{ from, to int64 }

const (
	insertReading = `insert into readings (probe, time, seq, celsius, quality, clock, retained, backlog, delay, device_seq, raw)
		values (?, ?, (select coalesce(max(seq), 0) + 1 from readings), ?, ?, ?, ?, ?, ?, ?, ?) on conflict (probe, time) do nothing`
	standingValue    = `select celsius from readings where probe = ? and time = ?`
	takenTimes       = `select time from readings where probe = ? and time >= ? order by time`
	lastRetained     = `select celsius from readings where probe = ? and retained = 1 and clock = 1 order by seq desc limit 1`
	insertQuarantine = `insert into quarantine (time, topic, payload, reason) values (?, ?, ?, ?)`
	trimQuarantine   = `delete from quarantine where id <= (select max(id) from quarantine) - ?`
	lightQuarantine  = `delete from quarantine where id <= (select max(id) from (select id,
		sum(octet_length(topic) + octet_length(payload) + octet_length(reason)) over (order by id desc) as bytes from quarantine) where bytes > ?)`
	probeNumber = `select id from probes where name = ?`
	insertProbe = `insert into probes (name) values (?)`
)

// prepare gives a statement; the transaction closes it.
func (in *insertion) prepare(query string) (*sql.Stmt, error) {
	if s, ok := in.stmts[query]; ok {
		return s, nil
	}
	s, err := in.tx.Prepare(query)
	if err != nil {
		return nil, err
	}
	if in.stmts == nil {
		in.stmts = map[string]*sql.Stmt{}
	}
	in.stmts[query] = s
	return s, nil
}

func (in *insertion) exec(query string, args ...any) (sql.Result, error) {
	s, err := in.prepare(query)
	if err != nil {
		return nil, err
	}
	return s.Exec(args...)
}

// item stores one item. An error means that the transaction cannot go on; what is wrong with the item itself puts it
// into the quarantine.
func (in *insertion) item(item Item) (Outcome, error) {
	if item.Bad != nil {
		return Quarantined, in.quarantine(*item.Bad)
	}
	err := check(item.Reading)
	if err == nil {
		var o Outcome
		if o, err = in.reading(item.Reading); err == nil {
			return o, nil
		}
		if !rowsOwn(err) {
			return 0, err
		}
	}
	return Quarantined, in.quarantine(refused(item.Reading, "it cannot be stored: "+err.Error()))
}

// check reports what the table could not hold, or could not give back.
func check(r cook.Reading) error {
	if err := r.Probe.Validate(); err != nil {
		return err
	}
	switch us := micros(r.Time); {
	case !r.Celsius.Finite():
		return fmt.Errorf("%v is not a temperature", float64(r.Celsius))
	case us < minMicros || us >= maxMicros || r.Time.IsZero():
		return errors.New("its time is not within the years 1 to 9999")
	case !slices.Contains(qualities(), r.Quality):
		return fmt.Errorf("quality %q is not known", string(r.Quality))
	case !slices.Contains(clocks(), r.Clock):
		return fmt.Errorf("clock %q is not known", string(r.Clock))
	}
	return nil
}

func (in *insertion) reading(r cook.Reading) (Outcome, error) {
	probe, err := in.probe(r.Probe)
	if err != nil {
		return 0, err
	}
	if r.Clock != cook.ArrivalClock {
		return in.timed(probe, r)
	}
	if r.Retained {
		var last float64
		switch err := in.one(lastRetained, &last, probe); {
		case err == nil && thermal.Celsius(last) == r.Celsius:
			return Duplicate, nil
		case err != nil && !errors.Is(err, sql.ErrNoRows):
			return 0, err
		}
	}
	return in.arrived(probe, r)
}

// timed stores a reading whose time is its own: probe and time are its identity.
func (in *insertion) timed(probe int64, r cook.Reading) (Outcome, error) {
	if isNew, err := in.row(probe, r); err != nil || isNew {
		return Stored, err
	}
	var stands float64
	if err := in.one(standingValue, &stands, probe, micros(r.Time)); err != nil {
		return 0, err
	}
	if thermal.Celsius(stands) == r.Celsius {
		return Duplicate, nil
	}
	return Conflict, in.quarantine(refused(r, fmt.Sprintf("conflict: for probe %q at %s the value %v °C stands already; %v °C came later",
		string(r.Probe), r.Time.UTC().Format(time.RFC3339Nano), stands, float64(r.Celsius))))
}

// arrived stores a reading timed by its arrival: it is new, so it takes the next free microsecond.
func (in *insertion) arrived(probe int64, r cook.Reading) (Outcome, error) {
	if isNew, err := in.row(probe, r); err != nil || isNew {
		return Stored, err
	}
	free, err := in.freeTime(probe, micros(r.Time))
	if err != nil {
		return 0, err
	}
	r.Time = instant(free)
	if isNew, err := in.row(probe, r); err != nil || isNew {
		return Stored, err
	}
	return 0, fmt.Errorf("no free time found for probe %q after %s", string(r.Probe), r.Time.Format(time.RFC3339Nano))
}

// freeTime gives the first microsecond from us on at which the probe has no reading, for a reading that will have it. What was found taken
// is remembered: thousands may come with one time, and each would be looked past again by each that follows.
func (in *insertion) freeTime(probe, us int64) (int64, error) {
	full := in.taken[probe]
	if us < full.from || us > full.to {
		full = stretch{us, us}
	}
	free, err := in.gap(probe, full.to)
	if in.taken == nil {
		in.taken = map[int64]stretch{}
	}
	in.taken[probe] = stretch{full.from, free + 1}
	return free, err
}

// gap looks for the first microsecond from us on at which the probe has no reading.
func (in *insertion) gap(probe, us int64) (int64, error) {
	s, err := in.prepare(takenTimes)
	if err != nil {
		return 0, err
	}
	rows, err := s.Query(probe, us)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		var taken int64
		if err := rows.Scan(&taken); err != nil {
			return 0, err
		}
		if taken > us {
			break
		}
		us++
	}
	return us, errors.Join(rows.Err(), rows.Close())
}

// row inserts a reading unless its probe and time are taken, and reports whether it did.
func (in *insertion) row(probe int64, r cook.Reading) (bool, error) {
	var delay, raw any
	if !r.Arrived.IsZero() {
		delay = micros(r.Arrived) - micros(r.Time)
	}
	if r.Raw != "" {
		raw = r.Raw
	}
	result, err := in.exec(insertReading, probe, micros(r.Time), float64(r.Celsius), slices.Index(qualities(), r.Quality),
		slices.Index(clocks(), r.Clock), r.Retained, r.Backlog, delay, r.Seq, raw)
	if err != nil {
		return false, err
	}
	n, err := result.RowsAffected()
	return n == 1, err
}

func (in *insertion) one(query string, into any, args ...any) error {
	s, err := in.prepare(query)
	if err != nil {
		return err
	}
	return s.QueryRow(args...).Scan(into)
}

func (in *insertion) probe(name cook.ProbeID) (int64, error) {
	if id, ok := in.names.known[name]; ok {
		return id, nil
	}
	if id, ok := in.names.fresh[name]; ok {
		return id, nil
	}
	id, err := in.number(name)
	if err != nil {
		return 0, err
	}
	if in.names.fresh == nil {
		in.names.fresh = map[cook.ProbeID]int64{}
	}
	in.names.fresh[name] = id
	return id, nil
}

// number looks the number of a probe up, or gives it one.
func (in *insertion) number(name cook.ProbeID) (id int64, err error) {
	if err := in.one(probeNumber, &id, string(name)); !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	result, err := in.exec(insertProbe, string(name))
	if err != nil {
		return 0, err
	}
	return result.LastInsertId()
}

// The most that is kept of a bad payload, and the most of them: a device that sends garbage for ever must not fill the disk
// that good readings need. Of more, the oldest go.
const (
	maxTopic       = 1 << 10
	maxPayload     = 64 << 10
	maxReason      = 2 << 10
	maxQuarantined = 100_000
	maxQuarantine  = 64 << 20 // bytes of all
	weighEvery     = 256      // payloads; weighing looks at all of them
)

func (in *insertion) quarantine(q cook.Quarantined) error {
	payload := append([]byte{}, q.Payload[:min(len(q.Payload), maxPayload)]...) // not null, also when empty
	topic := strings.ToValidUTF8(q.Topic[:min(len(q.Topic), maxTopic)], "")
	at := min(max(micros(q.Time), minMicros), maxMicros-1)
	result, err := in.exec(insertQuarantine, at, topic, payload, q.Reason[:min(len(q.Reason), maxReason)])
	if err != nil {
		return err
	}
	if _, err := in.exec(trimQuarantine, maxQuarantined); err != nil {
		return err
	}
	id, err := result.LastInsertId()
	if err != nil || id%weighEvery != 0 {
		return err
	}
	_, err = in.exec(lightQuarantine, maxQuarantine)
	return err
}

// refused makes the quarantine's entry of a reading: on the topic that names its probe, in the form of a payload.
func refused(r cook.Reading, reason string) cook.Quarantined {
	at := r.Arrived
	if at.IsZero() {
		at = r.Time
	}
	payload := fmt.Appendf(nil, "{\"celsius\":%v}", float64(r.Celsius))
	if text, err := json.Marshal(struct {
		Celsius float64   `json:"celsius"`
		Time    time.Time `json:"time"`
	}{float64(r.Celsius), r.Time.UTC()}); err == nil {
		payload = text
	}
	return cook.Quarantined{Time: at, Topic: "stallkeeper/reading/" + string(r.Probe), Payload: payload, Reason: reason}
}
