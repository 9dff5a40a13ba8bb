package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

func says(lot cook.LotID, body record.Body) record.Draft {
	return record.Draft{Lot: lot, Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: body}
}

func (s *shop) mustAppend(t testing.TB, drafts ...record.Draft) []record.Entry {
	t.Helper()
	entries, err := s.Append(t.Context(), drafts...)
	if err != nil {
		t.Fatal(err)
	}
	return entries
}

func TestAppend_KeepsAllOrNothing(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	s.mustAppend(t, says("m1", record.Opened{Product: "brisket"}), says("m1", record.Weighed{When: record.WhenRaw, MassKg: 3}))
	if _, err := s.Append(t.Context(), says("m1", record.Note{Text: "good"}), says("m1", record.Weighed{When: record.WhenRaw, MassKg: -3})); !errors.Is(err, record.ErrDraft) {
		t.Errorf("negative weight: %v, want ErrDraft", err)
	}
	if _, err := s.Append(t.Context(), says("m2", record.Note{Text: "good"})); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("unknown lot: %v, want ErrNotFound", err)
	}
	all, err := s.Entries(t.Context(), record.Query{})
	if err != nil || len(all) != 2 || all[1].Prev != all[0].Hash || all[1].Link().Hash() != all[1].Hash {
		t.Fatalf("entries = %+v, %v", all, err)
	}
	lot, err := s.Lot(t.Context(), "m1")
	if err != nil || lot.Weights[0].Body.MassKg != 3 {
		t.Fatalf("lot = %+v, %v", lot, err)
	}
}

func TestJournal_IsNeverChanged(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	s.mustAppend(t, says("m1", record.Opened{Product: "brisket"}))
	for _, statement := range []string{"update journal set who = 'XX'", "delete from journal", "insert or replace into journal select * from journal",
		"insert into journal select 9, lot, kind, at, entered, who, auth, body, corrects, reason, prev, hash from journal"} {
		if _, err := s.writer.Exec(statement); err == nil {
			t.Errorf("%s: done", statement)
		}
	}
}

// The last check of an instrument stands in what it measured.
func TestAppend_NotesTheLastCheck(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	s.mustAppend(t, says("m1", record.Opened{Product: "brisket"}))
	celsius := thermal.Celsius(71.2)
	looked := says("m1", record.Monitoring{Celsius: &celsius, Instrument: "pen 2", Verdict: record.Met})
	if m := mustDecode[*record.Monitoring](t, s.mustAppend(t, looked)[0]); m.LastCheck != 0 || !m.CheckedAt.IsZero() {
		t.Errorf("last check = %d at %v, want none", m.LastCheck, m.CheckedAt)
	}
	check := says("", record.ProbeChecked{Instrument: "pen 2", Method: "ice", Points: []record.CheckPoint{{True: 0, Read: 0.2}}, Passed: true})
	check.At = epoch.Add(-time.Hour)
	done := s.mustAppend(t, check)[0]
	if m := mustDecode[*record.Monitoring](t, s.mustAppend(t, looked)[0]); m.LastCheck != done.Seq || !m.CheckedAt.Equal(check.At) {
		t.Errorf("last check = %d at %v, want %d at %v", m.LastCheck, m.CheckedAt, done.Seq, check.At)
	}
}

func mustDecode[T record.Body](t testing.TB, e record.Entry) T {
	t.Helper()
	body, err := e.Decode()
	if err != nil {
		t.Fatal(err)
	}
	return body.(T)
}

func TestEntries_ArePaged(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	for _, lot := range []cook.LotID{"a", "b", "c"} {
		s.mustAppend(t, says(lot, record.Opened{Product: "brisket"}), says(lot, record.Note{Text: "one"}), says(lot, record.Note{Text: "two"}))
	}
	s.mustAppend(t, says("b", record.Closed{}))
	b := cook.LotID("b")
	for name, c := range map[string]struct {
		q    record.Query
		want []int64
	}{
		"lot":    {record.Query{Lot: &b}, []int64{4, 5, 6, 10}},
		"kind":   {record.Query{Kinds: []record.Kind{record.KindOpened, record.KindClosed}}, []int64{1, 4, 7, 10}},
		"page":   {record.Query{After: 3, Limit: 2}, []int64{4, 5}},
		"newest": {record.Query{Newest: true, Limit: 2}, []int64{10, 9}},
		"older":  {record.Query{Newest: true, After: 3, Limit: 9}, []int64{2, 1}},
		"time":   {record.Query{To: epoch}, nil},
	} {
		got, err := s.Entries(t.Context(), c.q)
		if err != nil {
			t.Fatal(err)
		}
		var seqs []int64
		for _, e := range got {
			seqs = append(seqs, e.Seq)
		}
		if len(seqs) != len(c.want) || (len(seqs) > 0 && (seqs[0] != c.want[0] || seqs[len(seqs)-1] != c.want[len(c.want)-1])) {
			t.Errorf("%s: %v, want %v", name, seqs, c.want)
		}
	}
	lots, next, err := s.Lots(t.Context(), 0, 2, false)
	if err != nil || len(lots) != 2 || lots[0].ID != "c" || next != 4 {
		t.Errorf("first page = %v, next %d, %v", lots, next, err)
	}
	if lots, next, err = s.Lots(t.Context(), next, 2, false); err != nil || len(lots) != 1 || lots[0].ID != "a" || next != 0 {
		t.Errorf("second page = %v, next %d, %v", lots, next, err)
	}
	if lots, _, err = s.Lots(t.Context(), 0, 9, true); err != nil || len(lots) != 2 {
		t.Errorf("running = %v, %v", lots, err)
	}
}

// Whether an entry is corrected is asked of each of thousands: without its index that reads the whole of the shop's entries every time.
func TestJournal_CorrectionsAreFoundByTheirIndex(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	var id, parent, unused int
	var plan string
	err := s.reader.QueryRowContext(t.Context(), `explain query plan select 1 from journal c where c.corrects = 7 and c.lot = ''`).Scan(&id, &parent, &unused, &plan)
	if err != nil || !strings.Contains(plan, "journal_by_correction") {
		t.Errorf("plan %q, %v, want the index journal_by_correction", plan, err)
	}
}
