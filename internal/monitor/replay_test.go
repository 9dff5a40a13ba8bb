package monitor

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
	"stallkeeper/internal/testrig"
)

// What counts as needed is said from the whole record, which nobody had that night. Choices of this project.
const (
	around     = time.Hour        // a pit alarm was needed when within so long before and after it …
	offBand    = 15               // … the pit was further than this, in K, off its setpoint on the alarm's side …
	offFor     = 30 * time.Minute // … for at least so long in all: a lid opened once is over sooner
	longSilent = 20 * time.Minute // silence was worth a look when nothing came for this long
	nearReady  = 15 * time.Minute // "ready" was right when the piece truly got ready within this much of it
	longBad    = 10 * time.Minute // doubt was right when readings of bad quality came over at least this long
)

// replayed is a simulated cook, played as a night in which nobody answers: what people were told, judged from the record.
type replayed struct {
	name  string
	log   *cook.Log
	ready time.Time // measured: first time the five-minute median reaches the target; zero when it never does
	told  []verdict
}

// verdict is an alarm that people were told of.
type verdict struct {
	alarm.Alarm
	needed bool
	why    string
}

// sparse makes forecasts only as often as it must, so that a night fits into a test; in between the newest one stands. That
// a piece is ready it notices at once.
type sparse struct {
	tracker
	every  time.Duration
	target thermal.Celsius
	recent []estimator.Sample
	made   estimator.Forecast
}

func (s *sparse) AddCore(more ...estimator.Sample) {
	s.tracker.AddCore(more...)
	s.recent = append(s.recent, more...)
}

func (s *sparse) Amend(in estimator.Input) {
	s.tracker.Amend(in)
	s.made = estimator.Forecast{}
}

func (s *sparse) Forecast(at time.Time) estimator.Forecast {
	if s.made.At.IsZero() || at.Sub(s.made.At) >= s.every || s.made.State != estimator.Ready && s.level(at) >= s.target {
		s.made = s.tracker.Forecast(at)
		s.made.At = at
	}
	return s.made
}

// level is the median of the last five minutes.
func (s *sparse) level(at time.Time) thermal.Celsius {
	s.recent = slices.DeleteFunc(s.recent, func(q estimator.Sample) bool { return at.Sub(q.Time) > 5*time.Minute })
	values := make([]thermal.Celsius, 0, len(s.recent))
	for _, q := range s.recent {
		values = append(values, q.Celsius)
	}
	if len(values) == 0 {
		return -300
	}
	slices.Sort(values)
	return values[len(values)/2]
}

// silentLine is the stand-in that costs nothing and says nothing of the hour: only that a piece is ready, by its median.
type silentLine struct {
	sparse
	since time.Time
}

func (l *silentLine) Forecast(at time.Time) estimator.Forecast {
	f := l.tracker.Forecast(at)
	f.State = estimator.Climbing
	level := l.level(at)
	if level >= l.target && l.since.IsZero() {
		l.since = at
	}
	if !l.since.IsZero() {
		f.State, f.Since, f.Core = estimator.Ready, l.since, level
		for i := range f.Ready {
			f.Ready[i] = l.since
		}
	}
	return f
}

// replay plays a log: readings a second after they were measured, what was logged when it was done, until 40 minutes after
// the piece was ready, when it comes off. Nobody acknowledges anything. serve is a serving hour; zero for none.
func replay(tb testing.TB, dir string, real bool, serve time.Time) *replayed {
	tb.Helper()
	log, err := cook.ReadLog(os.DirFS(dir))
	if err != nil {
		tb.Fatal(err)
	}
	log.Cook.ServeBy = serve
	r := &replayed{name: filepath.Base(dir), log: log, ready: readyIn(log)}
	n := &night{tb: tb, now: log.Cook.Started, lag: time.Second, cook: cook.Stored{ID: 1, Cook: log.Cook}}
	n.cook.Events = nil
	n.m = New(Options{Settings: alarm.DefaultSettings(), Zone: time.UTC, Estimator: estimator.New(estimator.DefaultPrior())})
	n.m.track = func(in estimator.Input, beside tracker) tracker {
		if real {
			return &sparse{tracker: n.m.o.beside(in, beside), every: 15 * time.Minute, target: in.Target}
		}
		return &silentLine{sparse: sparse{tracker: &line{in: in}, target: in.Target}}
	}
	n.do(n.m.CookChanged(n.cook, n.now))
	events := slices.Clone(log.Cook.Events)
	slices.SortStableFunc(events, func(a, b cook.Event) int { return a.Time.Compare(b.Time) })
	end := log.Readings[len(log.Readings)-1].Time
	if !r.ready.IsZero() && r.ready.Add(40*time.Minute).Before(end) {
		end = r.ready.Add(40 * time.Minute)
	}
	rest := log.Readings
	for _, e := range append(events, cook.Event{Time: end}) {
		i := slices.IndexFunc(rest, func(x cook.Reading) bool { return x.Time.After(e.Time) })
		if i < 0 {
			i = len(rest)
		}
		n.play(slices.Clone(rest[:i]))
		rest = rest[i:]
		if e.Kind == "" || e.Time.After(end) {
			break
		}
		n.until(e.Time.Add(2 * time.Second))
		n.cook.Events = append(slices.Clone(n.cook.Events), e)
		n.do(n.m.CookChanged(n.cook, n.now))
	}
	for _, e := range n.heard {
		if a := e.Alarm; a != nil && a.Notify && a.Alarm.State == alarm.Active {
			v := verdict{Alarm: a.Alarm}
			v.needed, v.why = r.judge(a.Alarm)
			r.told = append(r.told, v)
		}
	}
	return r
}

