package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"testing"
	"time"
)

// mustDemo runs the demo until the test ends.
func mustDemo(t *testing.T, args ...string) *serving {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	var log bytes.Buffer
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, append([]string{"demo", "--http", "127.0.0.1:0", "--broker", "127.0.0.1:0", "--data", t.TempDir()}, args...), in, &log)
		in.Close()
	}()
	s := &serving{}
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err == nil {
		err = json.Unmarshal(line, &s.addresses)
	}
	if err != nil {
		cancel()
		t.Fatalf("demo ended with %d: %v\n%s", <-ended, err, log.String())
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	t.Cleanup(func() {
		cancel()
		if code := <-ended; code != 0 {
			t.Errorf("demo ended with %d: %s", code, log.String())
		}
	})
	return s
}

// The flat on the fire was cured and dried in the watched cooler, and both were judged by its readings; portions of another lot are left.
func TestDemo_TellsTheLotOfTheFlatFromTheBrineOn(t *testing.T) {
	s := mustDemo(t)
	var lots struct {
		Lots []struct {
			ID     string
			Stages []struct {
				Stage       string
				Cook        int
				From, Until time.Time
			}
			Monitoring []struct {
				Body struct{ Stage, Verdict string }
			}
			Deviations []any
		}
	}
	eventually(t, time.Minute, "both stages in the cooler judged", func() bool {
		s.get(t, "/api/v1/lots?running=true", &lots)
		if len(lots.Lots) != 1 || len(lots.Lots[0].Stages) == 0 || lots.Lots[0].Stages[0].Stage != "cure" {
			return false // the other lot still runs, or nothing does yet
		}
		return len(lots.Lots[0].Monitoring) == 2
	})
	lot := lots.Lots[0]
	for i, stage := range []string{"cure", "dry"} {
		if m := lot.Monitoring[i].Body; m.Stage != stage || m.Verdict != "met" {
			t.Errorf("judged %+v, want the %s met", m, stage)
		}
	}
	last := lot.Stages[len(lot.Stages)-1]
	if days := lot.Stages[0].Until.Sub(lot.Stages[0].From).Hours() / 24; days < cureDays-0.1 || last.Stage != "smoke" || last.Cook != 1 || len(lot.Deviations) != 0 {
		t.Errorf("lot %+v: want %d days in the brine, the smoking of cook 1 last, and no deviation", lot, cureDays)
	}
	var stock struct{ Stock []struct{ Left int } }
	if s.get(t, "/api/v1/stock", &stock); len(stock.Stock) != 1 || stock.Stock[0].Left != 6 {
		t.Errorf("in stock %+v, want a batch with 6 portions left", stock.Stock)
	}
	res, err := http.Get(s.HTTP + "/api/v1/lots/" + lot.ID + "/export?format=pdf")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if start, err := io.ReadAll(io.LimitReader(res.Body, 5)); err != nil || string(start) != "%PDF-" {
		t.Errorf("its document begins with %q: %v", start, err)
	}
}

func TestDemoClock_StandsUntilItRunsAndOnceItIsStopped(t *testing.T) {
	c := &demoClock{begin: time.Date(2026, 5, 3, 18, 30, 0, 0, time.UTC), speed: 1e6}
	if !c.now().Equal(c.begin) {
		t.Errorf("the clock shows %v before it is let go, want %v", c.now(), c.begin)
	}
	c.run()
	if a, b := c.now(), c.now(); a.Before(c.begin) || !b.After(a) {
		t.Errorf("the clock stands while it should run: %v, %v", a, b)
	}
	c.stop()
	if a, b := c.now(), c.now(); !a.Equal(b) {
		t.Errorf("the stopped clock went from %v to %v", a, b)
	}
}

// A flat of 64 mm in this brine wants as many days as the formulation says; the demo gives them.
func TestDemoSheet_IsWithinItsLimitAndCuresLongEnough(t *testing.T) {
	answer, err := demoSheet().Work()
	if err != nil || answer.Finding() {
		t.Fatalf("the demo's own formulation is not in order: %v\n%s", err, answer.Text())
	}
	if days := *answer.CureTime.DefaultDays; days > cureDays || days < cureDays-2 {
		t.Errorf("it wants %v days in the brine, the demo gives %d", days, cureDays)
	}
}
