package web

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

func get(t *testing.T, server *httptest.Server, path string) string {
	t.Helper()
	answer, err := server.Client().Get(server.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	if answer.StatusCode != http.StatusOK {
		t.Fatalf("GET %s = %s\n%s", path, answer.Status, body)
	}
	return string(body)
}

// post sends a form and gives the status and where it leads.
func post(t *testing.T, server *httptest.Server, path string, form url.Values) (int, string) {
	t.Helper()
	client := *server.Client()
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	answer, err := client.PostForm(server.URL+path, form)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	return answer.StatusCode, answer.Header.Get("Location")
}

func has(t *testing.T, page string, want ...string) {
	t.Helper()
	page = strings.ReplaceAll(page, "\u00a0", " ")
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("page lacks %q", w)
		}
	}
}

func TestWatch_SaysWhetherSomebodyIsNeeded(t *testing.T) {
	for _, tc := range []struct {
		name string
		edit func(n *night)
		want []string
	}{
		{"alarm within minutes", func(*night) {}, []string{"You are needed now", "as a dying fire does", "Acknowledge"}},
		{"calm", func(n *night) { n.snap.Alarms = nil }, []string{"Quiet until", "04:06", "The shoulder may be ready then"}},
		{"only a quiet notice", func(n *night) { n.snap.Alarms = n.snap.Alarms[1:] }, []string{"Quiet until"}},
		{"unknown", func(n *night) {
			n.snap.Alarms = nil
			n.snap.QuietUntil.Known, n.snap.QuietUntil.Because = false, "the pit probe is silent"
		}, []string{"No quiet time can be promised", "The pit probe is silent."}},
		{"tomorrow, with the date", func(n *night) {
			n.snap.Alarms = nil
			n.snap.Now = n.snap.Now.Add(-3 * time.Hour)
		}, []string{"Quiet until", "04:06", "tomorrow, Thu 26 Nov"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			n := newNight(t)
			tc.edit(n)
			has(t, get(t, serveNight(t, n, nil), "/"), tc.want...)
		})
	}
}

func TestWatch_LanesTellStagesBandAndServingHour(t *testing.T) {
	page := get(t, serveNight(t, newNight(t), nil), "/?piece=7/flat")
	has(t, page, "in the stall from 00:12", "The stall probably ends at 04:24", "Wrap in foil planned", "ready 07:06–11:42",
		"Most likely 09:12", "Serving hour 12:00", `class="band80"`, `class="band50"`, `class="serve"`, `class="now"`, "All ready")
	if strings.Contains(page, "style=") || strings.Contains(page, "onclick") {
		t.Error("page has inline style or script")
	}
}

func TestWatch_ShowsFahrenheitWhenChosen(t *testing.T) {
	server := serveNight(t, newNight(t), nil)
	req, err := http.NewRequest(http.MethodGet, server.URL+"/?piece=7/flat", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.AddCookie(&http.Cookie{Name: unitCookie, Value: "f"})
	answer, err := server.Client().Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	has(t, string(body), "198.5 °F") // 92.5 °C × 1.8 + 32
}

func TestWatch_WhatIfChangesNothing(t *testing.T) {
	n := newNight(t)
	page := get(t, serveNight(t, n, nil), "/?piece=7/flat&if=foil")
	has(t, page, "If wrapped in foil now", "sooner", `class="ifband"`, "Nothing is done yet")
	if got := len(n.snap.Cooks[0].Stored.Entries); got != 4 {
		t.Errorf("entries after a what-if = %d, want 4", got)
	}
	if len(n.asked) != 1 || n.asked[0].Kind != cook.EventWrap || n.asked[0].With != "foil" {
		t.Errorf("asked %v", n.asked)
	}
}

func TestWatch_LogsAndTakesBack(t *testing.T) {
	n := newNight(t)
	server := serveNight(t, n, nil)
	status, to := post(t, server, "/cooks/7/events", url.Values{"do": {"wrap foil"}, "piece": {"flat"}, "ago": {"20"}, "back": {"/?piece=7/flat"}})
	if status != http.StatusSeeOther || !strings.Contains(to, "done=5") {
		t.Fatalf("log = %d to %q", status, to)
	}
	e := n.snap.Cooks[0].Stored.Entries[4]
	if want := n.snap.Now.Add(-20 * time.Minute); !e.Time.Equal(want) || e.With != "foil" || e.Piece != "flat" {
		t.Errorf("entry %+v, want a wrap at %v", e, want)
	}
	has(t, get(t, server, to), "Logged: flat wrapped in foil, 01:54", "It did not happen")
	if status, _ := post(t, server, "/cooks/7/events", url.Values{"corrects": {"5"}, "withdraw": {"1"}}); status != http.StatusSeeOther {
		t.Fatalf("withdraw = %d", status)
	}
	for _, e := range n.snap.Cooks[0].Stored.Events {
		if e.With == "foil" {
			t.Error("the withdrawn wrap still holds")
		}
	}
}

func TestWatch_Acknowledges(t *testing.T) {
	n := newNight(t)
	status, to := post(t, serveNight(t, n, nil), "/alarms/acknowledge", url.Values{"alarm": {"pit-falling/7"}, "back": {"https://elsewhere.invalid/x"}})
	if status != http.StatusSeeOther || to != "/x" {
		t.Errorf("acknowledge = %d to %q, want 303 to a path of this server", status, to)
	}
	if got := n.snap.Alarms[0].State; got != alarm.Acked {
		t.Errorf("state = %s", got)
	}
}

func TestFirstRun_SaysWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		name string
		edit func(n *night)
		want string
	}{
		{"nobody", func(n *night) { n.snap.Intake.Clients = 0 }, "mosquitto_pub -h 127.0.0.1 -p 1883 -t stallkeeper/reading/pit"},
		{"no broker", func(n *night) { n.snap.Intake.Connected = false }, "The broker does not answer"},
		{"quarantine", func(*night) {}, "No known field"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			n := newNight(t)
			n.snap.Cooks, n.snap.Probes, n.snap.Alarms = nil, nil, nil
			tc.edit(n)
			has(t, get(t, serveNight(t, n, nil), "/"), "No fire to watch yet", tc.want)
		})
	}
}

func TestVendoredFilesAreAsPublished(t *testing.T) {
	dir := filepath.Join("assets", "uplot")
	list, err := os.Open(filepath.Join(dir, "VENDOR"))
	if err != nil {
		t.Fatal(err)
	}
	defer list.Close()
	checked := 0
	for lines := bufio.NewScanner(list); lines.Scan(); {
		sum, name, ok := strings.Cut(lines.Text(), "  ")
		if !ok {
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if got := sha256.Sum256(data); hex.EncodeToString(got[:]) != sum {
			t.Errorf("%s has sha256 %x, VENDOR says %s", name, got, sum)
		}
		checked++
	}
	if checked != 3 {
		t.Errorf("VENDOR lists %d files, want 3", checked)
	}
}
