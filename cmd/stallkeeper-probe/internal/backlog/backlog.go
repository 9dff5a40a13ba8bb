// Package backlog keeps readings that the broker has not acknowledged, in the order in which they were measured.
//
// Records live in memory, at most a set number of them. Spill writes what is not yet on disk to one file of JSON lines
// and syncs it; what is acknowledged before that never touches the disk, which spares an SD card. After a restart the
// file's records come first. What is lost by a power cut is what was measured since the last Spill; records that were
// acknowledged after they were spilled may be sent a second time (the same probe and time: receivers keep them once).
//
// When the queue is full the oldest half is thinned: of each probe every second record goes, so a long outage costs
// detail of its oldest part and never its newest, and no probe is forgotten. Memory is bounded by the number of records,
// the file by twice that. The package reads no clock and starts no goroutine; a Queue may be used by several.
package backlog

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"sync"
)

// Record is one reading as measured.
type Record struct {
	Probe   string  `json:"p"`
	Unix    int64   `json:"t"` // microseconds since 1970 by the board's clock; 0 while that clock is not set
	Uptime  float64 `json:"u"` // seconds since Boot, for records without a time
	Boot    string  `json:"b,omitempty"`
	Celsius float64 `json:"c"`
	Seq     int64   `json:"s"`
	Samples int     `json:"n,omitempty"`
	Spread  float64 `json:"w,omitempty"` // K between the lowest and the highest sample

	id uint64
}

// ID is the record's place in the queue, ascending.
func (r Record) ID() uint64 { return r.id }

// Queue is the backlog. Make one with Open.
type Queue struct {
	path string
	max  int

	mu      sync.Mutex // guards the fields below
	records []Record   // ascending id
	next    uint64
	spilled uint64 // records up to this id are in the file
	lines   int    // in the file, acknowledged ones included
	thinned int64
}

const fileName = "backlog.jsonl"

// longestLine bounds a line of the file; records are about 100 bytes.
const longestLine = 4096

// Open reads what an earlier run left in the folder. An empty folder name keeps the queue in memory alone. A last line cut
// by a power failure is dropped; damaged lines before it are counted in bad.
func Open(folder string, most int) (q *Queue, bad int, err error) {
	if most < 100 {
		return nil, 0, fmt.Errorf("backlog of %d readings: give room for 100 or more", most)
	}
	q = &Queue{max: most, next: 1}
	if folder == "" {
		return q, 0, nil
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, 0, fmt.Errorf("open backlog: %w", err)
	}
	q.path = filepath.Join(folder, fileName)
	f, err := os.Open(q.path)
	if errors.Is(err, fs.ErrNotExist) {
		return q, 0, nil
	}
	if err == nil {
		bad, err = q.load(f)
		err = errors.Join(err, f.Close())
	}
	if err != nil {
		return nil, 0, fmt.Errorf("open backlog: %w", err)
	}
	return q, bad, q.rewrite()
}

func (q *Queue) load(f io.Reader) (bad int, err error) {
	names := map[string]string{} // one copy of each
	in := bufio.NewReaderSize(f, longestLine)
	for {
		line, err := in.ReadSlice('\n')
		switch {
		case errors.Is(err, io.EOF):
			return bad, nil // what stands before it was cut
		case errors.Is(err, bufio.ErrBufferFull):
			continue // the rest of this line is no record either
		case err != nil:
			return bad, err
		}
		var r Record
		if json.Unmarshal(line, &r) != nil || r.Probe == "" {
			bad++
			continue
		}
		for _, s := range []*string{&r.Probe, &r.Boot} {
			if _, ok := names[*s]; !ok {
				names[*s] = *s
			}
			*s = names[*s]
		}
		q.add(r)
	}
}

// Add appends a record. It does not touch the disk.
func (q *Queue) Add(r Record) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.add(r)
}

func (q *Queue) add(r Record) {
	r.id = q.next
	q.next++
	q.records = append(q.records, r)
	if len(q.records) > q.max {
		q.thin()
	}
}

// thin drops every second record of each probe in the oldest half.
func (q *Queue) thin() {
	half := len(q.records) / 2
	odd := map[string]bool{}
	kept := q.records[:0]
	for i, r := range q.records {
		if i < half {
			odd[r.Probe] = !odd[r.Probe]
			if !odd[r.Probe] {
				q.thinned++
				continue
			}
		}
		kept = append(kept, r)
	}
	clear(q.records[len(kept):])
	q.records = kept
	if len(q.records) > q.max { // more probes than room: the oldest go
		q.thinned += int64(len(q.records) - q.max)
		q.records = append(q.records[:0], q.records[len(q.records)-q.max:]...)
	}
}

// After gives up to n records behind an id, oldest first.
func (q *Queue) After(id uint64, n int) []Record {
	q.mu.Lock()
	defer q.mu.Unlock()
	i := q.behind(id)
	return append([]Record(nil), q.records[i:min(i+n, len(q.records))]...)
}

// Done removes everything up to an id: the broker has it.
func (q *Queue) Done(id uint64) {
	q.mu.Lock()
	defer q.mu.Unlock()
	i := q.behind(id)
	q.records = q.records[i:]
}

// behind is the index of the first record behind an id.
func (q *Queue) behind(id uint64) int {
	return sort.Search(len(q.records), func(i int) bool { return q.records[i].id > id })
}

// Len is the number of records that wait.
func (q *Queue) Len() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.records)
}

// Thinned is the number of records given up since Open because the queue was full.
func (q *Queue) Thinned() int64 {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.thinned
}

// Spill brings the file up to date and syncs it: new records are appended, and a file with nothing but acknowledged or
// mostly superfluous lines is written anew. After an error the records are still in memory and the next Spill tries again.
func (q *Queue) Spill() error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.path == "" {
		return nil
	}
	if q.lines > 0 && (len(q.records) == 0 || q.lines+len(q.records) > 2*q.max) {
		return q.rewrite()
	}
	var out bytes.Buffer
	added := 0
	for _, r := range q.records[q.behind(q.spilled):] {
		if err := json.NewEncoder(&out).Encode(r); err != nil {
			return fmt.Errorf("write backlog: %w", err)
		}
		added++
	}
	if added == 0 {
		return nil
	}
	f, err := os.OpenFile(q.path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("write backlog: %w", err)
	}
	_, err = f.Write(out.Bytes())
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write backlog: %w (free some space; readings stay in memory)", err)
	}
	q.lines += added
	q.spilled = q.records[len(q.records)-1].id
	return nil
}

// rewrite replaces the file by what is in memory.
func (q *Queue) rewrite() error {
	if q.path == "" {
		return nil
	}
	temporary := q.path + ".new"
	f, err := os.OpenFile(temporary, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("write backlog: %w", err)
	}
	out := bufio.NewWriter(f)
	encoder := json.NewEncoder(out)
	for _, r := range q.records {
		err = errors.Join(err, encoder.Encode(r))
	}
	if err = errors.Join(err, out.Flush()); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(temporary, q.path)
	}
	if err != nil {
		return fmt.Errorf("write backlog: %w (free some space; readings stay in memory)", err)
	}
	q.lines = len(q.records)
	q.spilled = q.next - 1
	return nil
}
