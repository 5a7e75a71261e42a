package e2e_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"abbed/cmd/abbed/house"
	"abbed/cmd/abbed/setup"
	"abbed/config"
	"abbed/daemon/access"
	"abbed/gcode/port"
)

// TestSetupPhone: one yes to the phone and one to the start are all that it takes: the page
// answers at the address that is drawn, with the certificate whose fingerprint is told.
func TestSetupPhone(t *testing.T) {
	path, _ := plugged(t, "healthy")
	s, link, out := begun(t, path, "0,0,235,235\n30,30,205,205\n\n1\nyes\nyes\n")
	pem, err := os.ReadFile(access.OwnFiles(loaded(t, s.Done.File).State).Authority)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(pem)
	phone := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, DisableKeepAlives: true}}
	r, err := phone.Get(link)
	if err != nil || r.StatusCode != http.StatusOK || !strings.HasPrefix(link, s.PageAt()) {
		t.Fatalf("%s: %v %v\n%s", link, r, err, out)
	}
	r.Body.Close()
	if mark := fmt.Sprintf("%X", sha256.Sum256(r.TLS.PeerCertificates[0].Raw)); !strings.Contains(strings.ReplaceAll(out.String(), ":", ""), mark) {
		t.Errorf("the phone shows %s\n%s", mark, out)
	}
}

// begun is a set-up with a phone that has started abbed: the link that it draws, and what
// it says. abbed ends with the test.
func begun(t *testing.T, path, answers string, flags ...string) (s *setup.Setup, link string, out *heard) {
	t.Helper()
	t.Setenv("GOMEMLIMIT", "off") // serve leaves the process of the tests alone then
	if len(house.Addresses()) == 0 {
		t.Skip("this machine is on no network")
	}
	out = &heard{}
	s = asking(t, "left", answers, &bytes.Buffer{}, append(flags, "--port", path)...)
	s.Errs = out
	if err := s.Run(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	s.Tell()
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	c := &cobra.Command{}
	c.SetContext(ctx)
	done := make(chan error, 1)
	go func() { done <- s.Begin(c) }()
	for !strings.Contains(out.String(), "\u2588\n") {
		select {
		case err := <-done:
			end()
			t.Fatalf("%v\n%s", err, out)
		default:
			runtime.Gosched()
		}
	}
	t.Cleanup(func() {
		end()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return s, regexp.MustCompile(`https://\S+/in/[A-Z2-7-]+`).FindString(out.String()), out
}

// asking is a set-up with a person's answers; what it says goes to out.
func asking(t *testing.T, name, answers string, out *bytes.Buffer, flags ...string) *setup.Setup {
	t.Helper()
	t.Setenv("HOME", t.TempDir())
	dir := t.TempDir()
	s := &setup.Setup{Name: name, Dir: filepath.Join(dir, "etc"), In: bufio.NewReader(strings.NewReader(answers)), Asks: true, Errs: out,
		Plugs: func() []port.Adapter { return nil }, Flags: pflag.NewFlagSet("setup", pflag.ContinueOnError)}
	config.AddFlags(s.Flags, setup.SetupKeys...)
	if err := s.Flags.Parse(flags); err != nil {
		t.Fatal(err)
	}
	return s
}
