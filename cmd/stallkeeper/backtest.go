package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/score"
)

type backtestCmd struct {
	Dirs     []string `arg:"" name:"dir" help:"Cook logs, or folders of cook logs."`
	Truth    string   `placeholder:"DIR" help:"Folder with <cook name>.json, each with \"ready\" (RFC 3339), and \"wrap\" and \"pit\" if they differ from the log. Without it a piece counts as ready when the median of its last five minutes first reaches the target."`
	Folds    int      `placeholder:"N" help:"Learn the prior from these cooks alone: cut them into N parts and judge each part on what the other parts taught. It takes some fifty cooks to be worth it."`
	Sequence bool     `help:"Judge the n-th cook of each pit after learning from the ones before it, beside the forecasts without learning."`
	Keep     string   `placeholder:"FILE" help:"Write what these cooks, all on one pit, teach about it: for forecast.prior in the configuration and for forecast --prior."`
	Spoil    bool     `help:"Put invented faults (absurd values, silences) into what the forecaster sees."`
	Forget   bool     `help:"Hide the logged wraps from the forecaster."`
	JSON     bool     `help:"Print one JSON object."`
}

// Help gives an example.
func (backtestCmd) Help() string {
	return `Example:

    stallkeeper backtest ./my-cooks

Each finished piece is forecast again at 15, 30, 50, 70, 85 and 95 % of its time, from what was known then, and compared
with when it was ready, beside three simple rules. Moments before 40 minutes are left out. From six cooks on it also says
how far the luck of which cooks there were could have moved the figures: cooks are drawn anew a thousand times, always
the same way, and the middle 95 % of the outcomes stand there. A cook that taught the
forecaster must not judge it. --folds sees to that for any cooks: it starts from the handbook's ranges and leaves out the
prior that comes with the program. Everything else judges that prior, or what --sequence adds to it, which is fair on
all cooks but those it learned from (testdata/cooks/minute.tar.gz). --spoil and --forget show what bad probes and
unlogged wraps cost; ready times and the simple rules still come from the log as it is. Before you rely on what
--keep FILE wrote, see with --sequence whether learning has helped on these cooks.`
}

// fractions of a piece's time at which it is forecast again.
func fractions() []float64 { return []float64{0.15, 0.30, 0.50, 0.70, 0.85, 0.95} }

// tooEarly is when nothing is asked of a forecast yet.
const tooEarly = 40 * time.Minute

// past is one finished piece with what became of it.
type past struct {
	cook, piece     string
	cut, wrap, fire string
	massKg          float64
	started, ready  time.Time
	in              estimator.Input
	core, pit       []score.Sample
}

// truthFile is what a truth folder holds per cook; other keys are somebody else's.
type truthFile struct {
	Ready time.Time `json:"ready"`
	Wrap  string    `json:"wrap"`
	Pit   string    `json:"pit"`
}

// Run judges the forecasts.
func (b backtestCmd) Run(c *console) error {
	if b.Folds != 0 && b.Sequence {
		return errors.New("--folds and --sequence are two ways to learn: use one")
	}
	logs, err := findLogs(b.Dirs)
	if err != nil {
		return err
	}
	if b.Folds != 0 && (b.Folds < 2 || b.Folds > len(logs)) {
		return fmt.Errorf("--folds %d does not cut %d cooks into parts: use 2 to %d", b.Folds, len(logs), len(logs))
	}
	var pieces []past
	unfinished := 0
	for _, dir := range logs {
		found, left, err := b.read(dir)
		if err != nil {
			return err
		}
		pieces, unfinished = append(pieces, found...), unfinished+left
	}
	if len(pieces) == 0 {
		return errors.New("no piece in these cooks reached its target: give finished cooks")
	}
	if b.Keep != "" {
		if err := keep(b.Keep, pieces); err != nil {
			return err
		}
	}
	j := judge{Pieces: len(pieces), Unfinished: unfinished, Cooks: len(logs)}
	if err := j.run(c.ctx, pieces, b.Folds, b.Sequence); err != nil {
		return err
	}
	if b.JSON {
		return json.NewEncoder(c.out).Encode(j.report())
	}
	_, err = fmt.Fprint(c.out, j.text())
	return err
}

