package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // --zone works on systems without a zone database

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
)

type planCmd struct {
	Serve     string   `required:"" placeholder:"TIME" help:"Serving hour, such as 2026-05-03T18:00:00+02:00."`
	Piece     []string `required:"" sep:"none" placeholder:"KEY=VALUE,…" help:"A piece: cut, mass and target, and if wanted id, thickness, wrap, cure, frozen, done. Repeatable."`
	Pit       string   `required:"" placeholder:"107C" help:"Setpoint of the pit."`
	CureDays  string   `placeholder:"10" help:"Days in the cure; without it the longer of practice and the rules by thickness."`
	BrineSalt string   `placeholder:"6.3%" help:"Salt in the brine by weight: a weaker one takes longer."`
	Now       string   `placeholder:"TIME" help:"The time to plan from (the clock's)."`
	Zone      string   `placeholder:"Europe/Berlin" help:"Time zone to show times in (the offset of --serve)."`
	Fire      string   `placeholder:"offset" help:"Kind of fire: electric, pellet, kettle, offset …"`
	Altitude  string   `placeholder:"300m" help:"Height above the sea."`
	JSON      bool     `xor:"output" help:"Print JSON."`
	ICS       bool     `name:"ics" xor:"output" help:"Print an iCalendar file with alarms."`
}

// Help gives an example.
func (planCmd) Help() string {
	return `Example: stallkeeper plan --now 2026-04-20T09:00:00+02:00 --serve 2026-05-03T18:00:00+02:00 --piece cut=brisket_flat_cured,mass=2.5kg,thickness=50mm,target=92C --pit 107C --cure-days 7

Works backwards from the serving hour: for each step the comfortable and the latest time. Meat counts as ready when the forecaster
gives nine chances in ten. Several pieces share the pit: repeat --piece, each with an id. Keys of a piece: wrap=foil or
wrap=paper@68C, cure=12d or cure=no, frozen=yes, done=cure-start@2026-04-24T10:00:00+02:00 (the last step begun).

A forecast never shows that food is safe: the measured temperature, your local code and a licensed authority decide.`
}

// Run makes the plan and prints it.
func (p planCmd) Run(c *console) error {
	request, err := p.request()
	if err != nil {
		return err
	}
	made, err := plan.Make(estimator.New(estimator.DefaultPrior()), request)
	if err != nil {
		return err
	}
	switch {
	case p.JSON:
		err = json.NewEncoder(c.out).Encode(made)
	case p.ICS:
		_, err = io.WriteString(c.out, made.Calendar())
	default:
		_, err = io.WriteString(c.out, made.Text())
	}
	if err != nil {
		return err
	}
	if !made.Feasible {
		return errFinding
	}
	return nil
}

func (p planCmd) request() (plan.Request, error) {
	r := plan.Request{Now: time.Now(), Fire: p.Fire}
	var err error
	if p.Zone != "" {
		if r.Zone, err = time.LoadLocation(p.Zone); err != nil || p.Zone == "Local" {
			return r, fmt.Errorf("zone %q is not known: use a name such as Europe/Berlin or America/Chicago", p.Zone)
		}
	}
	if p.Now != "" {
		if r.Now, err = parseMoment("--now", p.Now, r.Zone); err != nil {
			return r, err
		}
	}
	if r.Serve, err = parseMoment("--serve", p.Serve, r.Zone); err != nil {
		return r, err
	}
	if r.Zone == nil {
		r.Zone = r.Serve.Location()
	}
	if r.Pit, err = cook.ParseTemperature(p.Pit); err != nil {
		return r, fmt.Errorf("--pit: %w", err)
	}
	if p.Altitude != "" {
		mm, err := cook.ParseLength(p.Altitude)
		if err != nil {
			return r, fmt.Errorf("--altitude: %w", err)
		}
		r.AltitudeM = mm / 1000
	}
	return p.pieces(r)
}

