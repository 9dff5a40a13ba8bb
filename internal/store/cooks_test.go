package store

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

func overnight() cook.Cook {
	return cook.Cook{Name: "overnight", Started: epoch, ServeBy: epoch.Add(20 * time.Hour), AltitudeM: 320,
		Pit: cook.Pit{SetPoint: 107, Fire: "offset", Plan: []cook.PlannedPoint{{SetPoint: 121, At: epoch.Add(8 * time.Hour)}}},
		Pieces: []cook.Piece{
			{ID: "core", Cut: "brisket_flat_cured", MassKg: 2.4, ThicknessMM: 52, Target: 92.5, Intact: true, Probes: []cook.ProbeID{"core"},
				Plan: &cook.WrapPlan{Wrap: "foil", AtC: 70}},
			{ID: "butt", Cut: "pork_shoulder", Target: 95},
		},
		Events: []cook.Event{{Time: epoch.Add(time.Minute), Kind: cook.EventLid}}}
}

func mustCreate(t *testing.T, s *shop, c cook.Cook) cook.ID {
	t.Helper()
	id, err := s.CreateCook(t.Context(), c, epoch.Add(time.Second))
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func mustCook(t *testing.T, s *shop, id cook.ID) *cook.Stored {
	t.Helper()
	got, err := s.Cook(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestCook_SurvivesWithItsWholeStory(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	id := mustCreate(t, s, overnight())
	at := func(min int) time.Time { return epoch.Add(time.Duration(min) * time.Minute) }
	logged := func(e cook.Entry) cook.Entry {
		t.Helper()
		kept, err := s.AppendEntry(t.Context(), id, e)
		if err != nil {
			t.Fatal(err)
		}
		return kept
	}
	wrap := logged(cook.Entry{Event: cook.Event{Time: at(420), Kind: cook.EventWrap, Piece: "core", With: "foil"}, Logged: at(440), By: "night shift", Note: "wrapped 20 minutes ago"})
	fixed := logged(cook.Entry{Event: cook.Event{Time: at(410), Kind: cook.EventWrap, Piece: "core", With: "paper"}, Logged: at(450), Corrects: wrap.ID})
	hotter := logged(cook.Entry{Event: cook.Event{Time: at(460), Kind: cook.EventSetPoint, Celsius: 121}, Logged: at(460)})
	lid := mustCook(t, s, id).Entries[0]
	gone := logged(cook.Entry{Corrects: lid.ID, Withdraw: true, Logged: at(461)})
	change := cook.Amendment{Time: at(500), ServeBy: at(1300), Piece: "butt", Target: 93, Probes: []cook.ProbeID{"spare"}, By: "night shift"}
	if err := s.AppendAmendment(t.Context(), id, change); err != nil {
		t.Fatal(err)
	}
	if err := s.EndCook(t.Context(), id, at(1200)); err != nil {
		t.Fatal(err)
	}
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}

	want := &cook.Stored{ID: id, Cook: overnight(), Ended: at(1200),
		Entries:    []cook.Entry{{ID: lid.ID, Event: overnight().Events[0], Logged: epoch.Add(time.Second)}, wrap, fixed, hotter, gone},
		Amendments: []cook.Amendment{change}}
	want.Events = []cook.Event{fixed.Event, hotter.Event}
	want.ServeBy, want.Pieces[1].Target, want.Pieces[1].Probes = at(1300), 93, []cook.ProbeID{"spare"}
	s = mustOpen(t, path)
	if diff := cmp.Diff(want, mustCook(t, s, id)); diff != "" {
		t.Error(diff)
	}
	if gone.Kind != cook.EventLid {
		t.Errorf("the withdrawal names %q, want the event that never happened", gone.Kind)
	}
}

func TestCook_RefusesWhatCannotBe(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	id, other := mustCreate(t, s, overnight()), mustCreate(t, s, overnight())
	entry := mustCook(t, s, id).Entries[0].ID
	lid := cook.Event{Time: epoch, Kind: cook.EventLid}
	appendTo := func(id cook.ID, e cook.Entry) error { _, err := s.AppendEntry(t.Context(), id, e); return err }
	if err := appendTo(id, cook.Entry{Event: lid, Corrects: entry}); err != nil {
		t.Fatal(err)
	}
	if err := s.EndCook(t.Context(), other, epoch.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		name string
		err  error
		want error // nil = any
	}{
		{"event in no cook", appendTo(99, cook.Entry{Event: lid}), cook.ErrNotFound},
		{"correction of another cook's entry", appendTo(other, cook.Entry{Event: lid, Corrects: entry}), cook.ErrNotFound},
		{"second correction of one entry", appendTo(id, cook.Entry{Event: lid, Corrects: entry}), cook.ErrConflict},
		{"withdrawal of nothing", appendTo(id, cook.Entry{Event: lid, Withdraw: true}), cook.ErrConflict},
		{"event of no piece", appendTo(id, cook.Entry{Event: cook.Event{Time: epoch, Kind: cook.EventPieceOff, Piece: "ghost"}}), nil},
		{"change of no piece", s.AppendAmendment(t.Context(), id, cook.Amendment{Time: epoch, Piece: "ghost", Target: 90}), cook.ErrNotFound},
		{"target that cannot be", s.AppendAmendment(t.Context(), id, cook.Amendment{Time: epoch, Piece: "core", Target: 900}), nil},
		{"change after the end", s.AppendAmendment(t.Context(), other, cook.Amendment{Time: epoch, ServeBy: epoch.Add(9 * time.Hour)}), cook.ErrConflict},
		{"second end", s.EndCook(t.Context(), other, epoch), cook.ErrConflict},
		{"end of no cook", s.EndCook(t.Context(), 99, epoch), cook.ErrNotFound},
	} {
		if test.err == nil || test.want != nil && !errors.Is(test.err, test.want) {
			t.Errorf("%s: %v, want %v", test.name, test.err, test.want)
		}
	}
	if _, err := s.CreateCook(t.Context(), cook.Cook{Name: "empty"}, epoch); err == nil {
		t.Error("a cook without pieces was kept")
	}
	if s.Trouble() != "" {
		t.Errorf("Trouble = %q after refusals, want none", s.Trouble())
	}
	if got := mustCook(t, s, id); len(got.Entries) != 2 || len(got.Amendments) != 0 {
		t.Errorf("refused things were kept: %+v", got)
	}
}

func TestCooks_ListsNewestFirstAndTheRunning(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	var ids []cook.ID
	for range 4 {
		ids = append(ids, mustCreate(t, s, overnight()))
	}
	if err := s.EndCook(t.Context(), ids[1], epoch.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	idsOf := func(cooks []cook.Stored, err error) (out []cook.ID) {
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range cooks {
			out = append(out, c.ID)
		}
		return out
	}
	for _, test := range []struct{ got, want []cook.ID }{
		{idsOf(s.Cooks(t.Context(), 0, 2)), []cook.ID{ids[3], ids[2]}},
		{idsOf(s.Cooks(t.Context(), ids[2], 9)), []cook.ID{ids[1], ids[0]}},
		{idsOf(s.RunningCooks(t.Context())), []cook.ID{ids[0], ids[2], ids[3]}},
	} {
		if diff := cmp.Diff(test.want, test.got); diff != "" {
			t.Error(diff)
		}
	}
}

func TestForecasts_AreKeptByReadingTime(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	id := mustCreate(t, s, overnight())
	f := func(piece cook.PieceID, min int, json string) cook.KeptForecast {
		return cook.KeptForecast{Cook: id, Piece: piece, At: epoch.Add(time.Duration(min) * time.Minute), JSON: []byte(json)}
	}
	for _, batch := range [][]cook.KeptForecast{nil, {f("core", 1, "{}"), f("butt", 1, "{}")}, {f("core", 3, "3"), f("core", 2, "2")}, {f("core", 3, "3 again")}} {
		if err := s.KeepForecasts(t.Context(), batch); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.Forecasts(t.Context(), id, "core", epoch.Add(2*time.Minute), time.Time{})
	if diff := cmp.Diff([]cook.KeptForecast{f("core", 2, "2"), f("core", 3, "3 again")}, got); diff != "" || err != nil {
		t.Error(diff, err)
	}
	latest, err := s.LatestForecasts(t.Context(), id)
	if diff := cmp.Diff([]cook.KeptForecast{f("butt", 1, "{}"), f("core", 3, "3 again")}, latest); diff != "" || err != nil {
		t.Error(diff, err)
	}
	if err := s.KeepForecasts(t.Context(), []cook.KeptForecast{f("core", 9, "{}"), {Cook: 99, Piece: "core", At: epoch, JSON: []byte("{}")}}); err == nil {
		t.Error("a forecast of no cook was kept")
	}
}

func TestAlarms_KeepTheirLatestStateAndTheirHistory(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	a := alarm.Alarm{ID: "pit-low/1", Kind: alarm.PitLow, Priority: alarm.Medium, State: alarm.Active, Cook: 1, Probe: "pit",
		Because: "pit at 88.0 °C for 20 minutes, 19 K below its setpoint: look at the fire", Raised: epoch, Changed: epoch}
	b := alarm.Alarm{ID: "probe-silent/core", Kind: alarm.ProbeSilent, State: alarm.Active, Raised: epoch.Add(time.Minute), Changed: epoch.Add(time.Minute)}
	acked := a
	acked.State, acked.Changed, acked.Acknowledged, acked.By = alarm.Acked, epoch.Add(2*time.Minute), epoch.Add(2*time.Minute), "night shift"
	over := b
	over.State, over.Changed = alarm.Normal, epoch.Add(3*time.Minute)
	for _, x := range []alarm.Alarm{a, b, acked, over} {
		if err := s.KeepAlarm(t.Context(), x); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	s = mustOpen(t, path)
	open, err := s.OpenAlarms(t.Context())
	if diff := cmp.Diff([]alarm.Alarm{acked}, open); diff != "" || err != nil {
		t.Error(diff, err)
	}
	all, err := s.AlarmHistory(t.Context(), time.Time{}, 3)
	if diff := cmp.Diff([]alarm.Alarm{over, acked, b}, all); diff != "" || err != nil {
		t.Error(diff, err)
	}
	rest, err := s.AlarmHistory(t.Context(), b.Changed, 3)
	if diff := cmp.Diff([]alarm.Alarm{a}, rest); diff != "" || err != nil {
		t.Error(diff, err)
	}
}

func TestValue_IsRememberedOverARestart(t *testing.T) {
	path := fileOf(t)
	s := mustOpen(t, path)
	if _, err := s.Value(t.Context(), "cursor"); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("Value of nothing = %v, want %v", err, cook.ErrNotFound)
	}
	for _, v := range []string{"1", "", "2"} {
		if err := s.KeepValue(t.Context(), "cursor", []byte(v)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	if got, err := mustOpen(t, path).Value(t.Context(), "cursor"); string(got) != "2" || err != nil {
		t.Errorf("Value = %q, %v, want 2", got, err)
	}
}

func TestLogs_CannotBeRewritten(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	mustCreate(t, s, overnight())
	s.mustPut(t, reading("core", 0, 60))
	for _, query := range []string{"update readings set celsius = 57", "delete from readings", "update entries set time = 0", "delete from entries"} {
		if _, err := s.writer.Exec(query); err == nil {
			t.Errorf("%s was done", query)
		}
	}
}
