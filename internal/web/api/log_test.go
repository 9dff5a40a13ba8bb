package api_test

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// packed makes an archive of the files named.
func packed(t testing.TB, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i+1 < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, files[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func importing(body []byte) *http.Request {
	r := webtest.Request("POST", v1+"/cooks/import", "")
	r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
	r.Header.Set("Content-Type", "application/zip")
	return r
}

// The flat's probe was good on the first of the month and failed on the day after the cook: what it measured meanwhile is in doubt.
func TestLog_SaysWhichReadingsAreInDoubt(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, nil)
	for _, body := range []string{`{"probe":"flat","time":"2026-11-01T08:00:00Z","by":"KM","points":[{"true_c":0,"read_c":0.1}]}`,
		`{"probe":"flat","time":"2026-11-26T07:00:00Z","by":"KM","points":[{"true_c":0,"read_c":3}]}`,
		`{"probe":"elsewhere","time":"2026-11-26T07:00:00Z","by":"KM","points":[{"true_c":0,"read_c":3}]}`} {
		if w := webtest.Send(server, webtest.Request("POST", v1+"/checks", body)); w.Code != 201 {
			t.Fatalf("check = %d %s", w.Code, w.Body)
		}
	}
	out := webtest.Send(server, webtest.Request("GET", v1+"/cooks/7/log", ""))
	archive, err := zip.NewReader(bytes.NewReader(out.Body.Bytes()), int64(out.Body.Len()))
	if err != nil {
		t.Fatal(err)
	}
	f, err := archive.Open(cook.LogChecksFile)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	text, err := io.ReadAll(f)
	if want := "probe,from,to,check\nflat,2026-11-01T08:00:00Z,,failed\n"; err != nil || string(text) != want {
		t.Errorf("checks.csv is %q (%v), want %q", text, err, want)
	}
	if w := webtest.Send(server, importing(out.Body.Bytes())); w.Code != 201 {
		t.Errorf("import = %d %s", w.Code, w.Body)
	}
}

func TestLog_GoesOutAndComesBack(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, nil)
	out := webtest.Send(server, webtest.Request("GET", "/api/v1/cooks/7/log", ""))
	if out.Code != 200 || out.Header().Get("Content-Disposition") != `attachment; filename="cook-7.zip"` {
		t.Fatalf("export = %d, %v", out.Code, out.Header())
	}
	w := webtest.Send(server, importing(out.Body.Bytes()))
	if w.Code != 201 || strings.TrimSpace(w.Body.String()) != `{"id":9}` || w.Header().Get("Location") != "/api/v1/cooks/9" {
		t.Fatalf("import = %d %s", w.Code, w.Body)
	}
	mustFit(t, mustDocument(t), call{method: "GET", path: "/api/v1/cooks/7/log", template: "/api/v1/cooks/{id}/log"}, out)
	if got, want := shelf.Imported.Cook.Name, shelf.Past[0].Name; got != want {
		t.Errorf("name %q, want %q", got, want)
	}
	var want int
	for _, r := range shelf.Measured {
		if !r.Retained {
			want++
		}
	}
	if got := len(shelf.Imported.Readings); got != want {
		t.Errorf("%d readings came back, want %d", got, want)
	}
	if got := shelf.Imported.Readings[0]; got.Quality != cook.Good || !got.Time.Equal(shelf.Measured[0].Time) || got.Celsius != shelf.Measured[0].Celsius {
		t.Errorf("first reading %+v, want %+v", got, shelf.Measured[0])
	}
}

const goodCook = `{"name":"S","started":"2026-05-02T20:00:00Z","pit":{"setpoint_c":107},"pieces":[{"id":"core","cut":"other","target_c":90}]}`

