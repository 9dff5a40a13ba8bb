package web

import (
	"io"
	"net/http"

	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// routes puts what is neither a page nor the API on mux: login, metrics, probes of health.
func (s *Server) routes(mux *http.ServeMux) {
	mux.Handle("GET /login", s.answering(s.getLogin))
	mux.Handle("POST /login", s.answering(s.postLogin))
	mux.Handle("POST /logout", s.answering(s.postLogout))
	if s.opts.Metrics != nil {
		mux.Handle("GET /metrics", s.opts.Metrics)
	}
	mux.HandleFunc("GET /healthz", s.getHealth)
	mux.Handle("GET /readyz", s.answering(s.getReady))
}

// answering turns an error into a problem.
func (s *Server) answering(handle func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := handle(w, r); err != nil {
			s.tell.Fail(w, r, err)
		}
	})
}

// trouble is what the page says is wrong with the daemon, for those who may see the page.
func (s *Server) trouble(r *http.Request) string {
	if !visitor.Of(r).May(visitor.Watch) {
		return ""
	}
	in := s.opts.View.Snapshot().Intake
	if in.Trouble == "" {
		return in.Late
	}
	return in.Trouble
}

func (s *Server) getHealth(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if _, err := io.WriteString(w, "ok\n"); err != nil {
		s.opts.Log.Debug("answer not taken", "path", "/healthz", "error", err)
	}
}

func (s *Server) getReady(w http.ResponseWriter, r *http.Request) error {
	if err := s.opts.Ready(); err != nil {
		s.opts.Log.Warn("not ready", "error", err)
		if detail := s.trouble(r); detail != "" {
			return problem.New(http.StatusServiceUnavailable, "Not ready", detail)
		}
		return problem.New(http.StatusServiceUnavailable, "Not ready", "the store or the way in does not work, or readings are judged too late: the daemon's log says what to do")
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, err := io.WriteString(w, "ready\n")
	if err != nil {
		s.opts.Log.Debug("answer not taken", "path", "/readyz", "error", err)
	}
	return nil
}
