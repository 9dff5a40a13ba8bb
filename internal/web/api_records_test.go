package web

import (
	"context"
	"crypto/ed25519"
	"encoding/json"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/export"
	"stallkeeper/internal/record"
	"stallkeeper/internal/store"
)

// testBooks are the records of a real store, signed by a key of its own.
type testBooks struct {
	*store.DB
	key ed25519.PrivateKey
	o   *Options
}

func withBooks(t testing.TB) func(*Options) {
	return func(o *Options) {
		db, err := store.Open(t.Context(), filepath.Join(t.TempDir(), store.FileName), store.Options{Log: slog.New(slog.DiscardHandler), Now: o.Now})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := db.Close(); err != nil {
				t.Error(err)
			}
		})
		b := &testBooks{db, ed25519.NewKeyFromSeed([]byte(strings.Repeat("k", ed25519.SeedSize))), o}
		if _, err := db.Append(t.Context(), record.Draft{By: "daemon", Auth: record.AuthDaemon, Body: record.NewKey(b.key, nil)}); err != nil {
			t.Fatal(err)
		}
		o.Records, o.Documents, o.KeepYears = b, testDocuments{b}, 2
	}
}

func (b *testBooks) Checkpoint(ctx context.Context) (record.Checkpoint, error) {
	return b.DB.Checkpoint(ctx, b.key, b.o.Now())
}

func (b *testBooks) Export(ctx context.Context, lot cook.LotID) (*record.Export, error) {
	if _, err := b.Checkpoint(ctx); err != nil {
		return nil, err
	}
	return b.ExportRecords(ctx, lot)
}

// testDocuments writes a lot out as the daemon does.
type testDocuments struct{ b *testBooks }

func (d testDocuments) Document(ctx context.Context, lot cook.LotID, format string) ([]byte, error) {
	a, err := export.Gather(ctx, d.b, lot, d.b.o.Location)
	if err != nil {
		return nil, err
	}
	switch format {
	case "pdf":
		return export.PDF(a)
	case "csv":
		return export.CSV(a)
	}
	return a.JSON, nil
}

func (b *testBooks) ChangeKey(ctx context.Context, by string, auth record.Auth) (record.Entry, error) {
	next := ed25519.NewKeyFromSeed([]byte(strings.Repeat("n", ed25519.SeedSize)))
	entries, err := b.Append(ctx, record.Draft{By: by, Auth: auth, Body: record.NewKey(next, b.key)})
	if err != nil {
		return record.Entry{}, err
	}
	b.key = next
	return entries[0], nil
}