// readyIn finds the moment from the whole record: the median of five minutes, bad readings aside.
func readyIn(log *cook.Log) time.Time {
	p := log.Cook.Pieces[0]
	s := sparse{target: p.Target}
	for _, r := range log.Readings {
		if slices.Contains(p.ProbeIDs(), r.Probe) && r.Quality == cook.Good {
			s.recent = append(s.recent, estimator.Sample{Time: r.Time, Celsius: r.Celsius})
			if s.level(r.Time) >= s.target && len(s.recent) >= 5 {
				return r.Time
			}
		}
	}
	return time.Time{}
}

// judge says from the record whether an alarm was needed.
func (r *replayed) judge(a alarm.Alarm) (bool, string) {
	switch a.Kind {
	case alarm.PitLow, alarm.PitFalling:
		off := r.pitOff(a.Raised, -1)
		return off >= offFor, fmt.Sprintf("over %d K under the setpoint for %d min", offBand, off/time.Minute)
	case alarm.PitHigh:
		off := r.pitOff(a.Raised, 1)
		return off >= offFor, fmt.Sprintf("over %d K above the setpoint for %d min", offBand, off/time.Minute)
	case alarm.PitDanger:
		return true, "it was that hot"
	case alarm.ProbeSilent:
		gap := r.silence(cook.ProbeID(a.Probe), a.Raised)
		return gap >= longSilent, fmt.Sprintf("nothing came for %s", gap.Round(time.Minute))
	case alarm.ProbeSuspect:
		bad := r.badFor(cook.ProbeID(a.Probe), a.Raised)
		return bad >= longBad, fmt.Sprintf("bad readings came over %s", bad.Round(time.Minute))
	case alarm.PieceReady:
		by := a.Raised.Sub(r.ready).Round(time.Minute)
		return !r.ready.IsZero() && by.Abs() <= nearReady, fmt.Sprintf("told %s after it was so", by)
	case alarm.WrapDue:
		i := slices.IndexFunc(r.log.Cook.Events, func(e cook.Event) bool { return e.Kind == cook.EventWrap })
		return i >= 0 && a.Raised.Before(r.log.Cook.Events[i].Time), "the wrap was still to be done"
	case alarm.DangerZone, alarm.ComeUp, alarm.Cooling, alarm.HoldCold:
		return true, "measured"
	case alarm.ComeUpRisk:
		used := r.comingUp()
		return used > 6*time.Hour, fmt.Sprintf("it took %s", used.Round(time.Minute))
	case alarm.ServeAtRisk:
		late := r.ready.IsZero() || r.ready.After(r.log.Cook.ServeBy)
		return late, fmt.Sprintf("ready %s after the hour", r.ready.Sub(r.log.Cook.ServeBy).Round(time.Minute))
	}
	return false, "nobody said when it would be needed"
}

// comingUp is the time from 10 to 54.4 °C, measured over the whole cook.
func (r *replayed) comingUp() time.Duration {
	p := r.log.Cook.Pieces[0]
	clock := safety.NewCooking(safety.Meat7(), p.Intact, safety.Settings{})
	for _, q := range r.log.Readings {
		if slices.Contains(p.ProbeIDs(), q.Probe) {
			clock.Add(q)
		}
	}
	return clock.ComeUp().Used
}

// pitOff is how long the pit was out of its band on one side (-1 below, 1 above) around a time. Gaps do not count.
func (r *replayed) pitOff(at time.Time, side float64) time.Duration {
	var sum time.Duration
	var last time.Time
	for _, q := range r.log.Readings {
		if !q.Probe.IsPit() || q.Quality != cook.Good || q.Time.Sub(at).Abs() > around {
			continue
		}
		if off := side * float64(q.Celsius-r.setPoint(q.Time)); off > offBand && q.Time.Sub(last) < 5*time.Minute {
			sum += q.Time.Sub(last)
		}
		last = q.Time
	}
	return sum.Round(time.Minute)
}

