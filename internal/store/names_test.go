package store

import (
	"testing"
	"time"

	"stallkeeper/internal/cook"
)

// A database from before characters that are not seen were refused in names, and times of other centuries: all of it can be read.
func TestCook_OldNamesAndTimesStayReadable(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	id := mustCreate(t, s, overnight())
	if err := s.AppendAmendment(t.Context(), id, cook.Amendment{Time: epoch.Add(time.Hour), Piece: "core", Target: 91}); err != nil {
		t.Fatal(err)
	}
	s.mustPut(t, reading("core", 60, 20))
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	mustExec(t, path, `update cooks set body = replace(replace(body, 'overnight', 'over' || char(8238) || 'night'), '"serve_by":"20', '"serve_by":"99'), started = 0`)
	mustExec(t, path, `update probes set name = 'co' || char(8238) || 're'`)
	s = mustOpen(t, path)
	if got := mustCook(t, s, id); got.Name != "over\u202enight" || got.Pieces[0].Target != 91 {
		t.Errorf("the cook came back as %+v", got.Cook)
	}
	if got := mustRead(t, s, cook.ReadingQuery{Probe: "co\u202ere", Limit: 10}); len(got) != 1 || got[0].Probe != "co\u202ere" {
		t.Errorf("the readings came back as %+v", got)
	}
}
