package privacy

import (
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func testKey(t testing.TB) Key {
	t.Helper()
	k, err := ParseKey("000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f")
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func BenchmarkHasher(b *testing.B) {
	h := testKey(b).Hasher("call", 1)
	value := []byte("C-000000001")
	var dst [16]byte
	b.ReportAllocs()
	for i := range b.N {
		value[5], value[6], value[7] = byte(i), byte(i>>8), byte(i>>16)
		h.Sum(dst[:], value)
	}
}

func TestKeyNeverShows(t *testing.T) {
	k := testKey(t)
	type holder struct{ Key Key }
	js, err := json.Marshal(holder{k})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{fmt.Sprint(k), fmt.Sprintf("%v %+v %#v %s %q %x %d", k, k, k, k, k, k, k),
		fmt.Sprintf("%v %+v %#v", holder{k}, holder{k}, &holder{k}), string(js)} {
		if strings.Contains(s, "0001") || strings.Contains(s, "0102") || strings.Contains(s, "1 2 3") || !strings.Contains(s, redacted) {
			t.Errorf("key shows in %q", s)
		}
	}
}

func TestParseKey(t *testing.T) {
	raw := []byte("0123456789abcdef0123456789ABCDEF\xff\xfe")
	want, err := NewKey(raw)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{hex.EncodeToString(raw), " " + strings.ToUpper(hex.EncodeToString(raw)) + "\n",
		base64.StdEncoding.EncodeToString(raw), base64.RawURLEncoding.EncodeToString(raw)} {
		k, err := ParseKey(s)
		if err != nil || k.Check() != want.Check() {
			t.Errorf("%q: %v", s, err)
		}
	}
	for _, s := range []string{"", "  ", "abcd", strings.Repeat("00", 32), "this is not a key at all, is it?", base64.StdEncoding.EncodeToString(raw[:31])} {
		if k, err := ParseKey(s); !errors.Is(err, ErrKey) || !k.IsZero() {
			t.Errorf("%q was accepted: %v", s, err)
		} else if s != "" && len(s) > 8 && strings.Contains(err.Error(), s) {
			t.Errorf("message shows the key: %v", err)
		}
	}
}

func TestReadKey(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "key")
	text := hex.EncodeToString([]byte("0123456789abcdef0123456789ABCDEF"))
	if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	none := func(string) string { return "" }
	fromFile, err := ReadKey(path, none)
	if err != nil {
		t.Fatal(err)
	}
	fromEnv, err := ReadKey("", func(name string) string {
		if name == EnvKey {
			return text
		}
		return ""
	})
	if err != nil || fromEnv.Check() != fromFile.Check() {
		t.Errorf("environment: %v", err)
	}
	for _, mode := range []os.FileMode{0o640, 0o604, 0o660, 0o620} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadKey(path, none); !errors.Is(err, ErrKey) || !strings.Contains(err.Error(), "chmod 600") {
			t.Errorf("mode %o: %v", mode, err)
		}
	}
	if _, err := ReadKey("", none); !errors.Is(err, ErrKey) {
		t.Errorf("no key: %v", err)
	}
	if _, err := ReadKey(filepath.Join(dir, "absent"), none); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("absent: %v", err)
	}
	if _, err := ReadKey(dir, none); !errors.Is(err, ErrKey) {
		t.Errorf("folder: %v", err)
	}
}

// The quick way, with its table of remembered values, must equal the plain way.
func TestHasherEqualsPlain(t *testing.T) {
	k := testKey(t)
	for _, remember := range []int{0, 1, 7, 1024} {
		h := k.Hasher("animal", remember)
		for range 2 {
			for i := range 3000 {
				v := strings.Repeat("x", i%60) + fmt.Sprint(i%97)
				if i%101 == 0 {
					v = ""
				}
				var got [16]byte
				h.Sum(got[:], []byte(v))
				if want := k.Pseudonym("animal", v); got != want {
					t.Fatalf("%q: %x, want %x", v, got, want)
				}
			}
		}
	}
	if k.Pseudonym("a", "1") == k.Pseudonym("b", "1") || k.Pseudonym("a", "1") == k.Pseudonym("a", "2") {
		t.Error("spaces or values are not told apart")
	}
	if string(Join(nil, []byte("12"), []byte("3"))) == string(Join(nil, []byte("1"), []byte("23"))) {
		t.Error("parts of a composite key are not told apart")
	}
	value, h := []byte("C-1"), k.Hasher("call", 1)
	var dst [16]byte
	// The race detector makes values escape that otherwise do not.
	if n := testing.AllocsPerRun(100, func() { value[2]++; h.Sum(dst[:], value) }); n != 0 && !raced {
		t.Errorf("%v allocations a value", n)
	}
}

// Recomputed with Python 3.11:
// hmac.new(bytes(range(32)), b"call\x1f4711", "sha256").hexdigest()[:32]
func TestPseudonymOutside(t *testing.T) {
	p := testKey(t).Pseudonym("call", "4711")
	if got := hex.EncodeToString(p[:]); got != outside4711 {
		t.Errorf("pseudonym %s, want %s", got, outside4711)
	}
}

const outside4711 = "1dfd2d47f4bed3fad488ea492f2a590c"
