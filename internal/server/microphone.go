package server

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"time"

	"github.com/coder/websocket"

	"tunerd/internal/bench"
)

const (
	micHeader   = 8       // bytes before the samples of a message: the number of the first
	micMessage  = 1 << 17 // bytes, the most of a message
	micSilence  = 3 * time.Second
	micNameRune = 60
)

// micHello is the first message of a page.
type micHello struct {
	Type       string `json:"type"` // "hello"
	SampleRate int    `json:"sample_rate"`
	Name       string `json:"name"`
}

// microphone takes the sound of a page for the input, if that is to come from one.
func (s *Server) microphone(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Mic == nil {
		refuse(w, r, bench.Refusal{Status: http.StatusConflict, Code: codeOtherInput, Text: "the input is another; start with --input browser to use the microphone of a page"})
		return
	}
	ctx, stop := context.WithCancel(r.Context()) // ends with the session of the browser
	defer stop()
	defer context.AfterFunc(s.closing, stop)()
	s.takeSound(ctx, w, r)
}

// takeSound takes the samples of one page until it leaves, is replaced or says something wrong.
func (s *Server) takeSound(ctx context.Context, w http.ResponseWriter, r *http.Request) {
	conn, err := websocket.Accept(w, r, nil)
	if err != nil {
		s.cfg.Log.Warn("microphone refused", "from", r.RemoteAddr, "reason", err)
		return
	}
	conn.SetReadLimit(micMessage)
	err = s.listen(ctx, conn)
	s.cfg.Log.Info("microphone closed", "from", r.RemoteAddr, "reason", err)
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

func (s *Server) listen(ctx context.Context, conn *websocket.Conn) error {
	hello, err := readHello(ctx, conn)
	if err != nil {
		return err
	}
	turn, err := s.cfg.Mic.Claim(ctx, hello.Name, hello.SampleRate)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return micErrorf("%v", err)
	}
	defer turn.End()
	if err := writeText(ctx, conn, `{"type":"ready"}`); err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		select {
		case <-turn.Over(): // ends the read that waits
			conn.Close(websocket.StatusPolicyViolation, bench.ErrTakenOver.Error())
		case <-ctx.Done():
		}
	}()
	for {
		start, samples, err := readSamples(ctx, conn)
		if err != nil {
			return err
		}
		if err := turn.Push(start, samples); err != nil {
			return micErrorf("%v", err)
		}
	}
}

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
