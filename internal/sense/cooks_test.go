package sense

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// logs gives the simulated cooks of the project, or those in the folders that STALLKEEPER_COOKS names.
func logs(t *testing.T) []*cook.Log {
	t.Helper()
	roots := filepath.SplitList(os.Getenv("STALLKEEPER_COOKS"))
	if len(roots) == 0 {
		roots = []string{"../../testdata/cooks"}
	}
	var out []*cook.Log
	for _, root := range roots {
		dirs, err := filepath.Glob(filepath.Join(root, "*", "cook.json"))
		if err != nil || len(dirs) == 0 {
			t.Fatalf("no cooks in %s: %v", root, err)
		}
		for _, path := range dirs {
			log, err := cook.ReadLog(os.DirFS(filepath.Dir(path)))
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, log)
		}
	}
	return out
}

func placeIn(c cook.Cook) func(cook.ProbeID) Place {
	return func(id cook.ProbeID) Place {
		for _, p := range c.Pieces {
			if slices.Contains(p.ProbeIDs(), id) {
				return Place{Piece: p.ID}
			}
		}
		return Place{Pit: c.Pit.OwnsProbe(id)}
	}
}

// seen runs a cook through the judge and the watch and gives, for each probe and kind, when it was first found.
func seen(c cook.Cook, readings []cook.Reading) map[cook.ProbeID]map[Kind]Finding {
	w, judge := New(placeIn(c)), cook.Judge{}
	out := map[cook.ProbeID]map[Kind]Finding{}
	events := slices.Clone(c.Events)
	slices.SortStableFunc(events, func(a, b cook.Event) int { return a.Time.Compare(b.Time) })
	for _, r := range readings {
		for len(events) > 0 && !events[0].Time.After(r.Time) {
			if events[0].Kind != cook.EventSetPoint && events[0].Kind != cook.EventFuel {
				w.Worked(events[0].Time, events[0].Piece)
			}
			events = events[1:]
		}
		r.Quality = judge.Quality(r)
		w.Observe(r)
		for _, id := range []cook.ProbeID{"pit", "core", "second"} {
			for _, f := range w.Findings(id) {
				if out[id] == nil {
					out[id] = map[Kind]Finding{}
				}
				if _, known := out[id][f.Kind]; !known {
					f.Since = r.Time
					out[id][f.Kind] = f
				}
			}
		}
	}
	return out
}

// Cooks without faults of their probes. A fire that goes out and a lid are no faults.
func TestFindings_PlainCooksHaveNone(t *testing.T) {
	n, falsely := 0, 0
	for _, log := range logs(t) {
		n++
		found := seen(log.Cook, log.Readings)
		if len(found) > 0 {
			falsely++
		}
		for id, kinds := range found {
			for k, f := range kinds {
				t.Logf("%s %s %s at %s of %s: %s", log.Cook.Name, id, k, f.Since.Sub(log.Cook.Started), log.Readings[len(log.Readings)-1].Time.Sub(log.Cook.Started), f.Because)
			}
		}
	}
	t.Logf("%d of %d plain cooks with a false finding", falsely, n)
	if falsely > n/100 {
		t.Errorf("%d of %d plain cooks with a false finding", falsely, n)
	}
}

// fault spoils the readings of a cook from a time on; at is an index of the readings.
type fault struct {
	name  string
	probe cook.ProbeID
	want  Kind
	least float64 // share that is to be found
	spoil func(rs []cook.Reading, from time.Time, d *rand.Rand)
}

func each(rs []cook.Reading, id cook.ProbeID, from time.Time, change func(i int, since time.Duration)) {
	for i := range rs {
		if rs[i].Probe == id && !rs[i].Time.Before(from) {
			change(i, rs[i].Time.Sub(from))
		}
	}
}

// air gives for each reading what a probe in the pit's air shows, with a time constant of a minute.
func air(rs []cook.Reading, lag time.Duration) []float64 {
	out := make([]float64, len(rs))
	level, last := math.NaN(), time.Time{}
	for i, r := range rs {
		if r.Probe == "pit" {
			if math.IsNaN(level) {
				level = float64(r.Celsius)
			} else {
				level += (float64(r.Celsius) - level) * (1 - math.Exp(-r.Time.Sub(last).Seconds()/lag.Seconds()))
			}
			last = r.Time
		}
		out[i] = level
	}
	return out
}

