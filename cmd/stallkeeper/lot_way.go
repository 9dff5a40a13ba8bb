package main

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

type lotMoveCmd struct {
	daemonAPI
	signing
	Lot   string   `arg:"" help:"Name of the lot."`
	To    string   `arg:"" help:"thaw, cure, dry, smoke, hold, chill, store or freeze; none only ends what runs."`
	Piece string   `help:"Of which piece (default: the whole lot)."`
	Probe []string `help:"A probe that watches it. Repeatable."`
	Cook  cook.ID  `help:"Number of the cook that this smoking is: its probes watch where none are named."`
	Note  string   `help:"Free text."`
}

// Help gives an example.
func (lotMoveCmd) Help() string {
	return `Example: stallkeeper lot move 26-11-25-cured-brisket smoke --cook 12 --by KM

Ends the stage that runs and starts the next, both or neither. Each stage arms the limits of its own on the probes that are named.`
}

// Run moves the lot.
func (m lotMoveCmd) Run(c *console) error {
	at, err := m.when()
	if err != nil {
		return err
	}
	to := m.To
	if to == "none" {
		to = ""
	}
	body := map[string]any{"by": m.By, "pin": m.PIN, "piece": m.Piece, "note": m.Note, "cook": m.Cook}
	if to != "" {
		body["to"] = to
	}
	if !at.IsZero() {
		body["at"] = at
	}
	if len(m.Probe) > 0 {
		body["probes"] = m.Probe
	}
	for _, key := range []string{"by", "pin", "piece", "note"} {
		if body[key] == "" {
			delete(body, key)
		}
	}
	var moved struct {
		Entries []record.Entry `json:"entries"`
		Warning string         `json:"warning"`
	}
	if err := m.call(c.ctx, "POST", "/lots/"+url.PathEscape(m.Lot)+"/stage", body, &moved); err != nil {
		return err
	}
	for _, e := range moved.Entries {
		text, err := stageLine(e)
		if err != nil {
			return err
		}
		fmt.Fprintln(c.out, text)
	}
	if moved.Warning != "" {
		_, err = fmt.Fprintln(c.out, "mind:", moved.Warning)
	}
	return err
}

func stageLine(e record.Entry) (string, error) {
	body, err := e.Decode()
	if err != nil {
		return "", err
	}
	switch b := body.(type) {
	case *record.StageStarted:
		watched := ""
		if len(b.Probes) > 0 {
			names := make([]string, 0, len(b.Probes))
			for _, p := range b.Probes {
				names = append(names, string(p))
			}
			watched = ", watched by " + strings.Join(names, ", ")
		}
		return fmt.Sprintf("entry %d: %s %s began %s%s", e.Seq, b.Stage, b.Piece, clock(e.At), watched), nil
	case *record.StageEnded:
		return fmt.Sprintf("entry %d: %s %s ended %s", e.Seq, b.Stage, b.Piece, clock(e.At)), nil
	}
	return fmt.Sprintf("entry %d: %s", e.Seq, e.Kind), nil
}

type lotTimelineCmd struct {
	daemonAPI
	Lot  string `arg:"" help:"Name of the lot."`
	JSON bool   `help:"Print it as JSON."`
}

// Help gives an example.
func (lotTimelineCmd) Help() string {
	return "Example: stallkeeper lot timeline 26-11-25-cured-brisket"
}

// Run shows the timeline.
func (t lotTimelineCmd) Run(c *console) error {
	path := "/lots/" + url.PathEscape(t.Lot) + "/timeline"
	if t.JSON {
		return t.print(c, path)
	}
	var answer struct {
		Timeline []struct {
			At    time.Time
			Until time.Time
			What  string
			Text  string
			By    string
		}
	}
	if err := t.call(c.ctx, "GET", path, nil, &answer); err != nil {
		return err
	}
	for _, m := range answer.Timeline {
		until := ""
		if !m.Until.IsZero() {
			until = " until " + clock(m.Until)
		}
		fmt.Fprintf(c.out, "%s  %-18s%s %s\n", clock(m.At), m.What, until, m.Text)
	}
	return nil
}

type lotPlanCmd struct {
	daemonAPI
	signing
	Lot  string `arg:"" help:"Name of the lot."`
	Plan int64  `arg:"" help:"Number of the kept plan."`
}

// Help gives an example.
func (lotPlanCmd) Help() string {
	return "Example: stallkeeper lot plan 26-11-25-cured-brisket 3 --by KM"
}

