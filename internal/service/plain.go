package service

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"time"
)

// Limits of a request that is led elsewhere.
const (
	plainTime   = 5 * time.Second
	plainHeader = 16 << 10 // bytes
)

// LeadToTLS returns l for a server of TLS: who speaks plain HTTP there, most likely because the address was typed
// without https, is answered with the address to go to.
func LeadToTLS(l net.Listener) net.Listener { return plainGuard{l} }

type plainGuard struct{ net.Listener }

func (l plainGuard) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return &plainConn{Conn: c}, nil
}

// A plainConn looks at the first byte that comes.
type plainConn struct {
	net.Conn
	looked bool
}

// NetConn is the connection below, as tls.Conn has it.
func (c *plainConn) NetConn() net.Conn { return c.Conn }

var errPlain = errors.New("plain HTTP where TLS is spoken")

// handshake is the type of the record that every TLS connection begins with (RFC 8446, section 5.1).
const handshake = 0x16

func (c *plainConn) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	if c.looked || n == 0 {
		return n, err
	}
	c.looked = true
	if b[0] == handshake {
		return n, err
	}
	c.redirect(b[:n])
	return 0, errPlain
}

// redirect answers a request that begins with what has been read.
func (c *plainConn) redirect(begun []byte) {
	_ = c.SetDeadline(time.Now().Add(plainTime))
	all := io.MultiReader(bytes.NewReader(begun), c.Conn)
	r, err := http.ReadRequest(bufio.NewReader(io.LimitReader(all, plainHeader)))
	if err != nil || r.Host == "" || !strings.HasPrefix(r.RequestURI, "/") {
		return
	}
	fmt.Fprintf(c.Conn, "HTTP/1.1 308 Permanent Redirect\r\nLocation: https://%s%s\r\nContent-Length: 0\r\nConnection: close\r\n\r\n", r.Host, r.RequestURI)
}
