package api

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"net/http"
)

// answerStream writes a long JSON answer as it is made. What cannot be written any more is not: the receiver is gone.
type answerStream struct {
	api  *API
	out  *bufio.Writer
	zip  *gzip.Writer  // nil when the receiver does not take it
	more bool          // an item was written
	one  bytes.Buffer  // used again for each item
	json *json.Encoder // into one
	err  error
}

// stream begins an answer of status 200 with a text. Errors after this cannot be told by a status.
func (api *API) stream(w http.ResponseWriter, r *http.Request, begin string) *answerStream {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	h.Set("Vary", "Accept-Encoding")
	s := &answerStream{api: api}
	s.json = json.NewEncoder(&s.one)
	s.json.SetEscapeHTML(false) // it is never read as HTML: see the type and nosniff
	var to io.Writer = w
	if takesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		s.zip = api.packer(w)
		to = s.zip
	}
	s.out = bufio.NewWriterSize(to, 8<<10)
	s.text(begin)
	return s
}

func (s *answerStream) text(t string) {
	if s.err == nil {
		_, s.err = s.out.WriteString(t)
	}
}

// value writes v as JSON, without the line end of an encoder.
func (s *answerStream) value(v any) {
	s.one.Reset()
	if err := s.json.Encode(v); err != nil {
		panic("api: a document that is no JSON: " + err.Error())
	}
	if s.err == nil {
		_, s.err = s.out.Write(bytes.TrimSuffix(s.one.Bytes(), []byte("\n")))
	}
}

// item writes the next item of an array.
func (s *answerStream) item(v any) {
	if s.more {
		s.text(",")
	}
	s.more = true
	s.value(v)
}

// end closes the answer with a text and a last value. After an error, given or met on the way, the connection is cut, so that
// nobody takes a part for the whole.
func (s *answerStream) end(r *http.Request, err error, text string, last any) error {
	if err != nil {
		if r.Context().Err() == nil {
			s.api.opts.Log.Error("answer broken off", "path", r.URL.Path, "error", err)
		}
		panic(http.ErrAbortHandler)
	}
	s.text(text)
	s.value(last)
	s.text("}\n")
	if s.err == nil {
		s.err = s.out.Flush()
	}
	if s.zip != nil {
		if err := s.zip.Close(); s.err == nil {
			s.err = err
		}
		s.api.packers.Put(s.zip)
	}
	if s.err != nil {
		s.api.opts.Log.Debug("answer not taken", "path", r.URL.Path, "error", s.err)
	}
	return nil
}
