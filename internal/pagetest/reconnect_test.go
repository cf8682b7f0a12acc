package pagetest

import (
	"syscall"
	"testing"
)

// When the server goes the page says so and keeps the last reading; when it is back, at the same
// address, the page finds it by itself.
func TestReconnect(t *testing.T) {
	needBrowser(t)
	take := record(t, tone{220, 60, 48000}.samples(), 48000)
	first := serveAt(t, freePort(t), "--input", take)
	p := open(t, first, "")
	p.sounding()
	first.stop()
	p.wait("the loss", "document.querySelector('.remark').textContent.startsWith('No connection')")
	p.wait("the word in the head", "document.getElementById('link-word').textContent === 'no connection'")
	if note := p.text(".note"); note != "A3" {
		t.Errorf("without a server the page shows %q, want the last note A3", note)
	}
	serveAt(t, first.address(), "--input", take)
	p.sounding()
	p.wait("the remark to go", "document.querySelector('.remark').textContent === ''")
	p.forgive() // the browser logs every failed try
}

// A server that hangs is not one that hears silence: the page says that its picture is old.
func TestStaleStreamIsShown(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", record(t, tone{220, 60, 48000}.samples(), 48000))
	p := open(t, s, "")
	p.sounding()
	if err := s.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	p.wait("the picture to be called old", "document.querySelector('.tune').classList.contains('old')")
	p.wait("the remark", "document.querySelector('.remark').textContent.includes('What you see is old')")
	if err := s.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	p.wait("it to go on", "!document.querySelector('.tune').classList.contains('old')")
	p.sounding()
}

// Another tuner at the same address may have another instrument: the strings of the one before, and what was read
// of them, are not its own.
func TestRestartForgetsStrings(t *testing.T) {
	needBrowser(t)
	first := serveAt(t, freePort(t), "--input", record(t, tone{220, 60, 48000}.samples(), 48000), "--instrument", "guitar-12edo")
	p := open(t, first, "")
	p.wait("the strings of the guitar", "document.querySelectorAll('.strings li').length === 6")
	first.stop()
	serveAt(t, first.address(), "--input", "browser", "--instrument", "ukulele-12edo")
	p.wait("the new tuner", "document.getElementById('link-word').textContent === 'waiting'")
	if n := eval[int](p, "document.querySelectorAll('.strings li').length"); n == 6 {
		t.Error("the page shows the six strings of the tuner before")
	}
	p.forgive() // the browser logs every failed try
}
