package command_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// patience is how long these tests wait for what must come.
const patience = 30 * time.Second

// A servant is a running "tunerd serve".
type servant struct {
	cmd    *exec.Cmd
	links  []string // printed
	url    string   // without a token, ends in a slash
	stderr *chatter
}

// A chatter is what a program has written so far.
type chatter struct {
	mu   sync.Mutex
	text []byte
}

func (c *chatter) Write(p []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.text = append(c.text, p...)
	return len(p), nil
}

func (c *chatter) String() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return string(c.text)
}

// startServe starts the program, which must print that many links.
func startServe(t testing.TB, bin string, links int, env []string, args ...string) *servant {
	t.Helper()
	s := &servant{cmd: exec.Command(bin, append([]string{"serve"}, args...)...), stderr: &chatter{}}
	s.cmd.Env = append(append(os.Environ(), "XDG_CONFIG_HOME="+t.TempDir()), env...)
	s.cmd.Stderr = s.stderr
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.cmd.Process.Kill(); _ = s.cmd.Wait() })
	late := time.AfterFunc(patience, func() { _ = s.cmd.Process.Kill() })
	defer late.Stop()
	lines := bufio.NewScanner(out)
	for len(s.links) < links && lines.Scan() {
		s.links = append(s.links, lines.Text())
	}
	if len(s.links) < links {
		_ = s.cmd.Wait()
		t.Fatalf("serve %v printed %q, and %s", args, s.links, s.stderr)
	}
	s.url, _, _ = strings.Cut(s.links[0], "?")
	return s
}

func (s *servant) get(t *testing.T, path string) (status int, body []byte) {
	t.Helper()
	res, err := http.Get(s.url + path)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err = io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, body
}

// terminate asks the program to stop and wants it to do so with status 0.
func (s *servant) terminate(t testing.TB) {
	t.Helper()
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- s.cmd.Wait() }()
	select {
	case err := <-ended:
		if err != nil {
			t.Errorf("after SIGTERM: %v\n%s", err, s.stderr)
		}
	case <-time.After(patience):
		t.Fatal("SIGTERM does not end the server")
	}
}

// stream sends the frames of the stream, and closes the channel at its end.
func (s *servant) stream(t testing.TB) <-chan map[string]any {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	t.Cleanup(cancel)
	req, err := http.NewRequestWithContext(ctx, "GET", s.url+"stream", nil)
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	frames := make(chan map[string]any, 1000)
	go func() {
		defer close(frames)
		defer res.Body.Close()
		name := ""
		for lines := bufio.NewScanner(res.Body); lines.Scan(); {
			field, value, _ := strings.Cut(lines.Text(), ": ")
			switch {
			case field == "event":
				name = value
			case field == "data" && name == "frame":
				var f map[string]any
				if json.Unmarshal([]byte(value), &f) == nil {
					frames <- f
				}
			}
		}
	}()
	return frames
}

// TestServe drives the server as it is built and installed.
func TestServe(t *testing.T) {
	bin := buildProgram(t)
	for name, check := range map[string]func(*testing.T, string){
		"Demo": serveDemo, "AfterTheEnd": serveAfterTheEnd, "Refusals": serveRefuses, "Elsewhere": serveElsewhere,
		"Notifies": serveNotifies, "StreamSaysWhatListenSays": streamSaysWhatListenSays,
		"APISaysWhatCommandsSay": apiSaysWhatCommandsSay, "ClientOfTheDocumentation": clientOfTheDocumentation,
	} {
		t.Run(name, func(t *testing.T) { check(t, bin) })
	}
}

