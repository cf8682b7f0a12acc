//go:build unix

package command_test

import (
	"os/exec"
	"os/signal"
	"strings"
	"syscall"
	"testing"
	"time"
)

// What a shell or a service manager makes of a signal: one that ends work before it is done is told as 128 and its
// number, as POSIX shells tell of a program that a signal ended; to end is what serve waits for (systemd.service(5)
// takes 0 for success, and 143 for a failure). Whatever has been heard is told before.
func TestSignalsEndTheProgram(t *testing.T) {
	t.Parallel()
	bin := buildProgram(t)
	listen := []string{"listen", "--input", "demo", "--json"}
	serve := []string{"serve", "--input", "demo", "--listen", "127.0.0.1:0"}
	for _, c := range []struct {
		name   string
		args   []string
		sig    syscall.Signal
		status int
	}{
		{"listen", listen, syscall.SIGTERM, 143},
		{"listen", listen, syscall.SIGHUP, 129},
		{"listen", listen, syscall.SIGINT, 0},
		{"serve", serve, syscall.SIGTERM, 0},
		{"serve", serve, syscall.SIGHUP, 0},
		{"serve", serve, syscall.SIGINT, 0},
	} {
		t.Run(c.name+" "+c.sig.String(), func(t *testing.T) {
			if signal.Ignored(c.sig) {
				t.Skip("these tests were started with nohup, and so would be the program")
			}
			p := startProgram(t, exec.Command(bin, c.args...))
			p.signal(t, c.sig)
			p.ends(t, c.status)
		})
	}
	t.Run("nohup", func(t *testing.T) {
		p := startProgram(t, exec.Command("sh", append([]string{"-c", `trap "" HUP; exec "$0" "$@"`, bin}, listen...)...))
		p.signal(t, syscall.SIGHUP)
		had := len(p.out.String())
		for end := time.Now().Add(patience); len(p.out.String()) < had+1000; time.Sleep(10 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatal("SIGHUP ends what nohup started")
			}
		}
		p.signal(t, syscall.SIGTERM)
		p.ends(t, 143)
	})
}

// A program that runs, and what it has written.
type program struct {
	cmd      *exec.Cmd
	out, err chatter
}

// startProgram starts a program and waits until it writes.
func startProgram(t *testing.T, cmd *exec.Cmd) *program {
	t.Helper()
	p := &program{cmd: cmd}
	dir := t.TempDir()
	cmd.Env = append(cmd.Environ(), "XDG_CONFIG_HOME="+dir, "XDG_DATA_HOME="+dir)
	cmd.Stdout, cmd.Stderr = &p.out, &p.err
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	for end := time.Now().Add(patience); !strings.Contains(p.out.String(), "\n"); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("nothing is written: %s", p.err.String())
		}
	}
	return p
}

func (p *program) signal(t *testing.T, sig syscall.Signal) {
	t.Helper()
	if err := p.cmd.Process.Signal(sig); err != nil {
		t.Fatal(err)
	}
}

func (p *program) ends(t *testing.T, status int) {
	t.Helper()
	late := time.AfterFunc(patience, func() { _ = p.cmd.Process.Kill() })
	defer late.Stop()
	_ = p.cmd.Wait()
	if got := p.cmd.ProcessState; got.ExitCode() != status {
		t.Errorf("ended with %v, want status %d\n%s", got, status, p.err.String())
	}
}
