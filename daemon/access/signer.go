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
var ErrToken = errors.New("the sign-off token is wrong, used, expired or for another table; sign off again")

// mostSigned bounds a token, bytes; a person's name may have 200 letters.
const mostSigned = 2048

// Signer makes the tokens of a sign-off: each is for one digest, for one use,
// for SignOffLife. The key is random and in memory only, so that a token does
// not outlive the memory of those that were used: after a restart every table
// is signed off anew.
type Signer struct {
	kind string
	now  func() time.Time
	key  [sha256.Size]byte

	mu   sync.Mutex
	used map[string]time.Time // nonce, and when it may be forgotten
}

// NewSigner returns a signer for one kind of act, such as "apply"; a token of
// another kind, or of another signer, opens nothing. now is the wall clock;
// nil: time.Now.
func NewSigner(kind string, now func() time.Time) *Signer {
	if now == nil {
		now = time.Now
	}
	s := &Signer{kind: kind, now: now, used: map[string]time.Time{}}
	_, _ = rand.Read(s.key[:]) // never fails (crypto/rand, since Go 1.24)
	return s
}

// ticket is the open part of a token.
type ticket struct {
	Nonce   string `json:"n"`
	Expires int64  `json:"e"` // Unix time, ms
	Person  string `json:"p"`
}

// Issue returns a token that redeems digest once, and until when.
func (s *Signer) Issue(digest, person string) (token string, expires time.Time) {
	nonce := make([]byte, 16)
	_, _ = rand.Read(nonce)
	expires = s.now().Add(SignOffLife).UTC().Truncate(time.Millisecond)
	t := ticket{Nonce: base64.RawURLEncoding.EncodeToString(nonce), Expires: expires.UnixMilli(), Person: clip(person)}
	open, err := json.Marshal(t)
	if err != nil {
		panic(fmt.Sprintf("access: a ticket is plain text and a number: %v", err))
	}
	part := base64.RawURLEncoding.EncodeToString(open)
	return part + "." + base64.RawURLEncoding.EncodeToString(s.mac(digest, part)), expires
}

// Redeem uses the token up for digest, and returns who signed off. ErrToken if
// it is not a token of this signer for this digest, was used, or has expired;
// a token that was for another digest is not used up.
func (s *Signer) Redeem(token, digest string) (person string, err error) {
	part, mac, ok := strings.Cut(token, ".")
	if !ok || len(token) > mostSigned {
		return "", ErrToken
	}
	given, err := base64.RawURLEncoding.Strict().DecodeString(mac)
	if err != nil || !hmac.Equal(given, s.mac(digest, part)) {
		return "", ErrToken
	}
	open, err := base64.RawURLEncoding.Strict().DecodeString(part)
	if err != nil {
		return "", ErrToken
	}
	var t ticket
	if err := json.Unmarshal(open, &t); err != nil {
		return "", ErrToken
	}
	return t.Person, s.use(t)
}

// use marks the ticket as used.
func (s *Signer) use(t ticket) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	now, expires := s.now(), time.UnixMilli(t.Expires)
	for n, until := range s.used {
		if now.After(until) {
			delete(s.used, n)
		}
	}
	if !now.Before(expires) {
		return fmt.Errorf("%w (it expired)", ErrToken)
	}
	if _, before := s.used[t.Nonce]; before {
		return fmt.Errorf("%w (it was used)", ErrToken)
	}
	s.used[t.Nonce] = expires
	return nil
}

// mac is HMAC-SHA256 (RFC 2104) over kind, digest and the ticket, each with its
// length before it, so that no two of them can be cut differently.
func (s *Signer) mac(digest, part string) []byte {
	h := hmac.New(sha256.New, s.key[:])
	for _, x := range []string{s.kind, digest, part} {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(x)))
		h.Write(n[:])
		h.Write([]byte(x))
	}
	return h.Sum(nil)
}

// clip shortens a person's name to 200 letters of valid text.
func clip(s string) string {
	r := []rune(strings.ToValidUTF8(s, ""))
	return string(r[:min(len(r), 200)])
}
