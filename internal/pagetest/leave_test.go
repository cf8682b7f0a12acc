package pagetest

import (
	"net/url"
	"os"
	"os/exec"
	"testing"

	"github.com/chromedp/chromedp"
)

// Help ends what the link with the token has begun: the browser is let in no longer, sees why, and the link lets it in
// again. Where nobody needs a link nothing of the kind is offered.
func TestLetThisBrowserInNoLonger(t *testing.T) {
	needBrowser(t)
	home := t.TempDir()
	s := serveFrom(t, "0.0.0.0:0", func(cmd *exec.Cmd) error {
		cmd.Env = append(os.Environ(), "HOME="+home, "XDG_CONFIG_HOME="+home, "XDG_DATA_HOME="+home, "XDG_STATE_HOME="+home)
		return nil
	}, "--input", "demo")
	link, err := url.Parse(s.url)
	if err != nil || link.Query().Get("token") == "" {
		t.Fatalf("the link %q: %v", s.url, err)
	}
	link.Host = "127.0.0.1:" + link.Port()
	s.url = link.String()

	p := open(t, s, "")
	p.sounding()
	status := func() int { return eval[int](p, "fetch('api/session').then((r) => r.status)") }
	if got := status(); got != 200 {
		t.Fatalf("let in, the session answers %d", got)
	}
	p.click("#help-button")
	p.click("dialog[open] .leave")
	p.wait("the word", "document.getElementById('message').textContent.startsWith('This browser is let in no longer.')")
	p.wait("the stream to end", "document.getElementById('link-word').textContent === 'connecting'")
	if got := status(); got != 401 {
		t.Errorf("let in no longer, the session answers %d, want 401", got)
	}
	p.forgive() // the browser logs it
	p.do(chromedp.Navigate(s.url))
	p.sounding()

	open := open(t, serve(t, "--input", "demo"), "")
	open.sounding()
	open.click("#help-button")
	if at := open.find("dialog[open] .leave"); at.Why == "" {
		t.Error("where nobody needs a link it is offered, too")
	}
}