func serveDemo(t *testing.T, bin string) {
	s := startServe(t, bin, 1, nil, "--input", "demo", "--listen", "127.0.0.1:0")
	if !regexp.MustCompile(`^http://127\.0\.0\.1:\d+/$`).MatchString(s.links[0]) {
		t.Errorf("printed %q", s.links)
	}
	if status, body := s.get(t, ""); status != http.StatusOK || !bytes.Contains(body, []byte("<title>")) {
		t.Errorf("the page: status %d, %.100s", status, body)
	}
	if status, body := s.get(t, "healthz"); status != http.StatusOK || string(body) != "ok\n" {
		t.Errorf("healthz: status %d, %s", status, body)
	}
	for f := range s.stream(t) {
		if f["hears"] == "sounding" {
			break
		}
	}
	s.terminate(t) // with a stream open
	if strings.Contains(s.stderr.String(), "error") {
		t.Errorf("stderr: %s", s.stderr)
	}
}

// A recording that has ended leaves the server up.
func serveAfterTheEnd(t *testing.T, bin string) {
	wav := filepath.Join(t.TempDir(), "short.wav")
	header := []byte("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x80\xbb\x00\x00\x00\x77\x01\x00\x02\x00\x10\x00data\x00\x20\x00\x00")
	if err := os.WriteFile(wav, append(header, make([]byte, 0x2000)...), 0o600); err != nil {
		t.Fatal(err)
	}
	s := startServe(t, bin, 1, nil, "--input", wav, "--listen", "127.0.0.1:0")
	for f := range s.stream(t) {
		if f["hears"] == "input ended" {
			break
		}
	}
	if status, body := s.get(t, "api/session"); status != http.StatusOK || !bytes.Contains(body, []byte(`"hears":"input ended"`)) {
		t.Errorf("status %d, %s", status, body)
	}
	s.terminate(t)
}

func serveRefuses(t *testing.T, bin string) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for _, c := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"--listen", taken.Addr().String()}, 1, "in use already"},
		{[]string{"--listen", "8440"}, 2, "write an address and a port"},
		{[]string{"--listen", "127.0.0.1:99999"}, 2, "--listen"},
		{[]string{"--listen", "no.such.host.invalid:0"}, 2, "--listen"},
		{[]string{"--osc", "nowhere"}, 2, "--osc"},
		{[]string{"--instrument", "lute"}, 2, "no instrument"},
		{[]string{"--tuning", "12tet"}, 2, "unknown"},
		{[]string{"--string", "9"}, 2, "string"},
		{[]string{"--input", "/no/such/file.wav"}, 1, "/no/such/file.wav"},
		{[]string{"page"}, 2, "stands where no argument does"},
	} {
		args := append([]string{"serve", "--input", "demo", "--listen", "127.0.0.1:0"}, c.args...)
		cmd := exec.Command(bin, args...)
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		late := time.AfterFunc(patience, func() { _ = cmd.Process.Kill() })
		err := cmd.Run()
		late.Stop()
		if got := cmd.ProcessState.ExitCode(); err == nil || got != c.status || !strings.Contains(stderr.String(), c.says) {
			t.Errorf("serve %v: status %d, %s; want %d with %q", c.args, got, stderr.String(), c.status, c.says)
		}
	}
}

