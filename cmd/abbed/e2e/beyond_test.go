package e2e_test

import (
	"bytes"
	"context"
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
	pix "image"
	"image/color"
	"image/png"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// livingHouse serves a printer that nobody has plugged in, on a real address.
func livingHouse(t *testing.T, change func(*config.Settings)) *house.House {
	t.Helper()
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	s := demo.DemoSettings(sc, "/dev/none", "127.0.0.1:0", t.TempDir())
	change(&s)
	if faults := s.Validate(); len(faults) > 0 {
		t.Fatal(faults)
	}
	h, err := house.Build(t.Context(), house.Plan{Settings: s, Clock: clock.Real(), Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	var own sync.WaitGroup
	own.Go(func() {
		if err := h.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(func() { end(); own.Wait() })
	return h
}

func refusedWith(err error) string {
	var e *api.Error
	if errors.As(err, &e) {
		return e.Code
	}
	return ""
}

// runOn runs a subcommand and returns its exit code, results and words.
func runOn(t *testing.T, args ...string) (int, string, string) {
	t.Helper()
	var out, errs bytes.Buffer
	code := commands.Main(t.Context(), args, &out, &errs)
	return code, out.String(), errs.String()
}

// TestSocket: whoever may write to the socket's file may look, ask for a stop
// and for a run that waits, and nothing else.
func TestSocket(t *testing.T) {
	path := filepath.Join(t.TempDir(), "abbed.sock")
	h := livingHouse(t, func(s *config.Settings) { s.Socket = path })
	info, err := os.Stat(path)
	if err != nil || info.Mode().Type() != os.ModeSocket || info.Mode().Perm() != 0o660 {
		t.Fatalf("the socket: %v %v", info, err)
	}
	a := client.New("unix:"+path, "")
	if _, err := a.Printer(t.Context()); err != nil {
		t.Errorf("looks: %v", err)
	}
	for name, try := range map[string]struct {
		err  error
		code string
	}{
		"confirms":   {a.Confirm(t.Context(), "r", api.Confirm{Person: "nobody", Cautions: []string{}}), "forbidden"},
		"opens":      {a.Open(t.Context(), "nobody"), "forbidden"},
		"undoes":     {a.Undo(t.Context()), "forbidden"},
		"signs":      {second(a.SignOff(t.Context(), "d", api.SignOff{Person: "nobody"})), "forbidden"},
		"applies":    {a.Apply(t.Context(), "d", "t"), "forbidden"},
		"pairs":      {second(a.Pair(t.Context(), "sign")), "forbidden"},
		"gauges":     {second(a.Gauge(t.Context(), "r", api.GaugeAction{Action: "loose"})), "forbidden"},
		"re-applies": {a.Reapply(t.Context()), "not-applied"},
	} {
		if got := refusedWith(try.err); got != try.code {
			t.Errorf("the socket %s: %v, want %s", name, try.err, try.code)
		}
	}
	if _, err := a.StartRun(t.Context(), "repeat"); refusedWith(err) == "forbidden" || refusedWith(err) == "unauthorized" {
		t.Errorf("asks for a run: %v", err)
	}
	if code, out, errs := runOn(t, "status", "--url", "unix:"+path); code != console.ExitDone || !strings.Contains(out, "No correction is in force") {
		t.Errorf("abbed status: %d %s %s", code, out, errs)
	}
	if code, _, errs := runOn(t, "correction", "reapply", "--url", "unix:"+path); code != console.ExitRefused {
		t.Errorf("abbed correction reapply: %d %s", code, errs)
	}
	// With the token the socket opens everything.
	token := h.Access.TokenFile()
	if code, out, errs := runOn(t, "access", "pair", "--url", "unix:"+path, "--token-file", token); code != console.ExitDone || !strings.Contains(out, "/in/") {
		t.Errorf("abbed access pair: %d %s %s", code, out, errs)
	}
	// A second one is refused, and what is no socket is left alone.
	s := config.Default()
	s.Socket, s.State, s.Listen = path, t.TempDir(), "127.0.0.1:0"
	if _, err := house.Build(t.Context(), house.Plan{Settings: s, Clock: clock.Real(), Log: slog.New(slog.DiscardHandler)}); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("a second one: %v", err)
	}
	s.Socket = filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(s.Socket, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := house.Build(t.Context(), house.Plan{Settings: s, Clock: clock.Real(), Log: slog.New(slog.DiscardHandler)}); err == nil {
		t.Error("a file was replaced by a socket")
	}
	if b, _ := os.ReadFile(s.Socket); string(b) != "mine" {
		t.Error("the file is gone")
	}
}

func second[T any](_ T, err error) error { return err }

// ownCertificate makes a certificate for this machine.
func ownCertificate(t *testing.T) (cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "printer.example"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		DNSNames: []string{"printer.example"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	b, err := x509.MarshalECPrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for file, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "EC PRIVATE KEY", Bytes: b}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

// TestTLS: with the owner's certificate the daemon speaks TLS, on every
// address, and its own commands trust what they are told to.
func TestTLS(t *testing.T) {
	cert, key := ownCertificate(t)
	h := livingHouse(t, func(s *config.Settings) {
		s.Listen = "0.0.0.0:0"
		s.Access = config.Access{From: config.FromPhone, Hosts: "printer.example", Certificate: cert, Key: key}
	})
	_, port, _ := net.SplitHostPort(h.Listen.Addr().String())
	url := "https://127.0.0.1:" + port
	code, out, errs := runOn(t, "access", "pair", "--url", url, "--ca", cert, "--token-file", h.Access.TokenFile(), "--role", "look")
	if code != console.ExitDone || !strings.HasPrefix(out, "https://printer.example:"+port+"/in/") {
		t.Errorf("abbed access pair: %d %s %s", code, out, errs)
	}
	if code, _, errs := runOn(t, "status", "--url", url, "--token-file", h.Access.TokenFile()); code != console.ExitCould || !strings.Contains(errs, "certificate") {
		t.Errorf("without --ca: %d %s", code, errs)
	}
	if code, _, errs := runOn(t, "status", "--url", "http://127.0.0.1:"+port, "--token-file", h.Access.TokenFile()); code == console.ExitDone {
		t.Errorf("without TLS: %d %s", code, errs)
	}
}

// TestPhone: with access.from: phone a browser of another machine reaches the page by the
// link that is drawn: under the address of this machine, with a certificate that holds for
// it by the authority that anybody may have. Its fingerprint stands beside the link.
func TestPhone(t *testing.T) {
	if len(house.Addresses()) == 0 {
		t.Skip("this machine is on no network")
	}
	h := livingHouse(t, func(s *config.Settings) { s.Listen, s.Access.From = "0.0.0.0:0", config.FromPhone })
	_, port, _ := net.SplitHostPort(h.Listen.Addr().String())
	here := []string{"--url", "https://localhost:" + port, "--ca", h.Doors.Own.Authority, "--token-file", h.Access.TokenFile()}
	code, out, errs := runOn(t, append([]string{"access", "pair"}, here...)...)
	link := strings.TrimSpace(out)
	if at := "https://" + net.JoinHostPort(house.Addresses()[0], port); code != console.ExitDone || !strings.HasPrefix(link, at+"/in/") {
		t.Fatalf("%d: %s%s, want %s", code, out, errs, at)
	}
	page, _, _ := strings.Cut(link, "/in/")
	for _, want := range []string{h.Doors.Own.Fingerprint, page + "/in/abbed.crt", "\u2580"} {
		if !strings.Contains(errs, want) {
			t.Errorf("beside the link %q is missing:\n%s", want, errs)
		}
	}
	var shown string
	open := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true, VerifyPeerCertificate: func(raw [][]byte, _ [][]*x509.Certificate) error {
		shown = fmt.Sprintf("%X", sha256.Sum256(raw[0]))
		return nil
	}}}}
	r, err := open.Get(page + "/in/abbed.crt")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	pem, err := io.ReadAll(r.Body)
	if err != nil || shown != strings.ReplaceAll(h.Doors.Own.Fingerprint, ":", "") {
		t.Errorf("%v: the phone shows %s, told was %s", err, shown, h.Doors.Own.Fingerprint)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		t.Fatalf("no certificate: %s", pem)
	}
	trusting := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}}
	for _, url := range []string{link, "https://localhost:" + port + "/"} {
		r, err := trusting.Get(url)
		if err != nil || r.StatusCode != http.StatusOK {
			t.Errorf("%s: %v %v", url, r, err)
			continue
		}
		r.Body.Close()
	}
}

// TestPhoneFollows: a machine that gets another address is found there without a restart,
// with a certificate by the same authority.
func TestPhoneFollows(t *testing.T) {
	h := livingHouse(t, func(s *config.Settings) { s.Listen, s.Access.From = "0.0.0.0:0", config.FromPhone })
	_, port, _ := net.SplitHostPort(h.Listen.Addr().String())
	authority, err := os.ReadFile(h.Doors.Own.Authority)
	if err != nil {
		t.Fatal(err)
	}
	const other = "192.168.99.9"
	ask := func() int {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), "GET", "https://localhost:"+port+"/in", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Host = net.JoinHostPort(other, port)
		pool := x509.NewCertPool()
		pool.AppendCertsFromPEM(authority)
		answer, err := (&http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, DisableKeepAlives: true}}).Do(r)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		return answer.StatusCode
	}
	if code := ask(); code != http.StatusMisdirectedRequest {
		t.Errorf("a name that is none: %d", code)
	}
	h.Doors.Machine = []string{other} // as if it had been there
	if err := h.Renamed(*h.Phone); err != nil {
		t.Fatal(err)
	}
	if code := ask(); code != http.StatusOK {
		t.Errorf("the new address: %d", code)
	}
	pair, err := tls.LoadX509KeyPair(h.Doors.Own.Certificate, h.Doors.Own.Key)
	if err != nil || pair.Leaf.VerifyHostname(other) != nil {
		t.Errorf("the certificate does not hold for %s: %v", other, err)
	}
	if now, err := os.ReadFile(h.Doors.Own.Authority); err != nil || !bytes.Equal(now, authority) {
		t.Error("a phone has to trust anew")
	}
}

