package record

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Said is one thing that an entry says, for people: "measured", "71.4 °C (160.5 °F)".
type Said struct {
	Name string
	Text string
}

// KindName is the kind in words: "corrective action".
func (k Kind) KindName() string {
	if k == KindReview {
		return "pre-shipment review"
	}
	return strings.ReplaceAll(string(k), "-", " ")
}

// Tell gives everything that a body says, in the order in which people read it; what is missing from the body is missing here. Times
// are local; temperatures stand in both scales.
func Tell(body Body, in *time.Location) []Said {
	return TellWith(body, func(at time.Time) string { return when.Date(at, in) })
}

// TellWith is Tell with times written otherwise, as for a spreadsheet.
func TellWith(body Body, date func(time.Time) string) []Said {
	t := teller{date: date}
	switch b := body.(type) {
	case *Opened:
		t.say("product", b.Product).say("code", b.Code).say("kept", string(b.Class)).say("note", b.Note)
		for _, p := range b.Pieces {
			t.say("piece "+string(p.ID), pieceWords(p))
		}
	case *Changed:
		t.say("product", b.Product).say("code", b.Code).say("kept", string(b.Class)).say("note", b.Note)
	case *Closed:
		t.say("note", b.Note)
	case *Piece:
		t.say("piece "+string(b.ID), pieceWords(*b))
	case *RawMaterial:
		t.say("what", b.Name).say("supplier", b.Supplier).say("reference", b.Reference).mass("weight", b.MassKg).say("price", b.price()).when("received", b.Received).when("use by", b.UseBy).say("note", b.Note)
	case *Weighed:
		t.say("piece", string(b.Piece)).say("when", string(b.When)).mass("weight", b.MassKg).say("scale", b.Instrument)
	case *Formulation:
		t.say("name", b.Name)
		t.formula(b.Formula)
		t.say("note", b.Note)
	case *StageStarted:
		t.stage(b.Stage, b.Piece).say("probes", join(b.Probes)).say("note", b.Note)
		if b.Cook != 0 {
			t.say("cook", strconv.FormatInt(int64(b.Cook), 10))
		}
	case *StageEnded:
		t.stage(b.Stage, b.Piece).say("note", b.Note)
	default:
		t.haccp(body)
	}
	return t.out
}

type teller struct {
	date func(time.Time) string
	out  []Said
}

// haccp tells the kinds that the plan asks for.
func (t *teller) haccp(body Body) {
	switch b := body.(type) {
	case *Monitoring:
		t.monitoring(b)
	case *ProbeChecked:
		t.checked(b)
	case *Deviation:
		t.say("what", b.What).point(b.ControlPoint).when("from", b.From).when("until", b.Until).yes("unforeseen", b.Unforeseen, "yes: not in the plan")
	case *CorrectiveAction:
		t.say("deviation", "entry "+strconv.FormatInt(b.Deviation, 10)).say("cause", b.Cause).say("control restored", b.Control).say("prevention", b.Prevention)
		t.say("disposition", string(b.Disposition)).say("product", b.Product).say("plan reassessed", b.Reassessed)
	case *Verification:
		t.say("of", strings.ReplaceAll(b.Of, "-", " ")).say("result", pick(b.Good, "as it should be", "NOT as it should be")).say("found", b.Found)
		if len(b.Checks) > 0 {
			t.say("entries", strings.Trim(fmt.Sprint(b.Checks), "[]"))
		}
	case *Review:
		t.say("decision", pick(b.Ship, "may leave", "does NOT leave")).say("note", b.Note)
	case *Planned:
		t.say("plan", strconv.FormatInt(b.Plan, 10)).say("note", b.Note)
	case *Portioned:
		t.say("piece", string(b.Piece)).say("portions", strconv.Itoa(b.Portions)).mass("weight of each", b.MassKg).say("kept", b.Kept).say("where", b.Where).when("use by", b.UseBy).say("by the standard", b.Standard)
	case *Taken:
		t.say("portions", strconv.Itoa(b.Portions)).say("of", "entry "+strconv.FormatInt(b.From, 10)).say("why", b.Why)
	case *Note:
		t.say("text", b.Text)
	case *Withdrawal:
		t.say("what", "the entry it corrects never happened")
	case *Key:
		t.say("key", b.Public.ID())
		if len(b.Before) > 0 {
			t.say("signed by key", b.Before.ID())
		}
	}
}