// Elsewhere than on loopback the link carries a token, which is the same after a restart.
func serveElsewhere(t *testing.T, bin string) {
	config := "XDG_CONFIG_HOME=" + t.TempDir()
	var token string
	for range 2 {
		s := startServe(t, bin, 1, []string{config}, "--input", "demo", "--listen", "0.0.0.0:0", "--tls", "--name", "bench.example")
		link, err := url.Parse(s.links[0])
		if err != nil || link.Scheme != "https" || len(link.Query().Get("token")) < 26 {
			t.Fatalf("link %q", s.links[0])
		}
		if token != "" && link.Query().Get("token") != token {
			t.Error("another token after a restart")
		}
		token = link.Query().Get("token")
		fingerprint := regexp.MustCompile(`SHA-256 ([0-9A-F]{2}:){31}[0-9A-F]{2}`)
		for end := time.Now().Add(patience); !fingerprint.MatchString(s.stderr.String()); time.Sleep(time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("no fingerprint: %s", s.stderr)
			}
		}
		// The certificate is our own, so that nobody vouches for it; that it serves these names is checked in package service.
		client := http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
		for host, want := range map[string]int{"bench.example": 200, "other.example": 403, "localhost": 200} {
			for _, bearer := range []string{token, ""} {
				req, err := http.NewRequest("GET", "https://127.0.0.1:"+link.Port()+"/api/session", nil)
				if err != nil {
					t.Fatal(err)
				}
				req.Host = host
				req.Header.Set("Authorization", "Bearer "+bearer)
				res, err := client.Do(req)
				if err != nil {
					t.Fatal(err)
				}
				res.Body.Close()
				if bearer == "" && want == 200 {
					want = http.StatusUnauthorized
				}
				if res.StatusCode != want {
					t.Errorf("Host %s, token %q: status %d, want %d", host, bearer, res.StatusCode, want)
				}
			}
		}
		s.terminate(t)
	}
}

// Readiness, as sd_notify(3) describes it: a datagram with READY=1 when the server answers, one
// with STOPPING=1 when it ends.
func serveNotifies(t *testing.T, bin string) {
	dir, err := os.MkdirTemp("", "sd") // the name of a socket is short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	path := filepath.Join(dir, "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer manager.Close()
	told := func() string {
		buf := make([]byte, 1000)
		if err := manager.SetReadDeadline(time.Now().Add(patience)); err != nil {
			t.Fatal(err)
		}
		n, err := manager.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		return string(buf[:n])
	}
	s := startServe(t, bin, 1, []string{"NOTIFY_SOCKET=" + path}, "--input", "demo", "--listen", "127.0.0.1:0")
	if got := told(); !strings.HasPrefix(got, "READY=1\n") || !strings.Contains(got, s.url) {
		t.Errorf("told %q", got)
	}
	if status, _ := s.get(t, "healthz"); status != http.StatusOK {
		t.Errorf("ready, but healthz has status %d", status)
	}
	s.terminate(t)
	if got := told(); got != "STOPPING=1" {
		t.Errorf("told %q", got)
	}
}

// What the stream says of a recording is what "listen --json" says: every frame that sounds has
// the figures of the reading at its time.
func streamSaysWhatListenSays(t *testing.T, bin string) {
	recording, err := filepath.Abs("../../testdata/wav/classical-E2.flac")
	if err != nil {
		t.Fatal(err)
	}
	sound := []string{"--input", recording, "--instrument", "guitar-12edo", "--reference", "A4=441"}
	out, err := exec.Command(bin, append([]string{"listen", "--json"}, sound...)...).Output()
	if err != nil {
		t.Fatal(err)
	}
	readings := map[float64]map[string]any{}
	for line := range bytes.Lines(out) {
		var r map[string]any
		if err := json.Unmarshal(line, &r); err != nil {
			t.Fatal(err)
		}
		if r["type"] == "reading" {
			delete(r, "type")
			readings[r["t_s"].(float64)] = r
		}
	}
	s := startServe(t, bin, 1, nil, append(sound, "--listen", "127.0.0.1:0")...)
	compared := 0
	for f := range s.stream(t) {
		if f["hears"] == "input ended" {
			break
		}
		if f["hears"] != "sounding" {
			continue
		}
		want, ok := readings[f["t_s"].(float64)]
		if !ok {
			t.Fatalf("no reading at %v s", f["t_s"])
		}
		got := maps.Clone(f)
		maps.DeleteFunc(got, func(name string, _ any) bool { _, ok := want[name]; return !ok })
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("at %v s the stream says\n%v\nlisten says\n%v", f["t_s"], got, want)
		}
		compared++
	}
	// Four seconds at 60 frames a second, less what precedes the first reading.
	if compared < 100 {
		t.Errorf("%d frames were compared, want 100", compared)
	}
}

