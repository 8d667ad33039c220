package tabular

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

func utf16Bytes(s string, big, mark bool) string {
	var b []byte
	units := utf16.Encode([]rune(s))
	if mark {
		units = append([]uint16{0xfeff}, units...)
	}
	for _, u := range units {
		if big {
			b = append(b, byte(u>>8), byte(u))
		} else {
			b = append(b, byte(u), byte(u>>8))
		}
	}
	return string(b)
}

func gz(s string) string {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	io.WriteString(w, s)
	w.Close()
	return b.String()
}

func zst(s string) string {
	var b bytes.Buffer
	w, _ := zstd.NewWriter(&b)
	io.WriteString(w, s)
	w.Close()
	return b.String()
}

func TestEncodings(t *testing.T) {
	const text = "größe,°C\nhündin,38\n"
	for _, c := range []struct {
		name, bytes string
		f           Format
		note        bool
	}{
		{"utf-8", text, Format{}, false},
		{"utf-8 with mark", "\ufeff" + text, Format{}, false},
		{"utf-8 with mark, stated otherwise", "\ufeff" + text, Format{Encoding: "windows-1252"}, true},
		{"utf-16 little endian with mark", utf16Bytes(text, false, true), Format{Encoding: "utf-16"}, false},
		{"utf-16 big endian with mark", utf16Bytes(text, true, true), Format{Encoding: "utf-16"}, false},
		{"utf-16 with mark, stated otherwise", utf16Bytes(text, false, true), Format{}, true},
		{"utf-16 without mark", utf16Bytes(text, false, false), Format{Encoding: "utf-16"}, false},
		{"windows-1252", "gr\xf6\xdfe,\xb0C\nh\xfcndin,38\n", Format{Encoding: "windows-1252"}, false},
		{"gzip", gz(text), Format{}, false},
		{"gzip of two members", gz(text[:10]) + gz(text[10:]), Format{}, false},
		{"zstd", zst(text), Format{}, false},
		{"zstd of utf-16", zst(utf16Bytes(text, false, true)), Format{Encoding: "utf-16"}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := write(t, c.bytes)
			header, rows, notes, err := readAll(t, path, c.f, 1)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff([]string{"größe", "°C"}, header); d != "" {
				t.Error(d)
			}
			if d := cmp.Diff([]refRow{{2, []string{"hündin", "38"}, false}}, rows, cmp.AllowUnexported(refRow{})); d != "" {
				t.Error(d)
			}
			if (notes["byte_order_mark_over_encoding"] > 0) != c.note {
				t.Errorf("notes %v", notes)
			}
		})
	}
}

// The content hash is that of the file as it lies on the disk.
func TestContentHash(t *testing.T) {
	path := write(t, gz("a,b\n1,2\n"))
	r, err := Open(path, Format{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	r.Select([]int{0})
	var b Batch
	for err == nil {
		err = r.Next(&b)
	}
	raw, _ := os.ReadFile(path)
	want := sha256.Sum256(raw)
	if got := r.ContentHash(); got != hex.EncodeToString(want[:]) || err != io.EOF {
		t.Errorf("hash %s, want %x; %v", got, want, err)
	}
}

// Files that are no text table are refused with what they are.
func TestRefusedFiles(t *testing.T) {
	for _, c := range []struct{ name, bytes, found string }{
		{"empty", "", "the end of the file"},
		{"blank lines", "\n\n  \n", "the end of the file"},
		{"zip", "PK\x03\x04xxxx", "a zip archive or workbook"},
		{"old workbook", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a workbook of the old binary kind"},
		{"web page", "\n <HTML><body><table><tr><td>Call</td></tr>", "a web page"},
		{"parquet", "PAR1xxxx", "a parquet file"},
		{"damaged gzip", gz("a,b\n1,2\n")[:20], "damaged"},
		{"header breaks off", "a,\"b\n1,2\n", "a quote that is never closed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, _, err := readAll(t, write(t, c.bytes), Format{}, 1)
			var p *Problem
			if !errors.As(err, &p) || !strings.Contains(p.Found, c.found) || p.Expected == "" || p.Remedy == "" {
				t.Errorf("got %v, want a problem with %q and a remedy", err, c.found)
			}
		})
	}
	if _, err := Open("/no/such/file.csv", Format{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
}

// A file that is damaged far behind its beginning is an error, not an end.
func TestDamagedLater(t *testing.T) {
	text := "a,b\n" + strings.Repeat("1,2\n", 800_000)
	packed := gz(text)
	_, _, _, err := readAll(t, write(t, packed[:len(packed)/2]), Format{}, 2)
	var p *Problem
	if !errors.As(err, &p) || p.Row < 2 {
		t.Errorf("got %v", err)
	}
}

// Closing a reader before its end neither hangs nor leaks the splitter.
func TestCloseEarly(t *testing.T) {
	path := write(t, "a,b\n"+strings.Repeat("1,2\n", 1_000_000))
	for _, reads := range []int{0, 1} {
		r, err := Open(path, Format{})
		if err != nil {
			t.Fatal(err)
		}
		r.Select([]int{0, 1})
		var b Batch
		for range reads {
			if err := r.Next(&b); err != nil {
				t.Fatal(err)
			}
		}
		if err := r.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestTrim(t *testing.T) {
	for in, want := range map[string]string{" a ": "a", "\u00a0a\u202f": "a", "\ufeffa": "a", "\t\r\n": "", "ä": "ä", "a b": "a b", "": "", "\u200b": "", "\xc2": "\xc2"} {
		if got := string(Trim([]byte(in))); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}
