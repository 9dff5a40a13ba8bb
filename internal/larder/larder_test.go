package larder

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

var now = time.Date(2026, 5, 20, 12, 0, 0, 0, time.UTC)

func batch(seq int64, daysAgo, left int, kept string, useBy time.Time) Lot {
	return Lot{ID: "m1", Product: "pastrami", Batch: record.Batch{Left: left, Kept: record.Kept[record.Portioned]{Seq: seq, At: now.AddDate(0, 0, -daysAgo), Body: record.Portioned{Portions: left, Kept: kept, UseBy: useBy}}}}
}

// USDA cold storage chart: leftovers 3 to 4 days, frozen 2 to 6 months; Food Code 3-501.17: 7 days with the day of preparation as day 1
// (7 days from memory). Cooked on Sunday 3 May, it is to be eaten by Wednesday 6, or by Saturday 9.
func TestUseBy_ByStandard(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	made := time.Date(2026, 5, 3, 21, 30, 0, 0, berlin)
	for id, want := range map[string]string{"usda-cold": "2026-05-06", "food-code-cold": "2026-05-09", "usda-frozen": "2026-07-03", "usda-frozen-long": "2026-11-03"} {
		l, err := Find(id, "")
		if err != nil {
			t.Fatal(err)
		}
		if got := l.UseBy(made, berlin).Format(time.DateOnly); got != want {
			t.Errorf("%s: %s, want %s", id, got, want)
		}
	}
	for day, want := range map[string]string{"2026-12-31": "2027-02-28", "2027-12-30": "2028-02-29", "2026-07-31": "2026-09-30"} {
		made, err := time.ParseInLocation(time.DateOnly, day, berlin)
		if err != nil {
			t.Fatal(err)
		}
		l, err := Find("usda-frozen", "")
		if got := l.UseBy(made, berlin).Format(time.DateOnly); err != nil || got != want {
			t.Errorf("frozen on %s: %s, %v, want %s: two months are not two and some days", day, got, err, want)
		}
	}
	if l, err := Find("", record.InCooler); err != nil || l.ID != "usda-cold" {
		t.Errorf("the usual one is %q, %v, want the stricter", l.ID, err)
	}
	for _, wrong := range [][2]string{{"usda-frozen", record.InCooler}, {"grandma", ""}, {"", "warm"}} {
		if _, err := Find(wrong[0], wrong[1]); err == nil {
			t.Errorf("%q is found", wrong)
		}
	}
}

func TestFirstOut_OldestFirstAndNothingSpoiled(t *testing.T) {
	spoiled := batch(1, 9, 3, record.InCooler, now.AddDate(0, 0, -2))
	stock := []Lot{batch(3, 1, 4, record.InFreezer, now.AddDate(0, 2, 0)), spoiled, batch(2, 5, 2, record.InFreezer, now.AddDate(0, 0, -1))}
	got, err := FirstOut(stock, Wish{Portions: 3}, now)
	if err != nil || len(got) != 2 || got[0].From.Seq != 2 || got[0].Portions != 2 || got[1].Portions != 1 {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := FirstOut(stock, Wish{Portions: 7}, now); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("7 of 6: %v", err)
	}
	if got, err := FirstOut(stock, Wish{Portions: 3, Discard: true}, now); err != nil || got[0].From.Seq != 1 {
		t.Errorf("thrown away first: %+v, %v", got, err)
	}
	if _, err := FirstOut(stock, Wish{Portions: 0}, now); err == nil {
		t.Error("0 portions are given out")
	}
}

func TestFirstOut_GivesExactlyWhatIsAskedFor(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var stock []Lot
		for i := range rapid.IntRange(0, 8).Draw(t, "batches") {
			stock = append(stock, batch(int64(i+1), rapid.IntRange(0, 30).Draw(t, "age"), rapid.IntRange(0, 9).Draw(t, "left"), record.InFreezer, time.Time{}))
		}
		want := rapid.IntRange(1, 40).Draw(t, "want")
		got, err := FirstOut(stock, Wish{Portions: want}, now)
		if err != nil {
			return
		}
		sum := 0
		for i, d := range got {
			sum += d.Portions
			if d.Portions > d.From.Left || i > 0 && (d.From.At.Before(got[i-1].From.At) || got[i-1].Portions != got[i-1].From.Left) {
				t.Fatalf("not first in, first out: %+v", got)
			}
		}
		if sum != want {
			t.Fatalf("%d portions, want %d", sum, want)
		}
	})
}

// Without a use-by nobody can say that it is past it, until the longest published life is over: the Food Code's 7 days (from memory) for
// the cooler, the day of preparation counted. Frozen it stays safe, whatever its age.
func TestPast_WithoutAUseBy(t *testing.T) {
	for _, c := range []struct {
		daysAgo int
		kept    string
		want    bool
	}{{3, record.InCooler, false}, {7, record.InCooler, false}, {8, record.InCooler, true}, {300, record.InFreezer, false}} {
		l := batch(1, c.daysAgo, 2, c.kept, time.Time{})
		if !l.Undated() || l.Past(now) != c.want || l.Spoiled(now) != c.want {
			t.Errorf("%s for %d days without a date: past %v, spoiled %v, want %v", c.kept, c.daysAgo, l.Past(now), l.Spoiled(now), c.want)
		}
	}
	if _, err := FirstOut([]Lot{batch(1, 8, 2, record.InCooler, time.Time{})}, Wish{Portions: 1}, now); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("what has been in the cooler for 8 days without a date is given out: %v", err)
	}
}
