package watch

import (
	"context"
	"net/url"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/frame"
)

// firstRun is what a person sees while no cook runs: what arrives, what does not, and what to do.
type firstRun struct {
	Last       *cook.Stored // the cook that ended last; nil: there was none yet
	Broker     string
	Host, Port string
	Intake     monitor.IntakeView
	Verdict    string
	Probes     []monitor.ProbeView
	Reporting  int // of them, lately
	Refused    []cook.Quarantined
}

// lately is how fresh the last reading of a probe must be for the probe to count as one that reports.
const lately = 15 * time.Minute

func (p *Set) firstRun(ctx context.Context, see reader, snap *monitor.Snapshot) (*firstRun, error) {
	refused, err := p.Library.Quarantine(ctx, 0, 5)
	if err != nil {
		return nil, err
	}
	cooks, err := p.Library.Cooks(ctx, 0, 1)
	if err != nil {
		return nil, err
	}
	f := &firstRun{Broker: p.Broker, Intake: snap.Intake, Probes: snap.Probes, Refused: refused}
	if at, err := url.Parse(p.Broker); err == nil {
		f.Broker, f.Host, f.Port = at.Scheme+"://"+at.Host, at.Hostname(), at.Port() // without user and password
	}
	if len(cooks) > 0 {
		f.Last = &cooks[0]
	}
	for _, v := range snap.Probes {
		if !v.Last.Time.IsZero() && see.Now().Sub(v.Last.Time) < lately {
			f.Reporting++
		}
	}
	f.Verdict = verdict(snap.Intake, len(snap.Probes), len(refused))
	return f, nil
}

// verdict says what is wrong while nothing arrives.
func verdict(in monitor.IntakeView, probes, refused int) string {
	switch {
	case in.Trouble != "":
		return frame.Sentence(in.Trouble)
	case !in.Connected:
		return "The broker does not answer: nothing can arrive until it does."
	case probes > 0:
		return ""
	case refused > 0:
		return "Messages come, but none could be read. The reasons stand below."
	case len(in.Unheard) > 0:
		return "Messages come, but on topics that nobody reads. They stand below."
	case in.Outside:
		return "Connected, but nothing has come under stallkeeper/reading/ yet. Check the topic of the device, and that it uses this broker."
	case in.Clients == 0:
		return "No client has connected yet. Publish the line above from this machine."
	}
	return "A client is connected but has published nothing under stallkeeper/reading/. Check its topic."
}
