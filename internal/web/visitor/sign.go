package visitor

import (
	"net/http"

	"stallkeeper/internal/record"
)

// Signature is who makes an entry: logged in, or initials with a PIN, or a bare name where neither is set up.
type Signature struct {
	By  string `json:"by,omitempty"`
	PIN string `json:"pin,omitempty"`
}

// Sign tells who makes an entry, from the person logged in and what the request says: their initials or name, and how that is known.
// Its errors are for the sender.
type Sign func(r *http.Request, said Signature) (record.Maker, error)
