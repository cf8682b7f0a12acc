package server

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"tunerd/internal/bench"
)

// A line of the text format of Prometheus, version 0.0.4 (its "Exposition formats" page): a comment
// of kind HELP or TYPE, or a sample.
var (
	comment = regexp.MustCompile(`^# (HELP [a-z_]+ .+|TYPE [a-z_]+ (counter|gauge))$`)
	sample  = regexp.MustCompile(`^([a-z_]+)(\{quantile="[0-9.]+"\})? ([-+0-9.e]+)$`)
)

// scrape reads the metrics; of those with labels the last counts.
func (r *rig) scrape(t *testing.T) map[string]float64 {
	t.Helper()
	res := r.request(t, "GET", "/metrics", "")
	res.Body.Close()
	if kind := res.Header.Get("Content-Type"); kind != "text/plain; version=0.0.4; charset=utf-8" {
		t.Errorf("content type %q", kind)
	}
	_, body := r.do(t, "GET", "/metrics", "")
	values, typed := map[string]float64{}, map[string]bool{}
	for line := range strings.Lines(body) {
		line = strings.TrimSuffix(line, "\n")
		if comment.MatchString(line) {
			typed[strings.Fields(line)[2]] = true
			continue
		}
		m := sample.FindStringSubmatch(line)
		if m == nil || !typed[m[1]] {
			t.Fatalf("line %q is neither a comment nor a sample of a known type", line)
		}
		x, err := strconv.ParseFloat(m[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		values[m[1]] = x
	}
	return values
}

func TestMetricsCount(t *testing.T) {
	r := newRig(t, "", bench.Settings{}, nil)
	r.listen(t)
	r.play(t, make([]float64, 100*512))
	r.at += 9999
	r.play(t, make([]float64, 512))
	eventually(t, "all is read", func() bool { return r.scrape(t)["tunerd_readings_total"] >= 90 })
	m := r.scrape(t)
	for name, want := range map[string]float64{
		"tunerd_blocks_total": 101, "tunerd_samples_total": 101 * 512, "tunerd_gaps_total": 1,
		"tunerd_clients": 1, "tunerd_clients_total": 1, "tunerd_input_up": 1,
	} {
		if m[name] != want {
			t.Errorf("%s is %g, want %g", name, m[name], want)
		}
	}
	if l := m["tunerd_latency_seconds"]; !(l > 0 && l < 10) {
		t.Errorf("latency %g s", l)
	}
	r.feed.Break()
	eventually(t, "the input is down", func() bool { return r.scrape(t)["tunerd_input_up"] == 0 })
}

// TestHealth takes the input away and gives it back.
func TestHealth(t *testing.T) {
	r := newRig(t, "", bench.Settings{}, nil)
	is := func(want string) func() bool {
		return func() bool {
			status, body := r.do(t, "GET", "/healthz", "")
			return fmt.Sprint(status, " ", body) == want
		}
	}
	r.play(t, make([]float64, 100*512))
	eventually(t, "it is well", is("200 ok\n"))
	r.feed.Break()
	eventually(t, "the input is missed", is("503 input lost\n"))
	r.at += 9999
	r.play(t, make([]float64, 100*512))
	eventually(t, "it is well again", is("200 ok\n"))
}
