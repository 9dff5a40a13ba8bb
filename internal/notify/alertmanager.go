package notify

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"stallkeeper/internal/alarm"
)

// Alertmanager posts to the alerts endpoint of the Alertmanager's API v2 (its OpenAPI document, postAlerts).
type Alertmanager struct {
	o      WebhookOptions
	client *http.Client
}

// NewAlertmanager makes a sender; URL is the root of the Alertmanager, such as http://127.0.0.1:9093.
func NewAlertmanager(o WebhookOptions) *Alertmanager { return &Alertmanager{o, newClient(o.Limit)} }

// What the API asks of its clients (Prometheus documentation, "Alerting clients"): an alert is sent again for as long as it
// stands, for the Alertmanager keeps alerts in memory only; one whose end is past counts as resolved, one without an end as
// resolved some minutes after it was last heard of. The end is put further ahead than the usual few repeats, so that a
// restart or a power cut of this machine does not tell people that the fire is well.
const (
	stands = time.Hour
	resend = time.Minute
)

var _ Refresher = (*Alertmanager)(nil)

// Every is how often what stands is sent again.
func (am *Alertmanager) Every() time.Duration { return resend }

// Refresh sends what stands again, with a new end.
func (am *Alertmanager) Refresh(ctx context.Context, path string, standing []Item, now time.Time) error {
	return am.Send(ctx, Message{Path: path, Made: now, For: Again, Why: "it stands", Items: standing})
}

type postable struct {
	Labels       map[string]string `json:"labels"`
	Annotations  map[string]string `json:"annotations"`
	StartsAt     time.Time         `json:"startsAt"`
	EndsAt       time.Time         `json:"endsAt"`
	GeneratorURL string            `json:"generatorURL,omitempty"`
}

// Send posts a message. An alert is known by its labels, so one that became more urgent ends under the old severity.
func (am *Alertmanager) Send(ctx context.Context, m Message) error {
	body, err := json.Marshal(alerts(m, am.o.Link))
	if err != nil {
		return err
	}
	h := http.Header{}
	if am.o.Token != "" {
		h.Set("Authorization", "Bearer "+am.o.Token)
	}
	return post(ctx, am.client, strings.TrimRight(am.o.URL, "/")+"/api/v2/alerts", body, h)
}

func alerts(m Message, link string) []postable {
	var out []postable
	for _, it := range items(m) {
		one := func(severity alarm.Priority, ends time.Time) postable {
			return postable{Labels: labels(it.Alarm, severity), Annotations: annotations(m, it), StartsAt: it.Alarm.Raised.UTC(), EndsAt: ends, GeneratorURL: link}
		}
		if it.Was != "" {
			out = append(out, one(it.Was, m.Made))
		}
		switch {
		case m.For == Test:
			out = append(out, one(it.Alarm.Priority, m.Made.Add(testStands)))
		case it.Firing:
			out = append(out, one(it.Alarm.Priority, m.Made.Add(stands)))
		default:
			out = append(out, one(it.Alarm.Priority, ended(m, it)))
		}
	}
	return out
}
