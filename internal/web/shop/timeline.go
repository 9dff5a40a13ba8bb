package shop

import (
	"context"
	"errors"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// Moment is one line of a lot's timeline. Times are UTC; a zero Until is a moment, or a stage that still runs.
type Moment struct {
	At    time.Time    `json:"at"`
	Until time.Time    `json:"until,omitzero"`
	What  string       `json:"what"`
	Text  string       `json:"text"`
	Piece cook.PieceID `json:"piece,omitempty"`
	By    string       `json:"by,omitempty"`
	Entry int64        `json:"entry,omitempty"` // of the journal
	Cook  cook.ID      `json:"cook,omitempty"`  // where it was logged in a cook
}

// Timeline is the whole way of a lot, from its opening to the freezer: the entries that hold, and what was logged in its cooks.
func (s Shop) Timeline(ctx context.Context, lot *record.Lot) ([]Moment, error) {
	var out []Moment
	for _, e := range lot.Entries {
		if lot.Replaced(e.Seq) != 0 || e.Kind == record.KindWithdrawal || e.Kind == record.KindStageEnded {
			continue
		}
		body, err := e.Decode()
		if err != nil {
			return nil, err
		}
		m := Moment{At: e.At.UTC(), What: e.Kind.KindName(), By: e.By, Entry: e.Seq}
		if start, ok := body.(*record.StageStarted); ok {
			m.What, m.Piece, m.Cook = string(start.Stage), start.Piece, start.Cook
			m.Until = stageUntil(lot, e.Seq)
		}
		for i, said := range record.Tell(body, s.Location) {
			if i > 0 {
				m.Text += "; "
			}
			m.Text += said.Name + ": " + said.Text
		}
		out = append(out, m)
	}
	logged := map[Moment]bool{} // two stages may share a cook
	for _, run := range lot.Stages {
		if run.Cook == 0 {
			continue
		}
		events, err := s.cookMoments(ctx, lot, run)
		if err != nil {
			return nil, err
		}
		for _, m := range events {
			if !logged[m] {
				out = append(out, m)
			}
			logged[m] = true
		}
	}
	slices.SortStableFunc(out, func(a, b Moment) int { return a.At.Compare(b.At) })
	return out, nil
}

func stageUntil(lot *record.Lot, seq int64) time.Time {
	for _, run := range lot.Stages {
		if run.Seq == seq && !run.Until.IsZero() {
			return run.Until.UTC()
		}
	}
	return time.Time{}
}

// cookMoments are the events of a cook that concern the meat of the stage.
func (s Shop) cookMoments(ctx context.Context, lot *record.Lot, run record.StageRun) ([]Moment, error) {
	stored, err := s.Library.Cook(ctx, run.Cook)
	if errors.Is(err, cook.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []Moment
	for _, e := range stored.Events {
		if e.Piece == "" || inLot(lot, &stored.Cook, run.Piece, e.Piece) {
			out = append(out, Moment{At: e.Time.UTC(), What: eventWhat(e.Kind), Text: eventText(e), Piece: e.Piece, Cook: run.Cook})
		}
	}
	return out, nil
}

// eventWhat names what was done, for people.
func eventWhat(k cook.EventKind) string {
	switch k {
	case cook.EventWrap:
		return "wrap"
	case cook.EventUnwrap:
		return "unwrapped"
	case cook.EventLid:
		return "lid opened"
	case cook.EventSpritz:
		return "spritzed"
	case cook.EventSetPoint:
		return "pit set"
	case cook.EventFuel:
		return "fuel added"
	case cook.EventProbeMoved:
		return "probe moved"
	case cook.EventPieceOff:
		return "taken off"
	}
	return string(k)
}

func eventText(e cook.Event) string {
	switch e.Kind {
	case cook.EventWrap:
		return "wrapped in " + e.With
	case cook.EventSetPoint:
		return "pit set to " + record.Degrees(e.Celsius)
	}
	return ""
}