// parseMoment reads an RFC 3339 time, or one without an offset where a zone is given.
func parseMoment(flag, text string, zone *time.Location) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, text)
	if err == nil {
		_, offset := t.Zone()
		return t.In(time.FixedZone("", offset)), nil // never the machine's own zone
	}
	if zone != nil {
		for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04"} {
			t, err := time.ParseInLocation(layout, text, zone)
			if err != nil {
				continue
			}
			if t.Format(layout) != text {
				return t, fmt.Errorf("%s %s does not exist in %s, where the clocks change: give another hour", flag, text, zone)
			}
			return t, nil
		}
	}
	return t, fmt.Errorf("%s %q is not a time: write it as 2026-05-03T18:00:00+02:00, or without the offset and with --zone", flag, text)
}

// pieces reads the pieces and gives each its cure.
func (p planCmd) pieces(r plan.Request) (plan.Request, error) {
	days, err := p.cureDays()
	if err != nil {
		return r, err
	}
	salt := 0.0
	if p.BrineSalt != "" {
		if salt, err = brine.ParsePercent(p.BrineSalt); err != nil {
			return r, fmt.Errorf("--brine-salt: %w", err)
		}
	}
	var asked []pieceWords
	for _, text := range p.Piece {
		words, err := parsePiece(text, r.Zone)
		if err != nil {
			return r, fmt.Errorf("--piece %s: %w", text, err)
		}
		asked = append(asked, words)
	}
	name(asked)
	anyCured := slices.ContainsFunc(asked, pieceWords.curedCut)
	for _, a := range asked {
		if err := a.setCure(days, anyCured, salt*100); err != nil {
			return r, fmt.Errorf("piece %q: %w", a.ID, err)
		}
		r.Pieces = append(r.Pieces, a.Piece)
	}
	return r, nil
}

// cureDays reads --cure-days; 0 when it is not given.
func (p planCmd) cureDays() (float64, error) {
	if p.CureDays == "" {
		return 0, nil
	}
	return parseDays("--cure-days", p.CureDays)
}

func parseDays(what, text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSuffix(text, "d"), 64)
	if err != nil || !(v >= 1 && v <= 120) {
		return 0, fmt.Errorf("%s %s: enter a number of days from 1 to 120, such as 10, or leave it out", what, text)
	}
	return v, nil
}

// pieceWords is a piece as written.
type pieceWords struct {
	plan.Piece
	days   float64 // its own cure days; 0 = not given
	noCure bool
}

func (w pieceWords) curedCut() bool { return w.Cut == estimator.BrisketFlatCured && !w.noCure }

func parsePiece(text string, zone *time.Location) (w pieceWords, err error) {
	seen := map[string]bool{}
	for field := range strings.SplitSeq(text, ",") {
		key, value, ok := strings.Cut(strings.TrimSpace(field), "=")
		if !ok || value == "" {
			return w, fmt.Errorf("%q is not a key with its value: write cut=brisket_flat_cured,mass=2.5kg,thickness=50mm,target=92C", field)
		}
		if seen[key] {
			return w, fmt.Errorf("%s stands twice", key)
		}
		seen[key] = true
		if err := w.set(key, value, zone); err != nil {
			return w, err
		}
	}
	for _, needed := range []string{"cut", "mass", "target"} {
		if !seen[needed] {
			return w, fmt.Errorf("%s is missing: add %s", needed, map[string]string{"cut": "one of cut=" + strings.Join(cook.Cuts(), " "), "mass": "mass=2.5kg", "target": "target=92C"}[needed])
		}
	}
	return w, nil
}

