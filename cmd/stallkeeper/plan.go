package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
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
	daemonAPI
	Cook      int64    `placeholder:"N" help:"Plan what is left of a cook that a running daemon watches, by its live forecasts."`
	Lot       string   `placeholder:"LOT" help:"Plan what is left of a lot of a running daemon."`
	Kept      int64    `placeholder:"N" help:"Plan a kept plan of a running daemon anew, as it stands now."`
	Serve     string   `placeholder:"TIME" help:"Serving hour, such as 2026-05-03T18:00:00+02:00."`
	Piece     []string `sep:"none" placeholder:"KEY=VALUE,…" help:"A piece: cut, mass and target, and if wanted id, thickness, wrap, cure, frozen, done. Repeatable."`
	Pit       string   `placeholder:"107C" help:"Setpoint of the pit."`
	CureDays  string   `placeholder:"10" help:"Days in the cure; without it the longer of practice and the rules by thickness."`
	BrineSalt string   `placeholder:"6.3%" help:"Salt in the brine by weight: a weaker one takes longer."`
	Now       string   `placeholder:"TIME" help:"The time to plan from (the clock's)."`
	Zone      string   `placeholder:"Europe/Berlin" help:"Time zone to show times in (the offset of --serve)."`
	Fire      string   `placeholder:"offset" help:"Kind of fire: electric, pellet, kettle, offset …"`
	Altitude  string   `placeholder:"300m" help:"Height above the sea."`
	Chill     bool     `help:"Plan only how the pieces are chilled, whole or cut, against the published cooling limits."`
	JSON      bool     `xor:"output" help:"Print JSON."`
	ICS       bool     `name:"ics" xor:"output" help:"Print an iCalendar file with alarms."`
}

// Help gives an example.
func (planCmd) Help() string {
	return `Example:

    stallkeeper plan --now 2026-04-20T09:00:00+02:00 --serve 2026-05-03T18:00:00+02:00 --piece cut=brisket_flat_cured,mass=2.5kg,thickness=50mm,target=92C --pit 107C --cure-days 7

Works backwards from the serving hour: for each step the comfortable and the latest time. Meat counts as ready when the forecaster
gives nine chances in ten. With --cook, --lot or --kept it asks a running daemon what is left to do, what slack there is and what is late
now. Several pieces share the pit: repeat --piece, each with an id. Keys of a piece: wrap=foil or
wrap=paper@68C, cure=12d or cure=no, frozen=yes, done=cure-start@2026-04-24T10:00:00+02:00 (the last step begun).

A forecast never shows that food is safe: the measured temperature, your local code and a licensed authority decide.`
}

// Run makes the plan and prints it.
func (p planCmd) Run(c *console) error {
	if p.Cook != 0 || p.Lot != "" || p.Kept != 0 {
		return p.ask(c)
	}
	if p.Chill {
		return p.chill(c)
	}
	var missing []string
	for _, f := range []struct{ flag, value string }{{"--serve", p.Serve}, {"--piece", strings.Join(p.Piece, "")}, {"--pit", p.Pit}} {
		if f.value == "" {
			missing = append(missing, f.flag)
		}
	}
	if len(missing) > 0 {
		return fmt.Errorf("missing flags: %s (stallkeeper plan --help shows an example)", strings.Join(missing, ", "))
	}
	order, err := p.order()
	if err != nil {
		return err
	}
	request, err := order.Request(time.Now(), nil)
	if err != nil {
		return err
	}
	made, err := plan.Make(estimator.New(estimator.DefaultPrior()), request)
	if err != nil {
		return err
	}
	return p.print(c, made)
}

// ask lets a running daemon plan what is left.
func (p planCmd) ask(c *console) error {
	if p.Now != "" || len(p.Piece) > 0 || p.Pit != "" || p.CureDays != "" || p.BrineSalt != "" {
		return errors.New("with --cook, --lot or --kept the daemon knows pieces, pit and time: give --serve alone, if another hour is wanted")
	}
	var path string
	switch {
	case p.Cook != 0 && p.Lot == "" && p.Kept == 0:
		path = fmt.Sprintf("/cooks/%d/plan", p.Cook)
	case p.Lot != "" && p.Cook == 0 && p.Kept == 0:
		path = "/lots/" + url.PathEscape(p.Lot) + "/plan"
	case p.Kept != 0 && p.Lot == "" && p.Cook == 0:
		path = fmt.Sprintf("/plans/%d/now", p.Kept)
	default:
		return errors.New("--cook, --lot and --kept exclude each other: give one")
	}
	query := url.Values{}
	if p.Serve != "" {
		if p.Kept != 0 {
			return errors.New("a kept plan has its serving hour: leave --serve out")
		}
		serve, err := parseMoment("--serve", p.Serve, nil)
		if err != nil {
			return err
		}
		query.Set("serve", serve.Format(time.RFC3339))
	}
	var made struct {
		Feasible bool `json:"feasible"`
	}
	var raw json.RawMessage
	if err := p.call(c.ctx, "GET", path+"?"+query.Encode(), nil, &raw); err != nil {
		return err
	}
	if err := json.Unmarshal(raw, &made); err != nil {
		return fmt.Errorf("read the daemon's answer: %w", err)
	}
	if p.JSON {
		if _, err := c.out.Write(append(raw, '\n')); err != nil {
			return err
		}
	} else {
		query.Set("format", map[bool]string{true: "ics", false: "text"}[p.ICS])
		body, err := p.open(c.ctx, "GET", path+"?"+query.Encode(), "", nil)
		if err != nil {
			return err
		}
		defer body.Close()
		if _, err := io.Copy(c.out, body); err != nil {
			return err
		}
	}
	if !made.Feasible {
		return errFinding
	}
	return nil
}

