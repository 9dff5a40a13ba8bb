package page

import (
	"net/http"
	"net/url"
	"time"

	"stallkeeper/internal/record"
)

// UsualBrine is what the brine form shows first.
var UsualBrine = usualBrine

// UnitCookie names the cookie of the reader's unit.
const UnitCookie = unitCookie

// TypedOf is what the form that corrects an entry shows.
func TypedOf(r *http.Request, e record.Entry, in *time.Location) url.Values {
	return readerOf(r, e.At, in).typedOf(e.Kind, e.Body)
}