// The answers of the API have the figures of the command line.
func apiSaysWhatCommandsSay(t *testing.T, bin string) {
	s := startServe(t, bin, 1, nil, "--input", "demo", "--listen", "127.0.0.1:0")
	for _, c := range []struct {
		path, list string
		command    string // its JSON Lines of that type
		kind       string
		renamed    map[string]string // field of the API: field of the command
	}{
		{"api/tuning?spec=31edo&reference=C4=264", "steps", "tuning show 31edo --reference C4=264", "step", nil},
		{"api/compare?spec=31edo&spec=vallotti&chords=4:5:6:7", "fits", "tuning compare 31edo vallotti --chords 4:5:6:7", "tuning_fit", nil},
		{"api/divisions?range=5..60&by=weighted", "divisions", "tuning compare --divisions 5..60 --by weighted", "division", nil},
		{"api/instruments", "instruments", "instrument list", "instrument", nil},
		{"api/instruments/guitar-41edo-alternate/shapes?chord=4:5:6:7&most=20", "shapes", "frets guitar-41edo-alternate --chord 4:5:6:7 --most 20", "shape", nil},
	} {
		status, body := s.get(t, c.path)
		var answer map[string]any
		if err := json.Unmarshal(body, &answer); err != nil || status != http.StatusOK {
			t.Fatalf("%s: status %d, %v", c.path, status, err)
		}
		out, err := exec.Command(bin, append(strings.Fields(c.command), "--json")...).Output()
		if err != nil {
			t.Fatalf("%s: %v", c.command, err)
		}
		list := answer[c.list].([]any)
		for line := range bytes.Lines(out) {
			var want map[string]any
			if err := json.Unmarshal(line, &want); err != nil {
				t.Fatal(err)
			}
			if want["type"] != c.kind {
				continue
			}
			if len(list) == 0 {
				t.Fatalf("%s says less than %s", c.path, c.command)
			}
			alike := 0
			for name, value := range list[0].(map[string]any) {
				if w, ok := want[name]; ok && fmt.Sprintf("%T", w) == fmt.Sprintf("%T", value) {
					alike++
					if fmt.Sprint(w) != fmt.Sprint(value) {
						t.Errorf("%s: %s is %v, but %v in %s", c.path, name, value, w, c.command)
					}
				}
			}
			if alike < 4 {
				t.Errorf("%s and %s share %d fields", c.path, c.command, alike)
			}
			list = list[1:]
		}
		if len(list) > 0 {
			t.Errorf("%s says more than %s: %v", c.path, c.command, list)
		}
	}
}

// The client in the documentation works as it stands there.
func clientOfTheDocumentation(t *testing.T, bin string) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("TUNERD_CI") != "" {
			t.Fatal("python3 is missing")
		}
		t.Skip("python3 is missing (Debian package python3)")
	}
	doc, err := os.ReadFile("../../docs/server.md")
	if err != nil {
		t.Fatal(err)
	}
	_, client, ok := strings.Cut(string(doc), "```python\n")
	client, _, closed := strings.Cut(client, "```\n")
	if !ok || !closed || strings.Count(client, "\n") > 20 {
		t.Fatalf("no client of at most 20 lines:\n%s", client)
	}
	s := startServe(t, bin, 1, nil, "--input", "demo", "--listen", "127.0.0.1:0")
	client = strings.Replace(client, "http://127.0.0.1:8440/", s.url, 1)
	cmd := exec.Command(python, "-u", "-c", client)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	late := time.AfterFunc(patience, func() { _ = cmd.Process.Kill() })
	defer late.Stop()
	line, _ := bufio.NewReader(out).ReadString('\n')
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
	if !regexp.MustCompile(`^ +\d+\.\d\d s D3 +[+-]\d+\.\d\d ± \d+\.\d\d cents (flat|sharp|in tune)\n$`).MatchString(line) {
		t.Errorf("printed %q, %s", line, stderr.String())
	}
}
