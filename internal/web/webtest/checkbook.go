package webtest

import (
	"context"
	"fmt"
	"strings"
	"time"

	"stallkeeper/internal/record"
)

// checkbook keeps checks as the store does.
type checkbook struct {
	now     time.Time
	entries []record.Entry
}

func (b *checkbook) ProbeChecks(_ context.Context, instrument string) ([]record.Entry, error) {
	var out []record.Entry
	for _, e := range b.entries {
		if instrument == "" || strings.Contains(string(e.Body), `"instrument":"`+instrument+`"`) {
			out = append(out, e)
		}
	}
	return out, nil
}

func (b *checkbook) Append(_ context.Context, drafts ...record.Draft) ([]record.Entry, error) {
	var out []record.Entry
	for _, d := range drafts {
		e, err := d.Make(int64(len(b.entries)+1), record.Hash{}, b.now)
		if err != nil {
			return nil, fmt.Errorf("%w: %w", record.ErrDraft, err)
		}
		b.entries, out = append(b.entries, e), append(out, e)
	}
	return out, nil
}
