package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"time"

	"github.com/wneessen/go-mail"

	"stallkeeper/internal/alarm"
)

// Security is how the connection to the mail server is protected.
type Security string

// The kinds of protection.
const (
	StartTLS Security = "starttls" // demanded, not only offered
	TLS      Security = "tls"      // from the first byte
	Plain    Security = "none"     // for a server on this machine
)

// EmailOptions say by which server and to whom. Host, Port, From and To must be given.
type EmailOptions struct {
	Host               string
	Port               int
	Security           Security
	TLS                *tls.Config // nil: the system's authorities
	Username, Password string      // empty: no login
	From               string
	To                 []string
	Link               string
	Zone               *time.Location
	Limit              time.Duration
}

// Email sends by SMTP (RFC 5321) through one server.
type Email struct{ o EmailOptions }

// NewEmail makes a sender.
func NewEmail(o EmailOptions) *Email { return &Email{o} }

// Send hands a message to the server. The Message-ID header is made from the message's ID, so that mailboxes can drop a repeat.
func (e *Email) Send(ctx context.Context, m Message) error {
	letter, err := e.letter(m)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrRefused, err)
	}
	options := []mail.Option{mail.WithPort(e.o.Port), mail.WithTimeout(e.o.Limit), mail.WithHELO("localhost")}
	switch e.o.Security {
	case TLS:
		options = append(options, mail.WithSSL())
	case StartTLS:
		options = append(options, mail.WithTLSPolicy(mail.TLSMandatory))
	default:
		options = append(options, mail.WithTLSPolicy(mail.NoTLS))
	}
	if e.o.TLS != nil {
		options = append(options, mail.WithTLSConfig(e.o.TLS))
	}
	if e.o.Username != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(e.o.Username), mail.WithPassword(e.o.Password))
	}
	client, err := mail.NewClient(e.o.Host, options...)
	if err != nil {
		return fmt.Errorf("prepare e-mail: %w", err)
	}
	ctx, cancel := context.WithTimeout(ctx, e.o.Limit)
	defer cancel()
	err = client.DialAndSendWithContext(ctx, letter)
	if letter.IsDelivered() {
		return nil // the server has it, however the goodbye went
	}
	var refused *mail.SendError
	if errors.As(err, &refused) && refused.ErrorCode()/100 == 5 {
		return fmt.Errorf("%w: %w", ErrRefused, err)
	}
	return err
}

func (e *Email) letter(m Message) (*mail.Msg, error) {
	letter := mail.NewMsg()
	if err := letter.From(e.o.From); err != nil {
		return nil, err
	}
	if err := letter.To(e.o.To...); err != nil {
		return nil, err
	}
	letter.Subject(m.Subject())
	letter.SetMessageIDWithValue(m.ID + "@stallkeeper")
	letter.SetDateWithValue(m.Made.In(e.o.Zone))
	letter.SetUserAgent("Stallkeeper")
	letter.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834
	if len(m.Items) == 1 && m.Items[0].Firing && m.Items[0].Alarm.Priority == alarm.High {
		letter.SetImportance(mail.ImportanceHigh)
	}
	letter.SetBodyString(mail.TypeTextPlain, m.Text(e.o.Zone, e.o.Link))
	return letter, nil
}
