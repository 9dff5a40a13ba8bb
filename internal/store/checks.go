package store

import (
	"context"
	"database/sql"

	"stallkeeper/internal/record"
)

// ProbeChecks gives the checks of an instrument that stand, neither corrected nor withdrawn, in the order of the journal;
// of every instrument where the name is empty.
func (db *DB) ProbeChecks(ctx context.Context, instrument string) (out []record.Entry, err error) {
	const standing = ` and not exists (select 1 from journal c where c.corrects = journal.seq and c.lot = journal.lot) order by seq`
	err = db.readTogether(ctx, "read checks", func(tx *sql.Tx) (err error) {
		if instrument == "" {
			out, err = queryJournal(ctx, tx, `where kind = ?`+standing, string(record.KindProbeChecked))
			return err
		}
		out, err = queryJournal(ctx, tx, `where kind = ? and json_extract(body, '$.instrument') = ?`+standing, string(record.KindProbeChecked), instrument)
		return err
	})
	return out, err
}
