package store

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

func keyOf(letter byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{letter}, ed25519.SeedSize))
}

func publicOf(k ed25519.PrivateKey) record.PublicKey {
	return record.PublicKey(k.Public().(ed25519.PublicKey))
}

// recordedShop is a closed database with a short journal of two lots, readings of five hours with a gap, their seals and checkpoints.
func recordedShop(t testing.TB) string {
	t.Helper()
	path := fileOf(t)
	s := mustOpen(t, path)
	key := keyOf('a')
	s.mustAppend(t, record.Draft{Maker: record.Maker{By: "daemon", Auth: record.AuthDaemon}, Body: record.NewKey(key, nil)})
	celsius := thermal.Celsius(71.2)
	s.mustAppend(t, says("m1", record.Opened{Product: "cured brisket", Pieces: []record.Piece{{ID: "flat", Intact: true}}}),
		says("m1", record.StageStarted{Stage: cook.StageSmoke, Piece: "flat", Probes: []cook.ProbeID{"core"}}),
		says("m2", record.Opened{Product: "pastrami"}))
	for hour := range 5 {
		for minute := 0; minute < 60 && hour != 2; minute += 10 {
			s.mustPut(t, reading("core", 3600*hour+60*minute, thermal.Celsius(20+hour)+thermal.Celsius(minute)/64), reading("pit", 3600*hour+60*minute, 107))
		}
	}
	s.mustPut(t, cook.Reading{Probe: "core", Time: epoch.Add(5 * time.Minute), Celsius: -127, Quality: cook.Open, Clock: cook.ArrivalClock, Arrived: epoch.Add(5 * time.Minute)})
	s.mustSeal(t, epoch.Add(4*time.Hour+20*time.Minute), 6) // three hours of two probes; the fifth is not over
	s.mustSign(t, key, epoch.Add(4*time.Hour+20*time.Minute))
	s.mustAppend(t, says("m1", record.Monitoring{ControlPoint: record.ControlPoint{CCP: "3 smoking", Limit: "71.2 °C", Piece: "flat"}, Celsius: &celsius, Instrument: "core", Verdict: record.Met}),
		says("m2", record.Note{Text: "the other one"}))
	s.mustSign(t, key, epoch.Add(5*time.Hour))
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	return path
}

func (s *shop) mustSeal(t testing.TB, now time.Time, want int) {
	t.Helper()
	if n, err := s.SealHours(t.Context(), now); err != nil || n != want {
		t.Fatalf("SealHours(%v) = %d, %v, want %d", now, n, err, want)
	}
}