// Run notes the plan.
func (p lotPlanCmd) Run(c *console) error {
	if err := p.call(c.ctx, "GET", fmt.Sprintf("/plans/%d", p.Plan), nil, nil); err != nil {
		return err
	}
	return p.enter(c, p.signing, sentRecord{Lot: cook.LotID(p.Lot), Kind: record.KindPlanned, Body: record.Planned{Plan: p.Plan}})
}

type lotYieldCmd struct {
	daemonAPI
	Lot  string `arg:"" help:"Name of the lot."`
	JSON bool   `help:"Print it as JSON."`
}

// Help gives an example.
func (lotYieldCmd) Help() string { return "Example: stallkeeper lot yield 26-11-25-cured-brisket" }

// Run shows the yield.
func (y lotYieldCmd) Run(c *console) error {
	path := "/lots/" + url.PathEscape(y.Lot) + "/yield"
	if y.JSON {
		return y.print(c, path)
	}
	var a struct {
		record.Yield
		Published []record.Published
		History   *struct {
			Lots              int
			Low, Median, High float64
			Against           string
		}
	}
	if err := y.call(c.ctx, "GET", path, nil, &a); err != nil {
		return err
	}
	if len(a.Steps) == 0 {
		return fmt.Errorf("lot %s has no weights: note them with stallkeeper lot weigh", y.Lot)
	}
	for _, s := range a.Steps {
		fmt.Fprintf(c.out, "%-10s %8.3f kg\n", s.When, s.MassKg)
	}
	for _, s := range a.Shares {
		fmt.Fprintf(c.out, "%s over %s: %.1f %%\n", s.To, s.From, 100*s.Of)
	}
	if a.FatKg > 0 {
		fmt.Fprintf(c.out, "trimmed fat %.3f kg, to be rendered: it is no waste\n", a.FatKg)
	}
	if a.Used > 0 {
		fmt.Fprintf(c.out, "of the raw meat %.1f %% are used, trimmed fat counted\n", 100*a.Used)
	}
	if a.PerKg > 0 {
		fmt.Fprintf(c.out, "cost %.2f %s, %.2f %s for each kilogram %s\n", a.Cost, a.Currency, a.PerKg, a.Currency, a.Last)
	}
	for _, p := range a.Published {
		fmt.Fprintf(c.out, "published: %s: %s (%s)\n", p.What, percentSpan(p.Low, p.High), p.Source)
	}
	if h := a.History; h != nil {
		fmt.Fprintf(c.out, "own history, %s, %d lots: %s, middle %.1f %%\n", h.Against, h.Lots, percentSpan(h.Low, h.High), 100*h.Median)
	}
	for _, n := range a.Notes {
		fmt.Fprintln(c.out, "-", n)
	}
	return nil
}

func percentSpan(low, high float64) string {
	if low == high {
		return fmt.Sprintf("%.1f %%", 100*low)
	}
	return fmt.Sprintf("%.1f to %.1f %%", 100*low, 100*high)
}

type lotStoreCmd struct {
	daemonAPI
	signing
	Lot      string    `arg:"" help:"Name of the lot."`
	Portions int       `arg:"" help:"How many portions."`
	Mass     string    `placeholder:"250g" help:"Weight of one portion, with unit."`
	Piece    string    `help:"Of which piece."`
	Kept     string    `default:"frozen" help:"frozen or refrigerated (${default})."`
	Where    string    `placeholder:"PLACE" help:"Which freezer or cooler."`
	Standard string    `placeholder:"ID" help:"By which standard it is dated: usda-cold, food-code-cold, usda-frozen or usda-frozen-long (default: the stricter)."`
	Made     time.Time `placeholder:"TIME" help:"When it was cooked (default: the end of its smoking)."`
}

// Help gives an example.
func (lotStoreCmd) Help() string {
	return `Example: stallkeeper lot store 26-11-25-cured-brisket 8 --mass 250g --where "freezer 2" --by KM

Freezers are kept at -18 °C (0 °F) or below, coolers at 5 °C (41 °F) or below. Standards differ: the date names its own.`
}

// Run puts the portions in.
func (s lotStoreCmd) Run(c *console) error {
	at, err := s.when()
	if err != nil {
		return err
	}
	body := map[string]any{"lot": s.Lot, "portions": s.Portions, "kept": s.Kept}
	if s.Mass != "" {
		if body["mass_kg"], err = cook.ParseMass(s.Mass); err != nil {
			return err
		}
	}
	for key, text := range map[string]string{"piece": s.Piece, "where": s.Where, "standard": s.Standard, "by": s.By, "pin": s.PIN} {
		if text != "" {
			body[key] = text
		}
	}
	if !s.Made.IsZero() {
		body["made"] = s.Made
	}
	if !at.IsZero() {
		body["at"] = at
	}
	var kept record.Entry
	if err := s.call(c.ctx, "POST", "/stock", body, &kept); err != nil {
		return err
	}
	var in record.Portioned
	if err := json.Unmarshal(kept.Body, &in); err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "entry %d: %d portions %s, to be used by %s (%s)\n", kept.Seq, in.Portions, in.Kept, in.UseBy.Local().Format("2 Jan 2006"), in.Standard)
	return err
}

