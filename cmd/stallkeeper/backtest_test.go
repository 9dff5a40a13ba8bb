package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/score"
	"stallkeeper/internal/simulate"
	"stallkeeper/internal/testrig"
)

// mustWriteInvented writes an invented pork loin as a cook log and gives its cook.
func mustWriteInvented(t *testing.T, dir string, seed uint64, kg float64, length time.Duration) cook.Cook {
	t.Helper()
	start := time.Date(2026, 5, int(seed), 12, 0, 0, 0, time.UTC)
	readings, _, err := simulate.All(simulate.Scenario{
		Name: "loin", Started: start, Length: length, Interval: time.Minute, Seed: seed, SetPoint: 121, Fire: simulate.Pellet,
		Weather: simulate.Weather{Mean: 15, Swing: 5, DewPoint: 8},
		Pieces:  []simulate.Piece{{ID: "loin", Cut: "pork_loin", MassKg: kg, ThicknessMM: 70, Start: 5, Target: 63}},
		Probes: []simulate.Probe{{Name: "pit", Sees: simulate.SeesPit, Noise: 0.5, Step: 0.5},
			{Name: "loin", Sees: simulate.SeesPiece, Piece: "loin", Noise: 0.1, Step: 0.1}},
	})
	if err != nil {
		t.Fatal(err)
	}
	c := cook.Cook{Name: filepath.Base(dir), Started: start, Pit: cook.Pit{SetPoint: 121, Fire: "pellet"},
		Pieces: []cook.Piece{{ID: "loin", Cut: "pork_loin", MassKg: kg, Target: 63}}}
	log := make([]cook.Reading, len(readings))
	for i, r := range readings {
		log[i] = cook.Reading{Probe: cook.ProbeID(r.Probe), Time: r.Time, Celsius: thermal.Celsius(math.Round(float64(r.Celsius)*10) / 10)}
	}
	mustWriteLog(t, dir, &c, log)
	return c
}

// backtested runs the verb and gives its scoreboard.
func backtested(t *testing.T, args ...string) backtestReport {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := run(t.Context(), append([]string{"backtest", "--json"}, args...), &out, &errOut); code != 0 {
		t.Fatalf("backtest %v: exit %d, %s", args, code, errOut.String())
	}
	var r backtestReport
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatalf("backtest %v printed %q: %v", args, out.String(), err)
	}
	return r
}

func TestBacktest_JudgesFinishedCooks(t *testing.T) {
	dir := t.TempDir()
	mustWriteInvented(t, filepath.Join(dir, "one"), 1, 1.8, 6*time.Hour)
	mustWriteInvented(t, filepath.Join(dir, "two"), 2, 2.2, 6*time.Hour)
	mustWriteInvented(t, filepath.Join(dir, "three"), 3, 2.0, 6*time.Hour)
	mustWriteInvented(t, filepath.Join(dir, "unfinished"), 4, 2.0, time.Hour)
	r := backtested(t, dir)
	if r.Cooks != 4 || r.Pieces != 3 || r.Unfinished != 1 {
		t.Errorf("cooks %d, pieces %d, unfinished %d; want 4, 3, 1", r.Cooks, r.Pieces, r.Unfinished)
	}
	// At 15 % of some three and a half hours it is too early: five moments are left, perhaps four.
	if r.All.N < 12 || r.All.N > 15 || r.All.CRPS == nil || r.All.Line.N != r.All.N || r.All.Kilogram.N != r.All.N {
		t.Errorf("all: %+v", r.All)
	}
	if len(r.Wrap) != 1 || r.Wrap[0].Of != "none" || len(r.Fire) != 1 || r.Fire[0].Of != "pellet" || r.Cut[0].Of != "pork_loin" {
		t.Errorf("groups: %v %v %v", r.Wrap, r.Fire, r.Cut)
	}
	last := r.Checkpoints[len(r.Checkpoints)-1]
	if last.Of != "95 %" || last.MedianError == nil || *last.MedianError > 30 {
		t.Errorf("at 95 %%: %+v", last)
	}
}

func TestBacktest_SequenceLearnsOnlyFromCooksThatAreOver(t *testing.T) {
	dir := t.TempDir()
	mustWriteInvented(t, filepath.Join(dir, "a"), 1, 1.8, 6*time.Hour)
	mustWriteInvented(t, filepath.Join(dir, "b"), 2, 2.2, 6*time.Hour)
	mustWriteInvented(t, filepath.Join(dir, "same-day"), 2, 2.0, 6*time.Hour)
	r := backtested(t, "--sequence", dir)
	if len(r.Sequence) != 2 || r.Sequence[0].After != "0" || r.Sequence[1].After != "1-2" {
		t.Fatalf("sequence %+v, want after 0 and after 1-2 cooks", r.Sequence)
	}
	if first := r.Sequence[0]; *first.With.CRPS != *first.Without.CRPS {
		t.Errorf("with nothing to learn from CRPS is %v, without learning %v", *first.With.CRPS, *first.Without.CRPS)
	}
	if r.Sequence[0].With.N+r.Sequence[1].With.N != r.All.N {
		t.Errorf("%d and %d moments, want %d in all", r.Sequence[0].With.N, r.Sequence[1].With.N, r.All.N)
	}
}