// TestNoQR: no code is drawn that a phone cannot open.
func TestNoQR(t *testing.T) {
	for _, page := range []string{"http://127.0.0.1:8077", "http://localhost:1", "https://[::1]:8077"} {
		var out strings.Builder
		err := ask.Invite(&out, client.Paired{URL: page + "/in/ABCD-EFGH-2345"}, true)
		if err != nil || strings.Contains(out.String(), "\u2580") || !strings.Contains(out.String(), "A phone cannot open it") {
			t.Errorf("%s: %v\n%s", page, err, &out)
		}
	}
}

// TestBeyondNeedsSettings: an address that others reach is refused until the
// owner has opened it, with exit status 2.
func TestBeyondNeedsSettings(t *testing.T) {
	t.Setenv("GOMEMLIMIT", "off") // serve leaves the process of the tests alone then
	for name, args := range map[string][]string{
		"nothing set":     nil,
		"no names":        {"--set", "access.from=proxy", "--set", "access.plain=true"},
		"no certificate":  {"--set", "access.from=proxy", "--set", "access.proxies=192.0.2.7", "--set", "access.hosts=printer.example"},
		"no such files":   {"--set", "access.from=phone", "--set", "access.hosts=printer.example", "--set", "access.certificate=/none", "--set", "access.key=/none"},
		"names alone":     {"--set", "access.hosts=printer.example"},
		"a bad scraper's": {"--set", "access.scrapers=printer.example"},
	} {
		code, _, errs := runOn(t, append([]string{"serve", "--port", "/dev/none", "--listen", "0.0.0.0:0", "--state", t.TempDir()}, args...)...)
		if code != console.ExitUsage || !strings.Contains(errs, "access") {
			t.Errorf("%s: %d %s", name, code, errs)
		}
	}
}

