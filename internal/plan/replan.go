package plan

import (
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Progress is how far a piece has come: the last step that was begun, and when. A piece on the pit carries its newest forecast.
type Progress struct {
	Done    StepID
	At      time.Time
	Cooking *estimator.Forecast
	Served  bool // it is sliced or chilled: nothing before the serving hour is left to plan
}

// Replan gives the order as it stands at a time: pieces by what was begun, those that were served left out. An order
// whose pieces are all served has none.
func (o Order) Replan(now time.Time, pit thermal.Celsius, progress map[cook.PieceID]Progress) Order {
	out := o
	out.Now, out.Pieces = now, nil
	if pit > 0 {
		out.Pit = pit
	}
	for _, p := range o.Named() {
		at, known := progress[p.ID]
		if at.Served {
			continue
		}
		if known {
			p.Done, p.DoneAt, p.Cooking = at.Done, at.At, at.Cooking
		}
		out.Pieces = append(out.Pieces, p)
	}
	return out
}

// OfCook is how far a piece of a running cook has come, by its log and its newest forecast; nil while there is none. A
// forecast of a piece taken off is no longer one.
func OfCook(c *cook.Cook, id cook.PieceID, f *estimator.Forecast, now time.Time) Progress {
	at := Progress{Done: SmokeStart, At: c.Started, Cooking: f}
	if off := c.OffAt(id); !off.IsZero() && !off.After(now) {
		return Progress{Done: Rest, At: off}
	}
	if f != nil && f.State == estimator.Ready {
		return Progress{Done: Ready, At: f.Since}
	}
	if at.At.After(now) {
		return Progress{}
	}
	return at
}

// FromCook is the order that a cook without a kept plan amounts to.
func FromCook(id cook.ID, c *cook.Cook) Order {
	o := Order{Name: c.Name, Serve: c.ServeBy, Pit: c.Pit.SetPoint, Fire: c.Pit.Fire, AltitudeM: c.AltitudeM, Cook: id}
	for _, p := range c.Pieces {
		op := OrderPiece{ID: p.ID, Cut: estimator.Cut(p.Cut), MassKg: p.MassKg, ThicknessMM: p.ThicknessMM, Target: p.Target, Uncured: true}
		if p.Plan != nil && p.Plan.AtC > 0 {
			op.Wrap, op.WrapAt = p.Plan.Wrap, p.Plan.AtC
		}
		o.Pieces = append(o.Pieces, op)
	}
	return o
}

// OfStage is how far a piece has come by the stage of its lot that began last. A forecast of the smoking, if there is one,
// is put in by whoever has it.
func OfStage(s cook.Stage, from time.Time) Progress {
	switch s {
	case cook.StageThaw:
		return Progress{Done: Thaw, At: from}
	case cook.StageCure:
		return Progress{Done: CureStart, At: from}
	case cook.StageDry:
		return Progress{Done: Dry, At: from}
	case cook.StageSmoke:
		return Progress{Done: SmokeStart, At: from}
	case cook.StageHold:
		return Progress{Done: Hold, At: from}
	}
	return Progress{Served: true}
}

// AfterStage is how far a piece has come when the stage of its lot that began last has ended, and none has begun since.
func AfterStage(s cook.Stage, until time.Time) Progress {
	switch s {
	case cook.StageThaw:
		return Progress{Done: Trim, At: until}
	case cook.StageCure:
		return Progress{Done: CureEnd, At: until}
	case cook.StageDry:
		return Progress{Done: Rub, At: until}
	case cook.StageSmoke:
		return Progress{Done: Rest, At: until}
	case cook.StageHold:
		return Progress{Done: Slice, At: until}
	}
	return Progress{Served: true}
}

// Late reports whether the step should have been begun by a time.
func (s Step) Late(now time.Time) bool { return s.Latest.Before(now) }
