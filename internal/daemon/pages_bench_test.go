package daemon

import (
	"context"
	"database/sql"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"stallkeeper/internal/config"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/store"
)

// The shop of BenchmarkPages: cooks of 14 hours, one a day, four probes at a reading every 5 s, a forecast of each of three
// pieces every minute. The last one is on the fire.
const (
	shopHours = 14
	shopSteps = shopHours * 3600 / 5
)

// shopFirst is when the first cook was lit.
var shopFirst = time.Date(2023, 2, 1, 18, 0, 0, 0, time.UTC)

func shopLit(i int) time.Time { return shopFirst.AddDate(0, 0, i) }

func shopCook(i int) cook.Cook {
	lit := shopLit(i)
	return cook.Cook{Name: fmt.Sprint("supper ", i+1), Started: lit, ServeBy: lit.Add(17 * time.Hour), Pit: cook.Pit{SetPoint: 107, Fire: "offset"},
		Pieces: []cook.Piece{{ID: "flat", Cut: "brisket_flat_cured", MassKg: 3, ThicknessMM: 58, Target: 93}, {ID: "point", Cut: "brisket_packer", MassKg: 6, Target: 95},
			{ID: "shoulder", Cut: "pork_shoulder", MassKg: 4, Target: 94}}}
}

// shopReadings makes a cook's readings within SQLite: a pit that swings, cores that warm, stand still at 68 °C and climb.
const shopReadings = `
with recursive n(i) as (select 0 union all select i + 1 from n where i < ?1 - 1)
insert into readings (probe, time, seq, celsius, quality, clock, retained, backlog, delay, device_seq, raw)
select p.id, ?2 + i * 5000000, ?3 + i * 4 + p.id, round(case p.name when 'pit' then 101 + abs(i % 240 - 120) / 10.0 + (i + ?4) % 7 / 4.0
	else min(68 - 63 * 900.0 / (900 + i * (3 + p.id)), 67) + i % 9 / 40.0 + max(0, (i - 5000 - 300 * p.id) * 0.004) end, 1), 0, 0, 0, 0, 0, 0, null
from n cross join probes p`

// shopForecasts makes the forecasts that were kept in a cook.
const shopForecasts = `
with recursive n(i) as (select 1 union all select i + 1 from n where i < ?1)
insert into forecasts (cook, piece, at, json) select ?2, p.name, ?3 + i * 60000000, replace(?4, 'PIECE', p.name) from n cross join probes p where p.name <> 'pit'`

const shopForecast = `{"piece":"PIECE","at":"2026-05-03T02:00:00Z","core_c":68.2,"target_c":93,"state":"stall","since":"2026-05-03T00:00:00Z","p_never":0.01,"ready":{"p05":"2026-05-03T05:00:00Z",` +
	`"p10":"2026-05-03T05:30:00Z","p25":"2026-05-03T06:30:00Z","p50":"2026-05-03T07:40:00Z","p75":"2026-05-03T09:00:00Z","p90":"2026-05-03T10:20:00Z","p95":"2026-05-03T11:10:00Z"},` +
	`"because":"evaporation holds the core near 68 °C: about 12 % of its water is gone, the stall probably ends in two hours."}`

// fillShop makes the database of so many cooks, and says how long that took. One that is there already is used as it is.
func fillShop(b *testing.B, dir string, cooks int) {
	b.Helper()
	path := filepath.Join(dir, store.FileName)
	if _, err := os.Stat(path); err == nil {
		return
	}
	began := time.Now()
	ctx := b.Context()
	db, err := store.Open(ctx, path, store.Options{Log: slog.New(slog.DiscardHandler), Now: time.Now})
	must := func(err error) {
		b.Helper()
		if err != nil {
			b.Fatal(err)
		}
	}
	must(err)
	for i := range cooks {
		id, err := db.CreateCook(ctx, shopCook(i), shopLit(i))
		must(err)
		for j, e := range []cook.Event{{Kind: cook.EventLid}, {Kind: cook.EventWrap, Piece: "shoulder", With: "paper"}, {Kind: cook.EventFuel}} {
			e.Time = shopLit(i).Add(time.Duration(j+4) * time.Hour)
			_, err := db.AppendEntry(ctx, id, cook.Entry{Event: e, Logged: e.Time, By: "bench"})
			must(err)
		}
		if i < cooks-1 {
			must(db.EndCook(ctx, id, shopLit(i).Add(shopHours*time.Hour)))
		}
	}
	must(db.Close())
	raw, err := sql.Open("sqlite3", "file:"+path+"?_sync=off&_journal=off")
	must(err)
	raw.SetMaxOpenConns(1)
	exec := func(query string, args ...any) {
		b.Helper()
		_, err := raw.ExecContext(ctx, query, args...)
		must(err)
	}
	exec(`insert into probes (id, name) values (1, 'flat'), (2, 'pit'), (3, 'point'), (4, 'shoulder')`)
	for i := range cooks {
		lit := shopLit(i).UnixMicro()
		exec("begin")
		exec(shopReadings, shopSteps, lit, int64(i)*shopSteps*4, i)
		exec(shopForecasts, shopHours*60, i+1, lit, shopForecast)
		for j := range 10 {
			exec(`insert into alarm_changes (alarm, state, changed, body) values (?, 'normal', ?, ?)`, fmt.Sprintf("pit-low/%d", i+1), lit+int64(j)*3600e6,
				fmt.Sprintf(`{"id":"pit-low/%d","kind":"pit-low","priority":"medium","state":"normal","because":"Pit back.","raised":%q,"changed":%q}`, i+1,
					shopLit(i).Format(time.RFC3339), shopLit(i).Add(time.Duration(j)*time.Hour).Format(time.RFC3339)))
		}
		exec("commit")
	}
	must(raw.Close())
	info, err := os.Stat(path)
	must(err)
	b.Logf("%d cooks, %d readings, %.1f GB, made in %v", cooks, cooks*shopSteps*4, float64(info.Size())/1e9, time.Since(began).Round(time.Second))
}

