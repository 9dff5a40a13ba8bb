package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
)

type brineCmd struct {
	Meat            string  `required:"" placeholder:"3kg" help:"Green weight of the meat."`
	Water           string  `placeholder:"4kg" help:"Water; gal counts 8.33 lb."`
	Ice             string  `placeholder:"2kg" help:"Ice, which is water once melted."`
	Salt            string  `placeholder:"400g" help:"Salt besides that in the curing salt."`
	Sugar           string  `placeholder:"200g" help:"Sugar."`
	Cure            string  `placeholder:"25g" help:"Curing salt; 0 allowed."`
	CureNitrite     string  `placeholder:"6.25%" help:"Sodium nitrite in the curing salt, as printed on its packet."`
	Accelerator     string  `placeholder:"3g" help:"Sodium ascorbate or erythorbate."`
	Method          string  `required:"" help:"immersion-equilibrium, immersion-pickup, pumped or dry."`
	Pickup          string  `placeholder:"10%" help:"Weight gained over green weight, for immersion-pickup and pumped."`
	Product         string  `default:"whole-muscle" help:"whole-muscle, bacon or comminuted (${default})."`
	WantPPM         float64 `placeholder:"PPM" help:"Solve for the curing salt that gives this ingoing nitrite."`
	ScaleResolution string  `placeholder:"1g" help:"Division of the scale that weighs the curing salt."`
	CoolFrom        string  `placeholder:"95C" help:"Also say how much ice cools the brine from here …"`
	CoolTo          string  `placeholder:"4C" help:"… to here."`
	JSON            bool    `help:"Print JSON."`
}

// Help gives an example.
func (brineCmd) Help() string {
	return `Example: stallkeeper brine --meat 3kg --water 4kg --ice 2kg --salt 400g --sugar 200g --cure 25g --cure-nitrite 6.25% --method immersion-equilibrium

Curing salt is poisonous in excess: weigh it, keep it locked away and labelled. It goes into the cooled brine. The current edition of
the rules, your local code and a licensed authority decide.`
}

// brineAnswer is the JSON answer.
type brineAnswer struct {
	IngoingPPM     float64  `json:"ingoing_nitrite_ppm"`
	IonPPM         float64  `json:"ingoing_nitrite_ion_ppm"`
	LimitPPM       float64  `json:"limit_ppm"`
	LimitSource    string   `json:"limit_source"`
	Within         bool     `json:"within"`
	BrineSalt      *float64 `json:"brine_salt_percent"`
	Salometer      *float64 `json:"salometer_deg"`
	MeatSalt       float64  `json:"meat_salt_percent"`
	AcceleratorPPM float64  `json:"accelerator_ppm"`
	CureG          float64  `json:"cure_g"`
	PickleKg       float64  `json:"pickle_kg"`
	IceToCoolKg    *float64 `json:"ice_to_cool_kg,omitempty"`
	CooledSalt     *float64 `json:"cooled_brine_salt_percent,omitempty"`
	CooledPPM      *float64 `json:"cooled_ingoing_nitrite_ppm,omitempty"`
	Refused        string   `json:"refused,omitempty"`
	Notes          []string `json:"notes"`
}

// Run computes the formulation.
func (b brineCmd) Run(c *console) error {
	r, err := b.recipe()
	if err != nil {
		return err
	}
	if b.WantPPM != 0 {
		if r.Cure, err = brine.SolveCure(r, b.WantPPM); err != nil {
			return err
		}
	}
	result, err := brine.Compute(r)
	if err != nil {
		return err
	}
	answer := brineAnswer{IngoingPPM: result.NitritePPM, IonPPM: result.NitriteIonPPM, LimitPPM: result.LimitPPM,
		LimitSource: result.LimitSource, Within: result.Within, BrineSalt: finite(result.BrineSalt), Salometer: finite(result.Salometer),
		MeatSalt: result.MeatSalt, AcceleratorPPM: result.AcceleratorPPM, CureG: 1e3 * r.Cure, PickleKg: result.Pickle,
		Notes: append([]string{}, result.Notes...)}
	if err := b.ice(r, &answer); err != nil {
		return err
	}
	if b.ScaleResolution != "" {
		division, err := cook.ParseMass(b.ScaleResolution)
		if err != nil {
			return err
		}
		if err := brine.CheckScale(r.Cure, division); err != nil {
			answer.Refused = err.Error()
		}
	}
	if err := b.print(c, answer); err != nil {
		return err
	}
	if !answer.Within || answer.Refused != "" {
		return errFinding
	}
	return nil
}

