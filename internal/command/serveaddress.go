package command

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/pflag"

	"tunerd/internal/display/qr"
	"tunerd/internal/display/text"
	"tunerd/internal/server"
	"tunerd/internal/service"
)

// defaultAddress is where the server listens.
const defaultAddress = "127.0.0.1:8440"

// addressOptions say where the server is to be found, and by whom.
type addressOptions struct {
	listen string
	names  []string
	tls    bool
}

func (o *addressOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVar(&o.listen, "listen", defaultAddress, "`ADDRESS:PORT` to listen on; port 0 takes a free one, no address\nmeans all of this machine")
	fs.StringSliceVar(&o.names, "name", nil, "another `NAME` that this machine is called by, for --listen elsewhere")
	fs.BoolVar(&o.tls, "tls", false, "serve over TLS, with a certificate made here that browsers ask about once")
}

// A door is where the server listens, and who may come in.
type door struct {
	net.Listener
	guard       server.Guard
	tls         *tls.Config // nil: plain HTTP
	url         string      // for this machine, without a token
	links       []string    // to hand out
	fingerprint string      // of the certificate, if there is one
}

func (o *addressOptions) open(ctx context.Context) (*door, error) {
	if _, _, err := net.SplitHostPort(o.listen); err != nil {
		return nil, usagef("--listen %s: write an address and a port, like %s", o.listen, defaultAddress)
	}
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", o.listen)
	if err != nil {
		return nil, listenError(err, o.listen)
	}
	d := &door{Listener: l}
	if err := d.fit(o); err != nil {
		l.Close()
		return nil, err
	}
	return d, nil
}

func listenError(err error, address string) error {
	var unknown *net.AddrError
	var dns *net.DNSError
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return hintf(fmt.Errorf("%s is in use already", address), "another tunerd may be running; --listen 127.0.0.1:0 takes a free port")
	case errors.As(err, &unknown), errors.As(err, &dns):
		return usagef("--listen %s: %w", address, err)
	}
	return err
}

// fit settles names, token and certificate.
func (d *door) fit(o *addressOptions) error {
	at := d.Addr().(*net.TCPAddr) // of a TCP listener
	d.guard.Loopback, d.guard.Secure = at.IP.IsLoopback(), o.tls
	hosts := []net.IP{at.IP}
	if !d.guard.Loopback {
		d.guard.Names = append(machineNames(), o.names...)
		if err := d.askToken(); err != nil {
			return err
		}
	}
	if at.IP.IsUnspecified() {
		hosts = machineAddresses()
	}
	if o.tls {
		if err := d.secure(hosts); err != nil {
			return err
		}
	}
	port := strconv.Itoa(at.Port)
	for _, ip := range hosts {
		d.links = append(d.links, d.link(net.JoinHostPort(ip.String(), port)))
	}
	d.url = strings.TrimSuffix(d.links[0], "?token="+d.guard.Token)
	return nil
}

func (d *door) link(host string) string {
	scheme, query := "http", ""
	if d.guard.Secure {
		scheme = "https"
	}
	if d.guard.Token != "" {
		query = "?token=" + d.guard.Token
	}
	return scheme + "://" + host + "/" + query
}

func (d *door) askToken() error {
	dir, err := service.Dir()
	if err != nil {
		return err
	}
	if d.guard.Token, err = service.Token(filepath.Join(dir, "token")); err != nil {
		return err
	}
	d.guard.Sessions, err = service.OpenSessions(filepath.Join(dir, "browsers.json"))
	return err
}

// secure puts TLS before the listener.
func (d *door) secure(hosts []net.IP) error {
	dir, err := service.Dir()
	if err != nil {
		return err
	}
	names := append([]string{"localhost"}, d.guard.Names...)
	addresses := append([]net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback}, hosts...)
	cert, err := service.Certificate(filepath.Join(dir, "certificate.pem"), names, addresses, time.Now())
	if err != nil {
		return err
	}
	d.fingerprint = service.Fingerprint(cert)
	d.tls = &tls.Config{
		Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"},
	}
	return nil
}

// tell prints the links; on a terminal the first one also as a code for a camera, if it is for
// another machine.
func (d *door) tell(out, chat io.Writer, terminal bool) error {
	for _, link := range d.links {
		if _, err := fmt.Fprintln(out, link); err != nil {
			return err
		}
	}
	if d.fingerprint != "" {
		fmt.Fprintf(chat, "tunerd: nobody else vouches for the certificate: the browser will ask. SHA-256 %s\n", d.fingerprint)
	}
	if d.guard.Loopback || !terminal {
		return nil
	}
	code, err := qr.Terminal(d.links[0])
	if err != nil {
		return err
	}
	_, err = io.WriteString(text.Unguarded(chat), code)
	return err
}

// machineNames are what others may call this machine by.
func machineNames() []string {
	name, err := os.Hostname()
	if err != nil || name == "" {
		return nil
	}
	short, _, _ := strings.Cut(name, ".")
	return []string{name, short + ".local"}
}

// machineAddresses are those of this machine that others can reach, IPv4 first; the loopback
// address where there is no other.
func machineAddresses() []net.IP {
	var v4, v6 []net.IP
	all, _ := net.InterfaceAddrs() // none is as good as an error
	for _, a := range all {
		network, ok := a.(*net.IPNet)
		switch {
		case !ok || !network.IP.IsGlobalUnicast():
		case network.IP.To4() != nil:
			v4 = append(v4, network.IP)
		default:
			v6 = append(v6, network.IP)
		}
	}
	if reachable := append(v4, v6...); len(reachable) > 0 {
		return reachable
	}
	return []net.IP{net.IPv4(127, 0, 0, 1)}
}
