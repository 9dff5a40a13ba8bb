package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"
	"time"

	"stallkeeper/internal/web/api"
	"stallkeeper/internal/web/page"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// Limits of a connection. The live stream and the export move their own deadlines on.
const (
	headerTimeout = 10 * time.Second
	bodyTimeout   = 30 * time.Second
	writeTimeout  = 30 * time.Second
	idleTimeout   = 2 * time.Minute
	stopTimeout   = 10 * time.Second
	maxHeader     = 64 << 10 // bytes
	maxBody       = 1 << 20  // bytes; the import has a limit of its own
)

// Server answers HTTP: the pages, the API under /api/v1, the live stream, probes of health and metrics.
//
// The rules here are:
//   - Without users only loopback names are answered, so that no foreign page reaches the daemon by a rebound name.
//   - With users everything but the login, the style of its page and the probes of health asks for one.
//   - What changes something is refused when a page of another site asks for it.
//   - Every error of the API is a problem document (RFC 9457).
type Server struct {
	opts    Options
	gate    *gate
	tell    problem.Teller
	api     *api.API
	handler http.Handler
}

// New builds the server. It listens nowhere yet.
func New(o Options) (*Server, error) {
	gate, err := newGate(o)
	if err != nil {
		return nil, err
	}
	s := &Server{opts: o, gate: gate}
	s.tell = problem.Teller{Log: o.Log, Trouble: s.trouble}
	s.api = api.New(api.Options{Shop: o.Shop, Log: o.Log, Invented: o.Invented, Login: len(o.Users) > 0, Sign: s.signed, Tell: s.tell})
	pages, err := page.New(page.Options{Shop: o.Shop, Log: o.Log, Invented: o.Invented, Broker: o.Broker, Login: len(o.Users) > 0, PINs: len(o.People) > 0,
		Secure: o.TLS != nil || o.BehindProxy, Sign: s.signed})
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	pages.Register(mux)
	s.api.Register(mux)
	s.routes(mux)
	foreign := http.NewCrossOriginProtection()
	foreign.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.tell.Fail(w, r, problem.New(http.StatusForbidden, "Another site asked", "a page of another site sent this request: do it from the daemon's own page"))
	}))
	s.handler = s.recovered(secured(s.knownHost(foreign.Handler(s.gate.guard(s, s.limited(s.found(mux, pages)))))))
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Run serves on ln until ctx ends, then lets running answers finish. It closes ln.
func (s *Server) Run(ctx context.Context, ln net.Listener) error {
	if err := s.MayListen(ln.Addr()); err != nil {
		return errors.Join(err, ln.Close())
	}
	door := newDoorway(s.opts.Log, s.opts.Now)
	server := &http.Server{
		Handler: door.streams(s), ConnState: door.state, ConnContext: withConn, ReadHeaderTimeout: headerTimeout, ReadTimeout: bodyTimeout, WriteTimeout: writeTimeout,
		IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader, ErrorLog: slog.NewLogLogger(s.opts.Log.Handler(), slog.LevelDebug),
	}
	server.RegisterOnShutdown(s.api.EndStreams)
	served := make(chan error, 1)
	go func() { served <- s.serve(server, ln) }()
	select {
	case err := <-served:
		return fmt.Errorf("serve http: %w", err)
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTimeout)
	defer cancel()
	err := server.Shutdown(stop)
	if err != nil {
		err = errors.Join(fmt.Errorf("stop http: %w", err), server.Close())
	}
	if serveErr := <-served; !errors.Is(serveErr, http.ErrServerClosed) {
		err = errors.Join(err, serveErr)
	}
	return err
}

func (s *Server) serve(server *http.Server, ln net.Listener) error {
	if s.opts.TLS == nil {
		return server.Serve(ln)
	}
	server.TLSConfig = s.opts.TLS.Clone()
	return server.ServeTLS(ln, "", "")
}

// MayListen refuses an address that other machines reach unless people must log in over TLS, or a proxy sees to it.
func (s *Server) MayListen(addr net.Addr) error { return s.opts.MayListen(addr) }

// MayListen is what Server.MayListen asks, before there is a server. It needs Users, TLS and BehindProxy.
func (o Options) MayListen(addr net.Addr) error {
	at, err := netip.ParseAddrPort(addr.String())
	if err != nil || at.Addr().Unmap().IsLoopback() || o.BehindProxy || (len(o.Users) > 0 && o.TLS != nil) {
		return nil
	}
	return fmt.Errorf("serve http on %s: other machines reach this address: name users and a TLS certificate, or set behind_proxy, or listen on 127.0.0.1", addr)
}

// strictPolicy lets the pages load from this server only.
const strictPolicy = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// secured sets the headers that every answer carries.
func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", strictPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin") // not no-referrer: forms would then be sent with the origin "null"
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		next.ServeHTTP(w, r)
	})
}

// knownHost refuses a Host that is no loopback name while nobody has to log in.
func (s *Server) knownHost(next http.Handler) http.Handler {
	if len(s.opts.Users) > 0 || s.opts.BehindProxy {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !visitor.LoopbackHost(r.Host) {
			s.tell.Fail(w, r, problem.New(http.StatusMisdirectedRequest, "Unknown host", "without a login the daemon answers to localhost, 127.0.0.1 and [::1] only: use one of them"))
			return
		}
		next.ServeHTTP(w, r)
	})
}

// limited bounds what a request may send.
func (s *Server) limited(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		limit := int64(maxBody)
		if r.URL.Path == api.ImportPath {
			limit = api.MaxImport
		}
		if r.ContentLength > limit {
			s.tell.Fail(w, r, &http.MaxBytesError{Limit: limit})
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		next.ServeHTTP(w, r)
	})
}

// recovered answers a panic with a problem and logs where it was.
func (s *Server) recovered(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			if v == http.ErrAbortHandler {
				panic(v)
			}
			s.tell.Fail(w, r, fmt.Errorf("panic: %v\n%s", v, debug.Stack()))
		}()
		next.ServeHTTP(w, r)
	})
}

// found answers what no pattern matches: 404, as a page for a browser, or 405 with the methods that there are.
func (s *Server) found(mux *http.ServeMux, pages *page.Set) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		handler, pattern := mux.Handler(r)
		if pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		said := &statusOnly{header: http.Header{}}
		handler.ServeHTTP(said, r)
		if said.status == http.StatusMethodNotAllowed {
			allow := said.header.Get("Allow")
			w.Header().Set("Allow", allow)
			s.tell.Fail(w, r, problem.New(said.status, "Method not allowed", r.Method+" does nothing here: use "+allow))
			return
		}
		if strings.Contains(r.Header.Get("Accept"), "text/html") && !strings.HasPrefix(r.URL.Path, "/api/") {
			pages.Missing(w, r)
			return
		}
		s.tell.Fail(w, r, problem.New(http.StatusNotFound, "Not found", "nothing is at "+problem.Clip(r.URL.Path)+": see /api/v1/openapi.json for what is"))
	})
}

// statusOnly is a response writer that keeps status and header and throws the body away.
type statusOnly struct {
	header http.Header
	status int
}

func (o *statusOnly) Header() http.Header         { return o.header }
func (o *statusOnly) WriteHeader(status int)      { o.status = status }
func (o *statusOnly) Write(p []byte) (int, error) { return len(p), nil }
