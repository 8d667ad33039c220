package progress

import (
	"bytes"
	"testing"
	"time"
)

func TestTimeLeft(t *testing.T) {
	now := time.Date(2026, 11, 1, 12, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		spent       time.Duration
		done, total int64
		want        string
	}{
		"a quarter read":  {10 * time.Second, 25, 100, ", about 30s left"},
		"minutes":         {time.Minute, 1, 3, ", about 2m0s left"},
		"just begun":      {100 * time.Millisecond, 1, 100, ""},
		"nothing read":    {10 * time.Second, 0, 100, ""},
		"all read":        {10 * time.Second, 100, 100, ""},
		"size not known":  {10 * time.Second, 5, 0, ""},
		"grew since then": {10 * time.Second, 120, 100, ""},
	} {
		if got := (remaining{now.Add(-c.spent), c.done, c.total}).text(now); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// In a pipe or a file nothing is shown, whatever is called.
func TestSilentWithoutTerminal(t *testing.T) {
	var out bytes.Buffer
	r := New(&out, false)
	r.Bytes(1, 2)
	r.Step("read calls.csv", 10)
	r.Done()
	if out.Len() > 0 {
		t.Errorf("%q", out.String())
	}
}
