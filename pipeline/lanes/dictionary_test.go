package lanes

import (
	"context"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"hindcheck/pipeline/duck"
)

// Words are read as DuckDB wrote them, however it keeps them: in dictionaries, as
// they are, or as differences, over several pages, with gaps and without.
func TestReadWords(t *testing.T) {
	ctx := context.Background()
	db, err := duck.Open(ctx, duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	columns := map[string]string{
		"few":    "'w' || (hash(i) % 7)",
		"runs":   "CASE WHEN i // 3000 % 2 = 0 THEN 'long' ELSE 'w' || (hash(i) % 300) END",
		"gaps":   "CASE WHEN hash(i) % 3 > 0 THEN 'w' || (hash(i) % 40) END",
		"rare":   "CASE WHEN hash(i) % 999 = 0 THEN 'seldom' END",
		"blocks": "CASE WHEN i // 5000 % 2 = 0 THEN 'there' END",
		"never":  "NULL::VARCHAR",
		"always": "'the same'",
		"many":   "'word ' || hash(i)",
		"empty":  "CASE WHEN hash(i) % 2 = 0 THEN '' ELSE 'é' END",
	}
	for _, version := range []string{"V1", "V2"} {
		for _, n := range []int{0, 1, 7, 70_000} {
			path := filepath.Join(t.TempDir(), "words.parquet")
			list := ""
			for name, expr := range columns {
				list += ", " + expr + " AS " + name
			}
			if _, err := db.Exec(fmt.Sprintf("COPY (SELECT (i %% 40 - 3)::SMALLINT AS small%s FROM range(%d) t(i)) TO '%s' (FORMAT parquet, PARQUET_VERSION %s, ROW_GROUP_SIZE 20480, COMPRESSION zstd)", list, n, path, version)); err != nil {
				t.Fatal(err)
			}
			var want, got []int32
			for v := range n {
				want = append(want, int32(v%40-3))
			}
			if got = readWhole(t, path); !slices.Equal(got, want) {
				t.Errorf("%s, %d rows: other numbers", version, n)
			}
			for name, expr := range columns {
				var want []string
				if err := scanAll(db.Query(fmt.Sprintf("SELECT coalesce(%s, 'none') FROM range(%d) t(i)", expr, n)))(&want); err != nil {
					t.Fatal(err)
				}
				if got := readWords(t, path, name); !slices.Equal(got, want) {
					t.Errorf("%s, %d rows, column %s: other words", version, n, name)
				}
			}
		}
	}
}

type queried interface {
	Next() bool
	Scan(...any) error
	Err() error
	Close() error
}

func scanAll[R queried](rows R, err error) func(into *[]string) error {
	return func(into *[]string) error {
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var s string
			if err := rows.Scan(&s); err != nil {
				return err
			}
			*into = append(*into, s)
		}
		return rows.Err()
	}
}

func readWords(t *testing.T, path, name string) (out []string) {
	t.Helper()
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	all := NewVocabulary()
	words := ReadWords(r, name, all.Number)
	for {
		n, err := r.Next(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			return out
		}
		for i := range n {
			if at := words.At(i); at == None {
				out = append(out, "none")
			} else {
				out = append(out, all.Word(at))
			}
		}
	}
}

func readWhole(t *testing.T, path string) (out []int32) {
	t.Helper()
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	small := Whole(r, "small")
	for {
		n, err := r.Next(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			return out
		}
		out = append(out, small.Values[:n]...)
	}
}

// Runs and packed bits of every width are read in pieces of any size.
func TestHybrid(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for width := range 25 {
		var want []int32
		var data []byte
		for range 40 {
			if r.IntN(2) == 0 {
				n, v := 1+r.IntN(300), int32(r.Uint32N(1<<width))
				data = binary.AppendUvarint(data, uint64(n)<<1)
				for b := range (width + 7) / 8 {
					data = append(data, byte(v>>(8*b)))
				}
				want = append(want, slices.Repeat([]int32{v}, n)...)
				continue
			}
			groups := 1 + r.IntN(9)
			data = binary.AppendUvarint(data, uint64(groups)<<1|1)
			at := len(data)
			data = append(data, make([]byte, groups*width)...)
			for i := range 8 * groups {
				v := r.Uint32N(1 << width)
				for b := range width {
					data[at+(i*width+b)/8] |= byte(v>>b&1) << ((i*width + b) % 8)
				}
				want = append(want, int32(v))
			}
		}
		h, err := newHybrid(data, width)
		if err != nil {
			t.Fatal(err)
		}
		var got []int32
		for len(got) < len(want) {
			piece := make([]int32, min(1+r.IntN(50), len(want)-len(got)))
			if v, ok, err := h.run(len(piece)); err != nil {
				t.Fatal(err)
			} else if ok {
				got = append(got, slices.Repeat([]int32{v}, len(piece))...)
				continue
			}
			if err := h.read(piece); err != nil {
				t.Fatal(err)
			}
			got = append(got, piece...)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%d bits: other numbers", width)
		}
	}
}

// A damaged page is an error and no panic.
func FuzzHybrid(f *testing.F) {
	f.Add([]byte{3, 0xff}, 1)
	f.Add([]byte{16, 5}, 3)
	f.Fuzz(func(t *testing.T, data []byte, width int) {
		h, err := newHybrid(data, width)
		if err != nil {
			return
		}
		out := make([]int32, 100)
		for range 20 {
			if _, _, err := h.run(3); err != nil {
				return
			}
			if err := h.read(out); err != nil {
				return
			}
		}
	})
}