// keep writes what pieces on one pit teach about it.
func keep(file string, pieces []past) error {
	for _, p := range pieces {
		if p.fire != pieces[0].fire {
			return fmt.Errorf("these cooks name two fires, %q and %q: --keep learns one pit, give its cooks alone", pieces[0].fire, p.fire)
		}
	}
	prior, err := learn(others(pieces, func(int) bool { return true }))
	if err != nil {
		return err
	}
	data, err := json.Marshal(prior)
	if err != nil {
		return fmt.Errorf("encode what was learned: %w", err)
	}
	if err := os.WriteFile(file, data, 0o644); err != nil {
		return fmt.Errorf("keep what was learned: %w", err)
	}
	return nil
}

// findLogs gives the folders that are cook logs, among dirs and directly in them, in order of name.
func findLogs(dirs []string) ([]string, error) {
	var out []string
	isLog := func(dir string) bool {
		info, err := os.Stat(filepath.Join(dir, cook.LogCookFile))
		return err == nil && info.Mode().IsRegular()
	}
	for _, dir := range dirs {
		if isLog(dir) {
			out = append(out, dir)
			continue
		}
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, fmt.Errorf("%w (name a cook log or a folder of them; stallkeeper cook export writes one)", err)
		}
		before := len(out)
		for _, e := range entries {
			if sub := filepath.Join(dir, e.Name()); e.IsDir() && isLog(sub) {
				out = append(out, sub)
			}
		}
		if len(out) == before {
			return nil, fmt.Errorf("%s holds no cook log: a cook log is a folder with %s and %s", dir, cook.LogCookFile, cook.LogReadingsFile)
		}
	}
	return out, nil
}

// read gives the finished pieces of a log and the number of those that never reached their target.
func (b backtestCmd) read(dir string) (pieces []past, unfinished int, err error) {
	log, err := cook.ReadLog(os.DirFS(dir))
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", dir, err)
	}
	for _, p := range log.Cook.Pieces {
		in := outlook.FromLog(log, p)
		q := past{cook: log.Cook.Name, piece: string(p.ID), cut: p.Cut, massKg: p.MassKg, wrap: wrapOf(in.Events),
			fire: log.Cook.Pit.Fire, started: log.Cook.Started, in: in, core: samples(in.Core), pit: samples(in.Pit)}
		if b.Forget {
			q.in.Events = forgetWraps(q.in.Events)
		}
		if b.Spoil {
			spoiled := outlook.FromLog(&cook.Log{Cook: log.Cook, Readings: spoil(log)}, p)
			q.in.Core, q.in.Pit = spoiled.Core, spoiled.Pit
		}
		var done bool
		if q.ready, done = score.FirstReady(q.core, p.Target); b.Truth != "" {
			name := log.Cook.Name
			if len(log.Cook.Pieces) > 1 {
				name += "-" + string(p.ID)
			}
			if done, err = q.learnTruth(b.Truth, name); err != nil {
				return nil, 0, err
			}
		}
		if q.fire == "" {
			q.fire = "not said"
		}
		if done && q.ready.After(q.started) {
			pieces = append(pieces, q)
		} else {
			unfinished++
		}
	}
	return pieces, unfinished, nil
}

func (q *past) learnTruth(dir, name string) (done bool, err error) {
	path := filepath.Join(dir, filepath.Base(name)+".json")
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false, fmt.Errorf("%s is missing: leave --truth out to take the ready times from the logs", path)
	}
	if err != nil {
		return false, err
	}
	var t truthFile
	if err := json.Unmarshal(data, &t); err != nil {
		return false, fmt.Errorf("%s: %w", path, err)
	}
	q.ready = t.Ready
	if t.Wrap != "" {
		q.wrap = t.Wrap
	}
	if t.Pit != "" {
		q.fire = t.Pit
	}
	return !t.Ready.IsZero(), nil
}

// wrapOf is the first wrap that was logged.
func wrapOf(events []estimator.Event) string {
	wraps := slices.DeleteFunc(slices.Clone(events), func(e estimator.Event) bool { return e.Kind != estimator.Wrap })
	if len(wraps) == 0 {
		return "none"
	}
	return string(slices.MinFunc(wraps, func(a, b estimator.Event) int { return a.Time.Compare(b.Time) }).With)
}

func samples(in []estimator.Sample) []score.Sample {
	out := make([]score.Sample, len(in))
	for i, s := range in {
		out[i] = score.Sample{Time: s.Time, Celsius: s.Celsius}
	}
	return out
}

// name tells pieces apart.
func (q *past) name() string { return strings.TrimSuffix(q.cook+" "+q.piece, " ") }
