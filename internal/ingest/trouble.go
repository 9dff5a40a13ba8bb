package ingest

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"syscall"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// trouble says in words why there is no connection, and what to do; what is not known by name stands as the library says it.
func (c *Client) trouble(err error) string {
	says := func(format string, a ...any) string {
		return fmt.Sprintf("the broker at %s %s", c.opts.URL, fmt.Sprintf(format, a...))
	}
	var (
		name   *net.DNSError
		net    net.Error
		cert   *tls.CertificateVerificationError
		record tls.RecordHeaderError
		author x509.UnknownAuthorityError
	)
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return says("refuses the user %q: correct mqtt.username and mqtt.password_file", c.opts.Username)
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return says("refuses the name %q: give another mqtt.client_id", c.opts.ClientID)
	case errors.As(err, &author), errors.As(err, &cert):
		return says("shows a certificate that is not trusted: name its authority in mqtt.ca_file (%v)", err)
	case errors.As(err, &record):
		return says("does not speak TLS there: write mqtt:// in mqtt.url, or give the port of its TLS listener")
	case errors.Is(err, syscall.ECONNREFUSED):
		return says("does not answer, nothing listens there: start it, or correct mqtt.url")
	case errors.As(err, &name):
		return says("is not found: correct the name in mqtt.url, or look at the network")
	case errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH):
		return says("cannot be reached: look at its power and at the network")
	case errors.As(err, &net) && net.Timeout(), errors.Is(err, errNoAnswer), errors.Is(err, context.DeadlineExceeded):
		return says("does not answer in time: look at its power and at the network")
	case errors.Is(err, io.EOF), errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE):
		return says("ended the connection: look at its log; it may be starting anew, want TLS, or know another client of the name %q", c.opts.ClientID)
	}
	return says("is not connected: %v", err)
}
