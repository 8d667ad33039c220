package intake

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/rogpeppe/go-internal/txtar"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

var escapes = regexp.MustCompile(`\\x[0-9a-f]{2}|\\u[0-9a-f]{4}|\\r|\\t|\\n`)

// unescape turns the escapes of a case into bytes.
func unescape(s string) string {
	return escapes.ReplaceAllStringFunc(s, func(e string) string {
		switch e[1] {
		case 'r':
			return "\r"
		case 't':
			return "\t"
		case 'n':
			return "\n"
		}
		n, _ := strconv.ParseUint(e[2:], 16, 32)
		if e[1] == 'u' {
			return string(rune(n))
		}
		return string([]byte{byte(n)})
	})
}

// encodeFile writes a case's text as its header says.
func encodeFile(t *testing.T, how, text string) string {
	t.Helper()
	text = unescape(text)
	var b bytes.Buffer
	switch word, rest, _ := strings.Cut(how, " "); word {
	case "":
		return text
	case "no-final-newline":
		return strings.TrimSuffix(text, "\n")
	case "prefix":
		return unescape(rest) + text
	case "utf16":
		for _, u := range append([]uint16{0xfeff}, utf16.Encode([]rune(text))...) {
			b.Write([]byte{byte(u), byte(u >> 8)})
		}
	case "gzip":
		w := gzip.NewWriter(&b)
		io.WriteString(w, text)
		w.Close()
	case "zstd":
		w, _ := zstd.NewWriter(&b)
		io.WriteString(w, text)
		w.Close()
	default:
		t.Fatalf("unknown way to write a file: %s", how)
	}
	return b.String()
}

func TestNastyInputs(t *testing.T) {
	cases, err := filepath.Glob("testdata/nasty/*.txt")
	if err != nil || len(cases) < 60 {
		t.Fatalf("%d cases, %v", len(cases), err)
	}
	for _, path := range cases {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) { nastyCase(t, path) })
	}
}

func nastyCase(t *testing.T, path string) {
	a, err := txtar.ParseFile(path)
	if err != nil || len(a.Files) != 2 {
		t.Fatalf("%v, %d sections", err, len(a.Files))
	}
	head := map[string]string{}
	for _, line := range strings.Split(string(a.Comment), "\n")[1:] {
		if k, v, ok := strings.Cut(line, ": "); ok {
			head[k] = v
		}
	}
	desc, err := source.Read(filepath.Join("testdata/nasty", head["source"]+".yaml"), findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	file := write(t, a.Files[1].Name, encodeFile(t, head["file"], string(a.Files[1].Data)))
	r, err := Read(context.Background(), Input{Path: file, Desc: desc, Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), FileNo: 7, Workers: 2})
	want := string(a.Files[0].Data)
	if text, ok := strings.CutPrefix(want, "problem "); ok {
		var p *tabular.Problem
		if !errors.As(err, &p) || !strings.Contains(p.Error(), strings.TrimSpace(text)) || p.Remedy == "" {
			t.Errorf("got %v, want a problem with %q", err, strings.TrimSpace(text))
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	check(t, want, r, readParts(t, r.Parts, "src_row"), readParts(t, r.SetAsideParts, "row"))
}

// check holds a result to the lines of a case.
func check(t *testing.T, want string, r Result, staged, aside []tuple) {
	t.Helper()
	if r.Rows != r.Staged+r.SetAside || int(r.Staged) != len(staged) || int(r.SetAside) != len(aside) {
		t.Errorf("rows %d, staged %d (%d in the parts), set aside %d (%d in the parts)", r.Rows, r.Staged, len(staged), r.SetAside, len(aside))
	}
	got := []string{}
	for _, f := range aside {
		got = append(got, strings.TrimSpace(fmt.Sprintf("aside %s %s %s", f["row"], f["reason"], f["column"])))
		if f["expected"] == "" || f["remedy"] == "" || f["kind"] == "" || f["file"] != r.File {
			t.Errorf("set aside without expectation, kind, remedy or file: %v", f)
		}
	}
	row := func(no string) tuple {
		i := slices.IndexFunc(staged, func(x tuple) bool { return x["src_row"] == no })
		if i < 0 {
			t.Errorf("row %s is not staged", no)
			return tuple{}
		}
		return staged[i]
	}
	asides := []string{}
	notes := map[string]int64{}
	lines := bufio.NewScanner(strings.NewReader(want))
	for lines.Scan() {
		f := strings.SplitN(lines.Text(), " ", 4)
		switch f[0] {
		case "staged":
			if f[1] != strconv.FormatInt(r.Staged, 10) {
				t.Errorf("staged %d, want %s", r.Staged, f[1])
			}
		case "aside":
			asides = append(asides, lines.Text())
		case "note":
			notes[f[1]], _ = strconv.ParseInt(f[2], 10, 64)
		case "value":
			if v := row(f[1])[f[2]]; v != f[3] {
				t.Errorf("row %s: %s is %q, want %q", f[1], f[2], v, f[3])
			}
		case "null":
			if v, ok := row(f[1])[f[2]]; ok {
				t.Errorf("row %s: %s is %q, want none", f[1], f[2], v)
			}
		case "distinct":
			seen := map[string]bool{}
			for _, x := range staged {
				seen[x[f[1]]] = true
			}
			if strconv.Itoa(len(seen)) != f[2] {
				t.Errorf("%d different values of %s, want %s", len(seen), f[1], f[2])
			}
		default:
			t.Errorf("unknown line %q", lines.Text())
		}
	}
	if d := cmp.Diff(asides, got); d != "" {
		t.Errorf("set aside (-want +got):\n%s", d)
	}
	delete(r.Notes, "no_final_newline")
	if notes["no_final_newline"] > 0 {
		delete(notes, "no_final_newline")
	}
	if d := cmp.Diff(notes, r.Notes); d != "" {
		t.Errorf("notes (-want +got):\n%s", d)
	}
}
