package main

import (
	"errors"
	"fmt"
	"os"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

type forecastCmd struct {
	Log     string    `required:"" placeholder:"DIR" help:"Cook log: a folder with cook.json and readings.csv."`
	At      time.Time `placeholder:"TIME" help:"Forecast from what was known then (RFC 3339; default: the last reading)."`
	WhatIf  []string  `placeholder:"DO" sep:"none" help:"Also forecast as if: wrap=foil@now, setpoint=121C@+30m, wrap=paper@70C. Repeatable."`
	ServeBy time.Time `placeholder:"TIME" help:"Name the cheapest action that makes it ready by then (RFC 3339)."`
	Prior   string    `placeholder:"FILE" help:"Forecast with what backtest --keep wrote about this pit."`
	Earlier []string  `placeholder:"DIR" sep:"none" help:"Learn this pit first from earlier cook logs, or folders of them: finished before the forecast, with the same pit.fire. Repeatable."`
	JSON    bool      `help:"One JSON object per line."`
}

// Help gives an example.
func (forecastCmd) Help() string {
	return `Example:

    stallkeeper forecast --log ./brisket --at 2026-05-03T02:00:00+02:00 --json --what-if 'wrap=foil@now'

--earlier ./my-cooks lets it learn what sets your pit apart; stallkeeper backtest --sequence ./my-cooks says whether that has helped.

A forecast is a statement about temperature and time, never about safety: measure with a thermometer in the thickest part.`
}

// Run forecasts every piece of the log.
func (f forecastCmd) Run(c *console) error {
	log, err := readLog(f.Log)
	if err != nil {
		return err
	}
	at := f.At
	if at.IsZero() {
		if at, err = outlook.LastReading(log); err != nil {
			return err
		}
	}
	prior, err := f.prior(log, at)
	if err != nil {
		return err
	}
	e := estimator.New(prior)
	unreached := false
	for _, p := range log.Cook.Pieces {
		in := outlook.FromLog(log, p)
		lines := []outlook.Line{outlook.NewLine(p.ID, e.Forecast(in, at))}
		for _, text := range f.WhatIf {
			line, err := outlook.WhatIf(e, in, p.ID, at, text)
			if err != nil {
				return err
			}
			lines = append(lines, line)
		}
		if !f.ServeBy.IsZero() {
			lines[0].Action = outlook.Advise(e, in, at, f.ServeBy)
			unreached = unreached || !lines[0].Action.Found()
		}
		for _, line := range lines {
			if err := f.print(c, line); err != nil {
				return err
			}
		}
	}
	if unreached {
		return errFinding
	}
	return nil
}

// prior is the one that comes with the program, or what earlier cooks of the pit make of it.
func (f forecastCmd) prior(log *cook.Log, at time.Time) (estimator.Prior, error) {
	switch {
	case f.Prior != "" && len(f.Earlier) > 0:
		return estimator.Prior{}, errors.New("--prior and --earlier are two ways to know the pit: use one")
	case f.Prior != "":
		data, err := os.ReadFile(f.Prior)
		if err != nil {
			return estimator.Prior{}, err
		}
		p, err := estimator.ReadPrior(data)
		if err != nil {
			return p, fmt.Errorf("%s: %w", f.Prior, err)
		}
		return p, nil
	case len(f.Earlier) == 0:
		return estimator.DefaultPrior(), nil
	}
	dirs, err := findLogs(f.Earlier)
	if err != nil {
		return estimator.Prior{}, err
	}
	var taught []estimator.Finished
	for _, dir := range dirs {
		pieces, _, err := backtestCmd{}.read(dir)
		if err != nil {
			return estimator.Prior{}, err
		}
		for _, p := range pieces {
			if !p.ready.After(at) && p.in.Fire == log.Cook.Pit.Fire {
				taught = append(taught, estimator.Finished{Input: p.in, Ready: p.ready})
			}
		}
	}
	if len(taught) == 0 {
		return estimator.Prior{}, fmt.Errorf("no earlier cook has pit.fire %q and was finished by %s: leave --earlier out, or name logs that have", log.Cook.Pit.Fire, at.Format(time.RFC3339))
	}
	return learn(taught)
}

// readLog reads the cook log in a folder; an error names the folder.
func readLog(dir string) (*cook.Log, error) {
	log, err := cook.ReadLog(os.DirFS(dir))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	return log, nil
}

func (f forecastCmd) print(c *console, line outlook.Line) error {
	text := line.Text(time.Local)
	if f.JSON {
		data, err := line.JSON()
		if err != nil {
			return err
		}
		text = string(data)
	}
	_, err := fmt.Fprintln(c.out, text)
	return err
}
