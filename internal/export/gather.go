package export

import (
	"context"
	"fmt"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// Source is where an account is gathered from.
type Source interface {
	// Export gives the records of a lot under a checkpoint that covers them.
	Export(ctx context.Context, lot cook.LotID) (*record.Export, error)
	// Series thins a probe's good readings to at most points buckets that keep the extremes.
	Series(ctx context.Context, probe cook.ProbeID, from, to time.Time, points int) ([]cook.Bucket, error)
}

// Gather makes the account of a lot from the very records that its JSON export shows. Errors are those of the source.
func Gather(ctx context.Context, src Source, id cook.LotID, in *time.Location) (Account, error) {
	x, err := src.Export(ctx, id)
	if err != nil {
		return Account{}, err
	}
	a := Account{Location: in, File: string(id) + ".json"}
	if a.Lot, err = x.Fold(); err != nil {
		return a, err
	}
	if a.Shop, err = concerns(x, a.Lot); err != nil {
		return a, err
	}
	if a.JSON, err = x.JSON(); err != nil {
		return a, err
	}
	if n := len(x.Checkpoints); n > 0 {
		a.Proof = &Proof{Checkpoint: x.Checkpoints[n-1], Entries: int64(len(x.Entries)), Seals: sealsOf(x, a.Lot)}
	}
	for _, run := range a.Lot.Stages {
		if len(run.Probes) == 0 {
			continue
		}
		c, err := curveOf(ctx, src, run, lastMoment(a))
		if err != nil {
			return a, fmt.Errorf("read curves of lot %s: %w", id, err)
		}
		a.Curves = append(a.Curves, c)
	}
	return a, nil
}

// curveOf reads the curve of a stage. One that goes on ends at the document's own moment, so that the same records give the same curve.
func curveOf(ctx context.Context, src Source, run record.StageRun, moment time.Time) (Curve, error) {
	c := Curve{Stage: run, Until: run.Until}
	if c.Until.IsZero() {
		c.Until = moment
	}
	for _, p := range run.Probes {
		trace, err := src.Series(ctx, p, c.Stage.From, c.Until, CurvePoints(c.Until.Sub(c.Stage.From)))
		if err != nil {
			return c, err
		}
		c.Lines = append(c.Lines, Line{Probe: p, Pit: p.IsPit(), Trace: trace})
	}
	return c, nil
}

// concerns picks the shop's own entries that an account of the lot needs: the checks of its instruments, and what says something of those checks.
func concerns(x *record.Export, l *record.Lot) ([]record.Entry, error) {
	mine := instruments(l)
	var out []record.Entry
	for _, e := range x.Shown() {
		if e.Lot != "" || e.Kind == record.KindKey {
			continue
		}
		body, err := e.Decode()
		if err != nil {
			return nil, err
		}
		if c, ok := body.(*record.ProbeChecked); ok && !slices.Contains(mine, c.Instrument) {
			continue
		}
		out = append(out, e)
	}
	return out, nil
}

// sealsOf are the seals of the lot's probes within its stages.
func sealsOf(x *record.Export, l *record.Lot) []record.Seal {
	var out []record.Seal
	for _, line := range x.Seals {
		if line.Seal == nil {
			continue
		}
		for _, run := range l.Stages {
			within := !line.Seal.Hour.Add(time.Hour).Before(run.From) && (run.Until.IsZero() || line.Seal.Hour.Before(run.Until))
			if within && slices.Contains(run.Probes, line.Seal.Probe) {
				out = append(out, *line.Seal)
				break
			}
		}
	}
	return out
}
