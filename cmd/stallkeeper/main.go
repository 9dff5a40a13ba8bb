// Command stallkeeper watches a smoker: it keeps readings, forecasts when each piece will be ready, raises alarms and
// leaves records. Each verb stands in a file of its own. Exit status: 0 done, 1 a finding, 2 wrong use or unreadable input.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"reflect"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"

	"stallkeeper/internal/cook"
)

// cli is the whole command line.
type cli struct {
	Serve    serveCmd    `cmd:"" help:"Run the daemon."`
	Demo     demoCmd     `cmd:"" help:"Run the daemon with an invented overnight cook."`
	Forecast forecastCmd `cmd:"" help:"Forecast the pieces of a cook log."`
	Backtest backtestCmd `cmd:"" help:"Judge the forecasts on finished cooks."`
	Brine    brineCmd    `cmd:"" help:"Work out a cure by weight."`
	Plan     planCmd     `cmd:"" help:"Plan backwards from the serving hour, from buying to the freezer."`
	Check    checkCmd    `cmd:"" help:"Judge a cook log against published food-safety limits."`
	Cook     cookCmd     `cmd:"" help:"Start, log, end, export, import and replay cooks."`
	Lot      lotCmd      `cmd:"" help:"Open lots and follow them from raw meat to the last slice."`
	Records  recordsCmd  `cmd:"" help:"Keep, correct, export and verify the records of the lots."`
	Probe    probeCmd    `cmd:"" help:"Convert and check probes."`
	Backup   backupCmd   `cmd:"" help:"Copy the database while the daemon runs."`
	Restore  restoreCmd  `cmd:"" help:"Put a backup back in place of the database."`
	Version  versionCmd  `cmd:"" help:"Print the version."`
	Licences licencesCmd `cmd:"" help:"Print the licences of everything that is built in."`
}

// errFinding ends a verb that worked but found something: a limit missed or unknown, no action that reaches the hour.
var errFinding = errors.New("finding")

// console is where a verb writes and what stops it.
type console struct {
	ctx    context.Context
	out    io.Writer
	errOut io.Writer
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run parses the arguments and does what they say; it gives the exit status.
func run(ctx context.Context, args []string, out, errOut io.Writer) (code int) {
	defer func() {
		if r := recover(); r != nil {
			status, ok := r.(exit)
			if !ok {
				panic(r)
			}
			code = int(status)
		}
	}()
	verb, err := parse(args, out, errOut)
	if err == nil {
		err = verb.Run(&console{ctx: ctx, out: out, errOut: errOut})
	}
	switch {
	case err == nil:
		return 0
	case errors.Is(err, errFinding):
		return 1
	}
	fmt.Fprintln(errOut, "stallkeeper:", strings.ReplaceAll(err.Error(), "\n", "; "))
	return 2
}

// verb is a command of the command line, filled in.
type verb interface{ Run(c *console) error }

// parse gives the command that the arguments name. What the parser needs, about a megabyte, is not held while the command runs.
func parse(args []string, out, errOut io.Writer) (verb, error) {
	parser, err := kong.New(&cli{}, kong.Name("stallkeeper"),
		kong.Description("Watches a smoker overnight and says when each piece will be ready."),
		kong.Writers(out, errOut), kong.Exit(func(code int) { panic(exit(code)) }),
		kong.WithHyphenPrefixedParameters(true), kong.TypeMapper(reflect.TypeFor[time.Time](), kong.MapperFunc(decodeTime)), kong.PostBuild(plainPlaceholders), kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}))
	if err != nil {
		return nil, err
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if err != nil {
		return nil, fmt.Errorf("%w (stallkeeper --help lists the commands, stallkeeper COMMAND --help how each is used)", err)
	}
	chosen, ok := parsed.Selected().Target.Addr().Interface().(verb)
	if !ok {
		return nil, fmt.Errorf("%s is not a command by itself: stallkeeper %s --help lists what goes behind it", parsed.Command(), parsed.Command())
	}
	return chosen, nil
}

// plainPlaceholders has help name what a flag takes as people call it, where nothing better is said: --note=TEXT and not --note=STRING.
func plainPlaceholders(k *kong.Kong) error {
	return kong.Visit(k.Model, func(node kong.Visitable, next kong.Next) error {
		if f, ok := node.(*kong.Flag); ok && f.PlaceHolder == "" && !f.HasDefault && f.Tag != nil {
			switch f.Tag.TypeName {
			case "string":
				f.PlaceHolder = "TEXT"
			case "int", "int64", "float64":
				f.PlaceHolder = "N"
			}
		}
		return next(nil)
	})
}

// exit carries a status out of the argument parser, which ends the program for --help.
type exit int

// decodeTime reads a time on the command line.
func decodeTime(ctx *kong.DecodeContext, target reflect.Value) error {
	var text string
	if err := ctx.Scan.PopValueInto("time", &text); err != nil {
		return err
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return fmt.Errorf("%q is not a time: write it like 2026-05-03T18:00:00+02:00", text)
	}
	if err := cook.CheckSaid(text, at); err != nil {
		return err
	}
	target.Set(reflect.ValueOf(at))
	return nil
}
