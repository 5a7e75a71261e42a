package access

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Own is a certificate that abbed made for the names and addresses of this machine. An
// authority of its own signs it: who trusts that one once, on a phone, trusts every later
// certificate of this daemon, and by its constraints no other site.
type Own struct {
	// Certificate and Key are the files, Authority that of the authority, in PEM.
	Certificate, Key, Authority string
	// Fingerprint is the SHA-256 of the certificate, as browsers show it.
	Fingerprint string
}

const (
	authorityLife = 10 * 365 * 24 * time.Hour
	// ownLife of a certificate: phones refuse more than 825 days (common practice, from
	// memory). It is made anew at a start in its last quarter, or for other names.
	ownLife = 800 * 24 * time.Hour
)

// OwnFiles names the files of a state directory.
func OwnFiles(dir string) Own {
	return Own{Certificate: filepath.Join(dir, "certificate.pem"), Key: filepath.Join(dir, "certificate-key.pem"), Authority: filepath.Join(dir, "authority.pem")}
}

// OpenOwn returns the certificate that is kept in dir if it is good for all names (host
// names and addresses), and else makes one.
func OpenOwn(dir string, names []string, now time.Time) (Own, error) {
	o := OwnFiles(dir)
	names = append(slices.Clone(names), "localhost", "127.0.0.1", "::1")
	if pair, err := tls.LoadX509KeyPair(o.Certificate, o.Key); err == nil && o.good(pair.Leaf, names, later(now.Add(ownLife/4), pair.Leaf.NotBefore)) {
		o.Fingerprint = fingerprint(pair.Leaf.Raw)
		return o, nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return o, fmt.Errorf("access: make a certificate: %w", err)
	}
	if err := o.make(dir, names, now); err != nil {
		return o, fmt.Errorf("access: make a certificate in %s: %w", dir, err)
	}
	return o, nil
}

// later is the later of two times: a clock that is behind (a board without a battery, before
// it hears the time) must not make anew what a phone trusts.
func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}

// good reports whether a certificate holds for all names at a time, by the authority.
func (o Own) good(leaf *x509.Certificate, names []string, at time.Time) bool {
	roots := x509.NewCertPool()
	if b, err := os.ReadFile(o.Authority); err != nil || !roots.AppendCertsFromPEM(b) {
		return false
	}
	return !slices.ContainsFunc(names, func(name string) bool {
		_, err := leaf.Verify(x509.VerifyOptions{DNSName: name, Roots: roots, CurrentTime: at})
		return err != nil
	})
}

// make writes a new certificate, by the authority that is there if it may sign for all
// names, and else by a new one.
func (o *Own) make(dir string, names []string, now time.Time) error {
	for _, again := range []bool{false, true} {
		signer, err := authority(o.Authority, filepath.Join(dir, "authority-key.pem"), names, now, again)
		if err != nil {
			return err
		}
		t := blank("abbed on "+names[0], now, ownLife)
		t.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}
		t.DNSNames, t.IPAddresses, _ = sorted(names)
		leaf, err := issue(o.Certificate, o.Key, t, &signer)
		if err != nil {
			return err
		}
		o.Fingerprint = fingerprint(leaf.Leaf.Raw)
		if o.good(leaf.Leaf, names, now.Add(ownLife/4)) {
			return nil
		}
	}
	return errors.New("it does not hold for every name")
}

// authority reads the authority, or makes it; anew makes another one.
func authority(cert, key string, names []string, now time.Time, anew bool) (tls.Certificate, error) {
	if pair, err := tls.LoadX509KeyPair(cert, key); err == nil && !anew && pair.Leaf.NotAfter.After(now.Add(ownLife)) {
		return pair, nil
	}
	t := blank("abbed on "+names[0]+", its own authority", now, authorityLife)
	t.IsCA, t.MaxPathLenZero, t.KeyUsage = true, true, x509.KeyUsageCertSign
	t.PermittedDNSDomainsCritical = true
	t.PermittedDNSDomains, _, t.PermittedIPRanges = sorted(names)
	for _, private := range []string{"10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10"} { // RFC 1918, 3927, 4193, 4291
		_, n, _ := net.ParseCIDR(private)
		t.PermittedIPRanges = append(t.PermittedIPRanges, n)
	}
	return issue(cert, key, t, nil)
}

func blank(name string, now time.Time, life time.Duration) *x509.Certificate {
	serial, _ := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	return &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: name}, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature,
		NotBefore: now.Add(-24 * time.Hour), NotAfter: now.Add(life), // a phone's clock may be behind
	}
}

// sorted tells names from addresses, and gives these as networks too.
func sorted(names []string) (dns []string, ips []net.IP, nets []*net.IPNet) {
	for _, name := range names {
		if ip, err := netip.ParseAddr(name); err == nil {
			bits := ip.BitLen()
			ips, nets = append(ips, ip.AsSlice()), append(nets, &net.IPNet{IP: ip.AsSlice(), Mask: net.CIDRMask(bits, bits)})
		} else {
			dns = append(dns, name)
		}
	}
	return dns, ips, nets
}

// issue makes a key and a certificate, signed by another or (nil) by itself, and writes
// both: the key first, and for its owner only.
func issue(cert, key string, t *x509.Certificate, by *tls.Certificate) (tls.Certificate, error) {
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, err
	}
	parent, signer := t, any(k)
	if by != nil {
		parent, signer = by.Leaf, by.PrivateKey
	}
	der, err := x509.CreateCertificate(rand.Reader, t, parent, k.Public(), signer)
	if err != nil {
		return tls.Certificate{}, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		return tls.Certificate{}, err
	}
	for _, f := range []struct {
		name, kind string
		der        []byte
		mode       os.FileMode
	}{{key, "PRIVATE KEY", secret, 0o600}, {cert, "CERTIFICATE", der, 0o644}} {
		var b bytes.Buffer
		_ = pem.Encode(&b, &pem.Block{Type: f.kind, Bytes: f.der})
		if err := errors.Join(os.WriteFile(f.name+".new", b.Bytes(), f.mode), os.Rename(f.name+".new", f.name)); err != nil {
			return tls.Certificate{}, err
		}
	}
	return tls.LoadX509KeyPair(cert, key)
}

// fingerprint writes the SHA-256 of a certificate as browsers show it.
func fingerprint(der []byte) string {
	var b strings.Builder
	for i, x := range sha256.Sum256(der) {
		if i > 0 {
			b.WriteByte(':')
		}
		fmt.Fprintf(&b, "%02X", x)
	}
	return b.String()
}
