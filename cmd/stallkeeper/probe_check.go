package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/cook"
)

type probeCheckCmd struct {
	Probe     string        `required:"" placeholder:"NAME" help:"The probe to check, as the daemon knows it."`
	Points    []string      `default:"ice,boil" placeholder:"ice,boil" help:"References, in the order of the session (${default})."`
	Altitude  string        `placeholder:"300m" help:"Height above the sea, for the boiling point …"`
	Pressure  string        `placeholder:"985hPa" help:"… or better the station pressure, not reduced to sea level."`
	Tolerance string        `placeholder:"1C" help:"Accepted error; else as the daemon is configured."`
	By        string        `env:"USER" placeholder:"NAME" help:"Who checks, for the records (default: $$USER)."`
	PIN       string        `name:"pin" env:"STALLKEEPER_PIN" placeholder:"PIN" help:"That belongs to the initials in --by, where PINs are set up; better given as STALLKEEPER_PIN."`
	AsLeft    bool          `help:"The probe was adjusted since it was last checked: this is how it is left."`
	Note      string        `placeholder:"TEXT" help:"A note for the records."`
	NoKeep    bool          `help:"Keep nothing: only try."`
	Wait      time.Duration `default:"15m" help:"How long each point may take to settle (${default})."`
	JSON      bool          `help:"Print JSON."`
	daemonAPI

	now  func() time.Time `kong:"-"`
	poll time.Duration    `kong:"-"`
}

// Help gives an example.
func (probeCheckCmd) Help() string {
	return `Example:

    stallkeeper probe check --probe flat --altitude 300m

The result stands in the shop's records; a check that is not passed marks the readings since the last good one. Have a slurry of crushed ice and clean water, and water at a rolling boil. Follow the lines; keep the tip off walls and bottom. Mind
steam and boiling water. Exit status 1: out of tolerance, or not settled. That ice and boil are the points and 1 °C is accepted is
common practice; where your food-safety plan or local code says otherwise, that decides.`
}

// probeCheck is the JSON answer.
type probeCheck struct {
	Probe      string            `json:"probe"`
	Time       string            `json:"time"`
	Points     []probeCheckPoint `json:"points"`
	AsLeft     bool              `json:"as_left"` // after an adjustment; else as it was found
	Tolerance  float64           `json:"tolerance_k"`
	Passed     bool              `json:"passed"`
	Correction *struct {
		Slope float64 `json:"correction_slope"`
		K     float64 `json:"correction_k"`
	} `json:"correction"` // null where none helps
	Because string `json:"because"`
	Entry   int64  `json:"entry"` // its number in the records; 0 = not kept
}

type probeCheckPoint struct {
	Kind      calibrate.Kind `json:"kind"`
	Time      string         `json:"time"`
	Reference float64        `json:"reference_c"`
	Shown     float64        `json:"shown_c"`
	Error     float64        `json:"error_k"`
}

// Run leads through the points.
func (p probeCheckCmd) Run(c *console) error {
	if p.now == nil {
		p.now, p.poll = time.Now, 2*time.Second
	}
	if err := cook.ProbeID(p.Probe).Validate(); err != nil {
		return err
	}
	tolerance, err := p.tolerance()
	if err != nil {
		return err
	}
	references, err := p.references()
	if err != nil {
		return err
	}
	var before standing
	if err := p.call(c.ctx, "GET", "/checks?"+url.Values{"probe": {p.Probe}}.Encode(), nil, &before); err != nil {
		return err
	}
	if p.By == "" && !p.NoKeep && p.User == "" {
		return errors.New("say with --by who checks: it stands in the records")
	}
	if tolerance == 0 {
		tolerance = thermal.CelsiusDelta(before.Tolerance)
	}
	if err := p.warnOfStranger(c); err != nil {
		return err
	}
	var points []calibrate.Point
	for i, kind := range p.Points {
		point, err := p.settle(c, calibrate.Kind(kind), references[i])
		if err != nil {
			return err
		}
		points = append(points, point)
	}
	return p.finish(c, points, tolerance, before)
}

// warnOfStranger names the probes that have spoken where the one to check has not: its name may be mistyped, or it is still to be plugged in.
func (p probeCheckCmd) warnOfStranger(c *console) error {
	var known struct {
		Probes []struct {
			ID   string     `json:"id"`
			Time *time.Time `json:"time"`
		} `json:"probes"`
	}
	if err := p.call(c.ctx, "GET", "/probes", nil, &known); err != nil {
		return err
	}
	var names []string
	for _, k := range known.Probes {
		if k.Time != nil {
			names = append(names, k.ID)
		}
	}
	if slices.Contains(names, p.Probe) {
		return nil
	}
	if len(names) == 0 {
		names = []string{"none"}
	}
	_, err := fmt.Fprintf(c.errOut, "Probe %s has not spoken yet. Those that have: %s.\n", p.Probe, strings.Join(names, ", "))
	return err
}

