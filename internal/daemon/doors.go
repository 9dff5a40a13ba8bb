package daemon

import (
	"errors"
	"fmt"
	"net"

	"stallkeeper/internal/broker"
	"stallkeeper/internal/config"
	"stallkeeper/internal/web"
)

// guardDoors refuses addresses that strangers could reach without a login, before a folder or a database is made. Once the sockets
// are bound, pages and broker ask the same of the addresses that they got.
func guardDoors(cfg config.Config) error {
	tls, err := config.TLS(cfg.HTTP.TLSCert, cfg.HTTP.TLSKey)
	if err != nil {
		return err
	}
	at, err := resolve(cfg.HTTP.Listen)
	if err != nil {
		return fmt.Errorf("listen for pages: %w (choose an address with --http)", err)
	}
	refused := web.Options{Users: webUsers(cfg.Users), TLS: tls, BehindProxy: cfg.HTTP.BehindProxy}.MayListen(at)
	if cfg.MQTT.URL != "" {
		return refused
	}
	if tls, err = config.TLS(cfg.Broker.TLSCert, cfg.Broker.TLSKey); err != nil {
		return err
	}
	if at, err = resolve(cfg.Broker.Listen); err != nil {
		return fmt.Errorf("listen for mqtt: %w (choose an address with --broker)", err)
	}
	return errors.Join(refused, broker.Options{Users: brokerUsers(cfg.Users), TLS: tls, BehindProxy: cfg.HTTP.BehindProxy}.MayListen(at))
}

// resolve gives where a socket would listen; without a host that is everywhere.
func resolve(listen string) (*net.TCPAddr, error) {
	at, err := net.ResolveTCPAddr("tcp", listen)
	if err == nil && at.IP == nil {
		at.IP = net.IPv6unspecified
	}
	return at, err
}
