package inspect

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A column of keys is one whether they are numbered, hashed or universal ids.
func TestKeysOfEveryShape(t *testing.T) {
	var b strings.Builder
	b.WriteString("numbered,hashed,universal,said\n")
	for i := range 500 {
		h := fmt.Sprintf("%016x%016x", uint64(i+1)*0x9e3779b97f4a7c15, uint64(i+7)*0xbf58476d1ce4e5b9)
		fmt.Fprintf(&b, "K-%05d,%s,%s-%s-%s-%s-%s,%s\n", i, h, h[:8], h[8:12], h[12:16], h[16:20], h[20:], fmt.Sprintf("the owner of %d says he limps a bit", i))
	}
	path := filepath.Join(t.TempDir(), "keys.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := File(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []Kind{Key, Key, Key, Prose} {
		if got := r.Columns[i].Kind; got != want {
			t.Errorf("%s: %s, want %s", r.Columns[i].Name, got, want)
		}
	}
}
