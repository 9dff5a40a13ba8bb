package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"mime/quotedprintable"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/notify"
	"stallkeeper/internal/notify/smtptest"
	"stallkeeper/internal/record"
	"stallkeeper/internal/signer"
	"stallkeeper/internal/store"
)

// office is the books over a real store, with a clock that stands until it is set.
type office struct {
	*books
	t     *testing.T
	dir   string
	at    time.Time
	heard []record.Checkpoint
}

func newOffice(t *testing.T) *office {
	o := &office{t: t, dir: t.TempDir(), at: time.Date(2026, 5, 2, 18, 0, 0, 0, time.UTC)}
	o.open()
	t.Cleanup(func() { o.must(o.DB.Close()) })
	return o
}

func (o *office) must(err error) {
	o.t.Helper()
	if err != nil {
		o.t.Fatal(err)
	}
}

func (o *office) open() {
	o.t.Helper()
	log := slog.New(slog.NewTextHandler(o.t.Output(), nil))
	now := func() time.Time { return o.at }
	db, err := store.Open(o.t.Context(), filepath.Join(o.dir, store.FileName), store.Options{Log: log, Now: now})
	o.must(err)
	o.books, err = openBooks(o.t.Context(), db, o.dir, log, now)
	o.must(err)
	o.publish = func(topic string, payload []byte) {
		var c record.Checkpoint
		if err := json.Unmarshal(payload, &c); err != nil || topic != checkpointTopic {
			o.t.Errorf("published %s to %s", payload, topic)
		}
		o.heard = append(o.heard, c)
	}
}

func (o *office) reopen() {
	o.t.Helper()
	o.must(o.DB.Close())
	o.open()
}

// pass lets time go by and does what is due.
func (o *office) pass(d time.Duration) {
	o.t.Helper()
	o.at = o.at.Add(d)
	o.must(o.turn(o.t.Context()))
}

func (o *office) note(text string) {
	o.t.Helper()
	_, err := o.Append(o.t.Context(), record.Draft{Maker: record.Maker{By: "KM", Auth: record.AuthSaid}, Body: record.Note{Text: text}})
	o.must(err)
}

func (o *office) mustBeGood(trust record.PublicKey, outside ...record.Checkpoint) *record.Report {
	o.t.Helper()
	r, err := store.VerifyRecords(o.t.Context(), filepath.Join(o.dir, store.FileName), store.VerifyOptions{Trust: trust, Outside: outside, Readings: true})
	o.must(err)
	if !r.Good() {
		o.t.Fatalf("findings: %v", r.Findings)
	}
	return r
}

// Within an hour of an entry a checkpoint covers it and is published; where nothing happens none is made.
func TestBooks_SignEveryHourInWhichSomethingHappened(t *testing.T) {
	o := newOffice(t)
	o.note("one")
	o.pass(30 * time.Minute)
	if len(o.heard) != 0 {
		t.Errorf("%d checkpoints after half an hour, want none", len(o.heard))
	}
	o.pass(30 * time.Minute)
	if len(o.heard) != 1 || o.heard[0].Seq != 2 {
		t.Fatalf("checkpoints after an hour: %+v", o.heard)
	}
	o.pass(time.Hour)
	for range 360 { // an idle hour, as often as Run looks
		o.pass(lookEvery)
	}
	if len(o.heard) != 1 {
		t.Errorf("an unchanged checkpoint was published %d times", len(o.heard))
	}
	if list, err := o.Checkpoints(t.Context(), 9); err != nil || len(list) != 2 { // that of the key, and that of the note
		t.Errorf("%d checkpoints in the store, %v, want 2", len(list), err)
	}
	o.mustBeGood(o.keys.Public(), o.heard...)
}

