package pagetest

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"tunerd/internal/sound"
)

// patience is how long a test waits for what should come at once on an idle machine.
const patience = 20 * time.Second

var program, chromium string // paths; chromium is empty where there is none

// fakeMicrophone is what Chromium plays as the user's microphone. It loops.
var fakeMicrophone string

var browser context.Context // one for all tests; every page is a profile of its own in it

func TestMain(m *testing.M) { os.Exit(runTests(m)) }

func runTests(m *testing.M) int {
	dir, err := os.MkdirTemp("", "tunerd-page")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	chromium, _ = exec.LookPath("chromium")
	if chromium == "" {
		return m.Run()
	}
	program = filepath.Join(dir, "tunerd")
	if out, err := exec.Command("go", "build", "-o", program, "tunerd/cmd/tunerd").CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "go build: %v\n%s", err, out)
		return 1
	}
	fakeMicrophone = filepath.Join(dir, "microphone.wav")
	if err := writeStereo(fakeMicrophone, microphoneTone()); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	ctx, stop := startBrowser()
	defer stop()
	browser = ctx
	return m.Run()
}

// startBrowser prepares a headless Chromium; it starts with the first page.
func startBrowser() (context.Context, context.CancelFunc) {
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(chromium), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("hide-scrollbars", true),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"),
		chromedp.Flag("use-fake-device-for-media-stream", true),
		chromedp.Flag("use-file-for-fake-audio-capture", fakeMicrophone),
		chromedp.Env("HOME="+filepath.Dir(fakeMicrophone)))
	allocator, stopAllocator := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, stopBrowser := chromedp.NewContext(allocator)
	return ctx, func() { stopBrowser(); stopAllocator() }
}

var startOnce = sync.OnceValue(func() error { return chromedp.Do(browser) })

// needBrowser skips the test where there is no Chromium.
func needBrowser(t *testing.T) {
	t.Helper()
	switch {
	case chromium != "":
		if err := startOnce(); err != nil {
			t.Fatal(err)
		}
	case os.Getenv("TUNERD_CI") == "1":
		t.Fatal("chromium is not installed (Debian: apt-get install chromium)")
	default:
		t.Skip("chromium is not installed (Debian: apt-get install chromium): the page is not tested")
	}
}

// A server is tunerd serve in a process of its own.
type server struct {
	url string // with a slash at the end
	cmd *exec.Cmd
}

// serve starts the program and waits for its address.
func serve(t *testing.T, args ...string) *server {
	t.Helper()
	return serveAt(t, "127.0.0.1:0", args...)
}

func serveAt(t *testing.T, address string, args ...string) *server {
	t.Helper()
	return serveFrom(t, address, func(*exec.Cmd) error { return nil }, args...)
}

// serveFrom lets prepare have the command before it starts.
func serveFrom(t *testing.T, address string, prepare func(*exec.Cmd) error, args ...string) *server {
	t.Helper()
	s := &server{cmd: exec.Command(program, append([]string{"serve", "--listen", address}, args...)...)}
	if err := prepare(s.cmd); err != nil {
		t.Fatal(err)
	}
	var chatter bytes.Buffer
	s.cmd.Stderr = &chatter
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.stop)
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		s.stop()
		t.Fatalf("tunerd serve %s said no address: %v\n%s", strings.Join(args, " "), err, chatter.String())
	}
	s.url = strings.TrimSpace(line)
	return s
}

// stop ends the process as a user would; it may be called again.
func (s *server) stop() {
	if s.cmd.ProcessState != nil {
		return
	}
	_ = s.cmd.Process.Signal(os.Interrupt)
	timer := time.AfterFunc(patience, func() { _ = s.cmd.Process.Kill() })
	defer timer.Stop()
	_ = s.cmd.Wait()
}

// address returns host and port, to serve there again.
func (s *server) address() string { return strings.Trim(strings.TrimPrefix(s.url, "http://"), "/") }

// A page is one open page, in a profile of its own.
type page struct {
	t   *testing.T
	ctx context.Context

	mu     sync.Mutex
	errors []string // what the page or the browser complained of
}

// open opens a page of 1280×800; at is what follows the server's address, such as "#compare".
func open(t *testing.T, s *server, at string) *page {
	t.Helper()
	needBrowser(t)
	ctx, stop := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(stop)
	p := &page{t: t, ctx: ctx}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 800)); err != nil {
		t.Fatal(err)
	}
	p.watch()
	p.do(chromedp.Navigate(s.url + at))
	return p
}

// watch collects what is written to the console of the page; the test fails with it.
func (p *page) watch() {
	messages := chromedp.Console(p.ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			p.mu.Lock()
			p.errors = append(p.errors, m.String())
			p.mu.Unlock()
		}
	}()
	p.t.Cleanup(func() {
		for _, e := range p.complaints() {
			p.t.Errorf("the page complained: %s", e)
		}
	})
}

func (p *page) complaints() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.errors
}

// forgive forgets what was complained of so far, where a test has provoked it. The words may stand on the page before
// the browser has told what it logged.
func (p *page) forgive() {
	for end := time.Now().Add(time.Second / 2); len(p.complaints()) == 0 && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.errors = nil
}

func (p *page) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, stop := context.WithTimeout(p.ctx, patience)
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.t.Fatal(err)
	}
}

// key presses keys, one after another.
func (p *page) key(keys string) {
	p.t.Helper()
	p.do(chromedp.KeyEvent(keys))
}

// eval evaluates JavaScript, and waits for it if it is a promise.
func eval[T any](p *page, js string) T {
	p.t.Helper()
	ctx, stop := context.WithTimeout(p.ctx, 2*patience)
	defer stop()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%v\nin %.200s", err, js)
	}
	return v
}

// wait waits until a JavaScript condition holds; what says what is waited for.
func (p *page) wait(what, condition string) {
	p.t.Helper()
	deadline := time.Now().Add(patience)
	for !eval[bool](p, "Boolean("+condition+")") {
		if time.Now().After(deadline) {
			p.t.Fatalf("waited %v in vain for %s; the page says: %.2500q", patience, what, eval[string](p, "document.body.innerText"))
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// sounding waits until the page shows a pitch that sounds now.
func (p *page) sounding() {
	p.t.Helper()
	p.wait("a pitch", "document.querySelector('.head:not(.last) .cents')?.textContent")
}

// A tone is a steady sound of six harmonics that keeps its pitch to the last digit.
type tone struct {
	hz      float64
	seconds float64
	rate    int
}

func (o tone) samples() []float64 {
	out := make([]float64, int(o.seconds*float64(o.rate)))
	for k := 1; k <= 6; k++ {
		for i := range out {
			out[i] += 0.3 / float64(k) * sine(float64(k)*o.hz*float64(i)/float64(o.rate))
		}
	}
	return out
}

// record writes samples as a WAV file of the test.
func record(t *testing.T, samples []float64, rate int) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "take.wav")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	err = errors.Join(sound.WriteWAV(f, samples, rate, sound.PCM24), f.Close())
	if err != nil {
		t.Fatal(err)
	}
	return name
}

// freePort returns an address where nobody listens now.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// streamsOpen returns how many streams a server says are open.
func streamsOpen(t *testing.T, s *server) string {
	t.Helper()
	res, err := http.Get(s.url + "metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	found := regexp.MustCompile(`(?m)^tunerd_clients (\d+)`).FindSubmatch(body)
	if found == nil {
		t.Fatalf("no streams in\n%s", body)
	}
	return string(found[1])
}

// jsString writes a text as JavaScript has it.
func jsString(text string) string {
	b, _ := json.Marshal(text) // a string is always marshalled
	return string(b)
}