// recordCalls are the story of a lot in the order of the contract's test.
var recordCalls = []call{
	{golden: "lot-opened", method: "POST", path: v1 + "/lots", status: 201,
		body: `{"product":"Cured brisket","class":"refrigerated","pieces":[{"id":"flat","cut":"brisket_flat_cured","intact":true}],"by":"KM"}`},
	{method: "POST", path: v1 + "/lots", body: `{"id":"m1","product":"x","by":"KM","at":"2026-11-20T08:00:00Z"}`, status: 201},
	{golden: "lot-twice", method: "POST", path: v1 + "/lots", body: `{"id":"m1","product":"x","by":"KM"}`, status: 409},
	{method: "POST", path: v1 + "/lots", body: `{"id":"m 1","product":"x","by":"KM"}`, status: 400, undocumentedIn: true},
	{golden: "record-made", method: "POST", path: v1 + "/records", status: 201,
		body: `{"lot":"m1","kind":"weighed","body":{"when":"raw","mass_kg":3.40,"instrument":"floor scale"},"by":"KM","at":"2026-11-20T08:05:00Z"}`},
	{golden: "record-negative", method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"weighed","body":{"when":"raw","mass_kg":-3},"by":"KM"}`, status: 400},
	{golden: "record-unknown-key", method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"txt":"x"},"by":"KM"}`, status: 400},
	{golden: "record-unknown-kind", method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"wish","body":{},"by":"KM"}`, status: 400, undocumentedIn: true},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m9","kind":"note","body":{"text":"x"},"by":"KM"}`, status: 404},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"text":"x"}}`, status: 400},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"daemon"}`, status: 400},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"KM","pin":"1234"}`, status: 400},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"m1","kind":"stage-started","body":{"stage":"smoke","probes":["flat"],"cook":7},"by":"KM","at":"2026-11-26T02:00:00Z"}`},
	{method: "POST", path: v1 + "/records", status: 201,
		body: `{"kind":"probe-checked","body":{"instrument":"flat","method":"ice","points":[{"true_c":0,"read_c":0.3}],"tolerance_k":1,"passed":true},"by":"KM","at":"2026-11-25T08:00:00Z"}`},
	{golden: "record-monitoring", method: "POST", path: v1 + "/records", status: 201,
		body: `{"lot":"m1","kind":"monitoring","body":{"ccp":"3 smoking","limit":"71.2 °C","celsius":68.4,"instrument":"flat","verdict":"missed"},"by":"KM"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"m1","kind":"deviation","body":{"what":"68.4 °C at the end of smoking","ccp":"3 smoking"},"by":"KM"}`},
	{golden: "record-open-deviation", method: "POST", path: v1 + "/records", status: 409, body: `{"lot":"m1","kind":"pre-shipment-review","body":{"ship":true},"by":"ST"}`},
	{method: "POST", path: v1 + "/records", status: 201,
		body: `{"lot":"m1","kind":"corrective-action","body":{"deviation":8,"cause":"fire went low","control_restored":"fed, cooked on to 71.5 °C","prevention":"alarm at 95 °C","disposition":"reworked"},"by":"KM"}`},
	{golden: "record-own-review", method: "POST", path: v1 + "/records", status: 409, body: `{"lot":"m1","kind":"pre-shipment-review","body":{"ship":true},"by":"km"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"m1","kind":"pre-shipment-review","body":{"ship":true},"by":"ST"}`},
	{golden: "lots", method: "GET", path: v1 + "/lots?running=true&limit=1", status: 200},
	{golden: "lot", method: "GET", path: v1 + "/lots/m1", template: v1 + "/lots/{lot}", status: 200},
	{method: "GET", path: v1 + "/lots/m9", template: v1 + "/lots/{lot}", status: 404},
	{golden: "records", method: "GET", path: v1 + "/records?lot=m1&kind=weighed&kind=deviation", status: 200},
	{golden: "records-page", method: "GET", path: v1 + "/records?newest=true&limit=1&before=3", status: 200},
	{method: "GET", path: v1 + "/records?kind=wish&after=0", status: 400, undocumentedIn: true},
	{golden: "record", method: "GET", path: v1 + "/records/3", template: v1 + "/records/{seq}", status: 200},
	{method: "GET", path: v1 + "/records/999", template: v1 + "/records/{seq}", status: 404},
	{golden: "checkpoint", method: "POST", path: v1 + "/records/checkpoints", status: 200},
	{method: "GET", path: v1 + "/records/checkpoints?limit=3", status: 200},
	{golden: "records-export", method: "GET", path: v1 + "/records/export?lot=m1", status: 200},
	{method: "GET", path: v1 + "/records/export?lot=m9", status: 404},
	{method: "GET", path: v1 + "/lots/m1/export?format=pdf", template: v1 + "/lots/{lot}/export", status: 200},
	{golden: "lot-csv", method: "GET", path: v1 + "/lots/m1/export?format=csv", template: v1 + "/lots/{lot}/export", status: 200},
	{golden: "records-export", method: "GET", path: v1 + "/lots/m1/export?format=json", template: v1 + "/lots/{lot}/export", status: 200},
	{method: "GET", path: v1 + "/lots/m9/export?format=pdf", template: v1 + "/lots/{lot}/export", status: 404},
	{method: "GET", path: v1 + "/lots/m1/export?format=doc", template: v1 + "/lots/{lot}/export", status: 400, undocumentedIn: true},
	{method: "POST", path: v1 + "/records/key", body: `{"by":"KM"}`, status: 201},
	{golden: "records-key", method: "GET", path: v1 + "/records/key", status: 200},
}

