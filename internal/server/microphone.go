package server

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"sync"
	"time"

	"github.com/coder/websocket"

	"tunerd/internal/capture"
)

const (
	micHeader   = 8       // bytes before the samples of a message: the number of the first
	micMessage  = 1 << 17 // bytes, the most of a message
	micSilence  = 3 * time.Second
	micNameRune = 60
)

// A Microphone is the microphone of a web page as the input of a tuner: the page sends its samples
// through a WebSocket. The page that comes last is the one that is heard.
type Microphone struct {
	Log *slog.Logger // nil: none

	next chan *capture.Feed // a feed that the tuner is to run on

	mu   sync.Mutex
	feed *capture.Feed // of the page that is heard, or was last
	turn chan struct{} // of that page: closed when another takes over; nil when it has gone
}

// NewMicrophone returns a microphone that nobody speaks into yet.
func NewMicrophone(log *slog.Logger) *Microphone {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	return &Microphone{Log: log, next: make(chan *capture.Feed)}
}

// Run runs the tuner on what pages send until ctx ends. Pages of the same sample rate continue one
// another's input behind a gap; another rate begins a new one.
func (m *Microphone) Run(ctx context.Context, t *Tuner) error {
	var feed *capture.Feed
	select {
	case feed = <-m.next:
	case <-ctx.Done():
		return nil
	}
	for {
		next, err := m.runOn(ctx, t, feed)
		if next == nil || err != nil {
			return err
		}
		feed = next
	}
}

// runOn runs the tuner on one feed until there is another, which it returns, or ctx ends.
func (m *Microphone) runOn(ctx context.Context, t *Tuner, feed *capture.Feed) (*capture.Feed, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- t.Run(ctx, feed) }()
	select {
	case next := <-m.next:
		stop()
		return next, <-ended
	case err := <-ended:
		return nil, err
	}
}

// micHello is the first message of a page.
type micHello struct {
	Type       string `json:"type"` // "hello"
	SampleRate int    `json:"sample_rate"`
	Name       string `json:"name"`
}

// serve takes the samples of one page until it leaves, is replaced or says something wrong.
func (m *Microphone) serve(ctx context.Context, w http.ResponseWriter, r *http.Request) {
	conn, err := websocket.Accept(w, r, nil)
	if err != nil {
		m.Log.Warn("microphone refused", "from", r.RemoteAddr, "reason", err)
		return
	}
	conn.SetReadLimit(micMessage)
	err = m.listen(ctx, conn)
	m.Log.Info("microphone closed", "from", r.RemoteAddr, "reason", err)
	var wrong micError
	switch {
	case errors.As(err, &wrong):
		conn.Close(websocket.StatusPolicyViolation, wrong.Error())
	case ctx.Err() != nil:
		conn.Close(websocket.StatusGoingAway, "the server is closing")
	default:
		conn.CloseNow()
	}
}

// A micError is what a page is told of as the reason of closing; at most 123 bytes.
type micError struct{ error }

func micErrorf(format string, args ...any) error {
	text := fmt.Sprintf(format, args...)
	return micError{errors.New(text[:min(len(text), 120)])}
}

func (m *Microphone) listen(ctx context.Context, conn *websocket.Conn) error {
	hello, err := readHello(ctx, conn)
	if err != nil {
		return err
	}
	turn, err := m.claim(ctx, hello)
	if err != nil {
		return err
	}
	defer m.leave(turn)
	if err := writeText(ctx, conn, `{"type":"ready"}`); err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		select {
		case <-turn: // ends the read that waits
			conn.Close(websocket.StatusPolicyViolation, errTakenOver.Error())
		case <-ctx.Done():
		}
	}()
	for {
		start, samples, err := readSamples(ctx, conn)
		if err != nil {
			return err
		}
		if err := m.push(turn, start, samples); err != nil {
			return err
		}
	}
}

var errTakenOver = micErrorf("another page has taken over as the microphone")

func readHello(ctx context.Context, conn *websocket.Conn) (micHello, error) {
	var hello micHello
	kind, body, err := readWithin(ctx, conn)
	if err != nil {
		return hello, err
	}
	if kind != websocket.MessageText || json.Unmarshal(body, &hello) != nil || hello.Type != "hello" {
		return hello, micErrorf(`the first message must be {"type":"hello","sample_rate":48000,"name":"…"}`)
	}
	if runes := []rune(hello.Name); len(runes) > micNameRune {
		hello.Name = string(runes[:micNameRune])
	}
	return hello, nil
}

// claim makes a page the one that is heard. Its turn is closed when another page claims.
func (m *Microphone) claim(ctx context.Context, hello micHello) (chan struct{}, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.feed == nil || m.feed.SampleRate() != hello.SampleRate {
		feed, err := capture.NewFeed(micName(hello), hello.SampleRate)
		if err != nil {
			return nil, micErrorf("%v", err)
		}
		select {
		case m.next <- feed:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		m.feed = feed
	}
	if m.turn != nil {
		close(m.turn)
		m.feed.Break()
	}
	m.turn = make(chan struct{})
	return m.turn, nil
}

// pageInput names the input of a page that has said no name, or has not come yet.
const pageInput = "browser"

func micName(hello micHello) string {
	if hello.Name == "" {
		return pageInput
	}
	return pageInput + ": " + hello.Name
}

// push hands on samples of the page whose turn it is.
func (m *Microphone) push(turn chan struct{}, start int64, samples []float32) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.turn != turn {
		return errTakenOver
	}
	if err := m.feed.Push(start, samples); err != nil {
		return micErrorf("%v", err)
	}
	return nil
}

// leave marks the input as lost, unless another page has taken over.
func (m *Microphone) leave(turn chan struct{}) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.turn == turn {
		m.turn = nil
		m.feed.Break()
	}
}

// readSamples reads one message of samples and the number of the first.
func readSamples(ctx context.Context, conn *websocket.Conn) (start int64, samples []float32, err error) {
	kind, body, err := readWithin(ctx, conn)
	if err != nil {
		return 0, nil, err
	}
	if kind != websocket.MessageBinary || len(body) <= micHeader || len(body)%4 != 0 {
		return 0, nil, micErrorf("a message must be 8 bytes of sample number and float32 samples, little-endian")
	}
	number := binary.LittleEndian.Uint64(body)
	if number > 1<<53 {
		return 0, nil, micErrorf("sample number %d is above 2^53", number)
	}
	samples = make([]float32, (len(body)-micHeader)/4)
	for i := range samples {
		samples[i] = math.Float32frombits(binary.LittleEndian.Uint32(body[micHeader+4*i:]))
	}
	return int64(number), samples, nil
}

// readWithin reads a message that must come soon.
func readWithin(ctx context.Context, conn *websocket.Conn) (websocket.MessageType, []byte, error) {
	ctx, cancel := context.WithTimeout(ctx, micSilence)
	defer cancel()
	return conn.Read(ctx)
}

func writeText(ctx context.Context, conn *websocket.Conn, text string) error {
	ctx, cancel := context.WithTimeout(ctx, writeTime)
	defer cancel()
	return conn.Write(ctx, websocket.MessageText, []byte(text))
}
