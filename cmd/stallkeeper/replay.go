package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"os"
	"strconv"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"stallkeeper/internal/cook"
)

type cookReplayCmd struct {
	Log     string `required:"" placeholder:"DIR" help:"Cook log to publish."`
	To      string `required:"" placeholder:"mqtt://HOST:PORT" help:"Broker to publish to."`
	Speed   string `default:"1" placeholder:"N|max" help:"Times real time, or max (${default})."`
	StartAt string `placeholder:"URL" help:"Start the log's cook at this daemon first, such as http://127.0.0.1:8080."`
}

// Help gives an example.
func (cookReplayCmd) Help() string {
	return "Example:\n\n    stallkeeper cook replay --log ./saturday --to mqtt://127.0.0.1:1883 --speed 120 --start-at http://127.0.0.1:8080"
}

// Run publishes the log's readings at QoS 1 in time order; it ends when the broker has acknowledged every one.
func (r cookReplayCmd) Run(c *console) error {
	speed, err := parseSpeed(r.Speed)
	if err != nil {
		return err
	}
	log, err := readLog(r.Log)
	if err != nil {
		return err
	}
	if r.StartAt != "" {
		if err := (daemonAPI{URL: r.StartAt}).call(c.ctx, "POST", "/cooks", log.Cook, nil); err != nil {
			return err
		}
	}
	p, err := dialPublisher(c.ctx, r.To)
	if err != nil {
		return err
	}
	defer p.close()
	if err := p.replay(c.ctx, log.Readings, speed); err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "%d readings published\n", len(log.Readings))
	return err
}

// parseSpeed reads a factor of real time; max is infinite.
func parseSpeed(s string) (float64, error) {
	if s == "max" {
		return math.Inf(1), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("speed %q: give a number above 0, or max", s)
	}
	return v, nil
}

// publisher sends readings and waits for the broker's word on each. A lost connection is an error: a token that
// completes across a reconnect proves nothing.
type publisher struct {
	client   mqtt.Client
	lost     chan error
	inFlight chan mqtt.Token
}

// window is how many messages may wait for their acknowledgement.
const window = 200

func dialPublisher(ctx context.Context, address string) (*publisher, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" {
		return nil, fmt.Errorf("broker %q: write it like mqtt://127.0.0.1:1883", address)
	}
	p := &publisher{lost: make(chan error, 1), inFlight: make(chan mqtt.Token, window)}
	o := mqtt.NewClientOptions().AddBroker(address).SetAutoReconnect(false).SetConnectTimeout(10 * time.Second).
		SetClientID(fmt.Sprintf("stallkeeper-replay-%d", os.Getpid())).SetOrderMatters(false).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { p.lost <- err })
	if u.User != nil {
		password, _ := u.User.Password()
		o.SetUsername(u.User.Username()).SetPassword(password)
	}
	p.client = mqtt.NewClient(o)
	token := p.client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if err := token.Error(); err != nil {
		return nil, fmt.Errorf("connect to %s: %w", u.Redacted(), err)
	}
	return p, nil
}

func (p *publisher) close() { p.client.Disconnect(250) }

func (p *publisher) replay(ctx context.Context, readings []cook.Reading, speed float64) error {
	for i, r := range readings {
		if i > 0 && !math.IsInf(speed, 1) {
			if err := p.pause(ctx, time.Duration(float64(r.Time.Sub(readings[i-1].Time))/speed)); err != nil {
				return err
			}
		}
		if err := p.send(ctx, r); err != nil {
			return err
		}
	}
	return p.flush(ctx)
}

func (p *publisher) pause(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case err := <-p.lost:
		return fmt.Errorf("connection to the broker lost: %w", err)
	}
}

// send publishes one reading, first waiting for the oldest in flight when the window is full.
func (p *publisher) send(ctx context.Context, r cook.Reading) error {
	payload, err := json.Marshal(struct {
		Celsius float64   `json:"celsius"`
		Time    time.Time `json:"time"`
	}{float64(r.Celsius), r.Time})
	if err != nil {
		return err
	}
	if len(p.inFlight) == cap(p.inFlight) {
		if err := p.wait(ctx, <-p.inFlight); err != nil {
			return err
		}
	}
	p.inFlight <- p.client.Publish("stallkeeper/reading/"+string(r.Probe), 1, false, payload)
	return nil
}

func (p *publisher) wait(ctx context.Context, t mqtt.Token) error {
	select {
	case <-t.Done():
		return t.Error()
	case <-ctx.Done():
		return ctx.Err()
	case err := <-p.lost:
		return fmt.Errorf("connection to the broker lost: %w", errors.Join(err, t.Error()))
	}
}

func (p *publisher) flush(ctx context.Context) error {
	for len(p.inFlight) > 0 {
		if err := p.wait(ctx, <-p.inFlight); err != nil {
			return err
		}
	}
	return nil
}
