//go:build unix && cgo && !nomic

package device

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"tunerd/internal/sampling"
)

// testChild is the variable of the environment that says how a child of this test binary behaves;
// empty: as that of tunerd.
const testChild = "TUNERD_TEST_CHILD"

func TestMain(m *testing.M) {
	os.Setenv("GORACE", "atexit_sleep_ms=0") // or a child lingers for a second under the race detector
	if len(os.Args) == 2 && os.Args[1] == Command {
		switch os.Getenv(testChild) {
		case "":
			ServeIfAsked()
		case "works":
			os.Exit(child(newFakeDriver(fakeMic("bench", 1))))
		case "sleeps": // and hears neither the end of its input nor signals
			time.Sleep(time.Hour)
		case "hangs": // in the library, when it is to stop
			d := newFakeDriver(fakeMic("bench", 1))
			d.hang = make(chan struct{})
			os.Exit(child(d))
		case "raves": // as the callback thread of PortAudio does when a device goes before its first block
			for line := []byte("Expression 'err' failed in 'pa_linux_alsa.c', line: 3355\n"); ; {
				os.Stderr.Write(line)
			}
		case "crashes":
			fmt.Fprintln(os.Stderr, "one line\nand panic: no such thing")
			os.Exit(3)
		case "babbles":
			fmt.Println("a line that some library prints where messages are due")
			time.Sleep(time.Hour)
		}
	}
	if os.Getenv(testChild) == "is a parent" {
		parent()
	}
	os.Exit(m.Run())
}

// parent records until it is killed.
func parent() {
	os.Setenv(testChild, os.Getenv("TUNERD_TEST_GRANDCHILD"))
	r, err := Record(Input{})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	if _, err := r.Open(); err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println(r.p.pid)
	for b := new(Block); r.Next(b) == nil; {
	}
}

// alive tells whether a process is there and has not ended.
func alive(pid int) bool {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return syscall.Kill(pid, 0) == nil && !os.IsNotExist(err)
	}
	_, state, _ := strings.Cut(string(text), ") ")
	return !strings.HasPrefix(state, "Z")
}

// endsSoon waits for a process to end.
func endsSoon(t *testing.T, pid int) {
	t.Helper()
	for range 100 {
		if !alive(pid) {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Errorf("process %d has not ended", pid)
	_ = syscall.Kill(pid, syscall.SIGKILL) // not to leave it behind
}

// TestChildRecords records from a fake device through a real process, with signals around as they
// come from a terminal.
func TestChildRecords(t *testing.T) {
	t.Setenv(testChild, "works")
	r, err := Record(Input{})
	if err != nil {
		t.Fatal(err)
	}
	o, err := r.Open()
	if err != nil || o != (Opened{"bench", sampling.DefaultRate}) {
		t.Fatalf("%+v, %v", o, err)
	}
	b := &Block{}
	pos := int64(0)
	for n := range 100 {
		next(t, r, b, &pos, -1)
		if n == 50 {
			for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT} {
				if err := syscall.Kill(r.p.pid, s); err != nil {
					t.Error(err)
				}
			}
		}
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
	endsSoon(t, r.p.pid)
	if said := r.Said(); said != "" {
		t.Errorf("it wrote %s", said)
	}
}

// TestChildrenThatFail tries what a process may do instead of its job. Whoever waits for it comes
// free by a kill, and nothing is left behind.
func TestChildrenThatFail(t *testing.T) {
	for _, tt := range []struct {
		does, err string
		ends      bool // by itself
		says      string
	}{
		{"sleeps", "the sound process has ended", false, ""},
		{"raves", "the sound process has ended", false, "Expression 'err' failed in 'pa_linux_alsa.c', line: 3355"},
		{"crashes", "the sound process has ended", true, `the sound system says 2 lines, the last: "and panic: no such thing"`},
		{"babbles", "too long", false, ""},
	} {
		t.Run(tt.does, func(t *testing.T) {
			t.Setenv(testChild, tt.does)
			r, err := Record(Input{})
			if err != nil {
				if !tt.ends { // it may end before it has its job
					t.Fatal(err)
				}
				return
			}
			if !tt.ends {
				time.AfterFunc(300*time.Millisecond, r.Kill)
			}
			if _, err := r.Open(); err == nil || !strings.Contains(err.Error(), tt.err) {
				t.Errorf("open: %v, want %s", err, tt.err)
			}
			r.Close()
			endsSoon(t, r.p.pid)
			if said := r.Said(); !strings.Contains(said, tt.says) || strings.Contains(said, "\n") || len(said) > 2*lineLimit {
				t.Errorf("it is said to write: %s; want %s", said, tt.says)
			}
		})
	}
}

// TestChildThatHangsIsKilled asks a child to end that cannot.
func TestChildThatHangsIsKilled(t *testing.T) {
	for _, does := range []string{"sleeps", "raves", "hangs"} {
		t.Setenv(testChild, does)
		r, err := Record(Input{})
		if err != nil {
			t.Fatal(err)
		}
		if does == "hangs" {
			if _, err := r.Open(); err != nil {
				t.Fatal(err)
			}
		}
		_ = r.Close() // by itself, as "hangs" does in time, or killed
		endsSoon(t, r.p.pid)
	}
}

// TestNoChildOutlivesItsParent kills a parent, as the system does when memory runs out, while its
// child works, and while it hangs.
func TestNoChildOutlivesItsParent(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, does := range []string{"works", "hangs"} {
		cmd := exec.Command(self)
		cmd.Env = append(os.Environ(), testChild+"=is a parent", "TUNERD_TEST_GRANDCHILD="+does)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(out).ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		pid, err := strconv.Atoi(strings.TrimSpace(line))
		if err != nil || !alive(pid) {
			t.Fatalf("the parent says %q", line)
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // killed
		endsSoon(t, pid)
	}
}

// TestChildStartsNoOther would be a fork bomb in a test binary that does not call ServeIfAsked.
func TestChildStartsNoOther(t *testing.T) {
	t.Setenv(childMark, "1")
	if _, err := Record(Input{}); err == nil || !strings.Contains(err.Error(), "starts no other one") {
		t.Errorf("%v", err)
	}
}

func TestCommandIsForNoUser(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, Command)
	out, err := cmd.CombinedOutput()
	if cmd.ProcessState.ExitCode() != 2 || !strings.Contains(string(out), "a part of tunerd that it starts itself") {
		t.Errorf("%v: %s", err, out)
	}
}

func TestChatterSumsUp(t *testing.T) {
	for _, tt := range []struct {
		writes []string
		want   string
	}{
		{nil, ""},
		{[]string{"one\n"}, `the sound system says: "one"`},
		{[]string{"o", "ne"}, `the sound system says: "one"`},
		{[]string{"one\ntwo\n"}, `the sound system says 2 lines, the last: "two"`},
		{[]string{"one\n", "tw", "o\n", "thr", "ee"}, `the sound system says 2 lines, the last: "three"`},
		{[]string{"one\n\n", "\x1b[2J\xff\n"}, `the sound system says 3 lines, the last: "\x1b[2J?"`},
		{[]string{strings.Repeat("x", 5000) + "\n"}, `the sound system says: "` + strings.Repeat("x", lineLimit) + `"`},
	} {
		c := &chatter{}
		for _, w := range tt.writes {
			if n, err := io.WriteString(c, w); n != len(w) || err != nil {
				t.Errorf("%d, %v", n, err)
			}
		}
		if got := c.sum(); got != tt.want {
			t.Errorf("%q: %s, want %s", tt.writes, got, tt.want)
		}
	}
}
