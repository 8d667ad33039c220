package tabular

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"os"
	"strings"
	"sync/atomic"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// textFile is a file read as UTF-8 text, unpacked and decoded on the way, its
// raw bytes hashed.
type textFile struct {
	io.Reader
	file   io.Closer // nil where the caller's reader is read
	raw    *hashed
	unpack io.Closer // decompressor, or nil
	marked bool      // a byte order mark overrode the stated encoding
	size   int64     // bytes of the text, 0 where it is packed, encoded or streamed
}

// readAhead is what is looked at before the text goes on to buffers of its own.
const readAhead = 1 << 16

// hashed passes bytes on, hashes them, and counts them if seen is set.
type hashed struct {
	r    io.Reader
	h    hash.Hash
	seen *atomic.Int64
}

func (h *hashed) Read(p []byte) (int, error) {
	n, err := h.r.Read(p)
	h.h.Write(p[:n])
	if h.seen != nil {
		h.seen.Add(int64(n))
	}
	return n, err
}

// sum reads what is left of the file and returns the hash of all of it.
func (h *hashed) sum() string {
	io.Copy(io.Discard, h)
	return hex.EncodeToString(h.h.Sum(nil))
}

// Encodings that a text file may state.
var Encodings = []string{"utf-8", "utf-16", "windows-1252"}

// openText opens the file at path, or reads the format's In under its name.
func openText(path string, f Format) (*textFile, error) {
	in, encoding := f.In, f.Encoding
	t := &textFile{}
	if in == nil {
		file, err := os.Open(path)
		if err != nil {
			return nil, &Problem{File: path, Expected: "a file that can be read", Found: "none", Err: err}
		}
		t.file, in = file, file
		if about, err := file.Stat(); err == nil && about.Mode().IsRegular() {
			t.size = about.Size()
		}
	}
	t.raw = &hashed{in, sha256.New(), f.Seen}
	if err := t.layers(path, encoding); err != nil {
		t.Close()
		return nil, err
	}
	if _, asItIs := t.Reader.(*bufio.Reader); !asItIs || t.unpack != nil {
		t.size = 0
	}
	return t, nil
}

// layers puts the decompressor and the decoder on the raw bytes.
func (t *textFile) layers(path, encoding string) error {
	buf := bufio.NewReaderSize(t.raw, readAhead)
	head, _ := buf.Peek(4)
	switch {
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}):
		gz, err := gzip.NewReader(buf)
		if err != nil {
			return unpackProblem(path, "gzip", err)
		}
		t.unpack, buf = gz, bufio.NewReaderSize(gz, readAhead)
	case bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		z, err := zstd.NewReader(buf, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(1<<30))
		if err != nil {
			return unpackProblem(path, "zstd", err)
		}
		c := z.IOReadCloser()
		t.unpack, buf = c, bufio.NewReaderSize(c, readAhead)
	}
	if err := refuse(path, buf); err != nil {
		return err
	}
	return t.decode(path, encoding, buf)
}

func unpackProblem(path, kind string, err error) error {
	return &Problem{File: path, Expected: "whole " + kind + " data", Found: "damaged data", Remedy: "fetch the file again", Err: err}
}

// refuse recognises files that are no text table whatever the description says.
func refuse(path string, buf *bufio.Reader) error {
	head, _ := buf.Peek(512)
	switch {
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return &Problem{File: path, Expected: "a text table", Found: "a zip archive or workbook", Remedy: "unpack it, or set file: kind: xlsx if it is a workbook"}
	case bytes.HasPrefix(head, []byte{0xd0, 0xcf, 0x11, 0xe0}):
		return &Problem{File: path, Expected: "a text table", Found: "a workbook of the old binary kind", Remedy: "save it as xlsx or csv"}
	case bytes.HasPrefix(head, []byte("PAR1")):
		return &Problem{File: path, Expected: "a text table", Found: "a parquet file", Remedy: "set file: kind: parquet"}
	}
	low := strings.ToLower(string(bytes.TrimSpace(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")))))
	for _, p := range []string{"<!doctype", "<html", "<table", "<?xml", "<meta", "<head"} {
		if strings.HasPrefix(low, p) {
			return &Problem{File: path, Expected: "a text table", Found: "a web page or XML document, whatever the file's name says", Remedy: "open it and save it as csv or xlsx"}
		}
	}
	return nil
}

// decode picks the decoder; a byte order mark leaves no doubt and overrides
// the stated encoding.
func (t *textFile) decode(path, encoding string, buf *bufio.Reader) error {
	head, _ := buf.Peek(3)
	switch {
	case bytes.HasPrefix(head, []byte("\xef\xbb\xbf")):
		buf.Discard(3)
		t.marked = encoding != "" && encoding != "utf-8"
		encoding = "utf-8"
	case bytes.HasPrefix(head, []byte{0xff, 0xfe}), bytes.HasPrefix(head, []byte{0xfe, 0xff}):
		t.marked = encoding != "utf-16"
		encoding = "utf-16"
	}
	switch encoding {
	case "", "utf-8":
		t.Reader = buf
	case "utf-16":
		// Without a mark little endian is meant, which is what spreadsheets write.
		t.Reader = transform.NewReader(buf, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder())
	case "windows-1252":
		t.Reader = transform.NewReader(buf, charmap.Windows1252.NewDecoder())
	default:
		return &Problem{File: path, Expected: "encoding " + strings.Join(Encodings, ", "), Found: "another", Remedy: "correct file: encoding: in the source description"}
	}
	return nil
}

func (t *textFile) Close() error {
	if t.unpack != nil {
		t.unpack.Close()
	}
	if t.file == nil {
		return nil
	}
	return t.file.Close()
}