func (p planCmd) print(c *console, made plan.Plan) (err error) {
	switch {
	case p.JSON:
		err = json.NewEncoder(c.out).Encode(made)
	case p.ICS:
		_, err = io.WriteString(c.out, made.Calendar())
	default:
		_, err = io.WriteString(c.out, made.Text())
	}
	if err == nil && !made.Feasible {
		return errFinding
	}
	return err
}

func (p planCmd) order() (plan.Order, error) {
	o := plan.Order{Zone: p.Zone, Fire: p.Fire}
	var zone *time.Location
	var err error
	if p.Zone != "" {
		if zone, err = time.LoadLocation(p.Zone); err != nil || p.Zone == "Local" {
			return o, fmt.Errorf("zone %q is not known: use a name such as Europe/Berlin or America/Chicago", p.Zone)
		}
	}
	if p.Now != "" {
		if o.Now, err = parseMoment("--now", p.Now, zone); err != nil {
			return o, err
		}
	}
	if o.Serve, err = parseMoment("--serve", p.Serve, zone); err != nil {
		return o, err
	}
	if o.Pit, err = cook.ParseTemperature(p.Pit); err != nil {
		return o, fmt.Errorf("--pit: %w", err)
	}
	if p.Altitude != "" {
		mm, err := cook.ParseLength(p.Altitude)
		if err != nil {
			return o, fmt.Errorf("--altitude: %w", err)
		}
		o.AltitudeM = mm / 1000
	}
	if p.CureDays != "" {
		if o.CureDays, err = parseDays("--cure-days", p.CureDays); err != nil {
			return o, err
		}
	}
	if p.BrineSalt != "" {
		share, err := brine.ParsePercent(p.BrineSalt)
		if err != nil {
			return o, fmt.Errorf("--brine-salt: %w", err)
		}
		o.BrineSalt = 100 * share
	}
	if zone == nil {
		zone = o.Serve.Location()
	}
	for _, text := range p.Piece {
		piece, err := parsePiece(text, zone)
		if err != nil {
			return o, fmt.Errorf("--piece %s: %w", text, err)
		}
		o.Pieces = append(o.Pieces, piece)
	}
	return o, nil
}

// parseMoment reads an RFC 3339 time, or one without an offset where a zone is given.
func parseMoment(flag, text string, zone *time.Location) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, text)
	if err == nil {
		_, offset := t.Zone()
		return t.In(time.FixedZone("", offset)), cook.CheckSaid(flag, t) // never the machine's own zone
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
			return t, cook.CheckSaid(flag, t)
		}
	}
	return t, fmt.Errorf("%s %q is not a time: write it as 2026-05-03T18:00:00+02:00, or without the offset and with --zone", flag, text)
}

func parseDays(what, text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSuffix(text, "d"), 64)
	if err != nil || !(v >= 1 && v <= 120) {
		return 0, fmt.Errorf("%s %s: enter a number of days from 1 to 120, such as 10, or leave it out", what, text)
	}
	return v, nil
}

func parsePiece(text string, zone *time.Location) (w plan.OrderPiece, err error) {
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
		if err := setPiece(&w, key, value, zone); err != nil {
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

func setPiece(w *plan.OrderPiece, key, value string, zone *time.Location) (err error) {
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
		w.Wrap, w.WrapAt, err = parseWrap(value)
	case "cure":
		if w.Uncured = value == "no"; !w.Uncured {
			w.CureDays, err = parseDays("cure", value)
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

// parseWrap reads "foil" or "paper@68C"; no temperature is 0, the usual one.
func parseWrap(value string) (with string, at thermal.Celsius, err error) {
	with, text, given := strings.Cut(value, "@")
	if with == "no" && !given {
		return "", 0, nil
	}
	if with != string(estimator.Foil) && with != string(estimator.Paper) {
		return "", 0, fmt.Errorf("wrap=%s: write foil, paper or no, with a temperature if wanted: wrap=paper@68C", value)
	}
	if given {
		if at, err = cook.ParseTemperature(text); err == nil && at <= 0 {
			err = fmt.Errorf("wrap=%s: wrap at about 70C", value)
		}
	}
	return with, at, err
}
