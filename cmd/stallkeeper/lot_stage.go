package main

import (
	"fmt"
	"net/url"
	"strings"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

type lotStageCmd struct {
	Start lotStageStartCmd `cmd:"" help:"Start a stage."`
	End   lotStageEndCmd   `cmd:"" help:"End a stage."`
}

// Help gives an example.
func (lotStageCmd) Help() string {
	return "Example:\n\n    stallkeeper lot stage start 26-11-25-cured-brisket cure --probe cooler --by KM"
}

type lotStageStartCmd struct {
	lotVerb
	Stage string   `arg:"" help:"thaw, cure, dry, smoke, hold, chill, store or freeze."`
	Piece string   `help:"Of which piece (default: the whole lot)."`
	Probe []string `help:"A probe that watches it. Repeatable."`
	Cook  cook.ID  `help:"Number of the cook that this smoking is."`
	Note  string   `help:"Free text."`
}

// Help gives an example.
func (lotStageStartCmd) Help() string {
	return "Example:\n\n    stallkeeper lot stage start 26-11-25-cured-brisket smoke --probe core --probe pit --cook 12 --by KM"
}

// Run starts the stage.
func (s lotStageStartCmd) Run(c *console) error {
	body := record.StageStarted{Stage: cook.Stage(s.Stage), Piece: cook.PieceID(s.Piece), Cook: s.Cook, Note: s.Note}
	for _, p := range s.Probe {
		body.Probes = append(body.Probes, cook.ProbeID(p))
	}
	return s.enter(c, body)
}

type lotStageEndCmd struct {
	lotVerb
	Stage string `arg:"" help:"thaw, cure, dry, smoke, hold, chill, store or freeze."`
	Piece string `help:"Of which piece (default: the whole lot)."`
	Note  string `help:"Free text."`
}

// Help gives an example.
func (lotStageEndCmd) Help() string {
	return "Example:\n\n    stallkeeper lot stage end 26-11-25-cured-brisket cure --by KM"
}

// Run ends the stage.
func (s lotStageEndCmd) Run(c *console) error {
	body := record.StageEnded{Stage: cook.Stage(s.Stage), Piece: cook.PieceID(s.Piece), Note: s.Note}
	return s.enter(c, body)
}

type lotMoveCmd struct {
	lotVerb
	To    string   `arg:"" help:"thaw, cure, dry, smoke, hold, chill, store or freeze; none only ends what runs."`
	Piece string   `help:"Of which piece (default: the whole lot)."`
	Probe []string `help:"A probe that watches it. Repeatable."`
	Cook  cook.ID  `help:"Number of the cook that this smoking is: its probes watch where none are named."`
	Note  string   `help:"Free text."`
}

// Help gives an example.
func (lotMoveCmd) Help() string {
	return `Example:

    stallkeeper lot move 26-11-25-cured-brisket smoke --cook 12 --by KM

Ends the stage that runs and starts the next, both or neither. Each stage arms the limits of its own on the probes that are named.`
}

// Run moves the lot.
func (m lotMoveCmd) Run(c *console) error {
	by, err := m.sign()
	if err != nil {
		return err
	}
	body := struct {
		signed
		To     string   `json:"to"`
		Piece  string   `json:"piece,omitempty"`
		Probes []string `json:"probes,omitempty"`
		Cook   cook.ID  `json:"cook,omitempty"`
		Note   string   `json:"note,omitempty"`
	}{by, m.To, m.Piece, m.Probe, m.Cook, m.Note}
	var moved struct {
		Entries []record.Entry `json:"entries"`
		Warning string         `json:"warning"`
	}
	if err := m.call(c.ctx, "POST", "/lots/"+url.PathEscape(m.Lot)+"/stage", body, &moved); err != nil {
		return err
	}
	for _, e := range moved.Entries {
		text, err := stageLine(e)
		if err != nil {
			return err
		}
		fmt.Fprintln(c.out, text)
	}
	if moved.Warning != "" {
		_, err = fmt.Fprintln(c.out, "mind:", moved.Warning)
	}
	return err
}

func stageLine(e record.Entry) (string, error) {
	body, err := e.Decode()
	if err != nil {
		return "", err
	}
	switch b := body.(type) {
	case *record.StageStarted:
		watched := ""
		if len(b.Probes) > 0 {
			names := make([]string, 0, len(b.Probes))
			for _, p := range b.Probes {
				names = append(names, string(p))
			}
			watched = ", watched by " + strings.Join(names, ", ")
		}
		return fmt.Sprintf("entry %d: %s %s began %s%s", e.Seq, b.Stage, b.Piece, clock(e.At), watched), nil
	case *record.StageEnded:
		return fmt.Sprintf("entry %d: %s %s ended %s", e.Seq, b.Stage, b.Piece, clock(e.At)), nil
	}
	return fmt.Sprintf("entry %d: %s", e.Seq, e.Kind), nil
}
