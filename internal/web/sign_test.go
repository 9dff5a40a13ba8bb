package web

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/record"
	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/web/webtest"
)

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
		webtest.Books(t)(&o.Shop)
		o.People = []Person{{Initials: "KM", Name: "kim", PINHash: hash("4711")}, {Initials: "ST", PINHash: hash("0815")}}
	}
	open := newServer(t, webtest.NewShelf(t), people)
	post := func(s *Server, body, user string) (int, record.Entry) {
		r := webtest.Request("POST", "/api/v1/lots", body)
		if strings.Contains(body, "kind") {
			r = webtest.Request("POST", "/api/v1/records", body)
		}
		if user != "" {
			r.SetBasicAuth(user, "a long password")
		}
		w := webtest.Send(s, r)
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
	closed := newServer(t, webtest.NewShelf(t), func(o *Options) {
		people(o)
		o.Users = []User{{Name: "kim", Level: visitor.Manage, Hash: hash("a long password")}, {Name: "visitor", Level: visitor.Work, Hash: hash("a long password")}}
	})
	post(closed, `{"id":"m1","product":"x"}`, "kim")
	if code, e := post(closed, `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"somebody else"}`, "kim"); code != 201 || e.By != "KM" || e.Auth != record.AuthLogin {
		t.Errorf("login: %d, %+v", code, e)
	}
	if code, e := post(closed, `{"lot":"m1","kind":"note","body":{"text":"x"}}`, "visitor"); code != 201 || e.By != "visitor" || e.Auth != record.AuthLogin {
		t.Errorf("login without initials: %d, %+v", code, e)
	}
}

// Where people have PINs a form asks for one, and a wrong one enters nothing and is not sent back.
func TestLots_PIN(t *testing.T) {
	hash, err := bcrypt.GenerateFromPassword([]byte("4711"), bcrypt.MinCost+6)
	if err != nil {
		t.Fatal(err)
	}
	s := newServer(t, webtest.NewShelf(t), func(o *Options) {
		webtest.Books(t)(&o.Shop)
		o.People = []Person{{Initials: "KM", PINHash: string(hash)}}
	})
	webtest.MustSee(t, webtest.Send(s, webtest.Request("GET", "/lots", "")), 200, "Your PIN")
	w := webtest.PostForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket"}, "by": {"KM"}, "pin": {"9999"}})
	webtest.MustSee(t, w, 403, "do not belong together")
	if strings.Contains(w.Body.String(), "9999") {
		t.Error("the page shows the PIN")
	}
	webtest.MustSee(t, webtest.PostForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket"}, "by": {"KM"}, "pin": {"4711"}}), 303)
	webtest.MustSee(t, webtest.Send(s, webtest.Request("GET", "/lots/m1", "")), 200, "(PIN)")
}
