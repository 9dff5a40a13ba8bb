package ingest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"stallkeeper/internal/cook"
)

// Outcome says what the store did with a reading.
type Outcome int

// The outcomes of a committed reading.
const (
	Stored      Outcome = iota
	Duplicate           // the same reading was there
	Conflict            // another value was there for that probe and time; this one went to quarantine
	Quarantined         // it could not be stored and went to quarantine
)

// Sink commits readings and quarantined payloads. It keeps readings with a device time once, gives each reading timed by
// its arrival a time of its own, and knows a retained one that comes again.
//
// Put and Quarantine queue in the order of the calls and wait while the queue is full. done is called once, after the
// commit: a nil error means that it is on disk. done does not block; it may be called before Put returns. When Put or
// Quarantine returns an error, done is not called.
type Sink interface {
	Put(ctx context.Context, r cook.Reading, done func(Outcome, error)) error
	Quarantine(ctx context.Context, q cook.Quarantined, done func(error)) error
}

// Stats counts what went through the intake since the start.
type Stats struct {
	Messages    int64 // messages taken in
	Stored      int64 // readings committed
	Duplicates  int64 // readings that were there already, among them retained ones that came again
	Conflicts   int64 // readings with another value for a known time, in quarantine
	Quarantined int64 // payloads in quarantine
	Ignored     int64 // SenML records that are not temperatures
	Retained    int64 // messages that a broker kept from before
	Backlog     int64 // readings that came long after they were measured
	SeqMissing  int64 // readings that never came, by the devices' own counts
	Failed      int64 // readings and payloads that the store did not commit, to be delivered again
}

// Intake is the common path of both brokers: message, decode, judge, store. It is safe for concurrent use.
type Intake struct {
	decoder *Decoder
	sink    Sink
	now     func() time.Time
	gas     map[cook.ProbeID]bool

	mu     sync.Mutex // guards probes and asides, and keeps judging and queueing in one order
	probes map[cook.ProbeID]*probeState
	asides map[asideKey]Aside

	messages, stored, duplicates, conflicts, quarantined atomic.Int64
	ignored, retained, backlog, seqMissing, failed       atomic.Int64
}

// probeState is what judging one probe's next reading needs.
type probeState struct {
	judge cook.Judge
	seq   int64
}

// maxTracked bounds the memory for probes against a client that invents names. A forgotten probe is judged as if it were new.
const maxTracked = 4096

// New prepares an intake; now stamps the arrivals. The probes named in gas send parts per million, not degrees.
func New(decoder *Decoder, sink Sink, now func() time.Time, gas ...cook.ProbeID) *Intake {
	in := &Intake{decoder: decoder, sink: sink, now: now, gas: map[cook.ProbeID]bool{}, probes: map[cook.ProbeID]*probeState{}, asides: map[asideKey]Aside{}}
	for _, id := range gas {
		in.gas[id] = true
	}
	return in
}

// Gas gives the probes that send parts per million. It is not to be changed.
func (in *Intake) Gas() map[cook.ProbeID]bool { return in.gas }

// Consumes reports whether messages on the topic are readings.
func (in *Intake) Consumes(topic string) bool { return in.decoder.Consumes(topic) }

// Handle takes in one message. done is called once, when everything in the message is committed (nil), or when
// something was not (the broker has to deliver it again); it must not block. While the store's queue is full Handle waits. When
// Handle returns an error, nothing was promised and done is not called.
func (in *Intake) Handle(ctx context.Context, m Message, done func(error)) error {
	now := in.now()
	decoded, bad := in.decoder.Decode(m, now)
	in.messages.Add(1)
	if m.Retained {
		in.retained.Add(1)
	}
	in.ignored.Add(int64(decoded.Ignored))
	in.mu.Lock()
	defer in.mu.Unlock()
	for _, a := range decoded.Asides {
		in.note(a)
	}
	// One share of the joint promise is held until all parts are queued, so that an early commit cannot end it.
	all := newJoint(done)
	err := in.queue(ctx, m, now, decoded.Readings, bad, all)
	if err != nil && all.abandon() {
		return err
	}
	all.part(err)
	return nil
}

func (in *Intake) queue(ctx context.Context, m Message, now time.Time, readings []cook.Reading, bad error, all *joint) error {
	for _, r := range readings {
		in.judge(&r)
		all.add()
		if err := in.sink.Put(ctx, r, func(o Outcome, err error) { in.count(o, err); all.part(err) }); err != nil {
			all.drop()
			return fmt.Errorf("queue reading of probe %q: %w", string(r.Probe), err)
		}
	}
	if bad == nil {
		return nil
	}
	q := cook.Quarantined{Time: cook.Instant(now), Topic: m.Topic, Payload: m.Payload[:min(len(m.Payload), MaxPayload)], Reason: bad.Error()}
	all.add()
	if err := in.sink.Quarantine(ctx, q, func(err error) { in.countBad(err); all.part(err) }); err != nil {
		all.drop()
		return fmt.Errorf("queue quarantined payload of %q: %w", m.Topic, err)
	}
	return nil
}

func (in *Intake) judge(r *cook.Reading) {
	p := in.probes[r.Probe]
	if p == nil {
		if len(in.probes) >= maxTracked {
			for any := range in.probes {
				delete(in.probes, any)
				break
			}
		}
		p = &probeState{judge: cook.Judge{Gas: in.gas}}
		in.probes[r.Probe] = p
	}
	r.Quality = p.judge.Quality(*r)
	if r.Backlog {
		in.backlog.Add(1)
	}
	if r.Seq == 0 {
		return
	}
	// A count at or below the last is a repeat or a restarted device, not a gap.
	if p.seq > 0 && r.Seq > p.seq+1 {
		in.seqMissing.Add(r.Seq - p.seq - 1)
	}
	p.seq = r.Seq
}

func (in *Intake) count(o Outcome, err error) {
	switch {
	case err != nil:
		in.failed.Add(1)
	case o == Duplicate:
		in.duplicates.Add(1)
	case o == Conflict:
		in.conflicts.Add(1)
	case o == Quarantined:
		in.quarantined.Add(1)
	default:
		in.stored.Add(1)
	}
}

func (in *Intake) countBad(err error) {
	if err != nil {
		in.failed.Add(1)
		return
	}
	in.quarantined.Add(1)
}

// Stats gives the counts so far.
func (in *Intake) Stats() Stats {
	return Stats{Messages: in.messages.Load(), Stored: in.stored.Load(), Duplicates: in.duplicates.Load(),
		Conflicts: in.conflicts.Load(), Quarantined: in.quarantined.Load(), Ignored: in.ignored.Load(),
		Retained: in.retained.Load(), Backlog: in.backlog.Load(), SeqMissing: in.seqMissing.Load(), Failed: in.failed.Load()}
}

// joint calls done once, when all parts of a message are committed or have failed.
type joint struct {
	mu   sync.Mutex // guards the fields below
	open int
	errs []error
	done func(error)
}

// newJoint opens one share, which its owner closes with part or abandon.
func newJoint(done func(error)) *joint { return &joint{open: 1, done: done} }

func (j *joint) add() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.open++
}

// drop takes back an add whose part was never queued.
func (j *joint) drop() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.open--
}

// abandon reports whether only the owner's share is open: then nobody else will call done.
func (j *joint) abandon() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.open == 1
}

func (j *joint) part(err error) {
	j.mu.Lock()
	if err != nil {
		j.errs = append(j.errs, err)
	}
	j.open--
	last := j.open == 0
	errs := j.errs
	j.mu.Unlock()
	if last {
		j.done(errors.Join(errs...))
	}
}