// The day's checkpoint is mailed once, after its hour, again while the server is down; what was mailed is read back.
func TestBooks_MailTheDaysCheckpoint(t *testing.T) {
	server, err := smtptest.Start()
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = server.Down() }()
	addr := netip.MustParseAddrPort(server.Addr())
	o := newOffice(t)
	o.mailAt = 20 * time.Hour
	o.mail = map[string]notify.Sender{"mail": notify.NewEmail(notify.EmailOptions{Host: addr.Addr().String(), Port: int(addr.Port()), Security: notify.Plain,
		From: "smoker@example.org", To: []string{"office@example.org"}, Zone: time.UTC, Limit: 5 * time.Second})}
	o.note("one")
	o.pass(time.Hour) // 19:00
	o.must(server.Down())
	o.at = o.at.Add(time.Hour)
	if err := o.turn(t.Context()); err == nil {
		t.Error("the server is down, and nobody says so")
	}
	o.must(server.Up())
	o.pass(time.Minute)
	o.pass(time.Minute)
	if n := len(server.Letters()); n != 1 {
		t.Fatalf("%d letters, want 1", n)
	}
	o.pass(24 * time.Hour)
	letters := server.Letters()
	if len(letters) != 2 {
		t.Fatalf("%d letters after a day, want 2", len(letters))
	}
	text, err := io.ReadAll(quotedprintable.NewReader(strings.NewReader(letters[0].Body)))
	if err != nil {
		t.Fatal(err)
	}
	_, line, found := strings.Cut(string(text), "\n{")
	if !found {
		t.Fatalf("letter without checkpoint: %s", text)
	}
	line, _, _ = strings.Cut("{"+line, "\n")
	var kept record.Checkpoint
	if err := json.Unmarshal([]byte(strings.TrimSpace(line)), &kept); err != nil || kept.Check() != nil || kept.Seq != 2 {
		t.Errorf("mailed %s: %v", line, err)
	}
	o.mustBeGood(o.keys.Public(), kept)
}

// letterbox takes letters, or refuses them while it is shut.
type letterbox struct {
	shut  bool
	tried int
	took  int
}

func (l *letterbox) Send(context.Context, notify.Message) error {
	if l.tried++; l.shut {
		return errors.New("shut")
	}
	l.took++
	return nil
}

// A path that is down neither has the others mailed again and again, nor is it tried at every look.
func TestBooks_OnePathThatIsDownDoesNotRepeatTheOthers(t *testing.T) {
	o := newOffice(t)
	good, bad := &letterbox{}, &letterbox{shut: true}
	o.mail = map[string]notify.Sender{"a-down": bad, "b-up": good}
	o.note("one")
	for range 12 { // two minutes
		o.at = o.at.Add(lookEvery)
		if err := o.turn(t.Context()); err == nil {
			t.Fatal("a path is down, and nobody says so")
		}
	}
	if good.took != 1 || bad.tried != 2 {
		t.Errorf("%d letters by the path that works, %d tries by the other; want 1 and 2", good.took, bad.tried)
	}
	bad.shut = false
	o.pass(mailAgain)
	o.pass(mailAgain)
	if good.took != 1 || bad.took != 1 {
		t.Errorf("%d and %d letters, want one each", good.took, bad.took)
	}
}

// A change of key that a kill interrupts at any step is taken up, and both keys verify.
func TestBooks_ChangeOfKeySurvivesAKill(t *testing.T) {
	for _, step := range []string{"prepared", "entered", "changed"} {
		o := newOffice(t)
		old := o.keys.Public()
		o.must(o.keys.Prepare())
		next := signer.PublicOf(o.keys.Next)
		if step != "prepared" {
			_, err := o.Append(t.Context(), record.Draft{Maker: record.Maker{By: "KM", Auth: record.AuthSaid}, Body: record.NewKey(o.keys.Next, o.keys.Current)})
			o.must(err)
		}
		if step == "changed" {
			o.must(o.keys.Change())
		}
		o.reopen()
		if want := map[bool]record.PublicKey{true: old, false: next}[step == "prepared"]; !o.keys.Public().Equal(want) {
			t.Errorf("%s: key %s, want %s", step, o.keys.Public().ID(), want.ID())
		}
		o.note("after")
		if _, err := o.ChangeKey(t.Context(), record.Maker{By: "KM", Auth: record.AuthSaid}); err != nil {
			t.Errorf("%s: change: %v", step, err)
		}
		o.mustBeGood(old)
		o.mustBeGood(o.keys.Public())
	}
}

// A key that was lost is replaced, and who trusts the old one is told. Without a usable key the journal goes on unsigned.
func TestBooks_LostAndUnusableKey(t *testing.T) {
	o := newOffice(t)
	old := o.keys.Public()
	o.note("one")
	o.must(os.Remove(filepath.Join(o.dir, signer.KeyFile)))
	o.reopen()
	o.note("two")
	o.pass(time.Hour)
	o.mustBeGood(o.keys.Public())
	r, err := store.VerifyRecords(t.Context(), filepath.Join(o.dir, store.FileName), store.VerifyOptions{Trust: old})
	o.must(err)
	if r.Good() || !strings.Contains(r.Findings[0].Problem, "not signed by the key before it") {
		t.Errorf("trusting the old key: %v", r.Findings)
	}
	o.must(os.Chmod(filepath.Join(o.dir, signer.KeyFile), 0o644))
	o.reopen()
	o.note("three")
	o.pass(time.Hour)
	if _, err := o.Checkpoint(t.Context()); !errors.Is(err, cook.ErrConflict) || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("checkpoint without a usable key: %v", err)
	}
}
