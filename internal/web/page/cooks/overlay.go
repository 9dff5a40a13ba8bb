package cooks

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/chart"
	"stallkeeper/internal/web/page/curve"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
)

// Of curves laid over each other: how many, and how far apart the rows of the table stand.
const (
	mostLaid = 6
	laidStep = time.Hour
)

// laid is one piece of one cook among those that are laid over each other, in time since its fire was lit.
type laid struct {
	Key    string // "7/flat"
	Name   string // "flat, Thanksgiving table"
	Detail string
	core   []chart.Stop
	from   time.Time
}

// overlayView is several pieces' curves over each other.
type overlayView struct {
	Laid []laid
	Rows []laidRow
	Data string // where the chart's figures are
}

// laidRow is an hour of the table behind the chart.
type laidRow struct {
	After string
	Cores []string
}

// lay reads the pieces that the query names.
func (p *Set) lay(r *http.Request, points int) ([]laid, error) {
	keys := r.URL.Query()["piece"]
	if len(keys) == 0 {
		return nil, problem.Bad("no piece is chosen: tick the ones to lay over each other")
	}
	if len(keys) > mostLaid {
		return nil, problem.Bad("%d pieces are chosen: tick at most %d", len(keys), mostLaid)
	}
	see := p.reader(r)
	var out []laid
	for _, key := range keys {
		number, name, _ := strings.Cut(key, "/")
		id, err := form.CookID(number)
		if err != nil {
			return nil, err
		}
		stored, err := p.Library.Cook(r.Context(), id)
		if err != nil {
			return nil, err
		}
		piece, ok := stored.Piece(cook.PieceID(name))
		if !ok {
			return nil, fmt.Errorf("piece %q: %w", name, cook.ErrNotFound)
		}
		end := stored.Ended
		if stored.Running() {
			end = see.Now()
		}
		l := laid{Key: key, Name: fmt.Sprintf("%s, %s", name, stored.Name), from: stored.Started,
			Detail: fmt.Sprintf("%s, %s, pit at %s", see.Date(stored.Started), frame.CutName(piece.Cut), see.Mark(stored.Pit.SetPoint))}
		if piece.MassKg > 0 {
			l.Detail += fmt.Sprintf(", %.1f kg", piece.MassKg)
		}
		if l.core, err = curve.Series(r.Context(), p.Library, piece.ProbeIDs()[0], stored.Started, end, points); err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

func (p *Set) getOverlay(w http.ResponseWriter, r *http.Request) error {
	all, err := p.lay(r, curve.Points)
	if err != nil {
		return err
	}
	see := p.reader(r)
	body := overlayView{Laid: all, Rows: see.laidRows(all), Data: "/overlay/curves?" + url.Values{"piece": r.URL.Query()["piece"]}.Encode()}
	return p.Render(w, r, http.StatusOK, "overlay", frame.View{Reader: see.Reader, Title: "Cooks compared", Here: "cooks", Body: body})
}

// laidRows is the chart as a table: at each hour the newest reading of each piece, if it is not older than the hour.
func (s reader) laidRows(all []laid) []laidRow {
	var out []laidRow
	for after := time.Duration(0); ; after += laidStep {
		row := laidRow{After: fmt.Sprintf("%d h", int(after.Hours()))}
		more := false
		for _, l := range all {
			value := ""
			for _, b := range l.core {
				since := b.At.Sub(l.from)
				if since <= after && since > after-laidStep {
					value = s.Degrees(b.Last)
				}
				more = more || since > after
			}
			row.Cores = append(row.Cores, value)
		}
		out = append(out, row)
		if !more {
			return out
		}
	}
}

// laidJSON is what the chart draws: for each piece hours since the fire was lit, and its core in the reader's unit.
type laidJSON struct {
	Unit   string      `json:"unit"`
	Curves []laidCurve `json:"curves"`
}

type laidCurve struct {
	Name  string         `json:"name"`
	Hours []float64      `json:"hours"`
	Core  []chart.Number `json:"core"`
}

func (p *Set) getOverlayCurves(w http.ResponseWriter, r *http.Request) error {
	all, err := p.lay(r, curve.Points)
	if err != nil {
		return err
	}
	see := p.reader(r)
	out := laidJSON{Unit: see.Unit()}
	for _, l := range all {
		c := laidCurve{Name: l.Name, Hours: []float64{}, Core: []chart.Number{}}
		for _, b := range l.core {
			c.Hours, c.Core = append(c.Hours, math.Round(1e4*b.At.Sub(l.from).Hours())/1e4), append(c.Core, chart.Number(see.Number(b.Last)))
		}
		out.Curves = append(out.Curves, c)
	}
	return p.GiveJSON(w, r, out)
}