func (s *shop) mustSign(t testing.TB, key ed25519.PrivateKey, now time.Time) record.Checkpoint {
	t.Helper()
	c, err := s.Checkpoint(t.Context(), key, now)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func mustVerify(t testing.TB, path string, o VerifyOptions) *record.Report {
	t.Helper()
	r, err := VerifyRecords(t.Context(), path, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestVerifyRecords_WholeDatabase(t *testing.T) {
	path := recordedShop(t)
	r := mustVerify(t, path, VerifyOptions{Trust: publicOf(keyOf('a')), Readings: true})
	if !r.Good() || !r.Trusted || r.Entries != 6 || r.Seals != 6 || r.Checkpoints != 2 || r.Covered != 6 {
		t.Errorf("report = %+v", r)
	}
	if r := mustVerify(t, path, VerifyOptions{Trust: publicOf(keyOf('b'))}); r.Good() {
		t.Error("a strange key is trusted")
	}
}

// spoiler changes a closed database behind the triggers, each time on a copy of it in a transaction.
type spoiler struct {
	t    *testing.T
	db   *sql.DB
	path string
}

func newSpoiler(t *testing.T, path string) *spoiler {
	db, err := sql.Open("sqlite3", fileURI(path, nil))
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	t.Cleanup(func() { db.Close() })
	s := &spoiler{t, db, path}
	for _, table := range []string{"journal", "seals", "checkpoints", "readings"} {
		for _, name := range []string{"stay", "stand", "grow", "grows"} {
			s.exec(db, "drop trigger if exists "+table+"_"+name)
		}
	}
	return s
}

type execer interface {
	ExecContext(context.Context, string, ...any) (sql.Result, error)
}

func (s *spoiler) exec(db execer, query string, args ...any) {
	s.t.Helper()
	if _, err := db.ExecContext(s.t.Context(), query, args...); err != nil {
		s.t.Fatalf("%s: %v", query, err)
	}
}

// found does something to the database, verifies, and undoes it.
func (s *spoiler) found(readings bool, do func(tx *sql.Tx)) *record.Report {
	s.t.Helper()
	tx, err := s.db.BeginTx(s.t.Context(), nil)
	if err != nil {
		s.t.Fatal(err)
	}
	defer tx.Rollback()
	do(tx)
	r, err := verifyTables(s.t.Context(), tx, s.path, VerifyOptions{Trust: publicOf(keyOf('a')), Readings: readings})
	if err != nil {
		s.t.Fatal(err)
	}
	return r
}

// Every byte of every column of every entry, each flipped in one bit: it is found, and the entry is named.
func TestVerifyRecords_AnyByteOfAnyEntry(t *testing.T) {
	s := newSpoiler(t, recordedShop(t))
	rng := rand.New(rand.NewPCG(1, 2))
	flips := 0
	for seq := int64(1); seq <= 6; seq++ {
		for _, column := range []string{"seq", "lot", "kind", "at", "entered", "who", "auth", "body", "corrects", "reason", "prev", "hash"} {
			var v any
			if err := s.db.QueryRow("select "+column+" from journal where seq = ?", seq).Scan(&v); err != nil {
				t.Fatal(err)
			}
			for _, spoiled := range flipped(v, rng) {
				if n, ok := spoiled.(int64); ok && column == "seq" && n >= 1 && n <= 6 { // the table takes each number once
					continue
				}
				flips++
				r := s.found(false, func(tx *sql.Tx) {
					s.exec(tx, "update journal set "+column+" = ? where seq = ?", spoiled, seq)
				})
				named := !r.Good() && (r.Findings[0].Number == seq || r.Findings[0].Number == seq+1 && column == "hash" || column == "seq")
				if !named {
					t.Fatalf("entry %d, %s %q to %q: %v", seq, column, v, spoiled, r.Findings)
				}
			}
		}
	}
	t.Logf("%d flips", flips)
}

// flipped gives a value with one bit changed in each of its bytes.
func flipped(v any, rng *rand.Rand) []any {
	var out []any
	switch v := v.(type) {
	case int64:
		for i := range 7 { // the eighth byte would leave the times that can be written
			out = append(out, v^1<<(8*i+rng.IntN(8)))
		}
	case string:
		for i := range len(v) {
			b := []byte(v)
			b[i] ^= 1 << rng.IntN(8)
			out = append(out, string(b))
		}
	case []byte:
		for i := range v {
			b := slices.Clone(v)
			b[i] ^= 1 << rng.IntN(8)
			out = append(out, b)
		}
	}
	return out
}

func TestVerifyRecords_WhatSomebodyDoesToTheTables(t *testing.T) {
	s := newSpoiler(t, recordedShop(t))
	for name, c := range map[string]struct {
		do       string
		readings bool
		says     string
	}{
		"delete":              {"delete from journal where seq = 4", false, "entry 4: it is missing"},
		"delete and close up": {"delete from journal where seq = 4; update journal set seq = seq - 1 where seq > 4", false, "entry 4: its content was changed"},
		"insert": {"insert into journal select 7, lot, kind, at, entered, who, auth, body, corrects, reason, prev, hash from journal where seq = 6", false,
			"entry 7: its content was changed"},
		"insert between": {"update journal set seq = -seq where seq > 3; update journal set seq = 1 - seq where seq < 0; insert into journal select 4, lot, kind, at, entered, who, auth, body, corrects, reason, prev, hash from journal where seq = 3",
			false, "entry 4: its content was changed"},
		"reorder":              {"update journal set seq = -4 where seq = 4; update journal set seq = 4 where seq = 5; update journal set seq = 5 where seq = -4", false, "entry 4: its content was changed"},
		"truncate":             {"delete from journal where seq > 4", false, "entry 5: entries 5 to 6 are missing"},
		"seal deleted":         {"delete from seals where seq = 2", false, "seal 2: it is missing"},
		"seal changed":         {"update seals set count = 9 where seq = 2", false, "seal 2: its content was changed"},
		"seals truncated":      {"delete from seals where seq > 4", false, "seal 5: seals 5 to 6 are missing"},
		"checkpoint deleted":   {"delete from checkpoints where id = 1", false, "checkpoint 1: it is missing or moved"},
		"checkpoint changed":   {"update checkpoints set at = at + 1 where id = 2", false, "checkpoint 2: of"},
		"checkpoints deleted":  {"delete from checkpoints", false, "checkpoint: there is none"},
		"reading changed":      {"update readings set celsius = 99 where seq = 3", true, "they are not those that were sealed"},
		"reading deleted":      {"delete from readings where seq = 3", true, "readings: of core in the hour from 2026-05-02T18:00:00Z: 6 stand there, 7 were sealed"},
		"reading inserted":     {"update readings set seq = -seq where seq > 3; update readings set seq = 1 - seq where seq < 0; insert into readings select probe, time + 1, 4, celsius, quality, clock, retained, backlog, delay, device_seq, raw from readings where seq = 3", true, "readings: of core in the hour from 2026-05-02T18:00:00Z"},
		"reading put in":       {"update readings set seq = seq + 100 where seq > 20; insert into readings select probe, time + 1, 25, celsius, quality, clock, retained, backlog, delay, device_seq, raw from readings where seq = 3", true, "readings: of"},
		"hour deleted":         {"delete from readings where probe = 2 and time < " + fmt.Sprint(micros(epoch.Add(time.Hour))), true, "readings: of pit in the hour from 2026-05-02T18:00:00Z: all 6 are missing"},
		"quality":              {"update readings set quality = 0 where quality <> 0", true, "they are not those that were sealed"},
		"time of arrival":      {"update readings set delay = delay + 1 where seq = 3", true, "they are not those that were sealed"},
		"an hour that was not": {"update readings set time = time - 3600000000 * 24 where seq = 3", true, "put in beside"},
	} {
		r := s.found(c.readings, func(tx *sql.Tx) { s.exec(tx, c.do) })
		if !slices.ContainsFunc(r.Findings, func(f record.Finding) bool {
			return strings.HasPrefix(f.String(), c.says) || c.readings && strings.Contains(f.String(), c.says)
		}) {
			t.Errorf("%s: %v, want %s", name, r.Findings, c.says)
		}
	}
}

// Bytes of the file itself, within the pages that hold the journal: either it is found, or nothing of the entries changed.
func TestVerifyRecords_AnyByteOfTheFile(t *testing.T) {
	path := recordedShop(t)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	said := dumpJournal(t, path)
	var pages []int
	for at := 0; at < len(whole); at += 4096 {
		if page := whole[at : at+4096]; bytes.Contains(page, []byte("cured brisket")) && page[0] == 0x0d {
			pages = append(pages, at)
		}
	}
	if len(pages) == 0 {
		t.Fatal("no page holds the journal")
	}
	step := 11
	if os.Getenv("STALLKEEPER_SOAK") != "" {
		step = 1
	}
	copied := fileOf(t)
	rng := rand.New(rand.NewPCG(3, 4))
	found, tried := 0, 0
	for _, page := range pages {
		for at := page; at < page+4096; at += step {
			bad := slices.Clone(whole)
			bad[at] ^= 1 << rng.IntN(8)
			if err := os.WriteFile(copied, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			tried++
			r, err := VerifyRecords(t.Context(), copied, VerifyOptions{Trust: publicOf(keyOf('a'))})
			if err != nil && !errors.Is(err, ErrDamaged) {
				t.Fatalf("byte %d: %v", at, err)
			}
			if err != nil || !r.Good() {
				found++
			} else if dumpJournal(t, copied) != said {
				t.Fatalf("byte %d: the journal changed and nothing was found", at)
			}
		}
	}
	t.Logf("%d of %d flips found, the others change nothing", found, tried)
}

func dumpJournal(t testing.TB, path string) string {
	t.Helper()
	db, err := openBeside(path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query(journalColumns + "order by seq")
	if err != nil {
		return err.Error()
	}
	entries, err := collect(rows, scanEntry)
	return fmt.Sprintf("%v %v", entries, err)
}

// Readings that come late make a new seal that names the old one.
func TestSealHours_LateReadings(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	s.mustPut(t, reading("core", 0, 20), reading("core", 600, 21))
	s.mustSeal(t, epoch.Add(time.Hour+5*time.Minute), 0) // the hour still waits
	s.mustSeal(t, epoch.Add(time.Hour+10*time.Minute), 1)
	s.mustSeal(t, epoch.Add(time.Hour+20*time.Minute), 0)
	late := reading("core", 300, 20.5)
	late.Backlog, late.Arrived = true, epoch.Add(90*time.Minute)
	s.mustPut(t, late)
	if r := mustVerify(t, path, VerifyOptions{Readings: true}); !r.Good() {
		t.Errorf("before the late one is sealed: %v", r.Findings)
	}
	s.mustSeal(t, epoch.Add(2*time.Hour+10*time.Minute), 1)
	var seals []record.Seal
	if err := s.readTogether(t.Context(), "test", func(tx *sql.Tx) error {
		for line, err := range sealLines(t.Context(), tx, 1, 99) {
			if err != nil {
				return err
			}
			seals = append(seals, *line.Seal)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if len(seals) != 2 || seals[0].Count != 2 || seals[1].Count != 3 || seals[1].Replaces != 1 || *seals[1].Min != 20 || *seals[1].Max != 21 {
		t.Errorf("seals = %+v", seals)
	}
	if r := mustVerify(t, path, VerifyOptions{Readings: true}); !r.Good() {
		t.Errorf("after: %v", r.Findings)
	}
}

// A clock that was years ahead, as that of a board without a battery may be, and is put right: hours go on being sealed.
func TestSealHours_GoOnWhenTheClockWasPutBack(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	s.mustPut(t, reading("core", 0, 20))
	s.mustSeal(t, epoch.AddDate(5, 0, 0), 1)
	s.mustPut(t, reading("core", 3*3600, 21))
	s.mustSeal(t, epoch.Add(3*time.Hour+5*time.Minute), 0) // the hour is not over
	s.mustSeal(t, epoch.Add(4*time.Hour+10*time.Minute), 1)
	s.mustPut(t, reading("core", 4*3600, 22), reading("core", 60, 20)) // and one that is late
	s.mustSeal(t, epoch.Add(5*time.Hour+10*time.Minute), 2)
	s.mustSeal(t, epoch.Add(3*time.Hour), 0) // two hours back: what is sealed stays
	s.mustSeal(t, epoch.Add(5*time.Hour+10*time.Minute), 0)
	if r := mustVerify(t, path, VerifyOptions{Readings: true}); !r.Good() {
		t.Errorf("afterwards: %v", r.Findings)
	}
}

// The export of a lot made by a real store verifies alone, has the same bytes each time, and tells nothing of the other lot.
func TestExportRecords_OfALot(t *testing.T) {
	path := recordedShop(t)
	s := mustOpen(t, path)
	var first []byte
	for range 2 {
		x, err := s.ExportRecords(t.Context(), "m1")
		if err != nil {
			t.Fatal(err)
		}
		data, err := x.JSON()
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = data
		}
		if !bytes.Equal(data, first) || bytes.Contains(data, []byte("the other one")) {
			t.Fatalf("export = %s", data)
		}
		if x, err = record.ReadExport(data); err != nil {
			t.Fatal(err)
		}
		if r, err := x.Verify(publicOf(keyOf('a'))); err != nil || !r.Good() || !r.Trusted || r.Covered != 6 {
			t.Fatalf("report = %+v, %v", r, err)
		}
		shown := 0
		for _, l := range x.Seals {
			if l.Seal != nil {
				shown++
			}
		}
		if shown != 3 { // core's hours; the pit is not among the stage's probes
			t.Errorf("%d seals shown, want 3", shown)
		}
	}
	if _, err := s.ExportRecords(t.Context(), "m9"); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("unknown lot: %v", err)
	}
	all, err := s.ExportRecords(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	if r, err := all.Verify(nil); err != nil || !r.Good() || r.Entries != 6 || r.Seals != 6 {
		t.Errorf("everything: %+v, %v", r, err)
	}
}