func TestBacktest_TruthFolderOverridesTheLog(t *testing.T) {
	dir, truth := t.TempDir(), t.TempDir()
	c := mustWriteInvented(t, filepath.Join(dir, "one"), 1, 1.8, 6*time.Hour)
	ready := c.Started.Add(10 * time.Hour)
	content := `{"ready":"` + ready.Format(time.RFC3339) + `","wrap":"paper","pit":"offset","note":"of no concern"}`
	if err := os.WriteFile(filepath.Join(truth, "one.json"), []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
	r := backtested(t, "--truth", truth, dir)
	if r.All.N != 6 || r.Wrap[0].Of != "paper" || r.Fire[0].Of != "offset" {
		t.Errorf("n %d, wrap %v, fire %v; want all six moments of ten hours, paper, offset", r.All.N, r.Wrap, r.Fire)
	}
}

func TestBacktest_SpoiledLogsHaveFaultsAndTheSameTruth(t *testing.T) {
	dir := t.TempDir()
	c := mustWriteInvented(t, filepath.Join(dir, "one"), 1, 1.8, 6*time.Hour)
	log, err := cook.ReadLog(os.DirFS(filepath.Join(dir, "one")))
	if err != nil {
		t.Fatal(err)
	}
	odd, spoiled := 0, spoil(log)
	for _, r := range spoiled {
		if r.Celsius == -127 || r.Celsius == 300 || r.Celsius == 0 || r.Quality != cook.Good {
			odd++
		}
	}
	if odd == 0 || len(spoiled) >= len(log.Readings) {
		t.Errorf("%s: %d absurd values, %d of %d readings left; want some, and fewer", c.Name, odd, len(spoiled), len(log.Readings))
	}
	clean, bad := backtested(t, dir), backtested(t, "--spoil", dir)
	if clean.All.N != bad.All.N || *clean.All.Line.MeanError != *bad.All.Line.MeanError {
		t.Errorf("moments and simple rules differ: %+v, %+v", clean.All, bad.All)
	}
}

func TestBacktest_ForgottenWrapsStayInTheTable(t *testing.T) {
	events := []estimator.Event{{Kind: estimator.Lid}, {Kind: estimator.Wrap, With: estimator.Foil}, {Kind: estimator.Unwrap}}
	if got := forgetWraps(events); len(got) != 1 || got[0].Kind != estimator.Lid {
		t.Errorf("left %v, want the lid alone", got)
	}
	if len(events) != 3 || wrapOf(events) != "foil" {
		t.Errorf("the log's own events were changed: %v", events)
	}
}

func TestBacktest_SaysWhatToDo(t *testing.T) {
	dir, empty := t.TempDir(), t.TempDir()
	mustWriteInvented(t, filepath.Join(dir, "one"), 1, 1.8, 6*time.Hour)
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{empty}, "holds no cook log"},
		{[]string{filepath.Join(empty, "nothing")}, "no such file"},
		{[]string{"--truth", empty, dir}, "leave --truth out"},
		{[]string{"--folds", "5", dir}, "use 2 to 1"},
		{[]string{"--folds", "2", "--sequence", dir}, "use one"},
	} {
		var out, errOut bytes.Buffer
		if code := run(t.Context(), append([]string{"backtest"}, c.args...), &out, &errOut); code != 2 {
			t.Errorf("backtest %v: exit %d, want 2", c.args, code)
		}
		if msg := errOut.String(); !strings.Contains(msg, c.want) || strings.Count(msg, "\n") != 1 {
			t.Errorf("backtest %v says %q, want one line with %q", c.args, msg, c.want)
		}
	}
}

// The scoreboard of a few made-up verdicts, as text.
func TestBacktest_Text(t *testing.T) {
	pieces := []past{
		{cook: "a", cut: "pork_shoulder", wrap: "none", fire: "offset", in: estimator.Input{}},
		{cook: "b", cut: "brisket_flat_cured", wrap: "foil", fire: "electric"},
	}
	inf := math.Inf(1)
	spread := func(m float64) score.Quantiles {
		return score.Quantiles{m - 30, m - 20, m - 10, m, m + 15, m + 30, m + 60}
	}
	never := spread(300)
	never[5], never[6] = inf, inf
	j := judge{Cooks: 3, Pieces: 2, Unfinished: 1, taught: "the prior that comes with the program", rows: []verdict{
		{piece: &pieces[0], at: 0.5, left: 240, q: spread(235), line: 100, newton: 150, kilogram: 200},
		{piece: &pieces[0], at: 0.95, left: 24, q: spread(30), line: 20, newton: 19, kilogram: 0},
		{piece: &pieces[1], at: 0.5, left: 310, q: never, line: inf, newton: inf, kilogram: math.NaN()},
	}}
	j.sequence = []verdict{j.rows[0], j.rows[1], j.rows[2]}
	j.sequence[2].learnedOf, j.sequence[2].q = 1, spread(305)
	got := j.text()
	testrig.Golden(t, "backtest.txt", got)
	for line := range strings.Lines(got) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 100 {
			t.Errorf("line of %d columns: %s", n, line)
		}
	}
}
