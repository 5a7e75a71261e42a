package access

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"abbed/config/outside"
)

// Certificate is a certificate with its key, from two files that may be replaced
// while it is in use: the new ones are taken at the next connection, at most
// lookAgain later. Files that cannot be used change nothing.
type Certificate struct {
	cert, key string
	now       func() time.Time
	log       *slog.Logger

	mu     sync.Mutex
	good   *tls.Certificate
	seen   [2]stampOf // of the files when they were last tried
	looked time.Time
}

// stampOf tells one state of a file from the next.
type stampOf struct {
	at   time.Time
	size int64
}

// lookAgain is how often the files are looked at, at most.
const lookAgain = 5 * time.Second

// mostPEM bounds each file, bytes; a long chain has some 20 kB.
const mostPEM = 1 << 20

// OpenCertificate reads certificate chain and key (PEM). now may be nil.
func OpenCertificate(cert, key string, now func() time.Time, log *slog.Logger) (*Certificate, error) {
	if now == nil {
		now = time.Now
	}
	c := &Certificate{cert: cert, key: key, now: now, log: log, looked: now()}
	c.seen = c.stamps()
	good, err := c.read()
	if err != nil {
		return nil, err
	}
	if over := c.over(good); over != nil {
		log.Warn("browsers will refuse the certificate", "err", over) // still better than no page
	}
	c.good = good
	return c, nil
}

// Get is a tls.Config's GetCertificate.
func (c *Certificate) Get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if now := c.now(); now.Sub(c.looked) >= lookAgain {
		c.looked = now
		c.renew()
	}
	return c.good, nil
}

// renew reads the files if they are others than when they were last tried.
func (c *Certificate) renew() {
	stamps := c.stamps()
	if stamps == c.seen {
		return
	}
	c.seen = stamps
	good, err := c.read()
	if err == nil {
		err = c.over(good)
	}
	if err != nil {
		c.log.Error("the new certificate was not taken, the old one stays", "err", err, "good until", until(c.good))
		return
	}
	c.good = good
	c.log.Info("a new certificate is in use", "file", c.cert, "good until", until(good))
}

// stamps looks at the files; one that is not there has the zero stamp.
func (c *Certificate) stamps() (out [2]stampOf) {
	for i, name := range []string{c.cert, c.key} {
		if info, err := os.Stat(name); err == nil {
			out[i] = stampOf{info.ModTime(), info.Size()}
		}
	}
	return out
}

// read reads and checks both files.
func (c *Certificate) read() (*tls.Certificate, error) {
	info, err := os.Stat(c.key)
	if err != nil {
		return nil, fmt.Errorf("access.key: %w", err)
	}
	if info.Mode().Perm()&0o007 != 0 {
		return nil, fmt.Errorf("access.key %s can be read by everybody (mode %04o); chmod o-rwx it", c.key, info.Mode().Perm())
	}
	cert, err := outside.Read(c.cert, mostPEM)
	if err != nil {
		return nil, fmt.Errorf("access.certificate: %w", err)
	}
	key, err := outside.Read(c.key, mostPEM)
	if err != nil {
		return nil, fmt.Errorf("access.key: %w", err)
	}
	pair, err := tls.X509KeyPair(cert, key)
	if err != nil {
		return nil, fmt.Errorf("access.certificate %s and access.key %s: %w", c.cert, c.key, err)
	}
	if pair.Leaf == nil {
		if pair.Leaf, err = x509.ParseCertificate(pair.Certificate[0]); err != nil {
			return nil, fmt.Errorf("access.certificate %s: %w", c.cert, err)
		}
	}
	return &pair, nil
}

// over returns an error for a certificate that is no longer good, and warns of
// one that soon will not be.
func (c *Certificate) over(pair *tls.Certificate) error {
	left := pair.Leaf.NotAfter.Sub(c.now())
	if left < 0 {
		return fmt.Errorf("access.certificate %s: it was good until %s; renew it", c.cert, until(pair))
	}
	if left < soonOver {
		c.log.Warn("the certificate is soon over", "file", c.cert, "good until", until(pair))
	}
	return nil
}

// soonOver is when a certificate is warned about.
const soonOver = 14 * 24 * time.Hour

func until(c *tls.Certificate) string { return c.Leaf.NotAfter.UTC().Format(time.DateOnly) }