var faults = []fault{
	{"wire broken for good", "core", Faulty, 1, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		each(rs, "core", from, func(i int, _ time.Duration) { rs[i].Celsius = -127 })
	}},
	{"shorted", "core", Faulty, 1, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		each(rs, "core", from, func(i int, _ time.Duration) { rs[i].Celsius = 320 })
	}},
	{"supply fails: 85.0", "core", Faulty, 0.8, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		each(rs, "core", from, func(i int, _ time.Duration) { rs[i].Celsius = 85 })
	}},
	{"loose plug", "core", Jumpy, 0.95, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		each(rs, "core", from, func(i int, since time.Duration) {
			if d.Float64() < 0.05 {
				rs[i].Celsius = [3]thermal.Celsius{0, rs[i].Celsius + 40, -127}[d.IntN(3)]
			}
		})
	}},
	{"meat probe stands still", "core", Stuck, 0.3, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		v := thermal.Celsius(math.NaN())
		each(rs, "core", from, func(i int, _ time.Duration) {
			if math.IsNaN(float64(v)) {
				v = rs[i].Celsius
			}
			rs[i].Celsius = v
		})
	}},
	{"pit probe stands still", "pit", Stuck, 0.8, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		v := thermal.Celsius(math.NaN())
		each(rs, "pit", from, func(i int, _ time.Duration) {
			if math.IsNaN(float64(v)) {
				v = rs[i].Celsius
			}
			rs[i].Celsius = v
		})
	}},
	{"noise grows to 2 K", "core", Noisy, 0.9, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		each(rs, "core", from, func(i int, _ time.Duration) { rs[i].Celsius += thermal.Celsius(2 * d.NormFloat64()) })
	}},
	{"slips out into the air", "core", OutOfMeat, 0.8, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		level, last := math.NaN(), time.Time{}
		hot := air(rs, time.Second)
		each(rs, "core", from, func(i int, _ time.Duration) {
			if math.IsNaN(level) {
				level = float64(rs[i].Celsius)
			} else {
				level += (hot[i] - level) * (1 - math.Exp(-rs[i].Time.Sub(last).Seconds()/90))
			}
			last, rs[i].Celsius = rs[i].Time, thermal.Celsius(math.Round(level*10)/10)
		})
	}},
	{"tip just under the surface", "core", Shallow, 0.4, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		fast, slow := air(rs, 2*time.Minute), air(rs, 40*time.Minute)
		each(rs, "core", from, func(i int, _ time.Duration) { rs[i].Celsius += thermal.Celsius(0.25 * (fast[i] - slow[i])) })
	}},
	{"pit probe in the meat", "pit", ColdPit, 0.5, func(rs []cook.Reading, from time.Time, d *rand.Rand) {
		core := thermal.Celsius(math.NaN())
		for i := range rs {
			if rs[i].Probe == "core" {
				core = rs[i].Celsius
			}
			if rs[i].Probe == "pit" && !rs[i].Time.Before(from) && core > 20 {
				rs[i].Celsius = core - 9
			}
		}
	}},
}

func TestFindings_FaultsAreFound(t *testing.T) {
	all := logs(t)
	thin := 2 // the committed cooks: each fault on half of them
	if os.Getenv("STALLKEEPER_COOKS") != "" {
		thin = 1
	}
	for i, f := range faults {
		n, hit := 0, 0
		var waits []float64
		for k, log := range all {
			if (i+k)%thin != 0 {
				continue
			}
			d := rand.New(rand.NewPCG(uint64(k), 7))
			first, last := log.Readings[0].Time, log.Readings[len(log.Readings)-1].Time
			from := first.Add(time.Duration((0.2 + 0.5*d.Float64()) * float64(last.Sub(first))))
			rs := slices.Clone(log.Readings)
			f.spoil(rs, from, d)
			if last.Sub(from) < 3*time.Hour {
				continue
			}
			n++
			if got, ok := seen(log.Cook, rs)[f.probe][f.want]; ok {
				hit++
				waits = append(waits, got.Since.Sub(from).Minutes())
			}
		}
		slices.Sort(waits)
		wait := math.NaN()
		if len(waits) > 0 {
			wait = waits[len(waits)/2]
		}
		t.Logf("%-28s %s found in %d of %d, after %.0f min (median)", f.name, f.want, hit, n, wait)
		if float64(hit) < f.least*float64(n) {
			t.Errorf("%s: %s found in %d of %d, want %.0f %%", f.name, f.want, hit, n, 100*f.least)
		}
	}
}

// Meat and pit probe swapped from the start.
func TestFindings_SwappedProbes(t *testing.T) {
	n, hit := 0, 0
	for _, log := range logs(t) {
		rs := slices.Clone(log.Readings)
		for i := range rs {
			rs[i].Probe = map[cook.ProbeID]cook.ProbeID{"pit": "core", "core": "pit"}[rs[i].Probe]
		}
		n++
		if found := seen(log.Cook, rs); found["core"][Swapped].Because != "" && found["pit"][Swapped].Because != "" {
			hit++
		} else {
			t.Log(log.Cook.Name, found)
		}
	}
	t.Logf("swapped found in %d of %d", hit, n)
	if hit < n*9/10 {
		t.Errorf("swapped found in %d of %d", hit, n)
	}
}
