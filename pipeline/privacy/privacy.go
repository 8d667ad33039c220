// Package privacy turns raw identifiers into pseudonyms under a secret key.
//
// A pseudonym is the first 16 bytes of HMAC-SHA-256(key, space 0x1f value)
// (RFC 2104 with FIPS 180-4). The space ("call", "animal", ...) keeps equal raw
// numbers of different things apart. Without the key nobody can tell whether a
// guessed telephone number belongs to a pseudonym; with it, the same raw value
// gives the same pseudonym in every export, so the key must be kept and never
// changed for a store. Check gives a value by which a wrong key is noticed.
//
// Start at ReadKey, then Key.Hasher.
package privacy

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

// EnvKey is the environment variable that may hold the key.
const EnvKey = "HINDCHECK_KEY"

// MinBytes is the shortest key that is accepted, the length of the hash.
const MinBytes = 32

// ErrKey is wrapped by every error about a missing or unfit key.
var ErrKey = errors.New("pseudonym key")

// Key is a secret pseudonym key. Its zero value is no key. However it is
// printed, the secret does not show.
type Key struct{ secret *[]byte }

// IsZero reports whether there is no key.
func (k Key) IsZero() bool { return k.secret == nil }

const redacted = "[key withheld]"

// String hides the secret.
func (k Key) String() string { return redacted }

// GoString hides the secret.
func (k Key) GoString() string { return redacted }

// Format hides the secret under every verb.
func (k Key) Format(f fmt.State, _ rune) { io.WriteString(f, redacted) }

// MarshalText hides the secret from JSON and other writers.
func (k Key) MarshalText() ([]byte, error) { return []byte(redacted), nil }

// NewKey makes a key of raw bytes, at least MinBytes of them.
func NewKey(secret []byte) (Key, error) {
	if len(secret) < MinBytes {
		return Key{}, fmt.Errorf("%w: expected at least %d bytes, found %d; make one with: openssl rand -hex %d", ErrKey, MinBytes, len(secret), MinBytes)
	}
	if constant(secret) {
		return Key{}, fmt.Errorf("%w: all bytes are the same; make one with: openssl rand -hex %d", ErrKey, MinBytes)
	}
	s := append([]byte(nil), secret...)
	return Key{&s}, nil
}

func constant(b []byte) bool {
	for _, c := range b {
		if c != b[0] {
			return false
		}
	}
	return true
}

// ParseKey reads a key written in hexadecimal or base64 (standard or URL
// alphabet, padded or not). Space around it does not count.
func ParseKey(text string) (Key, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return Key{}, fmt.Errorf("%w: it is empty; make one with: openssl rand -hex %d", ErrKey, MinBytes)
	}
	// A text of only hexadecimal digits is read as hexadecimal: as base64 the
	// same text would be another key.
	if raw, err := hex.DecodeString(text); err == nil {
		return NewKey(raw)
	}
	plain := strings.TrimRight(text, "=")
	for _, enc := range []*base64.Encoding{base64.RawStdEncoding, base64.RawURLEncoding} {
		if raw, err := enc.DecodeString(plain); err == nil {
			return NewKey(raw)
		}
	}
	return Key{}, fmt.Errorf("%w: expected hexadecimal or base64, found text of %d characters that is neither", ErrKey, len(text))
}

// ReadKey reads the key from a file, or, when path is empty, from the
// environment variable HINDCHECK_KEY through getenv (os.Getenv). A key file
// that its group or others may read is refused.
func ReadKey(path string, getenv func(string) string) (Key, error) {
	if path == "" {
		text := getenv(EnvKey)
		if text == "" {
			return Key{}, fmt.Errorf("%w: none given; name a key file, or set %s", ErrKey, EnvKey)
		}
		k, err := ParseKey(text)
		if err != nil {
			return Key{}, fmt.Errorf("%s: %w", EnvKey, err)
		}
		return k, nil
	}
	return readKeyFile(path)
}

func readKeyFile(path string) (Key, error) {
	f, err := os.Open(path)
	if err != nil {
		return Key{}, fmt.Errorf("%w: %w", ErrKey, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Key{}, fmt.Errorf("%w: %w", ErrKey, err)
	}
	if !info.Mode().IsRegular() {
		return Key{}, fmt.Errorf("%w: %s is not a plain file", ErrKey, path)
	}
	if err := private(path, info); err != nil {
		return Key{}, err
	}
	text, err := io.ReadAll(io.LimitReader(f, 64<<10))
	if err != nil {
		return Key{}, fmt.Errorf("%w: %w", ErrKey, err)
	}
	k, err := ParseKey(string(text))
	if err != nil {
		return Key{}, fmt.Errorf("%s: %w", path, err)
	}
	return k, nil
}

// Check returns a value that tells two keys apart without giving either away:
// it is kept with the data, and a load with another key is refused.
func (k Key) Check() string {
	p := k.Pseudonym("hindcheck key check", "1")
	return hex.EncodeToString(p[:])
}

// Pseudonym returns the pseudonym of one value in a space. For many values
// take a Hasher.
func (k Key) Pseudonym(space, value string) [16]byte {
	m := hmac.New(sha256.New, *k.secret)
	io.WriteString(m, space)
	m.Write([]byte{separator})
	io.WriteString(m, value)
	var out [16]byte
	copy(out[:], m.Sum(nil))
	return out
}

// separator stands between space and value, and between the parts of a
// composite value; it cannot occur in a space's name.
const separator = 0x1f