// TestQR: another program reads what is drawn in the terminal (zbarimg of
// Debian's zbar-tools).
func TestQR(t *testing.T) {
	const link = "https://printer.example:8077/in/ABCD-EFGH-2345"
	var drawn strings.Builder
	if err := ask.DrawQR(&drawn, link); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(drawn.String(), "\n"), "\n")
	const px = 6
	width := len([]rune(lines[0]))
	img := pix.NewGray(pix.Rect(0, 0, width*px, 2*len(lines)*px))
	for y, line := range lines {
		r := []rune(line)
		if len(r) != width || width > 80 {
			t.Fatalf("line %d has %d columns, the first %d; a terminal has 80", y, len(r), width)
		}
		for x, c := range r {
			for half, lit := range []bool{c == '\u2580' || c == '\u2588', c == '\u2584' || c == '\u2588'} {
				if !lit {
					continue
				}
				for i := range px * px {
					img.SetGray(x*px+i%px, (2*y+half)*px+i/px, color.Gray{Y: 255})
				}
			}
		}
	}
	if _, err := exec.LookPath("zbarimg"); err != nil {
		t.Skip("no zbarimg here")
	}
	file := filepath.Join(t.TempDir(), "qr.png")
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(png.Encode(f, img), f.Close()); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("zbarimg", "--quiet", "--raw", file).Output()
	if err != nil || strings.TrimSpace(string(out)) != link {
		t.Errorf("read as %q, %v", out, err)
	}
}
