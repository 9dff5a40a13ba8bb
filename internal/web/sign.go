package web

import (
	"errors"
	"net/http"
	"slices"
	"strings"

	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// signed tells who signs, and how that is known.
func (s *Server) signed(r *http.Request, sig visitor.Signature) (record.Maker, error) {
	sig.By = strings.TrimSpace(sig.By)
	if sig.PIN != "" {
		return s.signedByPIN(r, sig)
	}
	if name := visitor.Of(r).Name; name != "" {
		for _, p := range s.opts.People {
			if p.Name == name {
				return record.Maker{By: p.Initials, Auth: record.AuthLogin}, nil
			}
		}
		return record.Maker{By: name, Auth: record.AuthLogin}, nil
	}
	if len(s.opts.People) > 0 {
		return record.Maker{}, problem.New(http.StatusForbidden, "Not signed", "an entry needs your initials and your PIN: send by and pin")
	}
	if sig.By == "" {
		return record.Maker{}, problem.Bad("by is missing: say who makes the entry")
	}
	if strings.EqualFold(sig.By, record.DaemonName) {
		return record.Maker{}, problem.Bad("by is the daemon's own name: give yours")
	}
	return record.Maker{By: sig.By, Auth: record.AuthSaid}, nil
}

func (s *Server) signedByPIN(r *http.Request, sig visitor.Signature) (record.Maker, error) {
	if len(s.opts.People) == 0 {
		return record.Maker{}, problem.Bad("no PINs are set up: leave pin out, or name people in the configuration")
	}
	i := slices.IndexFunc(s.opts.People, func(p Person) bool { return strings.EqualFold(p.Initials, sig.By) })
	known := max(i, 0)
	err := s.gate.compare(r, []byte(s.opts.People[known].PINHash), i >= 0, sig.PIN)
	if errors.Is(err, errNobody) {
		return record.Maker{}, problem.New(http.StatusForbidden, "Not signed", "initials and PIN do not belong together: try again")
	}
	return record.Maker{By: s.opts.People[known].Initials, Auth: record.AuthPIN}, err
}