// ice adds how much ice cools the brine, and what the brine is then.
func (b brineCmd) ice(r brine.Recipe, answer *brineAnswer) error {
	if (b.CoolFrom == "") != (b.CoolTo == "") {
		return fmt.Errorf("--cool-from and --cool-to go together")
	}
	if b.CoolFrom == "" {
		return nil
	}
	from, err := cook.ParseTemperature(b.CoolFrom)
	if err != nil {
		return err
	}
	to, err := cook.ParseTemperature(b.CoolTo)
	if err != nil {
		return err
	}
	kg, err := brine.IceToCool(r, from, to, 0)
	if err != nil {
		return err
	}
	r.Ice = kg
	cooled, err := brine.Compute(r)
	if err != nil {
		return err
	}
	answer.IceToCoolKg, answer.CooledSalt, answer.CooledPPM = &kg, finite(cooled.BrineSalt), &cooled.NitritePPM
	answer.Notes = append(answer.Notes, fmt.Sprintf("%.2f kg of ice cool the brine to %v; the brine is then %.1f %% salt and gives %.0f ppm nitrite", kg, to, cooled.BrineSalt, cooled.NitritePPM))
	if cooled.NitritePPM < 120 && answer.IngoingPPM >= 120 {
		answer.Notes = append(answer.Notes, "that much ice makes the brine too weak: heat less of the water, and count the ice as part of it")
	}
	return nil
}

func (b brineCmd) recipe() (brine.Recipe, error) {
	r := brine.Recipe{Method: brine.Method(b.Method), Product: brine.Product(b.Product)}
	for _, f := range []struct {
		text string
		to   *float64
	}{{b.Meat, &r.Meat}, {water(b.Water), &r.Water}, {b.Ice, &r.Ice}, {b.Salt, &r.Salt}, {b.Sugar, &r.Sugar}, {b.Cure, &r.Cure}, {b.Accelerator, &r.Accelerator}} {
		if f.text == "" || f.text == "0" {
			continue
		}
		kg, err := cook.ParseMass(f.text)
		if err != nil {
			return r, err
		}
		*f.to = kg
	}
	for _, f := range []struct {
		text string
		to   *float64
	}{{b.CureNitrite, &r.CureNitrite}, {b.Pickup, &r.PickUp}} {
		if f.text == "" {
			continue
		}
		share, err := parsePercent(f.text)
		if err != nil {
			return r, err
		}
		*f.to = share
	}
	return r, nil
}

// water turns US gallons of water into pounds: 8.33 lb each, as the Handbook counts.
func water(s string) string {
	if n, ok := strings.CutSuffix(s, "gal"); ok {
		if v, err := strconv.ParseFloat(strings.TrimSpace(n), 64); err == nil {
			return strconv.FormatFloat(8.33*v, 'g', -1, 64) + "lb"
		}
	}
	return s
}

// parsePercent reads a share: "6.25%".
func parsePercent(s string) (float64, error) {
	n, ok := strings.CutSuffix(strings.TrimSpace(s), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(n), 64)
	if !ok || err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("share %q: write a percentage with its sign, such as 6.25%%", s)
	}
	return v / 100, nil
}

func finite(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}

func (b brineCmd) print(c *console, a brineAnswer) error {
	if b.JSON {
		return json.NewEncoder(c.out).Encode(a)
	}
	verdict := "within"
	if !a.Within {
		verdict = "OVER"
	}
	fmt.Fprintf(c.out, "curing salt     %8.1f g\ningoing nitrite %8.0f ppm as NaNO2 (%.0f as ion), %s the limit of %.0f\n                (%s)\n",
		a.CureG, a.IngoingPPM, a.IonPPM, verdict, a.LimitPPM, a.LimitSource)
	if a.BrineSalt != nil {
		fmt.Fprintf(c.out, "brine           %8.1f %% salt, %.0f salometer degrees, %.2f kg\n", *a.BrineSalt, *a.Salometer, a.PickleKg)
	}
	fmt.Fprintf(c.out, "meat            %8.1f %% salt\n", a.MeatSalt)
	for _, n := range a.Notes {
		fmt.Fprintln(c.out, "-", n)
	}
	if a.Refused != "" {
		fmt.Fprintln(c.out, "refused:", a.Refused)
	}
	_, err := fmt.Fprintln(c.out, "Curing salt is poisonous in excess: weigh it. The current rules, your local code and a licensed authority decide.")
	return err
}
