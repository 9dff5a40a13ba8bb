package api

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"maps"
	"net/http"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/web/problem"
)

// Bounds of a cook log that is taken in, in bytes. A day of eight probes at a reading a second has about 30 MB in 691,200 rows.
const (
	MaxImport    = 16 << 20
	maxUnpacked  = 64 << 20
	maxDescribed = 1 << 20 // of cook.json
	maxRows      = 750_000 // of readings.csv, some 140 bytes of memory each

	importTimeout = 5 * time.Minute
	logTimeout    = 30 * time.Second // for each write of an export
)

// getLog streams a cook as a cook log: a zip archive of cook.json and readings.csv, readings as they were measured, and of checks.csv where a
// probe failed a check.
func (api *API) getLog(w http.ResponseWriter, r *http.Request) error {
	stored, err := api.storedCook(r)
	if err != nil {
		return err
	}
	described, err := cook.EncodeCook(&stored.Cook)
	if err != nil {
		return err
	}
	doubts, err := api.doubtsOf(r.Context(), stored)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/zip")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", fmt.Sprintf(`attachment; filename="cook-%d.zip"`, stored.ID))
	if err := api.writeLog(r.Context(), &steadyWriter{w, http.NewResponseController(w)}, stored, described, doubts); err != nil {
		if r.Context().Err() == nil {
			api.opts.Log.Error("export cook log", "cook", stored.ID, "error", err)
		}
		panic(http.ErrAbortHandler) // the answer has begun: breaking it off tells the receiver that it is not whole
	}
	return nil
}

func (api *API) writeLog(ctx context.Context, w io.Writer, stored *cook.Stored, described []byte, doubts []cook.Doubt) error {
	archive := zip.NewWriter(w)
	part := func(name string) (io.Writer, error) {
		return archive.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: stored.Started.UTC()})
	}
	out, err := part(cook.LogCookFile)
	if err != nil {
		return err
	}
	if _, err := out.Write(described); err != nil {
		return err
	}
	if out, err = part(cook.LogReadingsFile); err != nil {
		return err
	}
	if err := cook.StreamReadings(out, api.readingsOf(ctx, stored)); err != nil {
		return err
	}
	if len(doubts) > 0 {
		if out, err = part(cook.LogChecksFile); err != nil {
			return err
		}
		if err := cook.WriteDoubts(out, doubts); err != nil {
			return err
		}
	}
	return archive.Close()
}

// doubtsOf gives when readings of the cook's probes are in doubt by their checks.
func (api *API) doubtsOf(ctx context.Context, stored *cook.Stored) ([]cook.Doubt, error) {
	standings, _, err := api.opts.Standings(ctx, "")
	if err != nil {
		return nil, err
	}
	ours := probesOf(stored)
	var out []cook.Doubt
	for _, id := range slices.Sorted(maps.Keys(standings)) {
		for _, d := range standings[id].Doubtful {
			over := !d.To.IsZero() && !d.To.After(stored.Started) || !stored.Running() && d.From.After(stored.Ended)
			if ours(id) && !over {
				out = append(out, cook.Doubt{Probe: id, From: d.From, To: d.To})
			}
		}
	}
	return out, nil
}

// probesOf tells whether a probe measures, or measured before an amendment, in the cook.
func probesOf(stored *cook.Stored) func(cook.ProbeID) bool {
	earlier := map[cook.ProbeID]bool{}
	for _, a := range stored.Amendments {
		for _, p := range a.Probes {
			earlier[p] = true
		}
	}
	return func(id cook.ProbeID) bool { return earlier[id] || outlook.Belongs(stored.Cook, id) }
}

// readingsOf gives every reading of a cook's probes, page by page. What the broker had kept from before is left out.
func (api *API) readingsOf(ctx context.Context, stored *cook.Stored) iter.Seq2[cook.Reading, error] {
	ours := probesOf(stored)
	ask := cook.ReadingQuery{From: stored.Started, Limit: streamedAtOnce}
	if !stored.Running() {
		ask.To = stored.Ended.Add(time.Microsecond) // the end belongs to the cook
	}
	return func(yield func(cook.Reading, error) bool) {
		for {
			page, err := api.opts.Library.Readings(ctx, ask)
			if err != nil {
				yield(cook.Reading{}, err)
				return
			}
			for _, r := range page {
				if ours(r.Probe) && !r.Retained && !yield(r, nil) {
					return
				}
			}
			if len(page) < ask.Limit {
				return
			}
			last := page[len(page)-1]
			ask.AfterTime, ask.AfterProbe = last.Time, last.Probe
		}
	}
}

// steadyWriter lets a long answer go on for as long as the receiver takes it.
type steadyWriter struct {
	w       io.Writer
	control *http.ResponseController
}

// Write sends p and allows it as much time as any answer.
func (s *steadyWriter) Write(p []byte) (int, error) {
	late, err := within(s.control, logTimeout)
	if err != nil {
		return 0, err
	}
	defer late.Stop()
	return s.w.Write(p)
}

// within lets writes fail after a while. The limit comes from a timer because it is of the real clock, whatever the
// daemon's clock says. Stop the timer when the write is done.
func within(control *http.ResponseController, d time.Duration) (*time.Timer, error) {
	if err := control.SetWriteDeadline(time.Time{}); err != nil {
		return nil, err
	}
	// An error means that the connection is gone, which the write itself reports.
	return time.AfterFunc(d, func() { _ = control.SetWriteDeadline(time.Unix(1, 0)) }), nil
}

// postImport takes in a cook log as an ended cook: a zip archive of cook.json and readings.csv. One at a time: a log takes memory.
func (api *API) postImport(w http.ResponseWriter, r *http.Request) error {
	if err := mustBe(r, "application/zip"); err != nil {
		return err
	}
	select {
	case api.imports <- struct{}{}:
		defer func() { <-api.imports }()
	default:
		e := problem.New(http.StatusServiceUnavailable, "Busy", "another cook log is being taken in: send this one when it is done")
		e.Header = http.Header{"Retry-After": {"30"}}
		return e
	}
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return bodyError(err)
	}
	log, err := unpackLog(data)
	if err != nil {
		return err
	}
	late, err := within(http.NewResponseController(w), importTimeout)
	if err != nil {
		return err
	}
	defer late.Stop()
	id, err := api.opts.Desk.ImportLog(r.Context(), log)
	if errors.Is(err, cook.ErrConflict) && id != 0 {
		return api.created(w, r, newID{id, "readings that stand in the store with another value were not taken: see /api/v1/quarantine"})
	}
	if err != nil {
		return problem.Saying(err, "the log is there already: it is kept as it is")
	}
	return api.created(w, r, newID{ID: id})
}

// unpackLog reads a zipped cook log. The archive holds the two files and nothing else, but for what an export says about checks.
func unpackLog(data []byte) (*cook.Log, error) {
	files, err := filesOfLog(data)
	if err != nil {
		return nil, err
	}
	var described []byte
	if err := unpackFile(files[cook.LogCookFile], func(r io.Reader) error {
		described, err = io.ReadAll(r)
		return err
	}); err != nil {
		return nil, err
	}
	c, err := cook.DecodeCook(described)
	if err != nil {
		return nil, problem.Bad("%s: %s", cook.LogCookFile, problem.ClipTo(err.Error(), 2000))
	}
	readings, err := unpackReadings(files[cook.LogReadingsFile])
	if err != nil {
		return nil, err
	}
	if len(readings) == 0 {
		return nil, problem.Bad("%s has no readings: there is nothing to keep", cook.LogReadingsFile)
	}
	return &cook.Log{Cook: *c, Readings: readings}, nil
}

// filesOfLog finds the two files.
func filesOfLog(data []byte) (map[string]*zip.File, error) {
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, problem.Bad("the body is not a zip archive: pack %s and %s into one", cook.LogCookFile, cook.LogReadingsFile)
	}
	out := map[string]*zip.File{}
	for _, f := range archive.File {
		if f.Name == cook.LogChecksFile {
			continue // the checks stand in the records of the shop that made them
		}
		if out[f.Name] != nil || (f.Name != cook.LogCookFile && f.Name != cook.LogReadingsFile) {
			return nil, problem.Bad("the archive holds %s: pack %s and %s, each once and without a folder", problem.Clip(f.Name), cook.LogCookFile, cook.LogReadingsFile)
		}
		out[f.Name] = f
	}
	if len(out) != 2 {
		return nil, problem.Bad("the archive lacks a file: pack %s and %s", cook.LogCookFile, cook.LogReadingsFile)
	}
	return out, nil
}

// unpackReadings counts the rows before it reads them: a small archive may hold very many.
func unpackReadings(f *zip.File) (readings []cook.Reading, err error) {
	rows := 0
	if err := unpackFile(f, func(r io.Reader) error {
		rows, err = countLines(r)
		return err
	}); err != nil {
		return nil, err
	}
	if rows > maxRows {
		return nil, problem.New(http.StatusRequestEntityTooLarge, "Too large", fmt.Sprintf("%s has more than %d rows: split the log", f.Name, maxRows))
	}
	err = unpackFile(f, func(r io.Reader) error {
		readings, err = cook.ReadReadings(r, rows)
		return err
	})
	return readings, err
}

func countLines(r io.Reader) (int, error) {
	n := 0
	buf := make([]byte, 32<<10)
	for {
		k, err := r.Read(buf)
		n += bytes.Count(buf[:k], []byte("\n"))
		if errors.Is(err, io.EOF) {
			return n, nil
		}
		if err != nil {
			return n, err
		}
	}
}

func unpackFile(f *zip.File, read func(io.Reader) error) error {
	limit := int64(maxUnpacked)
	if f.Name == cook.LogCookFile {
		limit = maxDescribed
	}
	opened, err := f.Open()
	if err != nil {
		return problem.Bad("%s cannot be unpacked: pack it again", f.Name)
	}
	defer opened.Close() // reads only: what matters comes from Read
	err = read(http.MaxBytesReader(nil, opened, limit))
	var large *http.MaxBytesError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &large):
		return problem.New(http.StatusRequestEntityTooLarge, "Too large", fmt.Sprintf("%s unpacks to more than %d bytes: split the log", f.Name, limit))
	}
	return problem.Bad("%s: %s", f.Name, problem.ClipTo(err.Error(), 300))
}
