package ingest

import (
	"bufio"
	"crypto/tls"
	"net"
	"net/url"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// readAhead is how much is read from the broker at once, in bytes. paho itself reads each packet in three pieces.
const readAhead = 32 << 10

// dial opens the connection for paho, to the usual port when the url has none.
func (c *Client) dial(u *url.URL, _ mqtt.ClientOptions) (net.Conn, error) {
	host, port := u.Hostname(), u.Port()
	d := &net.Dialer{Timeout: brokerTimeout}
	if c.tls == nil {
		if port == "" {
			port = "1883"
		}
		conn, err := d.Dial("tcp", net.JoinHostPort(host, port))
		if err != nil {
			return nil, err
		}
		return bufferReads(conn), nil
	}
	if port == "" {
		port = "8883"
	}
	conn, err := tls.DialWithDialer(d, "tcp", net.JoinHostPort(host, port), c.tls)
	if err != nil {
		return nil, err
	}
	return bufferReads(conn), nil
}

type bufferedConn struct {
	net.Conn
	in *bufio.Reader
}

func bufferReads(c net.Conn) net.Conn { return &bufferedConn{c, bufio.NewReaderSize(c, readAhead)} }

// Read reads ahead.
func (c *bufferedConn) Read(p []byte) (int, error) { return c.in.Read(p) }