type lotTakeCmd struct {
	daemonAPI
	signing
	Portions int    `arg:"" help:"How many portions."`
	Product  string `placeholder:"PRODUCT" help:"Of which product (default: of any)."`
	Lot      string `placeholder:"LOT" help:"Of which lot (default: the oldest)."`
	Kept     string `placeholder:"frozen" help:"frozen or refrigerated (default: of both)."`
	Why      string `placeholder:"TEXT" help:"What becomes of them: served, sold."`
	Discard  bool   `help:"They are thrown away: what is past its date in the cooler goes first."`
}

// Help gives an example.
func (lotTakeCmd) Help() string {
	return `Example: stallkeeper lot take 3 --product "cured brisket" --why served --by KM`
}

// Run takes the portions out.
func (t lotTakeCmd) Run(c *console) error {
	at, err := t.when()
	if err != nil {
		return err
	}
	body := map[string]any{"portions": t.Portions, "discard": t.Discard}
	for key, text := range map[string]string{"product": t.Product, "lot": t.Lot, "kept": t.Kept, "why": t.Why, "by": t.By, "pin": t.PIN} {
		if text != "" {
			body[key] = text
		}
	}
	if !at.IsZero() {
		body["at"] = at
	}
	var answer struct {
		Taken []struct {
			Lot      string
			Product  string
			Entry    int64
			Portions int
			Where    string
			UseBy    time.Time `json:"use_by"`
		}
	}
	if err := t.call(c.ctx, "POST", "/stock/take", body, &answer); err != nil {
		return err
	}
	for _, l := range answer.Taken {
		fmt.Fprintf(c.out, "%d of %s, lot %s%s, use by %s (entry %d)\n", l.Portions, l.Product, l.Lot, inPlace(l.Where), dateOf(l.UseBy), l.Entry)
	}
	return nil
}

type lotStockCmd struct {
	daemonAPI
	JSON bool `help:"Print it as JSON."`
}

// Help gives an example.
func (lotStockCmd) Help() string { return "Example: stallkeeper lot stock" }

// Run lists the stock; a finding if something is past its date in the cooler.
func (s lotStockCmd) Run(c *console) error {
	var answer struct {
		Stock []struct {
			Lot, Product, Kept, Where, Standard string
			Left                                int
			In                                  time.Time
			UseBy                               time.Time `json:"use_by"`
			Past, Spoiled                       bool
		} `json:"stock"`
	}
	if s.JSON {
		return s.print(c, "/stock")
	}
	if err := s.call(c.ctx, "GET", "/stock", nil, &answer); err != nil {
		return err
	}
	spoiled := false
	for _, l := range answer.Stock {
		mark := ""
		switch {
		case l.Spoiled:
			mark, spoiled = "  PAST ITS DATE: throw it away", true
		case l.Past:
			mark = "  past its date of quality"
		}
		fmt.Fprintf(c.out, "%4d  %-24s  %-24s  %s since %s%s, use by %s (%s)%s\n", l.Left, l.Product, l.Lot, l.Kept, dateOf(l.In), inPlace(l.Where), dateOf(l.UseBy), l.Standard, mark)
	}
	if len(answer.Stock) == 0 {
		fmt.Fprintln(c.out, "nothing is in stock: put portions in with stallkeeper lot store")
	}
	if spoiled {
		return errFinding
	}
	return nil
}

func inPlace(where string) string {
	if where == "" {
		return ""
	}
	return ", " + where
}

func dateOf(t time.Time) string {
	if t.IsZero() {
		return "no date"
	}
	return t.Local().Format("2 Jan 2006")
}

// parsePrice reads "48EUR" or "48.50 USD".
func parsePrice(text string) (sum float64, currency string, err error) {
	text = strings.TrimSpace(text)
	if n := len(text); n > 3 {
		sum, err = strconv.ParseFloat(strings.TrimSpace(text[:n-3]), 64)
		currency = strings.ToUpper(text[n-3:])
	}
	body := record.RawMaterial{Name: "price", Reference: "price", Price: sum, Currency: currency}
	if err != nil || sum == 0 || body.Validate() != nil {
		return 0, "", fmt.Errorf("price %q: write the sum with the currency's code, such as 48EUR", text)
	}
	return sum, currency, nil
}
