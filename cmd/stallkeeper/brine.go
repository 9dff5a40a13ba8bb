package main

import (
	"encoding/json"
	"io"

	"stallkeeper/internal/brine"
)

type brineCmd struct {
	Meat            string `required:"" placeholder:"3kg" help:"Green weight of the meat."`
	Water           string `placeholder:"4kg" help:"Water; gal counts 8.33 lb."`
	Ice             string `placeholder:"2kg" help:"Ice, which is water once melted."`
	Salt            string `placeholder:"400g" help:"Salt besides that in the curing salt."`
	Sugar           string `placeholder:"200g" help:"Sugar."`
	Cure            string `placeholder:"25g" help:"Curing salt; 0 allowed."`
	CureNitrite     string `placeholder:"6.25%" help:"Sodium nitrite in the curing salt, as printed on its packet."`
	Accelerator     string `placeholder:"3g" help:"Sodium ascorbate or erythorbate."`
	Spices          string `placeholder:"TEXT" help:"Spices, as free text: they count nowhere."`
	Method          string `required:"" help:"immersion-equilibrium, immersion-pickup, pumped or dry."`
	Pickup          string `placeholder:"10%" help:"Weight gained over green weight, for immersion-pickup and pumped."`
	Product         string `default:"whole-muscle" help:"whole-muscle, bacon or comminuted (${default})."`
	WantPPM         string `placeholder:"PPM" help:"Solve for the curing salt that gives this ingoing nitrite."`
	For             string `placeholder:"5kg" help:"Scale the whole formulation to this much meat."`
	ScaleResolution string `placeholder:"1g" help:"Division of the scale that weighs the curing salt."`
	CoolFrom        string `placeholder:"95C" help:"Also say how much ice cools the brine from here …"`
	CoolTo          string `placeholder:"4C" help:"… to here."`
	Thickness       string `placeholder:"50mm" help:"Also say how many days it cures, from its thickest place."`
	Flat            bool   `help:"It is a trimmed brisket flat, for which there is a practice of its own."`
	JSON            bool   `help:"Print JSON."`
}

// Help gives an example.
func (brineCmd) Help() string {
	return `Example:

    stallkeeper brine --meat 3kg --water 4kg --ice 2kg --salt 400g --sugar 200g --cure 25g --cure-nitrite 6.25% --method immersion-equilibrium --flat --thickness 50mm

Curing salt is poisonous in excess: weigh it, keep it locked away and labelled. It goes into the cooled brine. The current edition of
the rules, your local code and a licensed authority decide.`
}

func (b brineCmd) sheet() brine.Sheet {
	return brine.Sheet{Meat: b.Meat, Water: b.Water, Ice: b.Ice, Salt: b.Salt, Sugar: b.Sugar, Cure: b.Cure, CureNitrite: b.CureNitrite,
		Accelerator: b.Accelerator, Spices: b.Spices, Method: b.Method, PickUp: b.Pickup, Product: b.Product, WantPPM: b.WantPPM, For: b.For,
		ScaleResolution: b.ScaleResolution, CoolFrom: b.CoolFrom, CoolTo: b.CoolTo, Thickness: b.Thickness, Flat: b.Flat}
}

// Run works the formulation out.
func (b brineCmd) Run(c *console) error {
	answer, err := b.sheet().Work()
	if err != nil {
		return err
	}
	if b.JSON {
		err = json.NewEncoder(c.out).Encode(answer)
	} else {
		_, err = io.WriteString(c.out, answer.Text())
	}
	if err == nil && answer.Finding() {
		return errFinding
	}
	return err
}
