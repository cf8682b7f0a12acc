package server

import (
	"context"
	"net"
	"net/http"
	"slices"
	"sync"
)

// A limited listener bounds how many connections are open at a time. Of those on which nobody has shown yet that
// he may come in, there are at most strangers: one more ends the oldest of them, so that who opens connections
// and says nothing can keep nobody out but himself. Where all are taken by known ones, others wait.
type limited struct {
	net.Listener
	most, strangers int

	mu      sync.Mutex
	open    int
	unknown []*limitedConn // the oldest first
	freed   *sync.Cond     // of mu: a place is free, or the listener is closed
	closed  bool
}

func newLimited(l net.Listener, most, strangers int) *limited {
	n := &limited{Listener: l, most: most, strangers: strangers}
	n.freed = sync.NewCond(&n.mu)
	return n
}

func (l *limited) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	conn := &limitedConn{Conn: c, of: l}
	oldest, err := l.place(conn)
	if oldest != nil {
		oldest.Close()
	}
	if err != nil {
		c.Close()
		return nil, err
	}
	return conn, nil
}

// place finds a place for a connection. It returns the stranger that has to go for it, if one has.
func (l *limited) place(conn *limitedConn) (oldest *limitedConn, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.unknown) > 0 && (l.open >= l.most || len(l.unknown) >= l.strangers) {
		oldest = l.unknown[0]
		l.drop(oldest)
	}
	for l.open >= l.most && !l.closed {
		l.freed.Wait()
	}
	if l.closed {
		return oldest, net.ErrClosed
	}
	l.open++
	l.unknown = append(l.unknown, conn)
	return oldest, nil
}

// drop gives the place of a connection back, once; l.mu must be held.
func (l *limited) drop(c *limitedConn) {
	if c.gone {
		return
	}
	c.gone = true
	l.open--
	l.forget(c)
	l.freed.Signal()
}

// forget takes a connection from the strangers; l.mu must be held.
func (l *limited) forget(c *limitedConn) {
	if i := slices.Index(l.unknown, c); i >= 0 {
		l.unknown = slices.Delete(l.unknown, i, i+1)
	}
}

func (l *limited) Close() error {
	l.mu.Lock()
	l.closed = true
	l.mu.Unlock()
	l.freed.Broadcast()
	return l.Listener.Close()
}

type limitedConn struct {
	net.Conn
	of   *limited
	gone bool // of.mu
}

func (c *limitedConn) Close() error {
	err := c.Conn.Close()
	c.of.mu.Lock()
	c.of.drop(c)
	c.of.mu.Unlock()
	return err
}

type connKey struct{}

// withConn keeps the connection of a request for known.
func withConn(ctx context.Context, c *limitedConn) context.Context {
	return context.WithValue(ctx, connKey{}, c)
}

// known tells that who sends a request may come in.
func known(r *http.Request) {
	c, ok := r.Context().Value(connKey{}).(*limitedConn)
	if !ok {
		return
	}
	c.of.mu.Lock()
	c.of.forget(c)
	c.of.mu.Unlock()
}
