package notify

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"time"

	"stallkeeper/internal/alarm"
)

// WebhookOptions say where to and how. URL must be given.
type WebhookOptions struct {
	URL    string
	Secret []byte // key of the signature; empty: none
	Token  string // sent as a bearer token; empty: none
	Link   string // the address of the pages
	Limit  time.Duration
}

// SignatureHeader carries "sha256=" and the hexadecimal HMAC-SHA256 (RFC 2104) of the body; MessageHeader the message's ID.
const (
	SignatureHeader = "X-Stallkeeper-Signature"
	MessageHeader   = "X-Stallkeeper-Message"
)

// Webhook posts the body of the Alertmanager's webhook, version "4" (Prometheus documentation, Alertmanager
// configuration, webhook_config).
type Webhook struct {
	o      WebhookOptions
	client *http.Client
}

// NewWebhook makes a sender.
func NewWebhook(o WebhookOptions) *Webhook { return &Webhook{o, newClient(o.Limit)} }

// hook is the body; its names are the Alertmanager's.
type hook struct {
	Version           string            `json:"version"`
	GroupKey          string            `json:"groupKey"`
	TruncatedAlerts   int               `json:"truncatedAlerts"`
	Status            string            `json:"status"`
	Receiver          string            `json:"receiver"`
	GroupLabels       map[string]string `json:"groupLabels"`
	CommonLabels      map[string]string `json:"commonLabels"`
	CommonAnnotations map[string]string `json:"commonAnnotations"`
	ExternalURL       string            `json:"externalURL"`
	Alerts            []hookAlert       `json:"alerts"`
}

type hookAlert struct {
	Status       string            `json:"status"`
	Labels       map[string]string `json:"labels"`
	Annotations  map[string]string `json:"annotations"`
	StartsAt     time.Time         `json:"startsAt"`
	EndsAt       time.Time         `json:"endsAt"`
	GeneratorURL string            `json:"generatorURL"`
	Fingerprint  string            `json:"fingerprint"`
}

// Send posts a message.
func (w *Webhook) Send(ctx context.Context, m Message) error {
	body, err := json.Marshal(webhookBody(m, w.o.Link))
	if err != nil {
		return err
	}
	h := http.Header{}
	h.Set(MessageHeader, m.ID)
	if len(w.o.Secret) > 0 {
		h.Set(SignatureHeader, Sign(w.o.Secret, body))
	}
	if w.o.Token != "" {
		h.Set("Authorization", "Bearer "+w.o.Token)
	}
	return post(ctx, w.client, w.o.URL, body, h)
}

// Sign gives the value of SignatureHeader for a body.
func Sign(secret, body []byte) string {
	mac := hmac.New(sha256.New, secret)
	mac.Write(body)
	return "sha256=" + hex.EncodeToString(mac.Sum(nil))
}

func webhookBody(m Message, link string) hook {
	b := hook{Version: "4", GroupKey: "stallkeeper/" + m.Path, Status: "resolved", Receiver: m.Path, GroupLabels: map[string]string{},
		ExternalURL: link}
	for _, it := range items(m) {
		a := hookAlert{Status: "firing", Labels: labels(it.Alarm, it.Alarm.Priority), Annotations: annotations(m, it), StartsAt: it.Alarm.Raised.UTC(),
			GeneratorURL: link, Fingerprint: identify(it.Alarm.ID)[:16]}
		switch {
		case m.For == Test:
			b.Status, a.EndsAt = "firing", m.Made.Add(testStands)
		case it.Firing:
			b.Status = "firing"
		default:
			a.Status, a.EndsAt = "resolved", ended(m, it)
		}
		b.Alerts = append(b.Alerts, a)
	}
	b.CommonLabels = common(b.Alerts, func(a hookAlert) map[string]string { return a.Labels })
	b.CommonAnnotations = common(b.Alerts, func(a hookAlert) map[string]string { return a.Annotations })
	return b
}

// testStands is how long a test stands as an alarm: receivers that show only what stands are to show it.
const testStands = time.Minute

// items gives the alarms of a message; a test is an alarm of its own.
func items(m Message) []Item {
	if m.For != Test {
		return m.Items
	}
	a := alarm.Alarm{ID: "test", Kind: "test", Priority: alarm.Notice, Because: m.Subject() + ".", Raised: m.Made}
	return []Item{{Alarm: a, Because: a.Because}}
}

// labels name an alarm. They stay the same while it stands, but for the severity.
func labels(a alarm.Alarm, severity alarm.Priority) map[string]string {
	out := map[string]string{"alertname": string(a.Kind), "alarm": string(a.ID), "severity": string(severity), "job": "stallkeeper"}
	if a.Piece != "" {
		out["piece"] = a.Piece
	}
	if a.Probe != "" {
		out["probe"] = a.Probe
	}
	return out
}

func annotations(m Message, it Item) map[string]string {
	out := map[string]string{"summary": firstSentence(it.Because), "description": it.Because, "why": m.Why, "reason": string(m.For)}
	if m.For == Acknowledged {
		out["acknowledged_by"] = orSomebody(it.ByWhom)
	}
	return out
}

// ended is when an alarm that is over ended.
func ended(m Message, it Item) time.Time {
	if it.Alarm.Returned.IsZero() {
		return m.Made
	}
	return it.Alarm.Returned.UTC()
}

// common gives what all have in common.
func common(alerts []hookAlert, of func(hookAlert) map[string]string) map[string]string {
	out := map[string]string{}
	for k, v := range of(alerts[0]) {
		same := 0
		for _, a := range alerts {
			if w, ok := of(a)[k]; ok && v == w {
				same++
			}
		}
		if same == len(alerts) {
			out[k] = v
		}
	}
	return out
}
