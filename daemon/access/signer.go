package access

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"
)

// SignOffLife is how long a sign-off is good.
const SignOffLife = 10 * time.Minute

// ErrToken says that a sign-off token opens nothing here.
var ErrToken = errors.New("the approval token is wrong, used, expired or for another table; approve again")

// mostSigned bounds a token, bytes; a person's name may have 200 letters.
const mostSigned = 2048

// Signer makes the tokens of a sign-off: each is for one digest, for one use,
// for SignOffLife. The key and the list of what is outstanding are in memory
// only: after a restart every table is signed off anew, and no token can
// outlive the memory of its use, whatever the wall clock is set to.
type Signer struct {
	kind string
	now  func() time.Time
	key  [sha256.Size]byte

	mu   sync.Mutex
	open map[string]time.Time // nonce of a token not used yet, and its end
}

// NewSigner returns a signer for one kind of act, such as "apply"; a token of
// another kind, or of another signer, opens nothing. now is the wall clock;
// nil: time.Now.
func NewSigner(kind string, now func() time.Time) *Signer {
	if now == nil {
		now = time.Now
	}
	s := &Signer{kind: kind, now: now, open: map[string]time.Time{}}
	_, _ = rand.Read(s.key[:]) // never fails (crypto/rand, since Go 1.24)
	return s
}

// mostOpen bounds the outstanding tokens; the one that ends first goes first.
const mostOpen = 256

// ticket is the readable part of a token.
type ticket struct {
	Nonce   string `json:"n"`
	Expires int64  `json:"e"` // Unix time, ms
	Person  string `json:"p"`
}

// Issue returns a token that redeems digest once, and until when.
func (s *Signer) Issue(digest, person string) (token string, expires time.Time) {
	nonce := make([]byte, 16)
	_, _ = rand.Read(nonce)
	expires = s.now().Add(SignOffLife)
	t := ticket{Nonce: base64.RawURLEncoding.EncodeToString(nonce), Expires: expires.UnixMilli(), Person: clip(person)}
	readable, err := json.Marshal(t)
	if err != nil {
		panic(fmt.Sprintf("access: a ticket is plain text and a number: %v", err))
	}
	s.remember(t.Nonce, expires)
	part := base64.RawURLEncoding.EncodeToString(readable)
	return part + "." + s.mac(digest, part), expires.UTC().Round(0)
}

// remember notes a token as outstanding, and forgets what has ended.
func (s *Signer) remember(nonce string, expires time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now, first := s.now(), ""
	for n, end := range s.open {
		if !now.Before(end) {
			delete(s.open, n)
		} else if first == "" || end.Before(s.open[first]) {
			first = n
		}
	}
	if len(s.open) >= mostOpen {
		delete(s.open, first)
	}
	s.open[nonce] = expires
}

// Redeem uses the token up for digest, and returns who signed off. ErrToken if
// it is not a token of this signer for this digest, was used, or has expired;
// a token that was for another digest is not used up.
func (s *Signer) Redeem(token, digest string) (person string, err error) {
	part, mac, ok := strings.Cut(token, ".")
	if !ok || len(token) > mostSigned {
		return "", ErrToken
	}
	// The text is compared, not what it decodes to: the decoder skips newlines.
	if !hmac.Equal([]byte(mac), []byte(s.mac(digest, part))) {
		return "", ErrToken
	}
	readable, err := base64.RawURLEncoding.Strict().DecodeString(part)
	if err != nil {
		return "", ErrToken
	}
	var t ticket
	if err := json.Unmarshal(readable, &t); err != nil || !s.use(t) {
		return "", ErrToken
	}
	return t.Person, nil
}

// use uses a ticket up; false if it was used before or has ended. Both clocks
// count: the one that runs evenly, and the wall's.
func (s *Signer) use(t ticket) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	end, there := s.open[t.Nonce]
	delete(s.open, t.Nonce)
	now := s.now()
	return there && now.Before(end) && now.UnixMilli() < t.Expires
}

// mac is HMAC-SHA256 (RFC 2104) over kind, digest and the ticket, each with its
// length before it, so that no two of them can be cut differently.
func (s *Signer) mac(digest, part string) string {
	h := hmac.New(sha256.New, s.key[:])
	for _, x := range []string{s.kind, digest, part} {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(x)))
		h.Write(n[:])
		h.Write([]byte(x))
	}
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil))
}

// clip shortens a person's name to 200 letters of valid text.
func clip(s string) string {
	r := []rune(strings.ToValidUTF8(s, ""))
	return string(r[:min(len(r), 200)])
}
