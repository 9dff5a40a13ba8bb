package cooks

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/score"
	"stallkeeper/internal/when"
)

// checkpoints are the shares of a piece's time on the fire at which its forecasts are judged.
var checkpoints = [...]float64{0.15, 0.3, 0.5, 0.7, 0.85, 0.95}

// keptLine is what a kept forecast said about the ready time.
type keptLine struct {
	At    time.Time       `json:"at"`
	State estimator.State `json:"state"`
	Ready struct {
		P05, P10, P25, P50, P75, P90, P95 *time.Time
	} `json:"ready"`
}

// quantiles are the minutes from the forecast to the ready time; +Inf where none was given.
func (k *keptLine) quantiles() (q score.Quantiles) {
	for i, t := range []*time.Time{k.Ready.P05, k.Ready.P10, k.Ready.P25, k.Ready.P50, k.Ready.P75, k.Ready.P90, k.Ready.P95} {
		q[i] = math.Inf(1)
		if t != nil {
			q[i] = t.Sub(k.At).Minutes()
		}
	}
	return q
}

// judged is a forecast of a piece that got ready, as it was kept, with what came.
type judged struct {
	Share float64 // of its time on the fire
	Said  keptLine
	Ready time.Time
}

// lastKept is the newest forecast of a piece kept in the minutes up to a time; nil when there is none.
func (p *Set) lastKept(ctx context.Context, id cook.ID, piece cook.PieceID, to time.Time, within time.Duration) (*keptLine, error) {
	kept, err := p.Library.Forecasts(ctx, id, piece, to.Add(-within), to.Add(time.Second))
	if err != nil || len(kept) == 0 {
		return nil, err
	}
	var line keptLine
	if err := json.Unmarshal(kept[len(kept)-1].JSON, &line); err != nil {
		return nil, fmt.Errorf("read the forecast of %s at %s: %w", piece, to.Format(time.RFC3339), err)
	}
	return &line, nil
}

// judge looks up what was forecast at each checkpoint of a piece of an ended cook; nothing when it never got ready.
func (p *Set) judge(ctx context.Context, stored *cook.Stored, piece cook.PieceID) ([]judged, error) {
	last, err := p.lastKept(ctx, stored.ID, piece, stored.Ended, lastWords)
	if err != nil || last == nil || last.Ready.P50 == nil || (last.State != estimator.Ready && last.State != estimator.Cooling) {
		return nil, err
	}
	ready := *last.Ready.P50
	var out []judged
	for _, share := range checkpoints {
		at := stored.Started.Add(time.Duration(share * float64(ready.Sub(stored.Started))))
		said, err := p.lastKept(ctx, stored.ID, piece, at, 3*time.Minute)
		if err != nil {
			return nil, err
		}
		if said != nil && said.State != estimator.Ready && said.State != estimator.Unknown {
			out = append(out, judged{share, *said, ready})
		}
	}
	return out, nil
}

// qualityLine is how good the forecasts of several pieces were at one share of their time.
type qualityLine struct {
	Share  string
	N      int
	Off    string // of the most likely time, half of them less
	Inside string // how often the band of 4 in 5 held
}

// quality judges the kept forecasts of ended cooks. Of each piece one forecast counts at each checkpoint.
func (p *Set) quality(ctx context.Context, cooks []cook.Stored) ([]qualityLine, error) {
	var tallies [len(checkpoints)]score.Tally
	for i := range cooks {
		if cooks[i].Running() {
			continue
		}
		for _, piece := range cooks[i].Pieces {
			all, err := p.judge(ctx, &cooks[i], piece.ID)
			if err != nil {
				return nil, err
			}
			for _, j := range all {
				for k, share := range checkpoints {
					if share == j.Share {
						tallies[k].Add(j.Said.quantiles(), j.Ready.Sub(j.Said.At).Minutes())
					}
				}
			}
		}
	}
	var out []qualityLine
	for k, share := range checkpoints {
		s := tallies[k].Score()
		if s.N == 0 {
			continue
		}
		out = append(out, qualityLine{Share: fmt.Sprintf("%.0f %%", 100*share), N: s.N,
			Off:    when.Span(time.Duration(math.Round(s.MedianError)) * time.Minute),
			Inside: fmt.Sprintf("%.0f of %d", math.Round(s.Cover80*float64(s.N)), s.N)})
	}
	return out, nil
}

// lookBack says what a past cook's forecasts had said half-way, and what came.
func (p *Set) lookBack(ctx context.Context, see reader, stored *cook.Stored, piece cook.PieceID) (string, error) {
	if stored.Running() {
		return "", nil
	}
	all, err := p.judge(ctx, stored, piece)
	if err != nil {
		return "", err
	}
	for _, j := range all {
		r := j.Said.Ready
		if j.Share != 0.5 || r.P10 == nil {
			continue
		}
		said := "after " + see.Clock(*r.P10)
		if r.P90 != nil {
			said = see.Range(*r.P10, *r.P90)
		}
		verdict := "the band held"
		if j.Ready.Before(*r.P10) {
			verdict = "earlier than the band"
		} else if r.P90 != nil && j.Ready.After(*r.P90) {
			verdict = "later than the band"
		}
		return fmt.Sprintf("Half-way the forecast said %s: %s.", said, verdict), nil
	}
	return "", nil
}
