package probes

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
)

// checkForm takes a check in ice and boiling water, as it was read off the page or the thermometer.
type checkForm struct {
	Typed url.Values
	Wrong string
	Sign  frame.Sign
}

// Get is what was typed.
func (f checkForm) Get(name string) string { return f.Typed.Get(name) }

// FieldID is the id of a field.
func (f checkForm) FieldID(name string) string { return "check-" + name }

// postCheck enters a check of a probe.
func (p *Set) postCheck(w http.ResponseWriter, r *http.Request) error {
	id := cook.ProbeID(r.FormValue("probe"))
	err := p.enterCheck(r, id)
	var said *problem.Error
	switch {
	case err == nil:
		http.Redirect(w, r, "/probes/"+probePath(id)+"?kept=check#checks", http.StatusSeeOther)
		return nil
	case !errors.As(err, &said) || said.Status >= 500:
		return err
	}
	return p.probePage(w, r, id, said.Status, checkForm{Typed: r.PostForm, Wrong: frame.Sentence(err.Error())})
}

// probePath is a probe's name in an address; its levels stay.
func probePath(id cook.ProbeID) string {
	return strings.ReplaceAll(url.PathEscape(string(id)), "%2F", "/")
}

func (p *Set) enterCheck(r *http.Request, id cook.ProbeID) error {
	see := p.Reader(r)
	body := record.ProbeChecked{AsLeft: r.FormValue("left") != "", Action: strings.TrimSpace(r.FormValue("action")), Note: strings.TrimSpace(r.FormValue("note"))}
	at, err := form.Time(r, p.Location)
	if err != nil {
		return err
	}
	var methods []string
	for _, bath := range []struct {
		field, method string
		kind          calibrate.Kind
	}{{"ice", "ice", calibrate.Ice}, {"boil", "boiling", calibrate.Boil}} {
		text := strings.TrimSpace(r.FormValue(bath.field))
		if text == "" {
			continue
		}
		shown, err := see.Parse(text)
		if err != nil {
			return problem.Bad("read in %s water: %v", bath.method, err)
		}
		reference := thermal.Celsius(0)
		if bath.kind == calibrate.Boil {
			if reference, err = boilsAt(r.FormValue("place"), &body); err != nil {
				return problem.Bad("%v", err)
			}
		}
		methods = append(methods, bath.method)
		body.Points = append(body.Points, record.CheckPoint{True: reference, Read: shown})
	}
	if len(methods) == 0 {
		return problem.Bad("nothing was read: enter what the probe showed in ice water, in boiling water, or in both")
	}
	body.Method = strings.Join(methods, "+")
	who, err := p.Signed(r)
	if err != nil {
		return err
	}
	_, err = p.KeepCheck(r.Context(), shop.Checked{Probe: id, At: at, Body: body}, who)
	return err
}

// boilsAt gives the boiling point of water at an altitude in metres, or at a station pressure such as "985 hPa", and notes in the check by which.
func boilsAt(text string, body *record.ProbeChecked) (thermal.Celsius, error) {
	text = strings.TrimSpace(strings.ReplaceAll(text, ",", "."))
	var place calibrate.Place
	if text == "" {
		return 0, errors.New("water boils 1 °C lower for every 300 m: enter the altitude, such as 300 m, or the station pressure, such as 985 hPa")
	}
	if number, ok := strings.CutSuffix(text, "hPa"); ok {
		hPa, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || hPa == 0 {
			return 0, fmt.Errorf("pressure %s: write it such as 985 hPa", problem.Clip(text))
		}
		place.PressurePa = 100 * hPa
	} else {
		m, err := form.Altitude(strings.TrimPrefix(text, "-"))
		if err != nil {
			return 0, fmt.Errorf("altitude %s: write it such as 300 m", problem.Clip(text))
		}
		if strings.HasPrefix(text, "-") {
			m = -m
		}
		place.AltitudeM, body.AltitudeM = m, &m
	}
	body.Reference = "water boiling at " + text
	return calibrate.Reference(calibrate.Boil, place)
}
