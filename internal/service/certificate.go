package service

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"slices"
	"strings"
	"time"
)

// A certificate of our own is good for certLife, about the most that browsers accept, and made
// anew certSpare before that.
const (
	certLife  = 397 * 24 * time.Hour
	certSpare = 30 * 24 * time.Hour
)

// Certificate returns the certificate for these names and addresses in the file at path, key and
// all, and makes it if there is none, it is too old, or it lacks one of them. Nobody but ourselves
// vouches for it: a browser asks its user once.
func Certificate(path string, names []string, addresses []net.IP, now time.Time) (tls.Certificate, error) {
	if data, err := os.ReadFile(path); err == nil {
		if cert, err := tls.X509KeyPair(data, data); err == nil && serves(cert.Leaf, names, addresses, now) {
			return cert, nil
		}
	}
	data, err := newCertificate(names, addresses, now)
	if err != nil {
		return tls.Certificate{}, err
	}
	cert, err := tls.X509KeyPair(data, data)
	if err != nil {
		return cert, err
	}
	return cert, WriteSecret(path, data)
}

func serves(cert *x509.Certificate, names []string, addresses []net.IP, now time.Time) bool {
	if now.Before(cert.NotBefore) || now.Add(certSpare).After(cert.NotAfter) {
		return false
	}
	lacks := func(host string) bool { return cert.VerifyHostname(host) != nil }
	return !slices.ContainsFunc(names, lacks) &&
		!slices.ContainsFunc(addresses, func(ip net.IP) bool { return lacks(ip.String()) })
}

// newCertificate returns a certificate and its key in PEM.
func newCertificate(names []string, addresses []net.IP, now time.Time) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, err
	}
	template := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "tunerd"},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(certLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true, DNSNames: names, IPAddresses: addresses,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return nil, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	data := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	return append(data, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})...), nil
}

// Fingerprint returns the SHA-256 of a certificate as browsers show it.
func Fingerprint(cert tls.Certificate) string {
	sum := sha256.Sum256(cert.Certificate[0])
	parts := make([]string, len(sum))
	for i, b := range sum {
		parts[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(parts, ":")
}
