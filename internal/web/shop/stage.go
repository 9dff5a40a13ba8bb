package shop

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
)

// StageMove ends what runs for a piece, or for the whole lot, and starts the next stage, in one step.
type StageMove struct {
	To     cook.Stage     `json:"to,omitempty"` // empty: only end what runs
	Piece  cook.PieceID   `json:"piece,omitempty"`
	At     time.Time      `json:"at,omitzero"`
	Probes []cook.ProbeID `json:"probes,omitempty"`
	Cook   cook.ID        `json:"cook,omitempty"`
	Note   string         `json:"note,omitempty"`
}

// MoveStage enters the end of what runs and the beginning of the next stage, all or nothing. The warning is in words, and empty where all is well.
func (s Shop) MoveStage(ctx context.Context, id cook.LotID, m StageMove, who record.Maker) (entries []record.Entry, warning string, err error) {
	lot, err := s.Records.Lot(ctx, id)
	if err != nil {
		return nil, "", RecordError(err)
	}
	drafts, err := stageEnds(lot, m)
	if err != nil {
		return nil, "", err
	}
	if m.To != "" {
		start := record.StageStarted{Stage: m.To, Piece: m.Piece, Probes: m.Probes, Cook: m.Cook, Note: m.Note}
		if m.Cook != 0 {
			if start.Probes, err = s.cookProbes(ctx, lot, m); err != nil {
				return nil, "", err
			}
		}
		if len(start.Probes) == 0 {
			warning = "no probe watches this stage: name one, or enter its temperatures by hand"
		}
		drafts = append(drafts, record.Draft{Body: start})
	}
	if len(drafts) == 0 {
		return nil, "", problem.New(http.StatusConflict, "Conflict", "no stage runs that could be ended: say to which stage it goes")
	}
	for i := range drafts {
		drafts[i].Lot, drafts[i].At, drafts[i].Maker = id, m.At, who
	}
	if entries, err = s.Records.Append(ctx, drafts...); err != nil {
		return nil, "", RecordError(err)
	}
	return entries, warning, nil
}

// stageEnds are the ends of the stages that run: of the piece, or of everything in the lot.
func stageEnds(lot *record.Lot, m StageMove) ([]record.Draft, error) {
	var out []record.Draft
	for _, run := range lot.Stages {
		switch {
		case !run.Until.IsZero():
		case m.Piece != "" && run.Piece == "":
			return nil, problem.New(http.StatusConflict, "Conflict", fmt.Sprintf("stage %s runs for the whole lot: move the whole lot, or end it first and start stages by piece", run.Stage))
		case m.Piece == "" || run.Piece == m.Piece:
			out = append(out, record.Draft{Body: record.StageEnded{Stage: run.Stage, Piece: run.Piece}})
		}
	}
	return out, nil
}

// cookProbes are the probes of the cook that a smoking is, where none are named.
func (s Shop) cookProbes(ctx context.Context, lot *record.Lot, m StageMove) ([]cook.ProbeID, error) {
	stored, err := s.Library.Cook(ctx, m.Cook)
	if errors.Is(err, cook.ErrNotFound) {
		return nil, problem.New(http.StatusNotFound, "Not found", fmt.Sprintf("cook %d is not known: light the fire first, or leave the cook out", m.Cook))
	}
	if err != nil || len(m.Probes) > 0 {
		return m.Probes, err
	}
	var out []cook.ProbeID
	for i := range stored.Pieces {
		if p := &stored.Pieces[i]; inLot(lot, &stored.Cook, m.Piece, p.ID) {
			out = append(out, p.ProbeIDs()...)
		}
	}
	return out, nil
}

// inLot reports whether a piece of a cook is the one that a stage names, or one of the lot where it names none. A cook of one piece, and one
// whose pieces bear other names than the lot's, is all of it.
func inLot(lot *record.Lot, c *cook.Cook, named, id cook.PieceID) bool {
	if named != "" {
		return id == named || len(c.Pieces) == 1
	}
	shared := slices.ContainsFunc(c.Pieces, func(p cook.Piece) bool { _, ok := lot.Piece(p.ID); return ok })
	_, ok := lot.Piece(id)
	return ok || !shared
}
