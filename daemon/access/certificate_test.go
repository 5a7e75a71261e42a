package access_test

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"log/slog"
	"math/big"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"abbed/daemon/access"
)

// selfMade writes a certificate of that name, good until then, and its key.
func selfMade(t *testing.T, cert, key, name string, until time.Time) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	plan := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, DNSNames: []string{name},
		NotBefore: until.Add(-365 * 24 * time.Hour), NotAfter: until}
	c, errC := x509.CreateCertificate(rand.Reader, plan, plan, &k.PublicKey, k)
	der, errK := x509.MarshalPKCS8PrivateKey(k)
	if err := errors.Join(errC, errK,
		os.WriteFile(cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: c}), 0o644),
		os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600)); err != nil {
		t.Fatal(err)
	}
}

// A renewed certificate is taken without a restart; files that cannot be used,
// or that do not belong together yet, change nothing, and it is said once each.
func TestCertificateRenewed(t *testing.T) {
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "c.pem"), filepath.Join(dir, "k.pem")
	h := newHand()
	later := h.now().Add(90 * 24 * time.Hour)
	selfMade(t, cert, key, "one.example", later)
	var said bytes.Buffer
	c, err := access.OpenCertificate(cert, key, h.now, slog.New(slog.NewTextHandler(&said, nil)))
	if err != nil {
		t.Fatal(err)
	}
	is := func(want, says string) {
		t.Helper()
		h.add(6 * time.Second)
		for range 3 {
			got, err := c.Get(nil)
			if err != nil || got.Leaf.Subject.CommonName != want {
				t.Errorf("%v %v, want %s", got.Leaf.Subject, err, want)
			}
		}
		if text := said.String(); says == "" && text != "" || !strings.Contains(text, says) || strings.Count(text, "\n") > 1 {
			t.Errorf("it says %q, want once %q", text, says)
		}
		said.Reset()
	}
	newer := func(name string) { // another time, whatever the file system's clock
		h.add(time.Minute)
		if err := os.Chtimes(name, h.now(), h.now()); err != nil {
			t.Fatal(err)
		}
	}
	is("one.example", "")
	if err := os.WriteFile(cert, []byte("no certificate"), 0o644); err != nil {
		t.Fatal(err)
	}
	is("one.example", "was not taken, the old one stays")
	is("one.example", "")
	selfMade(t, cert, filepath.Join(dir, "other.pem"), "two.example", later)
	newer(cert)
	is("one.example", "does not match") // the key comes a moment later
	if err := os.Rename(filepath.Join(dir, "other.pem"), key); err != nil {
		t.Fatal(err)
	}
	newer(key)
	is("two.example", "a new certificate is in use")
	if err := os.Chmod(key, 0o604); err != nil {
		t.Fatal(err)
	}
	newer(key)
	is("two.example", "can be read by everybody")
	if err := os.Chmod(key, 0o600); err != nil {
		t.Fatal(err)
	}
	selfMade(t, cert, key, "old.example", h.now().Add(-time.Hour))
	newer(cert)
	is("two.example", "it was good until")
	if err := os.Remove(cert); err != nil {
		t.Fatal(err)
	}
	is("two.example", "no such file")
	selfMade(t, cert, key, "three.example", h.now().Add(5*24*time.Hour))
	newer(cert)
	h.add(6 * time.Second)
	if got, _ := c.Get(nil); got.Leaf.Subject.CommonName != "three.example" || !strings.Contains(said.String(), "soon over") {
		t.Errorf("%v; %s", got.Leaf.Subject, said.String())
	}
	if _, err := access.OpenCertificate(filepath.Join(dir, "none"), key, h.now, slog.New(slog.DiscardHandler)); err == nil {
		t.Error("no such file at the start")
	}
}

// The socket can be given to a group; one that is not there is said.
func TestSocketGroup(t *testing.T) {
	dir := t.TempDir()
	if _, err := access.ListenSocket(filepath.Join(dir, "a"), "no-such-group-here"); err == nil || !strings.Contains(err.Error(), "socket_group") {
		t.Errorf("%v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	ids, err := os.Getgroups()
	if err != nil || len(ids) == 0 {
		ids = []int{os.Getgid()}
	}
	id := ids[len(ids)-1]
	g, err := user.LookupGroupId(strconv.Itoa(id))
	if err != nil {
		t.Skipf("this user's group %d has no name here: %v", id, err)
	}
	path := filepath.Join(dir, "b")
	l, err := access.ListenSocket(path, g.Name)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != access.SocketMode || int(info.Sys().(*syscall.Stat_t).Gid) != id {
		t.Errorf("%v, group %v, want %d: %v", info.Mode(), info.Sys().(*syscall.Stat_t).Gid, id, err)
	}
}
