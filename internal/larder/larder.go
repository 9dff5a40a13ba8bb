// Package larder knows how long what was made keeps, by which standard, and which portions go out first.
//
// Standards differ, so every date names its own. Cold means 5 °C (41 °F) or below by the Food Code, 40 °F (4.4 °C) by the USDA; frozen
// means -18 °C (0 °F) or below, where food stays safe and only its quality ends. The current editions, the local code and a
// licensed authority decide. It reads no clock and does no I/O.
package larder

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// Life is how long something keeps by one standard.
type Life struct {
	ID       string `json:"id"`
	Standard string `json:"standard"`
	What     string `json:"what"`
	Kept     string `json:"kept"` // record.InFreezer or record.InCooler
	Words    string `json:"words"`
	Safety   bool   `json:"safety"` // false: the date is for quality alone

	days    int  // after the day it was made, by the shorter figure of a range
	months  int  // the same
	counted bool // the day it was made is day 1
}

// Lives are the published storage times of cooked meat, cured or not. The USDA's are its cold storage chart; each uses the shorter end
// of its range.
func Lives() []Life {
	return []Life{
		{ID: "usda-cold", Standard: "USDA cold storage chart", What: "cooked meat and poultry", Kept: record.InCooler, Words: "3 to 4 days at 40 °F (4.4 °C) or below; the date takes 3", Safety: true, days: 3},
		{ID: "food-code-cold", Standard: "FDA Food Code 3-501.17 (7 days from memory)", What: "ready-to-eat food", Kept: record.InCooler, Words: "7 days at 41 °F (5 °C) or below, the day it was made counted", Safety: true, days: 6, counted: true},
		{ID: "usda-frozen", Standard: "USDA cold storage chart", What: "cooked meat and poultry", Kept: record.InFreezer, Words: "2 to 6 months at 0 °F (-18 °C) for quality; the date takes 2. Frozen it stays safe", months: 2},
		{ID: "usda-frozen-long", Standard: "USDA cold storage chart, longer figure", What: "cooked meat and poultry", Kept: record.InFreezer, Words: "6 months at 0 °F (-18 °C) for quality. Frozen it stays safe", months: 6},
	}
}

// Find gives a standard by its id, or the usual one of how it is kept when the id is empty: the stricter.
func Find(id, kept string) (Life, error) {
	var names string
	for _, l := range Lives() {
		if l.ID == id || id == "" && l.Kept == kept {
			if kept != "" && l.Kept != kept {
				return l, fmt.Errorf("standard %q is for what is kept %s, not %s: choose another", id, l.Kept, kept)
			}
			return l, nil
		}
		names += " " + l.ID
	}
	if id == "" {
		return Life{}, fmt.Errorf("kept %q is not known: write frozen or refrigerated", kept)
	}
	return Life{}, fmt.Errorf("standard %q is not known: use one of%s", id, names)
}

// UseBy is the end of the last day, in the place's zone, of what was made at a time. For the freezer it is a date of quality.
func (l Life) UseBy(made time.Time, in *time.Location) time.Time {
	y, m, d := made.In(in).Date()
	last := time.Date(y, m+time.Month(l.months)+1, 0, 0, 0, 0, 0, in).Day() // two months after 31 December end in February
	if l.months > 0 {
		m, d = m+time.Month(l.months), min(d, last)
	}
	return time.Date(y, m, d+l.days, 23, 59, 59, 0, in)
}

// Lot is a batch of portions with the lot it is of.
type Lot struct {
	ID      cook.LotID `json:"lot"`
	Product string     `json:"product"`
	record.Batch
}

// Undated reports whether no use-by was given. Whether it is past any is not known then, unless every published date has passed.
func (l Lot) Undated() bool { return l.Body.UseBy.IsZero() }

// Past reports whether its date has passed. What lies undated in the cooler is past its date when it was put in so long ago that it is
// by every standard of Lives, whatever the zone.
func (l Lot) Past(now time.Time) bool {
	if l.Undated() {
		return l.Body.Kept == record.InCooler && now.Sub(l.At) > longestCold()
	}
	return now.After(l.Body.UseBy)
}

// longestCold is how long the longest life of the cooler is at most: a day is counted whole.
func longestCold() time.Duration {
	days := 0
	for _, l := range Lives() {
		if l.Kept == record.InCooler {
			days = max(days, l.days+1)
		}
	}
	return time.Duration(days) * 24 * time.Hour
}

// Spoiled reports whether it may not be eaten: a date of the cooler has passed. A frozen one has only passed its quality.
func (l Lot) Spoiled(now time.Time) bool { return l.Body.Kept == record.InCooler && l.Past(now) }

// InOrder sorts what is in stock by what goes out first: first in, first out.
func InOrder(stock []Lot) []Lot {
	out := slices.DeleteFunc(slices.Clone(stock), func(l Lot) bool { return l.Left <= 0 })
	slices.SortStableFunc(out, func(a, b Lot) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq)) })
	return out
}

// Wish is what somebody wants out of the stock. Empty fields take anything.
type Wish struct {
	Product  string
	Lot      cook.LotID
	Kept     string
	Portions int
	Discard  bool // it is thrown away: what is spoiled goes first
}

// Draw is how many portions come out of one batch.
type Draw struct {
	From     Lot
	Portions int
}

// FirstOut picks the portions that were put in first. What is past its date in the cooler is not given out to eat.
func FirstOut(stock []Lot, w Wish, now time.Time) ([]Draw, error) {
	if w.Portions < 1 {
		return nil, errors.New("portions: enter how many, from 1 on")
	}
	var out []Draw
	left, spoiled := w.Portions, 0
	order := InOrder(stock)
	if w.Discard {
		slices.SortStableFunc(order, func(a, b Lot) int { return cmp.Compare(rank(a.Spoiled(now)), rank(b.Spoiled(now))) })
	}
	for _, b := range order {
		if w.Product != "" && b.Product != w.Product || w.Lot != "" && b.ID != w.Lot || w.Kept != "" && b.Body.Kept != w.Kept {
			continue
		}
		if b.Spoiled(now) && !w.Discard {
			spoiled += b.Left
			continue
		}
		if n := min(left, b.Left); n > 0 {
			out = append(out, Draw{b, n})
			left -= n
		}
	}
	if left > 0 {
		err := fmt.Errorf("%w: only %d of %d portions are in stock", cook.ErrConflict, w.Portions-left, w.Portions)
		if spoiled > 0 {
			err = fmt.Errorf("%w; %d are past their date in the cooler and may only be thrown away", err, spoiled)
		}
		return nil, err
	}
	return out, nil
}

func rank(spoiled bool) int {
	if spoiled {
		return 0
	}
	return 1
}