// tolerance reads --tolerance; 0 leaves it to the daemon.
func (p probeCheckCmd) tolerance() (thermal.CelsiusDelta, error) {
	if p.Tolerance == "" {
		return 0, nil
	}
	tolerance, err := cook.ParseTemperatureDelta(p.Tolerance)
	if err != nil {
		return 0, fmt.Errorf("--tolerance: %w", err)
	}
	if tolerance <= 0 || tolerance > 5 {
		return 0, fmt.Errorf("--tolerance %s is not between 0 and 5 °C", p.Tolerance)
	}
	return tolerance, nil
}

func (p probeCheckCmd) references() ([]thermal.Celsius, error) {
	place, err := p.place()
	if err != nil {
		return nil, err
	}
	var out []thermal.Celsius
	for i, kind := range p.Points {
		if slices.Contains(p.Points[:i], kind) {
			return nil, fmt.Errorf("--points names %s twice", kind)
		}
		if calibrate.Kind(kind) == calibrate.Boil && p.Altitude == "" && p.Pressure == "" {
			return nil, errors.New("water boils 1 °C lower for every 300 m: give --altitude 300m or --pressure 985hPa")
		}
		r, err := calibrate.Reference(calibrate.Kind(kind), place)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	if len(out) == 0 {
		return nil, errors.New("--points is empty: use ice, boil or both")
	}
	return out, nil
}

func (p probeCheckCmd) place() (calibrate.Place, error) {
	var place calibrate.Place
	if p.Altitude != "" && p.Pressure != "" {
		return place, errors.New("give --altitude or --pressure, not both")
	}
	if p.Altitude != "" {
		below := strings.HasPrefix(p.Altitude, "-")
		mm, err := cook.ParseLength(strings.TrimPrefix(p.Altitude, "-"))
		if err != nil {
			return place, fmt.Errorf("--altitude: %w (metres: 300m)", err)
		}
		if place.AltitudeM = mm / 1000; below {
			place.AltitudeM = -place.AltitudeM
		}
	}
	if p.Pressure != "" {
		number, ok := strings.CutSuffix(strings.TrimSpace(p.Pressure), "hPa")
		v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if !ok || err != nil || v == 0 {
			return place, fmt.Errorf("--pressure %q: write it with its unit, such as 985hPa", p.Pressure)
		}
		place.PressurePa = 100 * v
	}
	return place, nil
}

// tellEvery is how often the session says what it waits for.
const tellEvery = 10 * time.Second

// settle waits for one point.
func (p probeCheckCmd) settle(c *console, kind calibrate.Kind, reference thermal.Celsius) (calibrate.Point, error) {
	what := map[calibrate.Kind]string{calibrate.Ice: "the ice slurry and stir", calibrate.Boil: "the boiling water"}[kind]
	fmt.Fprintf(c.errOut, "Put probe %s into %s. A good probe shows %.2f °C there.\n", p.Probe, what, float64(reference))
	rest := calibrate.DefaultRest()
	began := p.now()
	told, toldAt := "", began
	for {
		samples, refused, err := p.readings(c.ctx, began.Add(-rest.Window))
		if err != nil {
			return calibrate.Point{}, err
		}
		shown, waiting := calibrate.Settle(samples, reference, rest)
		if waiting == "" {
			fmt.Fprintf(c.errOut, "Settled at %.2f °C: off by %+.2f K.\n", float64(shown), float64(shown-reference))
			return calibrate.Point{Kind: kind, Time: samples[len(samples)-1].Time, Reference: reference, Shown: shown}, nil
		}
		if refused != "" {
			waiting += "; a reading was refused: " + refused
		}
		if now := p.now(); waiting != told && (told == "" || now.Sub(toldAt) >= tellEvery) {
			fmt.Fprintln(c.errOut, " ", waiting)
			told, toldAt = waiting, now
		}
		if p.now().Sub(began) > p.Wait {
			fmt.Fprintf(c.errOut, "The reading did not settle within %s: %s.\n", p.Wait, waiting)
			return calibrate.Point{}, errFinding
		}
		select {
		case <-c.ctx.Done():
			return calibrate.Point{}, errors.New("interrupted: nothing was recorded")
		case <-time.After(p.poll):
		}
	}
}

// readings gives the probe's good readings; refused is the quality of the last one if that is another.
func (p probeCheckCmd) readings(ctx context.Context, from time.Time) (samples []calibrate.Sample, refused string, err error) {
	next := "/readings?" + url.Values{"probe": {p.Probe}, "from": {from.UTC().Format(time.RFC3339)}, "limit": {"10000"}}.Encode()
	for next != "" {
		var page struct {
			Readings []struct {
				Time    time.Time `json:"time"`
				Celsius float64   `json:"celsius"`
				Quality string    `json:"quality"`
			} `json:"readings"`
			Next *string `json:"next"`
		}
		if err := p.call(ctx, "GET", next, nil, &page); err != nil {
			return nil, "", err
		}
		for _, r := range page.Readings {
			if refused = r.Quality; refused == string(cook.Good) {
				refused = ""
				samples = append(samples, calibrate.Sample{Time: r.Time, Celsius: thermal.Celsius(r.Celsius)})
			}
		}
		if next = ""; page.Next != nil {
			next = strings.TrimPrefix(*page.Next, "/api/v1")
		}
	}
	return samples, refused, nil
}

// keep enters the check in the shop's records.
func (p probeCheckCmd) keep(ctx context.Context, points []calibrate.Point, tolerance thermal.CelsiusDelta) (keptCheck, error) {
	type point struct {
		True float64 `json:"true_c"`
		Read float64 `json:"read_c"`
	}
	ask := struct {
		Probe     string    `json:"probe"`
		Time      time.Time `json:"time"`
		By        string    `json:"by"`
		PIN       string    `json:"pin,omitempty"`
		Method    string    `json:"method"`
		Points    []point   `json:"points"`
		Tolerance float64   `json:"tolerance_k"`
		Reference string    `json:"reference,omitempty"`
		AsLeft    bool      `json:"as_left"`
		Note      string    `json:"note,omitempty"`
	}{Probe: p.Probe, Time: points[len(points)-1].Time, By: p.By, PIN: p.PIN, Tolerance: float64(tolerance), AsLeft: p.AsLeft, Note: p.Note,
		Method: strings.NewReplacer("boil", "boiling").Replace(strings.Join(p.Points, "+"))}
	if p.Altitude+p.Pressure != "" {
		ask.Reference = "water boiling at " + p.Altitude + p.Pressure
	}
	for _, q := range points {
		ask.Points = append(ask.Points, point{finely(float64(q.Reference)), finely(float64(q.Shown))})
	}
	var kept keptCheck
	err := p.call(ctx, "POST", "/checks", ask, &kept)
	return kept, err
}

func (p probeCheckCmd) finish(c *console, points []calibrate.Point, tolerance thermal.CelsiusDelta, before standing) error {
	answer := probeCheck{Probe: p.Probe, AsLeft: p.AsLeft, Time: points[len(points)-1].Time.UTC().Format(time.RFC3339), Tolerance: float64(tolerance),
		Passed: calibrate.Judge(points, tolerance)}
	for _, q := range points {
		answer.Points = append(answer.Points, probeCheckPoint{q.Kind, q.Time.UTC().Format(time.RFC3339), hundredth(float64(q.Reference)),
			hundredth(float64(q.Shown)), hundredth(float64(q.Error()))})
	}
	answer.Because = fmt.Sprintf("every point is within %.2f K", float64(tolerance))
	if !answer.Passed {
		answer.Because = fmt.Sprintf("a point is off by more than %.2f K: do not rely on what this probe showed since its last good check", float64(tolerance))
	}
	correction, err := calibrate.Fit(points)
	if err != nil {
		answer.Because += "; " + err.Error()
	} else {
		answer.Correction = &struct {
			Slope float64 `json:"correction_slope"`
			K     float64 `json:"correction_k"`
		}{correction.Slope, correction.K}
	}
	if before.Correction != nil && answer.Correction != nil { // what is measured is corrected already
		both := calibrate.Correction{Slope: before.Correction.Slope, K: before.Correction.K}.Then(correction)
		answer.Correction.Slope, answer.Correction.K = both.Slope, both.K
	}
	if !p.NoKeep {
		kept, err := p.keep(c.ctx, points, tolerance)
		if err != nil {
			return errors.Join(p.print(c, answer), fmt.Errorf("the check stands in no record: %w", err))
		}
		answer.Entry = kept.Number
	}
	if err := p.print(c, answer); err != nil {
		return err
	}
	if !answer.Passed {
		return errFinding
	}
	return nil
}

func (p probeCheckCmd) print(c *console, a probeCheck) error {
	if p.JSON {
		return json.NewEncoder(c.out).Encode(a)
	}
	verdict := "within tolerance"
	if !a.Passed {
		verdict = "OUT OF TOLERANCE"
	}
	fmt.Fprintf(c.out, "probe %s: %s (%s)\n", a.Probe, verdict, a.Because)
	for _, q := range a.Points {
		fmt.Fprintf(c.out, "%-5s %8.2f °C shown, %8.2f °C true, off by %+.2f K\n", q.Kind, q.Shown, q.Reference, q.Error)
	}
	if a.Correction != nil {
		fmt.Fprintf(c.out, "to correct it, set correction_slope = %.5f and correction_k = %.3f at its [[probe]], restart, and check again with --as-left\n",
			a.Correction.Slope, a.Correction.K)
	}
	where := "Kept nowhere."
	if a.Entry != 0 {
		where = fmt.Sprintf("Entry %d of the records.", a.Entry)
	}
	_, err := fmt.Fprintln(c.out, where+" A probe that feeds safety records is checked as your plan and local code say.")
	return err
}

// finely keeps a ten-thousandth of a degree, finer than any probe.
func finely(v float64) float64 { return math.Round(v*1e4) / 1e4 }

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }
