package main

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

type cookCmd struct {
	Start  cookStartCmd  `cmd:"" help:"Start a cook from a cook.json."`
	List   cookListCmd   `cmd:"" help:"List cooks, newest first."`
	Event  cookEventCmd  `cmd:"" help:"Log what was done, also late."`
	Amend  cookAmendCmd  `cmd:"" help:"Change target, serving hour or probes of a running cook."`
	End    cookEndCmd    `cmd:"" help:"End a cook."`
	Export cookExportCmd `cmd:"" help:"Write a cook as a cook log folder."`
	Import cookImportCmd `cmd:"" help:"Take in a cook log folder as a finished cook."`
	Replay cookReplayCmd `cmd:"" help:"Publish a cook log over MQTT with its own timestamps."`
}

// Help gives an example.
func (cookCmd) Help() string {
	return "Examples:\n\n    stallkeeper cook start ./saturday/cook.json\n    stallkeeper cook event 1 wrap --piece flat --with foil"
}

type cookStartCmd struct {
	daemonAPI
	File string `arg:"" help:"A cook.json: name, started, pit.setpoint_c, pieces."`
	JSON bool   `help:"Print the answer as JSON."`
}

// Help gives an example.
func (cookStartCmd) Help() string {
	return `Example:

    stallkeeper cook start ./saturday/cook.json

A cook.json looks like this. Needed are name, started, setpoint_c, and of each piece id, cut and target_c; temperatures are Celsius,
times RFC 3339. A piece is intact when it is neither injected, tenderized, ground, nor boned and rolled; left out it is not.

    {"name": "saturday", "started": "2026-05-02T20:00:00+02:00",
     "serve_by": "2026-05-03T18:00:00+02:00", "altitude_m": 300,
     "pit": {"setpoint_c": 107, "fire": "kettle"},
     "pieces": [{"id": "flat", "cut": "brisket_flat", "target_c": 92.5,
                 "mass_kg": 2.4, "thickness_mm": 52, "intact": true,
                 "probes": ["flat"],
                 "plan": {"wrap": "foil", "wrap_at_c": 70}}]}

Cuts: ` + strings.Join(cutNames(), " ") + "."
}

func cutNames() []string {
	var out []string
	for _, c := range cook.Cuts() {
		out = append(out, string(c))
	}
	return out
}

// Run starts the cook.
func (s cookStartCmd) Run(c *console) error {
	data, err := os.ReadFile(s.File)
	if err != nil {
		return fmt.Errorf("%w (name a cook.json; on the page /start none is needed)", err)
	}
	started, err := cook.DecodeCook(data)
	if err != nil {
		return fmt.Errorf("%s: %w", s.File, err)
	}
	var answer struct {
		ID cook.ID `json:"id"`
	}
	if err := s.call(c.ctx, "POST", "/cooks", started, &answer); err != nil {
		return err
	}
	return show(c, s.JSON, answer, fmt.Sprintf("cook %d started: %s", answer.ID, started.Name))
}

type cookListCmd struct {
	daemonAPI
	JSON bool `help:"Print the answer as JSON."`
}

// Help gives an example.
func (cookListCmd) Help() string { return "Example:\n\n    stallkeeper cook list --json" }

// Run lists the cooks.
func (l cookListCmd) Run(c *console) error {
	var answer struct {
		Cooks []cook.Stored `json:"cooks"`
	}
	if err := l.call(c.ctx, "GET", "/cooks", nil, &answer); err != nil {
		return err
	}
	if l.JSON {
		return json.NewEncoder(c.out).Encode(answer.Cooks)
	}
	if len(answer.Cooks) == 0 {
		fmt.Fprintln(c.out, "no cook yet: start one with stallkeeper cook start, or on the page /start")
	}
	for _, s := range answer.Cooks {
		state := "running"
		if !s.Running() {
			state = "ended " + clock(s.Ended)
		}
		fmt.Fprintf(c.out, "%4d  %-22s  %-28s  %d pieces  %s\n", s.ID, clock(s.Started), s.Name, len(s.Pieces), state)
	}
	return nil
}

type cookEventCmd struct {
	daemonAPI
	ID       cook.ID       `arg:"" help:"Number of the cook."`
	Kind     string        `arg:"" help:"wrap unwrap lid spritz setpoint fuel probe-moved piece-off"`
	Piece    string        `help:"Piece it was done to."`
	With     string        `help:"foil or paper, for a wrap."`
	To       string        `placeholder:"107C" help:"New setpoint, with unit."`
	Ago      time.Duration `placeholder:"20m" help:"How long ago it was done."`
	At       time.Time     `placeholder:"TIME" help:"When it was done (RFC 3339; default: now)."`
	Corrects int64         `help:"Number of the entry that this one corrects."`
	Withdraw bool          `help:"With --corrects: that entry never happened."`
	By       string        `help:"Who did it."`
	Note     string        `help:"Free text."`
}

// Help gives an example.
func (cookEventCmd) Help() string {
	return "Example:\n\n    stallkeeper cook event 12 wrap --piece flat --with foil --ago 20m --by KM"
}

// Run logs the event.
func (e cookEventCmd) Run(c *console) error {
	entry := cook.Entry{Corrects: e.Corrects, Withdraw: e.Withdraw, By: e.By, Note: e.Note}
	entry.Event = cook.Event{Time: e.At, Kind: cook.EventKind(e.Kind), Piece: cook.PieceID(e.Piece), With: e.With}
	if entry.Time.IsZero() {
		entry.Time = time.Now().Add(-e.Ago).UTC()
	}
	if e.To != "" {
		to, err := cook.ParseTemperature(e.To)
		if err != nil {
			return err
		}
		entry.Celsius = to
	}
	var kept cook.Entry
	if err := e.call(c.ctx, "POST", fmt.Sprintf("/cooks/%d/events", e.ID), entry, &kept); err != nil {
		return err
	}
	_, err := fmt.Fprintf(c.out, "entry %d: %s at %s\n", kept.ID, kept.Kind, when.Clock(kept.Time, time.Local))
	return err
}

type cookAmendCmd struct {
	daemonAPI
	ID      cook.ID   `arg:"" help:"Number of the cook."`
	ServeBy time.Time `placeholder:"TIME" help:"New serving hour (RFC 3339)."`
	Piece   string    `help:"Piece to change."`
	Target  string    `placeholder:"92C" help:"New target of the piece, with unit."`
	Probe   []string  `help:"New probe of the piece. Repeatable."`
	By      string    `help:"Who changed it."`
}

// Help gives an example.
func (cookAmendCmd) Help() string {
	return "Example:\n\n    stallkeeper cook amend 12 --piece flat --target 94C"
}

// Run changes the cook.
func (a cookAmendCmd) Run(c *console) error {
	amendment := cook.Amendment{ServeBy: a.ServeBy, Piece: cook.PieceID(a.Piece), By: a.By}
	for _, p := range a.Probe {
		amendment.Probes = append(amendment.Probes, cook.ProbeID(p))
	}
	if a.Target != "" {
		target, err := cook.ParseTemperature(a.Target)
		if err != nil {
			return err
		}
		amendment.Target = target
	}
	if err := a.call(c.ctx, "PATCH", fmt.Sprintf("/cooks/%d", a.ID), amendment, nil); err != nil {
		return err
	}
	_, err := fmt.Fprintf(c.out, "cook %d changed\n", a.ID)
	return err
}

type cookEndCmd struct {
	daemonAPI
	ID cook.ID   `arg:"" help:"Number of the cook."`
	At time.Time `placeholder:"TIME" help:"When it ended (RFC 3339; default: now)."`
}

// Help gives an example.
func (cookEndCmd) Help() string { return "Example:\n\n    stallkeeper cook end 12" }

// Run ends the cook.
func (e cookEndCmd) Run(c *console) error {
	body := struct {
		At time.Time `json:"at,omitzero"`
	}{e.At}
	if err := e.call(c.ctx, "POST", fmt.Sprintf("/cooks/%d/end", e.ID), body, nil); err != nil {
		return err
	}
	_, err := fmt.Fprintf(c.out, "cook %d ended\n", e.ID)
	return err
}

type cookExportCmd struct {
	daemonAPI
	ID cook.ID `arg:"" help:"Number of the cook."`
	To string  `required:"" placeholder:"DIR" help:"New folder to write."`
}

// Help gives an example.
func (cookExportCmd) Help() string {
	return "Example:\n\n    stallkeeper cook export 12 --to ./saturday"
}

// Run writes the cook log.
func (e cookExportCmd) Run(c *console) error {
	body, err := e.open(c.ctx, "GET", fmt.Sprintf("/cooks/%d/log", e.ID), "", nil)
	if err != nil {
		return err
	}
	defer body.Close()
	data, err := io.ReadAll(body)
	if err != nil {
		return fmt.Errorf("receive the cook log: %w", err)
	}
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return fmt.Errorf("receive the cook log: %w", err)
	}
	if err := os.CopyFS(e.To, archive); err != nil {
		return fmt.Errorf("write the cook log: %w (name a folder that is not there yet)", err)
	}
	_, err = fmt.Fprintln(c.out, "cook log written to", e.To)
	return err
}

type cookImportCmd struct {
	daemonAPI
	Log string `arg:"" help:"Folder of the cook log."`
}

// Help gives an example.
func (cookImportCmd) Help() string { return "Example:\n\n    stallkeeper cook import ./saturday" }

// Run sends the cook log to the daemon.
func (i cookImportCmd) Run(c *console) error {
	if _, err := readLog(i.Log); err != nil {
		return err
	}
	var packed bytes.Buffer
	archive := zip.NewWriter(&packed)
	for _, name := range []string{cook.LogCookFile, cook.LogReadingsFile} {
		data, err := os.ReadFile(filepath.Join(i.Log, name))
		if err != nil {
			return err
		}
		w, err := archive.Create(name)
		if err != nil {
			return err
		}
		if _, err := w.Write(data); err != nil {
			return err
		}
	}
	if err := archive.Close(); err != nil {
		return err
	}
	answer, err := i.open(c.ctx, "POST", "/cooks/import", "application/zip", &packed)
	if err != nil {
		return err
	}
	defer answer.Close()
	var got struct {
		ID cook.ID `json:"id"`
	}
	if err := json.NewDecoder(answer).Decode(&got); err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "cook %d imported\n", got.ID)
	return err
}

// show prints a result as JSON or as a line of text.
func show(c *console, asJSON bool, v any, text string) error {
	if asJSON {
		return json.NewEncoder(c.out).Encode(v)
	}
	_, err := fmt.Fprintln(c.out, text)
	return err
}