// Initials and PIN sign; a login whose person has initials signs with them; neither is refused where people are set up.
func TestRecords_WhoSigns(t *testing.T) {
	hash := func(s string) string {
		h, err := bcrypt.GenerateFromPassword([]byte(s), minCost)
		if err != nil {
			t.Fatal(err)
		}
		return string(h)
	}
	people := func(o *Options) {
		withBooks(t)(o)
		o.People = []Person{{Initials: "KM", Name: "kim", PINHash: hash("4711")}, {Initials: "ST", PINHash: hash("0815")}}
	}
	open := newServer(t, newShelf(t), people)
	post := func(s *Server, body, user string) (int, record.Entry) {
		r := request("POST", v1+"/lots", body)
		if strings.Contains(body, "kind") {
			r = request("POST", v1+"/records", body)
		}
		if user != "" {
			r.SetBasicAuth(user, "a long password")
		}
		w := send(s, r)
		var e record.Entry
		if w.Code == 201 {
			if err := json.Unmarshal(w.Body.Bytes(), &e); err != nil {
				t.Fatal(err)
			}
		}
		return w.Code, e
	}
	if code, _ := post(open, `{"id":"m1","product":"x","by":"KM","pin":"4711"}`, ""); code != 201 {
		t.Fatalf("right PIN: %d", code)
	}
	note := `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"%s","pin":"%s"}`
	if code, e := post(open, fmt.Sprintf(note, "st", "0815"), ""); code != 201 || e.By != "ST" || e.Auth != record.AuthPIN {
		t.Errorf("right PIN: %d, %+v", code, e)
	}
	for _, wrong := range []string{fmt.Sprintf(note, "ST", "4711"), fmt.Sprintf(note, "XX", "4711"), fmt.Sprintf(note, "", "4711"), `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"KM"}`} {
		if code, _ := post(open, wrong, ""); code != 403 {
			t.Errorf("%s: %d, want 403", wrong, code)
		}
	}
	for range maxFailures { // guessing is slowed down
		post(open, fmt.Sprintf(note, "ST", "0000"), "")
	}
	if code, _ := post(open, fmt.Sprintf(note, "ST", "0815"), ""); code != 429 {
		t.Errorf("after %d wrong PINs: %d, want 429", maxFailures, code)
	}
	closed := newServer(t, newShelf(t), func(o *Options) {
		people(o)
		o.Users = []User{{Name: "kim", Level: Manage, Hash: hash("a long password")}, {Name: "visitor", Level: Work, Hash: hash("a long password")}}
	})
	post(closed, `{"id":"m1","product":"x"}`, "kim")
	if code, e := post(closed, `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"somebody else"}`, "kim"); code != 201 || e.By != "KM" || e.Auth != record.AuthLogin {
		t.Errorf("login: %d, %+v", code, e)
	}
	if code, e := post(closed, `{"lot":"m1","kind":"note","body":{"text":"x"}}`, "visitor"); code != 201 || e.By != "visitor" || e.Auth != record.AuthLogin {
		t.Errorf("login without initials: %d, %+v", code, e)
	}
}

// What is too large is refused before it is read.
func TestRecords_RefusesAMegabyte(t *testing.T) {
	s := newServer(t, newShelf(t), withBooks(t))
	body := `{"id":"m1","product":"` + strings.Repeat("x", 1<<20) + `","by":"KM"}`
	mustProblem(t, send(s, request("POST", v1+"/lots", body)), 413)
	body = `{"id":"m1","product":"` + strings.Repeat("x", 900<<10) + `","by":"KM"}`
	mustProblem(t, send(s, request("POST", v1+"/lots", body)), 400)
}
