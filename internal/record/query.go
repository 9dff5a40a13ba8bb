package record

import (
	"errors"
	"time"

	"stallkeeper/internal/cook"
)

// Query asks for entries, ascending by number, or descending with Newest. Zero fields do not narrow.
type Query struct {
	Lot      *cook.LotID // "" = the shop's own entries; nil = every lot
	Kinds    []Kind
	From, To time.Time // of the event; from inclusive, to exclusive
	After    int64     // the last number of the page before
	Newest   bool
	Limit    int // 0 = all
}

// ErrDraft is wrapped by errors about what a draft says.
var ErrDraft = errors.New("the entry is not right")
