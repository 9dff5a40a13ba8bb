package probes

import (
	"fmt"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/sense"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
)

// probesView is what measures, what was typed in, and what could not be read.
type probesView struct {
	Probes  []probeLine
	Refused []refusedLine
	Intake  monitor.IntakeView
	Kept    string
	Touched *sense.Touch
	Places  []place
}

// place is a piece of a running cook that a probe can be put into.
type place struct {
	Cook  cook.ID
	Piece cook.PieceID
	Now   cook.ProbeID // the probe that is in it
}

// probeLine is a probe as people see it.
type probeLine struct {
	monitor.ProbeView
	Value string
	State string // "" when all is well
	Free  bool   // it may be put into a piece
	Check string // how its checks stand; empty when nobody asks
	Worry bool   // the check is overdue or was not passed

	Behind time.Duration // how long after its time a reading that came just now was measured; 0 for not worth a word
}

// What is worth a word: longer than any retry takes, of a reading that is new.
const (
	behindBy = 10 * time.Minute
	justNow  = 5 * time.Minute
)

// behind is how late the newest reading of a probe came, where it came just now.
func behind(r cook.Reading, now time.Time) time.Duration {
	if late := r.Arrived.Sub(r.Time); r.Clock == cook.DeviceClock && !r.Retained && late > behindBy && now.Sub(r.Arrived) < justNow {
		return late
	}
	return 0
}

// refusedLine is a payload in quarantine, readable.
type refusedLine struct {
	cook.Quarantined
	Text string
}

func (p *Set) getProbes(w http.ResponseWriter, r *http.Request) error {
	snap := p.View.Snapshot()
	see := p.ReaderAt(r, &snap)
	refused, err := p.Library.Quarantine(r.Context(), 0, 20)
	if err != nil {
		return err
	}
	standings, _, err := p.Standings(r.Context(), "")
	if err != nil {
		return err
	}
	body := probesView{Intake: snap.Intake, Kept: r.FormValue("kept")}
	for _, v := range snap.Probes {
		line := probeLine{ProbeView: v, Value: see.Sent(v), Behind: behind(v.Last, see.Now())}
		line.Free = v.Cook == 0 && (v.Role == "" || v.Role == cook.RolePiece) && !v.ID.IsPit()
		switch {
		case v.Fault != nil && v.Last.Time.IsZero():
			line.Value, line.State = "no value", faultText(see, *v.Fault)
		case v.Fault != nil:
			line.State = faultText(see, *v.Fault)
		case v.Last.Time.IsZero():
			line.Value, line.State = "no value", "has not been heard yet"
		case v.Last.Quality != cook.Good:
			line.Value, line.State = "no value", frame.QualityName(v.Last.Quality)+" (it sent "+line.Value+")"
		case v.Silent && !v.Offline.IsZero():
			line.State = fmt.Sprintf("silent: board %s offline since %s", v.Board, see.Clock(v.Offline))
		case v.Silent:
			line.State = "silent"
		case v.Suspect:
			line.State = "in doubt"
		}
		standing, checked := standings[v.ID]
		line.Check, line.Worry = checkState(standing, checked, p.Checking.Every), standing.Failed() || standing.Due
		body.Probes = append(body.Probes, line)
	}
	if body.Touched, err = p.findTouched(r.Context(), &snap, see.Now()); err != nil {
		return err
	}
	for i := range snap.Cooks {
		for _, v := range snap.Cooks[i].Pieces {
			if c := &snap.Cooks[i].Stored; c.OffAt(v.Piece.ID).IsZero() {
				body.Places = append(body.Places, place{c.ID, v.Piece.ID, v.Piece.ProbeIDs()[0]})
			}
		}
	}
	for _, q := range refused {
		body.Refused = append(body.Refused, refusedLine{q, printable(q.Payload)})
	}
	return p.Render(w, r, http.StatusOK, "probes", frame.View{Reader: see, Title: "Probes", Here: "probes", Body: body})
}

// faultText says since when a probe measures nothing, why, and what to do.
func faultText(s frame.Reader, f monitor.Fault) string {
	text := f.What + " since " + s.Clock(f.Since)
	if f.Do != "" {
		text += ": " + f.Do
	}
	return text
}

// printable shows a payload: as text if it is text, else as bytes, both cut short.
func printable(payload []byte) string {
	const most = 120
	cut := payload[:min(len(payload), most)]
	text := string(cut)
	if !utf8.Valid(cut) || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' }) {
		text = fmt.Sprintf("% x", cut[:min(len(cut), most/3)])
	}
	switch {
	case len(payload) == 0:
		return "empty"
	case len(payload) > most:
		return text + "…"
	}
	return text
}

// What a person may have read, in °C; beyond lies a slip of the key or of the unit. Choice of this project.
const (
	handLow  thermal.Celsius = -60
	handHigh thermal.Celsius = 600
)

// postReading keeps a temperature that somebody read off a thermometer.
func (p *Set) postReading(w http.ResponseWriter, r *http.Request) error {
	at, err := form.TimeOrNow(r, p.Now(), p.Location)
	if err != nil {
		return err
	}
	see := p.Reader(r)
	c, err := see.Parse(r.FormValue("degrees"))
	if err != nil {
		return problem.Bad("%v", err)
	}
	if c < handLow || c > handHigh {
		return problem.Bad("%s cannot be: check the number and its unit", see.Temp(c))
	}
	reading, err := p.EnterReading(r.Context(), cook.ProbeID(strings.TrimSpace(r.FormValue("probe"))), c, at)
	if err != nil {
		return err
	}
	frame.ReturnTo(w, r, "kept", fmt.Sprintf("%s %s at %s", reading.Probe, see.Temp(c), see.Clock(at)))
	return nil
}
