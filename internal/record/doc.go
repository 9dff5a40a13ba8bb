// Package record is the account of the lots: an append-only journal whose entries tell who did what to which lot and when, chained so that
// tampering shows, and the fold that makes a lot of its entries.
//
// It reads no clock, opens no file and starts no goroutine. internal/store keeps the journal; this package says what may stand in it.
//
// # Adding and reading
//
//	entries, err := db.Append(ctx, record.Draft{Lot: "26-11-25-brisket", At: at, Maker: Maker{By: "KM", Auth: record.AuthPIN},
//		Body: record.Weighed{Piece: "flat", When: record.WhenRaw, MassKg: 3.2, Instrument: "floor scale"}})
//	lot, err := db.Lot(ctx, "26-11-25-brisket") // record.Fold of its entries
//	lot.Weights, lot.Stages, lot.OpenDeviations()
//
// Several drafts in one call are kept together or not at all. A draft with Corrects replaces an entry of the same kind by a whole new
// body and says why in Reason; record.Withdrawal says that an entry never happened. The old entry stays in the journal for ever.
// Entries with Lot "" are the shop's: checks of thermometers, keys.
//
// # The chain
//
// The content of an entry is the canonical JSON (RFC 8785) of at, auth, body, by, corrects, entered, kind, lot and reason; times are UTC with six
// places behind the second. Its link is the canonical JSON of content (the SHA-256 of the content, in hexadecimal), of (the lot), prev (the
// hash of the entry before, 64 zeros for the first) and seq. Its hash is the SHA-256 of the link. Changing, removing, adding or
// moving an entry breaks every hash from there on; and because the link holds only a digest of the content, the
// entries of one lot can be shown with the bare links of the others between them.
//
// Seals are a second chain of the same form: what the readings of one probe within one hour were. A checkpoint is signed (Ed25519,
// RFC 8032) over the heads of both chains and the time. Whoever holds the key can rewrite the whole history; whoever removes the newest
// entries together with the checkpoints that cover them leaves no trace in the database. Both show only against a
// checkpoint that was kept elsewhere, which is why they are to leave the machine every day.
package record