func TestImport_SaysWhatIsWrong(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, nil)
	const rows = "time,probe,celsius\n2026-05-02T20:00:00Z,core,5.5\n"
	for name, c := range map[string]struct {
		body   []byte
		status int
		says   string
	}{
		"not an archive":   {[]byte("hello"), 400, "zip archive"},
		"no readings":      {packed(t, "cook.json", goodCook), 400, "lacks a file"},
		"another file":     {packed(t, "cook.json", goodCook, "readings.csv", rows, "notes.txt", "x"), 400, `"notes.txt"`},
		"a path":           {packed(t, "../cook.json", goodCook, "readings.csv", rows), 400, "without a folder"},
		"twice":            {packed(t, "cook.json", goodCook, "cook.json", goodCook), 400, "each once"},
		"unknown key":      {packed(t, "cook.json", strings.Replace(goodCook, "name", "nmae", 1), "readings.csv", rows), 400, `"nmae"`},
		"no row":           {packed(t, "cook.json", goodCook, "readings.csv", "time,probe,celsius\n"), 400, "no readings"},
		"bad row":          {packed(t, "cook.json", goodCook, "readings.csv", rows+"yesterday,core,5\n"), 400, "line 3"},
		"unpacks to a lot": {packed(t, "cook.json", goodCook+strings.Repeat(" ", 1<<20), "readings.csv", rows), 413, "unpacks"},
		"too many rows":    {packed(t, "cook.json", goodCook, "readings.csv", "time,probe,celsius\n"+strings.Repeat("x\n", 750_001)), 413, "750000 rows"},
		"good":             {packed(t, "cook.json", goodCook, "readings.csv", rows), 201, ""},
	} {
		w := webtest.Send(server, importing(c.body))
		if c.status == 201 {
			if w.Code != 201 {
				t.Errorf("%s: %d %s", name, w.Code, w.Body)
			}
			continue
		}
		if detail := webtest.MustProblem(t, w, c.status); !strings.Contains(detail, c.says) {
			t.Errorf("%s: %q does not say %q", name, detail, c.says)
		}
	}
	r := importing(packed(t, "cook.json", goodCook, "readings.csv", rows))
	r.Header.Set("Content-Type", "application/json")
	webtest.MustProblem(t, webtest.Send(server, r), 415)
	shelf.Fail = cook.ErrConflict
	if w := webtest.Send(server, importing(packed(t, "cook.json", goodCook, "readings.csv", rows))); w.Code != 201 || !strings.Contains(w.Body.String(), "quarantine") {
		t.Errorf("a log with readings that are there otherwise = %d %s, want it kept with a warning", w.Code, w.Body)
	}
}

// half is a library that breaks while a log is written.
type half struct {
	*webtest.Shelf
	pages atomic.Int64 // a handler may still read when its answer was broken off
}

func (h *half) Readings(_ context.Context, q cook.ReadingQuery) ([]cook.Reading, error) {
	if h.pages.Add(1) > 1 {
		return nil, errors.New("disk gone")
	}
	out := make([]cook.Reading, q.Limit)
	for i := range out {
		out[i] = cook.Reading{Probe: "flat", Time: q.From.Add(time.Duration(i) * time.Second), Celsius: 60, Quality: cook.Good}
	}
	return out, nil
}

func TestLog_BreaksOffRatherThanEndShort(t *testing.T) {
	shelf := webtest.NewShelf(t)
	library := &half{Shelf: shelf}
	server := httptest.NewServer(newServer(t, shelf, func(o *shop.Shop) { o.Library = library }))
	defer server.Close()
	defer http.DefaultClient.CloseIdleConnections()
	for _, long := range []string{"/api/v1/cooks/7/log", "/api/v1/readings?limit=10000"} {
		library.pages.Store(0)
		res, err := http.Get(server.URL + long)
		if err != nil {
			continue // broken off before the first byte
		}
		_, err = io.ReadAll(res.Body)
		if closed := res.Body.Close(); err == nil {
			t.Errorf("half of %s looks like the whole, %v", long, closed)
		}
	}
}