func (w *pieceWords) set(key, value string, zone *time.Location) (err error) {
	switch key {
	case "id":
		w.ID = cook.PieceID(value)
	case "cut":
		if !slices.Contains(cook.Cuts(), value) {
			return fmt.Errorf("cut %q is not known: use one of %s", value, strings.Join(cook.Cuts(), " "))
		}
		w.Cut = estimator.Cut(value)
	case "mass":
		if w.MassKg, err = cook.ParseMass(value); err != nil || w.MassKg == 0 {
			return fmt.Errorf("mass=%s: weigh the piece and enter its mass with the unit, such as mass=2.5kg or mass=6lb", value)
		}
	case "thickness":
		if w.ThicknessMM, err = cook.ParseLength(value); err != nil || w.ThicknessMM == 0 {
			return fmt.Errorf("thickness=%s: measure the thickest place, such as thickness=50mm or 2in, or leave it out", value)
		}
	case "target":
		w.Target, err = cook.ParseTemperature(value)
	case "wrap":
		w.Wrap, err = parseWrap(value)
	case "cure":
		if w.noCure = value == "no"; !w.noCure {
			w.days, err = parseDays("cure", value)
		}
	case "frozen":
		if value != "yes" && value != "no" {
			return fmt.Errorf("frozen=%s: write yes or no", value)
		}
		w.Frozen = value == "yes"
	case "done":
		step, at, ok := strings.Cut(value, "@")
		if !ok {
			return fmt.Errorf("done=%s: write the step and when it was begun, such as done=cure-start@2026-04-24T10:00:00+02:00", value)
		}
		w.Done = plan.StepID(step)
		w.DoneAt, err = parseMoment("done", at, zone)
	default:
		return fmt.Errorf("key %q is not known: use id, cut, mass, thickness, target, wrap, cure, frozen or done", key)
	}
	return err
}

// parseWrap reads "foil" or "paper@68C"; 70 °C is the temperature where none is given (common practice, no source).
func parseWrap(value string) (*estimator.WrapPlan, error) {
	with, at, given := strings.Cut(value, "@")
	if with == "no" && !given {
		return nil, nil
	}
	if with != string(estimator.Foil) && with != string(estimator.Paper) {
		return nil, fmt.Errorf("wrap=%s: write foil, paper or no, with a temperature if wanted: wrap=paper@68C", value)
	}
	celsius := thermal.Celsius(70)
	if given {
		var err error
		if celsius, err = cook.ParseTemperature(at); err != nil {
			return nil, err
		}
	}
	return &estimator.WrapPlan{With: estimator.Wrapping(with), AtCelsius: celsius}, nil
}

// name gives pieces without an id the name of their cut, numbered where it would stand twice.
func name(pieces []pieceWords) {
	taken := map[cook.PieceID]bool{}
	for _, p := range pieces {
		taken[p.ID] = true
	}
	for i := range pieces {
		p := &pieces[i]
		if p.ID != "" {
			continue
		}
		p.ID = cook.PieceID(p.Cut)
		for n := 2; taken[p.ID]; n++ {
			p.ID = cook.PieceID(fmt.Sprintf("%s-%d", p.Cut, n))
		}
		taken[p.ID] = true
	}
}

// setCure decides how long the piece cures: its own days; else --cure-days, which goes to the pieces of the cured cut, or
// to all where there is none; else, for the cured cut, what practice and thickness say.
func (w *pieceWords) setCure(asked float64, anyCured bool, saltPercent float64) error {
	days := w.days
	if days == 0 && (w.curedCut() || !anyCured) {
		days = asked
	}
	if w.noCure || days == 0 && !w.curedCut() {
		return nil
	}
	known, err := brine.EstimateCure(brine.CurePiece{ThicknessMM: w.ThicknessMM, MassKg: w.MassKg, BrineSalt: saltPercent,
		Flat: w.Cut == estimator.BrisketFlatCured || w.Cut == estimator.BrisketFlat})
	if err != nil {
		return err
	}
	if days == 0 {
		days = known.Default
	}
	if days == 0 {
		return fmt.Errorf("the cure time cannot be told without the thickness: add thickness=50mm, or cure=10d")
	}
	for _, rule := range known.Rules {
		line := fmt.Sprintf("%s: %s (%s)", rule.Name, rule.Span(), rule.Basis)
		if rule.Applies != "" {
			line += "; made for " + rule.Applies
		}
		w.CureRules = append(w.CureRules, line)
	}
	w.CureBasis = known.Judge(days)
	if known.TooShort(days) {
		w.CureBasis = "is shorter than every rule, so that the middle may stay uncured; " + w.CureBasis
	}
	w.Cure = time.Duration(math.Round(days*24*60)) * time.Minute
	return nil
}
