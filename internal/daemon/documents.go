package daemon

import (
	"context"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/export"
)

// documents writes lots out for those who inspect them.
type documents struct {
	source export.Source
	in     *time.Location
	shop   string
}

// Document gives the lot as "pdf", "csv" or "json".
func (d documents) Document(ctx context.Context, lot cook.LotID, format string) ([]byte, error) {
	a, err := export.Gather(ctx, d.source, lot, d.in)
	if err != nil {
		return nil, err
	}
	a.Establishment = d.shop
	switch format {
	case "pdf":
		return export.PDF(a)
	case "csv":
		return export.CSV(a)
	case "json":
		return a.JSON, nil
	}
	return nil, fmt.Errorf("export lot %s: format %q is not pdf, csv or json", lot, format)
}
