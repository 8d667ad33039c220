package privacy

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"strings"
	"testing"
)

// Codes of short values are those of the library, for every length that fits a
// block, and longer ones are left to the library.
func TestShortMACEqualsLibrary(t *testing.T) {
	key := []byte("0123456789abcdef0123456789ABCDEF")
	for _, prefix := range []string{"", "call\x1f", strings.Repeat("p", 40)} {
		m := newShortMAC(key, []byte(prefix))
		if m == nil {
			t.Fatalf("none for a prefix of %d bytes", len(prefix))
		}
		for n := range 80 {
			value := bytes.Repeat([]byte{byte(n), 0xff, 0}, n)[:n]
			if fits := len(prefix)+n <= 55; m.fits(value) != fits {
				t.Errorf("%d bytes behind %d fit: %v; want %v", n, len(prefix), !fits, fits)
			} else if !fits {
				continue
			}
			mac := hmac.New(sha256.New, key)
			mac.Write([]byte(prefix))
			mac.Write(value)
			got := make([]byte, sha256.Size)
			if m.sum(got, value); !bytes.Equal(got, mac.Sum(nil)) {
				t.Errorf("%d bytes behind %d: %x", n, len(prefix), got)
			}
		}
	}
	if newShortMAC(bytes.Repeat([]byte("k"), 65), nil) != nil || newShortMAC(key, bytes.Repeat([]byte("p"), 55)) != nil {
		t.Error("one for a key or prefix that does not fit a block")
	}
	if (*shortMAC)(nil).fits(nil) {
		t.Error("a value fits where there is none")
	}
}
