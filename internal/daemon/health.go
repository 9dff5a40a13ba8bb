package daemon

import (
	"errors"
	"slices"
	"time"

	"stallkeeper/internal/convert"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/monitor"
)

// board hands on what a board said about itself. One that a broker kept and that tells no time was said nobody knows when.
func (w *watch) board(b ingest.Board, retained bool) {
	said := monitor.Board{Name: b.Name, Online: b.Online, Probes: b.Probes, Faults: b.Faults, Battery: b.Battery, At: b.Time}
	if said.At.IsZero() && !retained {
		said.At = cook.Instant(w.now())
	}
	select {
	case w.boards <- said:
	case <-w.ended:
	}
}

// besides gives the monitor what was told beside the readings: charges of batteries, and why a probe measures nothing.
func (w *watch) besides(now time.Time) []monitor.Effect {
	var out []monitor.Effect
	asides := w.asides()
	slices.SortFunc(asides, func(a, b ingest.Aside) int { return a.At.Compare(b.At) })
	for _, a := range asides {
		if a.Percent != nil {
			out = append(out, w.core.SetBattery(cook.Battery{Device: string(a.Probe), Probes: []cook.ProbeID{a.Probe}, Percent: *a.Percent, At: a.At}, now)...)
		}
		if a.Fault != nil {
			out = append(out, w.core.SetFault(a.Probe, faultOf(a), now)...)
		}
	}
	return out
}

// faultOf says what is wrong with a probe whose value cannot become degrees, and what to do.
func faultOf(a ingest.Aside) monitor.Fault {
	f := monitor.Fault{Since: a.At, What: "no value", Do: a.Fault.Error()}
	switch {
	case errors.Is(a.Fault, convert.ErrOpenCircuit):
		f.What, f.Do = "open circuit", "look at plug and cable"
	case errors.Is(a.Fault, convert.ErrShortCircuit):
		f.What, f.Do = "short circuit", "look for a wet plug, or a crushed or burnt cable"
	}
	return f
}
