package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/config"
	"stallkeeper/internal/daemon"
)

type serveCmd struct {
	Config       string `placeholder:"FILE" help:"Configuration (every key has a default; see configs/stallkeeper.toml)."`
	Data         string `env:"STALLKEEPER_DATA" placeholder:"DIR" help:"Folder of the database (else the configuration's; stallkeeper-data)."`
	HTTP         string `name:"http" placeholder:"ADDR" help:"Where the pages listen, such as 127.0.0.1:8080; port 0 picks a free one."`
	Broker       string `placeholder:"ADDR" help:"Where the embedded MQTT broker listens; unused when mqtt.url is set."`
	HashPassword bool   `help:"Read a password from the terminal, print its hash for [[user]], and stop."`
	Verbose      bool   `short:"v" help:"Log details."`
}

// Help gives an example.
func (serveCmd) Help() string {
	return `Example:

    stallkeeper serve --http 127.0.0.1:8080

Prints where it listens as one line of JSON, also kept in DIR/addresses.json, where the other verbs find it: give them the same
--data if you give one here, or set STALLKEEPER_DATA once for all of them. Loopback needs no login; anywhere else it demands users
and TLS. Alarms help; they do not replace a smoke alarm, a certified carbon monoxide alarm, or somebody near the fire.`
}

// Run serves until the context ends.
func (s serveCmd) Run(c *console) error {
	if s.HashPassword {
		return hashPassword(c, os.Stdin)
	}
	cfg, err := s.load()
	if err != nil {
		return err
	}
	thrift()
	usual := config.Default() // a port that somebody chose does not move: boards would go on knocking at it
	d, err := daemon.New(c.ctx, daemon.Options{Config: cfg, Log: logger(c.errOut, s.Verbose), Now: time.Now,
		HTTPFallback: s.HTTP == "" && cfg.HTTP.Listen == usual.HTTP.Listen, BrokerFallback: s.Broker == "" && cfg.Broker.Listen == usual.Broker.Listen})
	if err != nil {
		return err
	}
	if err := announce(c, d, cfg.Data); err != nil {
		return errors.Join(err, d.Close())
	}
	debug.FreeOSMemory() // what only the start needed
	return d.Run(c.ctx)
}

// thrift has memory collected when it has grown by half: on a small board room is scarcer than the little work that this costs.
// GOGC in the environment goes before.
func thrift() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50)
	}
}

func (s serveCmd) load() (config.Config, error) {
	cfg := config.Default()
	if s.Config != "" {
		var err error
		if cfg, err = config.Load(s.Config); err != nil {
			return cfg, err
		}
	}
	for _, f := range []struct {
		flag string
		to   *string
	}{{s.Data, &cfg.Data}, {s.HTTP, &cfg.HTTP.Listen}, {s.Broker, &cfg.Broker.Listen}} {
		if f.flag != "" {
			*f.to = f.flag
		}
	}
	return cfg, cfg.Validate()
}

// announce prints the bound addresses and keeps them beside the database, for the other verbs to find.
func announce(c *console, d *daemon.Daemon, dir string) error {
	where := d.Addresses()
	line, err := json.Marshal(addresses{HTTP: where.HTTP, Broker: where.Broker})
	if err != nil {
		return err
	}
	line = append(line, '\n')
	if err := os.WriteFile(filepath.Join(dir, addressesFile), line, 0o644); err != nil {
		return fmt.Errorf("keep the addresses: %w", err)
	}
	_, err = c.out.Write(line)
	return err
}

func logger(w io.Writer, verbose bool) *slog.Logger {
	level := slog.LevelInfo
	if verbose {
		level = slog.LevelDebug
	}
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: level}))
}

// shortest is the shortest password taken: common practice, no source.
const shortest = 10

func hashPassword(c *console, in io.Reader) error {
	fmt.Fprint(c.errOut, "password: ")
	line, err := bufio.NewReader(in).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("read password: %w", err)
	}
	password := strings.TrimRight(line, "\r\n")
	if len(password) < shortest {
		return fmt.Errorf("the password has %d characters: take at least %d", len(password), shortest)
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(password), 12)
	if err != nil {
		return fmt.Errorf("hash password: %w", err)
	}
	_, err = fmt.Fprintln(c.out, string(hash))
	return err
}

// scaled is a clock that starts at a moment and runs so many times real time.
func scaled(start time.Time, speed float64) func() time.Time {
	began := time.Now()
	return func() time.Time { return start.Add(time.Duration(float64(time.Since(began)) * speed)) }
}

// until waits, on a clock of that speed, for a moment.
func until(ctx context.Context, now func() time.Time, speed float64, at time.Time) error {
	wait := time.Duration(float64(at.Sub(now())) / speed)
	if wait <= 0 {
		return ctx.Err()
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(wait):
		return nil
	}
}
