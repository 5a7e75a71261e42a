package e2e_test

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"sync/atomic"
	"testing"

	"abbed/config"
)

// TestOneRequestAConnection: with a certificate, too, each request that is under way
// holds a connection of its own, also of a client that would send hundreds over one
// (HTTP/2, RFC 9113, 5.1.2): the door counts connections, and so it counts all there is.
func TestOneRequestAConnection(t *testing.T) {
	cert, key := ownCertificate(t)
	h := livingHouse(t, func(s *config.Settings) {
		s.Listen = "0.0.0.0:0"
		s.Access = config.Access{From: config.FromPhone, Hosts: "printer.example", Certificate: cert, Key: key}
	})
	pem, err := os.ReadFile(cert)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(pem)
	token, err := os.ReadFile(h.Access.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	var dialled atomic.Int64
	via := &http.Transport{ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12},
		DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
			dialled.Add(1)
			return new(net.Dialer).DialContext(ctx, network, address)
		}}
	defer via.CloseIdleConnections()
	_, port, _ := net.SplitHostPort(h.Listen.Addr().String())
	ask := func(body io.Reader) (*http.Response, error) {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "https://127.0.0.1:"+port+"/api/v1/runs", body)
		if err != nil {
			return nil, err
		}
		r.Header.Set("Authorization", "Bearer "+strings.TrimSpace(string(token)))
		r.Header.Set("Content-Type", "application/json")
		return via.RoundTrip(r)
	}
	first, err := ask(strings.NewReader("{}")) // so that the client knows what is spoken
	if err != nil {
		t.Fatal(err)
	}
	if _, err = io.Copy(io.Discard, first.Body); err != nil {
		t.Fatal(err)
	}
	_ = first.Body.Close()
	if p := first.TLS.NegotiatedProtocol; first.ProtoMajor != 1 || p != "http/1.1" {
		t.Errorf("%s, agreed on %q", first.Proto, p)
	}
	const many = 20
	answers := make(chan error, many)
	var bodies []*io.PipeWriter
	for range many {
		r, w := io.Pipe()
		bodies = append(bodies, w)
		go func() {
			answer, err := ask(r)
			if err == nil {
				_, err = io.Copy(io.Discard, answer.Body)
				_ = answer.Body.Close()
			}
			answers <- err
		}()
		if _, err := io.WriteString(w, "{"); err != nil { // the request is under way once this was taken
			t.Fatal(err)
		}
	}
	if n := dialled.Load(); n < many {
		t.Errorf("%d requests at a time over %d connections", many, n)
	}
	for _, w := range bodies {
		_, _ = io.WriteString(w, "}")
		_ = w.Close()
	}
	for range many {
		if err := <-answers; err != nil {
			t.Error(err)
		}
	}
}
