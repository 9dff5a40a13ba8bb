package lots

import (
	"net/http"
	"net/url"
	"time"

	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/frame"
)

// TypedOf is what the form that corrects an entry shows.
func TypedOf(r *http.Request, e record.Entry, in *time.Location) url.Values {
	return reader{frame.ReaderOf(r, e.At, in)}.typedOf(e.Kind, e.Body)
}
