package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
)

// secretBytes is the size of every random secret: 256 bits.
const secretBytes = 32

// secret is the SHA-256 of a random text that somebody else knows. The text
// itself is not kept.
type secret [sha256.Size]byte

// newSecret returns a fresh random text and its hash.
func newSecret() (text string, s secret) {
	b := make([]byte, secretBytes)
	_, _ = rand.Read(b) // never fails (crypto/rand, since Go 1.24)
	text = base64.RawURLEncoding.EncodeToString(b)
	return text, hash(text)
}

func hash(text string) secret { return sha256.Sum256([]byte(text)) }

// is compares in constant time.
func (s secret) is(t secret) bool { return subtle.ConstantTimeCompare(s[:], t[:]) == 1 }

func (s secret) hex() string { return hex.EncodeToString(s[:]) }
