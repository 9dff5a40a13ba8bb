// Command stallkeeper-probe reads sensors wired to a small Linux board and publishes their temperatures over MQTT. What the
// broker does not take is kept on disk and sent later with its own time. Exit status: 0 done, 1 a probe without a value or
// readings not delivered, 2 wrong use or unreadable input.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"

	"stallkeeper/cmd/stallkeeper-probe/internal/station"
	"stallkeeper/cmd/stallkeeper-probe/internal/sysfs"
)

type cli struct {
	Config string        `placeholder:"FILE" help:"Settings; configs/stallkeeper-probe.toml names every key with its default."`
	List   bool          `help:"Print what is wired here, and end."`
	Once   bool          `help:"Measure and publish once, and end."`
	DryRun bool          `help:"Print what would be published, and publish nothing."`
	Wait   time.Duration `default:"20s" help:"How long --once waits for the broker (${default})."`
	Sysfs  string        `placeholder:"DIR" help:"Another folder instead of /sys."`
}

// memoryLimit makes the collector work harder before the program grows beyond what a small board has to spare.
const memoryLimit = 8 << 20

func main() {
	debug.SetMemoryLimit(memoryLimit)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// exit carries a status out of the argument parser, which ends the program for --help.
type exit int

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
	var c cli
	parser, err := kong.New(&c, kong.Name("stallkeeper-probe"), kong.Writers(out, errOut), kong.Exit(func(code int) { panic(exit(code)) }),
		kong.Description("Reads sensors wired to this board and publishes their temperatures over MQTT.\n\n"+
			"Examples:\n\n    stallkeeper-probe --list\n    stallkeeper-probe --config probe.toml --once --dry-run"))
	if err == nil {
		_, err = parser.Parse(args)
	}
	if err == nil {
		err = c.run(ctx, out, errOut)
	}
	if err == nil {
		return 0
	}
	fmt.Fprintln(errOut, "stallkeeper-probe:", strings.ReplaceAll(err.Error(), "\n", "; "))
	var f *finding
	if errors.As(err, &f) {
		return 1
	}
	return 2
}

// finding marks an error of the world and not of the use.
type finding struct{ error }

func found(err error) error {
	if err == nil {
		return nil
	}
	return &finding{err}
}

func (c cli) run(ctx context.Context, out, errOut io.Writer) error {
	host, err := os.Hostname()
	if err != nil {
		host = "board"
	}
	cfg := station.DefaultConfig(host)
	if c.Config != "" {
		if cfg, err = station.LoadConfig(c.Config, host); err != nil {
			return err
		}
	}
	if c.Sysfs != "" {
		cfg.Sysfs = c.Sysfs
	}
	tree := sysfs.Dir(cfg.Sysfs)
	if c.List {
		return station.List(ctx, tree, out)
	}
	if c.Config == "" {
		return errors.New("no --config given: write a [[probe]] for what --list shows; configs/stallkeeper-probe.toml is a start")
	}
	s, err := station.New(cfg, station.Surroundings{Tree: tree, Proc: os.DirFS(cfg.Proc), Now: time.Now, Synchronised: station.Synchronised,
		Log: slog.New(slog.NewTextHandler(errOut, nil))}, c.DryRun)
	switch {
	case err != nil:
		return err
	case c.DryRun:
		return found(s.DryRun(ctx, out, c.Once))
	case c.Once:
		return found(s.Once(ctx, c.Wait))
	}
	return found(s.Run(ctx))
}