// setPoint is the setpoint in force, by plan and log.
func (r *replayed) setPoint(at time.Time) thermal.Celsius {
	c := cook.Stored{Cook: r.log.Cook}
	return c.SetPointAt(at)
}

// silence is the gap in a probe's readings around a time.
func (r *replayed) silence(id cook.ProbeID, at time.Time) time.Duration {
	before, after := r.log.Cook.Started, r.log.Readings[len(r.log.Readings)-1].Time
	for _, q := range r.log.Readings {
		if id != "" && q.Probe != id {
			continue
		}
		if q.Time.After(at) {
			after = q.Time
			break
		}
		before = q.Time
	}
	return after.Sub(before)
}

// badFor is how long bad readings of a probe go on around a time, good ones between them included.
func (r *replayed) badFor(id cook.ProbeID, at time.Time) time.Duration {
	var first, last time.Time
	for _, q := range r.log.Readings {
		if q.Probe == id && q.Quality != cook.Good && q.Time.Sub(at).Abs() < 30*time.Minute {
			if first.IsZero() {
				first = q.Time
			}
			last = q.Time
		}
	}
	return last.Sub(first)
}

// line puts a verdict on a line: time since the start, priority, what, whether it was needed.
func (v verdict) line(started time.Time) string {
	needed := "needed  "
	if !v.needed {
		needed = "NEEDLESS"
	}
	after := v.Raised.Sub(started).Round(time.Minute)
	return fmt.Sprintf("  %02d:%02d %-6s %s %s: %s", int(after/time.Hour), int(after%time.Hour/time.Minute), v.Priority, needed, v.Kind, v.why)
}

// TestReplay_AlarmsOfASimulatedNight plays the cooks of the repository, all simulated, and keeps what people were told in
// a golden file, with what the record says of the need. Forecasts of the serving hour are not in it: see testdata/README.md.
func TestReplay_AlarmsOfASimulatedNight(t *testing.T) {
	dirs, err := filepath.Glob("../../testdata/cooks/cook-*")
	if err != nil || len(dirs) == 0 {
		t.Fatalf("no cooks: %v", err)
	}
	var b strings.Builder
	for _, dir := range dirs {
		r := replay(t, dir, false, time.Time{})
		fmt.Fprintf(&b, "%s %s, %d alarms\n", r.name, r.log.Cook.Pieces[0].Cut, len(r.told))
		for _, v := range r.told {
			fmt.Fprintln(&b, v.line(r.log.Cook.Started))
		}
	}
	testrig.Golden(t, "alarms-by-night.txt", b.String())
}

// TestReplay_AllCooks plays the folders that STALLKEEPER_COOKS names with the real forecaster and prints what the tables in
// testdata/README.md are made from. truth/<set>/<name>.json beside a set may hold the faults that were put in.
func TestReplay_AllCooks(t *testing.T) {
	root := os.Getenv("STALLKEEPER_COOKS")
	if root == "" {
		t.Skip("set STALLKEEPER_COOKS to a folder of folders of cook logs")
	}
	lead := time.Hour
	dirs, err := filepath.Glob(filepath.Join(root, "*", "cook-*"))
	if err != nil {
		t.Fatal(err)
	}
	for i, dir := range dirs {
		log, err := cook.ReadLog(os.DirFS(dir))
		if err != nil {
			t.Fatal(err)
		}
		serve := time.Time{}
		if ready := readyIn(log); os.Getenv("STALLKEEPER_COOKS_SERVE") != "" && !ready.IsZero() {
			serve = ready.Add(lead) // every other one is truly late
			if i%2 == 1 {
				serve = ready.Add(-lead)
			}
		}
		r := replay(t, dir, !serve.IsZero(), serve)
		var truth struct{ Faults []string }
		if data, err := os.ReadFile(filepath.Join(root, "..", "truth", filepath.Base(filepath.Dir(dir)), r.name+".json")); err == nil {
			if err := json.Unmarshal(data, &truth); err != nil {
				t.Fatal(err)
			}
		}
		fmt.Printf("%s/%s %s ready %v late %v faults %v\n", filepath.Base(filepath.Dir(dir)), r.name, r.log.Cook.Pieces[0].Cut, r.ready.Sub(log.Cook.Started), i%2 == 1, truth.Faults)
		for _, v := range r.told {
			fmt.Println(v.line(r.log.Cook.Started), v.ID)
		}
	}
}
