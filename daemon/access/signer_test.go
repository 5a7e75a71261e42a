package access_test

import (
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"abbed/daemon/access"
)

// hand is a clock that is set by hand.
type hand struct {
	mu sync.Mutex
	at time.Time
}

func newHand() *hand { return &hand{at: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)} }

func (h *hand) now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.at
}

func (h *hand) add(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.at = h.at.Add(d)
}

func TestSigner(t *testing.T) {
	clock := newHand()
	s := access.NewSigner("apply", clock.now)
	other := access.NewSigner("apply", clock.now)
	token, expires := s.Issue("digest-a", "the person at the bench")
	if got := expires.Sub(clock.now()); got != 10*time.Minute {
		t.Errorf("good for %v, want 10 min", got)
	}
	part, mac, _ := strings.Cut(token, ".")
	theirs, _ := other.Issue("digest-a", "the person at the bench")
	_, otherMac, _ := strings.Cut(theirs, ".")
	for name, try := range map[string]struct{ token, digest string }{
		"another digest":    {token, "digest-b"},
		"no digest":         {token, ""},
		"empty":             {"", "digest-a"},
		"no mac":            {part + ".", "digest-a"},
		"no ticket":         {"." + mac, "digest-a"},
		"cut":               {token[:len(token)-2], "digest-a"},
		"longer":            {token + "A", "digest-a"},
		"newline inside":    {part + "." + mac[:5] + "\n" + mac[5:], "digest-a"},
		"changed ticket":    {"A" + part[1:] + "." + mac, "digest-a"},
		"boundary moved":    {part[1:] + "." + mac, "digest-a" + part[:1]},
		"very long":         {strings.Repeat("A", 1<<20), "digest-a"},
		"another one's mac": {part + "." + otherMac, "digest-a"},
	} {
		if who, err := s.Redeem(try.token, try.digest); !errors.Is(err, access.ErrToken) || who != "" {
			t.Errorf("%s: %q, %v: want ErrToken", name, who, err)
		}
	}
	if _, err := other.Redeem(token, "digest-a"); !errors.Is(err, access.ErrToken) {
		t.Errorf("redeemed by another signer: %v", err)
	}
	// None of these used it up.
	if who, err := s.Redeem(token, "digest-a"); err != nil || who != "the person at the bench" {
		t.Fatalf("%q, %v", who, err)
	}
	for _, later := range []time.Duration{0, time.Minute, time.Hour, -2 * time.Hour} {
		clock.add(later)
		if _, err := s.Redeem(token, "digest-a"); !errors.Is(err, access.ErrToken) {
			t.Errorf("replayed after the clock moved by %v: %v", later, err)
		}
	}
}

func TestSignerExpires(t *testing.T) {
	clock := newHand()
	s := access.NewSigner("apply", clock.now)
	in, _ := s.Issue("d", "p")
	late, _ := s.Issue("d", "p")
	clock.add(10*time.Minute - time.Millisecond)
	if _, err := s.Redeem(in, "d"); err != nil {
		t.Errorf("just in time: %v", err)
	}
	clock.add(time.Millisecond)
	if _, err := s.Redeem(late, "d"); !errors.Is(err, access.ErrToken) {
		t.Errorf("at its end: %v", err)
	}
	clock.add(-5 * time.Minute) // somebody sets the clock back
	if _, err := s.Redeem(late, "d"); !errors.Is(err, access.ErrToken) {
		t.Errorf("tried late, then with the clock set back: %v", err)
	}
}

// Of many that redeem the same token at once, one succeeds.
func TestSignerOnce(t *testing.T) {
	s := access.NewSigner("apply", nil)
	token, _ := s.Issue("d", "p")
	var wg sync.WaitGroup
	var won atomic.Int32
	for range 32 {
		wg.Go(func() {
			if _, err := s.Redeem(token, "d"); err == nil {
				won.Add(1)
			}
		})
	}
	wg.Wait()
	if won.Load() != 1 {
		t.Errorf("%d redeemed it", won.Load())
	}
}

// A name of any length and script comes back, clipped; a flood of sign-offs
// pushes the oldest out and nothing else.
func TestSignerBounds(t *testing.T) {
	s := access.NewSigner("apply", nil)
	token, _ := s.Issue("d", strings.Repeat("<", 5000)+"\xff")
	if who, err := s.Redeem(token, "d"); err != nil || who != strings.Repeat("<", 200) {
		t.Errorf("%d letters, %v", len(who), err)
	}
	first, _ := s.Issue("d", "first")
	var last string
	for range 300 {
		last, _ = s.Issue("d", "last")
	}
	if _, err := s.Redeem(first, "d"); !errors.Is(err, access.ErrToken) {
		t.Errorf("the oldest of 301: %v", err)
	}
	if _, err := s.Redeem(last, "d"); err != nil {
		t.Errorf("the newest: %v", err)
	}
}

func FuzzRedeem(f *testing.F) {
	s := access.NewSigner("apply", nil)
	good, _ := s.Issue("d", "p")
	f.Add(good, "d2")
	f.Add("e30.AAAA", "d")
	f.Add("..", "")
	f.Fuzz(func(t *testing.T, token, digest string) {
		if token == good && digest == "d" {
			return
		}
		if _, err := s.Redeem(token, digest); err == nil {
			t.Errorf("%q redeems %q", token, digest)
		}
	})
}