// BenchmarkPages asks the running daemon for each page with the whole history of a shop behind it. The bar is 500 ms for each.
// STALLKEEPER_BENCH_COOKS is how many cooks there are (20 without it; 1000 are 40 million readings, 5 GB and some minutes to
// make); STALLKEEPER_BENCH_DIR keeps the database for the next time.
func BenchmarkPages(b *testing.B) {
	cooks := 20
	if text := os.Getenv("STALLKEEPER_BENCH_COOKS"); text != "" {
		var err error
		if cooks, err = strconv.Atoi(text); err != nil || cooks < 3 {
			b.Fatalf("STALLKEEPER_BENCH_COOKS %q is not a number above 2", text)
		}
	}
	dir := os.Getenv("STALLKEEPER_BENCH_DIR")
	if dir == "" {
		dir = b.TempDir()
	}
	fillShop(b, dir, cooks)
	cfg, err := config.Parse("timezone = \"UTC\"\n[http]\nlisten = \"127.0.0.1:0\"\n[broker]\nlisten = \"127.0.0.1:0\"\n")
	if err != nil {
		b.Fatal(err)
	}
	cfg.Data = dir
	end, began := shopLit(cooks-1).Add(shopHours*time.Hour), time.Now()
	d, err := New(b.Context(), Options{Config: cfg, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return end.Add(time.Since(began)) }})
	if err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			b.Error(err)
		}
	}()
	for s := d.watch.Snapshot(); len(s.Cooks) == 0 || len(s.Cooks[0].Pieces) == 0 || !s.Cooks[0].Pieces[0].Forecasted; s = d.watch.Snapshot() {
		if time.Since(began) > 5*time.Minute {
			b.Fatal("the running cook is not counted within 5 min")
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.Logf("started and counted the running cook in %v", time.Since(began).Round(time.Millisecond))
	last, old := cooks, cooks/2
	day := shopLit(old - 1).Format(time.RFC3339)
	for _, page := range []string{"/", fmt.Sprintf("/?piece=%d/flat", last), fmt.Sprintf("/?piece=%d/flat&if=foil", last), "/start", "/cooks", fmt.Sprintf("/cooks?before=%d", old),
		fmt.Sprintf("/cooks/%d", last), fmt.Sprintf("/cooks/%d", old), "/cooks/1", fmt.Sprintf("/curve/%d/flat", last), fmt.Sprintf("/curve/%d/flat", old), "/probes", "/settings", "/plan", "/brine", "/chill", "/lots", "/records", "/stock", fmt.Sprintf("/overlay?piece=%d/flat&piece=1/flat", old),
		"/api/v1/snapshot", "/api/v1/probes", "/api/v1/cooks", "/api/v1/events", fmt.Sprintf("/api/v1/cooks/%d", old), fmt.Sprintf("/api/v1/cooks/%d/pieces/flat/forecasts", old), "/api/v1/alarms?history=true",
		"/api/v1/readings?from=" + day + "&limit=10000", "/api/v1/readings?probe=pit&limit=10000", "/api/v1/series?probe=pit&points=800", "/metrics"} {
		b.Run(page, func(b *testing.B) {
			worst, before := time.Duration(0), cpu(b)
			for b.Loop() {
				at := time.Now()
				size := getPage(b, d.Addresses().HTTP+page)
				worst = max(worst, time.Since(at))
				b.ReportMetric(float64(size)/1e3, "kB")
			}
			b.ReportMetric(float64(worst)/1e6, "ms-worst")
			b.ReportMetric(float64((cpu(b)-before).Microseconds())/1e3/float64(b.N), "cpu-ms") // what it costs on a machine that others use too
		})
	}
}

// cpu is the processor time of this process so far.
func cpu(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func getPage(b *testing.B, url string) int {
	b.Helper()
	resp, err := http.Get(url)
	if err != nil {
		b.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	if closeErr := resp.Body.Close(); err != nil || closeErr != nil || resp.StatusCode != http.StatusOK {
		b.Fatalf("GET %s: %s, %v, %v: %.200s", url, resp.Status, err, closeErr, body)
	}
	return len(body)
}
