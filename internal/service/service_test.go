package service

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

func TestTokenIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "token")
	first, err := Token(path)
	if err != nil {
		t.Fatal(err)
	}
	// 26 letters and digits of base 32 are 130 bits.
	if !regexp.MustCompile(`^[A-Z2-7]{26}$`).MatchString(first) {
		t.Errorf("token %q", first)
	}
	if again, err := Token(path); err != nil || again != first {
		t.Errorf("then %q, %v", again, err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if other, err := Token(path); err != nil || other == first {
		t.Errorf("a new token is %q, %v", other, err)
	}
}

func TestTokenOfSomebodyElse(t *testing.T) {
	path := filepath.Join(t.TempDir(), "token")
	for text, good := range map[string]bool{
		"my-own-long_token-1\n": true, "short\n": false, "": false, "with a space in the middle": false, "sixteen&letters!": false, strings.Repeat("ü", 20): false,
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := Token(path)
		if good != (err == nil) || good && got != strings.TrimSpace(text) {
			t.Errorf("%q: token %q, %v", text, got, err)
		}
	}
}

var (
	testNames     = []string{"localhost", "bench.local"}
	testAddresses = []net.IP{net.IPv4(127, 0, 0, 1), net.ParseIP("192.0.2.7"), net.ParseIP("fd00::7")}
)

// A client that trusts the certificate, by its own check of names and times (crypto/x509, RFC
// 5280), reaches a server that has it.
func TestCertificateServes(t *testing.T) {
	cert, err := Certificate(filepath.Join(t.TempDir(), "certificate.pem"), testNames, testAddresses, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) }))
	srv.TLS = &tls.Config{Certificates: []tls.Certificate{cert}}
	srv.StartTLS()
	defer srv.Close()
	trust := x509.NewCertPool()
	trust.AddCert(cert.Leaf)
	for _, name := range []string{"127.0.0.1", "localhost", "bench.local", "192.0.2.7", "fd00::7", "other.local"} {
		client := http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trust, ServerName: name}}}
		res, err := client.Get(srv.URL)
		if good := name != "other.local"; good != (err == nil) {
			t.Errorf("%s: %v", name, err)
		}
		if err == nil {
			res.Body.Close()
		}
	}
}

func TestCertificateIsKeptWhileItServes(t *testing.T) {
	path := filepath.Join(t.TempDir(), "certificate.pem")
	now := time.Now()
	serial := func(names []string, addresses []net.IP, now time.Time) string {
		t.Helper()
		cert, err := Certificate(path, names, addresses, now)
		if err != nil {
			t.Fatal(err)
		}
		return cert.Leaf.SerialNumber.String()
	}
	first := serial(testNames, testAddresses, now)
	for _, c := range []struct {
		what      string
		names     []string
		addresses []net.IP
		at        time.Time
		kept      bool
	}{
		{"the same", testNames, testAddresses, now, true},
		{"fewer names", testNames[:1], nil, now, true},
		{"a year later", testNames, testAddresses, now.Add(365 * 24 * time.Hour), true},
		{"near its end", testNames, testAddresses, now.Add(certLife - certSpare + time.Hour), false},
		{"back in time", testNames, testAddresses, now, false},
		{"another address", testNames, []net.IP{net.ParseIP("192.0.2.8")}, now, false},
		{"another name", []string{"shop.local"}, nil, now, false},
	} {
		got := serial(c.names, c.addresses, c.at)
		if (got == first) != c.kept {
			t.Errorf("%s: kept is %v, want %v", c.what, got == first, c.kept)
		}
		first = got
	}
	if err := os.WriteFile(path, []byte("no certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	if serial(testNames, nil, now) == first {
		t.Error("a file that is none was read")
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v: the key is in it", info.Mode(), err)
	}
}

// The SHA-256 of "abc" is the first example of FIPS 180-2, appendix B.1.
func TestFingerprint(t *testing.T) {
	got := Fingerprint(tls.Certificate{Certificate: [][]byte{[]byte("abc")}})
	want := "BA:78:16:BF:8F:01:CF:EA:41:41:40:DE:5D:AE:22:23:B0:03:61:A3:96:17:7A:9C:B4:10:FF:61:F2:00:15:AD"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestCertificateFileIsPEM(t *testing.T) {
	path := filepath.Join(t.TempDir(), "certificate.pem")
	if _, err := Certificate(path, testNames, nil, time.Now()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for block, rest := pem.Decode(data); block != nil; block, rest = pem.Decode(rest) {
		kinds = append(kinds, block.Type)
	}
	if strings.Join(kinds, ", ") != "CERTIFICATE, PRIVATE KEY" {
		t.Errorf("blocks %v", kinds)
	}
}

func TestNobodyToNotify(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	if err := Notify("READY=1"); err != nil {
		t.Error(err)
	}
	t.Setenv("NOTIFY_SOCKET", filepath.Join(t.TempDir(), "none"))
	if err := Notify("READY=1"); err == nil {
		t.Error("a socket that is not there took the news")
	}
}