func (t *teller) monitoring(m *Monitoring) {
	t.say("verdict", string(m.Verdict))
	if m.Celsius != nil {
		t.say("actual value", Degrees(*m.Celsius))
	}
	if m.Value != nil {
		t.say("actual value", number(*m.Value)+" "+m.Unit)
	}
	t.point(m.ControlPoint).say("because", m.Because).say("instrument", m.Instrument)
	switch {
	case m.LastCheck != 0:
		t.say("last check", "entry "+strconv.FormatInt(m.LastCheck, 10)+", "+t.date(m.CheckedAt))
	case m.Instrument != "":
		t.say("last check", "none on record")
	}
}

func (t *teller) checked(p *ProbeChecked) {
	t.say("instrument", p.Instrument).say("result", pick(p.Passed, "passed", "FAILED")).say("method", p.Method)
	if p.AltitudeM != nil {
		t.say("altitude", number(*p.AltitudeM)+" m")
	}
	t.say("reference", p.Reference)
	for i, q := range p.Points {
		t.say("point "+strconv.Itoa(i+1), fmt.Sprintf("should read %s, read %s: %s", Degrees(q.True), Degrees(q.Read), Difference(q.Read-q.True)))
	}
	if p.Tolerance != nil {
		t.say("tolerance", "±"+number(float64(*p.Tolerance))+" K")
	}
	t.say("action", p.Action).say("note", p.Note)
}

func (t *teller) say(name, text string) *teller {
	if strings.TrimSpace(text) != "" {
		t.out = append(t.out, Said{name, text})
	}
	return t
}

func (t *teller) yes(name string, is bool, text string) *teller {
	if is {
		t.say(name, text)
	}
	return t
}

func (t *teller) when(name string, at time.Time) *teller {
	if !at.IsZero() {
		t.say(name, t.date(at))
	}
	return t
}

func (t *teller) mass(name string, kg float64) *teller {
	if kg > 0 {
		t.say(name, Mass(kg))
	}
	return t
}

func (t *teller) stage(s cook.Stage, p cook.PieceID) *teller {
	return t.say("stage", string(s)).say("piece", string(p))
}

func (t *teller) point(p ControlPoint) *teller {
	return t.say("measured", p.Measured).say("ccp", p.CCP).say("critical limit", p.Limit).say("rule", p.Rule).say("source", p.Source).stage(p.Stage, p.Piece)
}

func pieceWords(p Piece) string {
	words := []string{pick(p.Cut != "", cook.CutName(p.Cut), "cut not given"), pick(p.Intact, "intact", "not intact, or not known to be")}
	if p.ThicknessMM > 0 {
		words = append(words, number(p.ThicknessMM)+" mm thick")
	}
	if p.Note != "" {
		words = append(words, p.Note)
	}
	return strings.Join(words, "; ")
}

func pick(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Degrees is a temperature in both scales, to the hundredth, so that a value just below a limit does not look as if it met it: "62.76 °C (144.97 °F)".
func Degrees(c thermal.Celsius) string {
	return hundredth(float64(c), "") + " °C (" + hundredth(c.Fahrenheit(), "") + " °F)"
}

// Difference is a difference of temperatures in both scales, with its sign: "+0.4 K (+0.72 °F)".
func Difference(c thermal.Celsius) string {
	return hundredth(float64(c), "+") + " K (" + hundredth(float64(c)*1.8, "+") + " °F)"
}

// hundredth writes two places, or one where the second is zero.
func hundredth(v float64, sign string) string {
	text := fmt.Sprintf("%"+sign+".2f", math.Round(v*100)/100+0)
	return strings.TrimSuffix(text, "0")
}

// Mass is a weight in both systems: "3.2 kg (7.05 lb)"; 1 lb is 0.45359237 kg exactly (NIST SP 811).
func Mass(kg float64) string {
	return fmt.Sprintf("%s kg (%.2f lb)", number(kg), kg/0.45359237)
}
