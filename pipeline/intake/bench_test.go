package intake

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/intake/benchdata"
	"hindcheck/pipeline/source"
)

// benchCalls is the size of the benchmark's month; a load of five million
// calls takes the same time a row.
const benchCalls = 100_000

// BenchmarkRead measures reading, checking, mapping, pseudonymising and
// writing staged rows, a record kind at a time.
func BenchmarkRead(b *testing.B) {
	calls, checks, err := benchdata.Write(b.TempDir(), benchCalls)
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		record, path string
		yaml         []byte
	}{{"calls", calls, benchdata.CallsYAML}, {"checks", checks, benchdata.ChecksYAML}} {
		for _, workers := range []int{1, 2} {
			b.Run(fmt.Sprintf("record=%s/workers=%d", c.record, workers), func(b *testing.B) { benchRead(b, c.path, c.yaml, workers) })
		}
	}
}

func benchRead(b *testing.B, path string, yaml []byte, workers int) {
	d, err := source.Parse("bench.yaml", yaml, findings.Default())
	if err != nil {
		b.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	b.ReportAllocs()
	rows := int64(0)
	for range b.N {
		r, err := Read(context.Background(), Input{Path: path, Desc: d, Dict: findings.Default(), Key: testKey(b), Dir: b.TempDir(), Workers: workers})
		if err != nil {
			b.Fatal(err)
		}
		rows += r.Rows
	}
	b.ReportMetric(float64(rows)/b.Elapsed().Seconds(), "rows/s")
}

// Memory does not grow with the file: five times the rows, the same heap.
func TestMemoryIsConstant(t *testing.T) {
	if testing.Short() {
		t.Skip("reads a million rows")
	}
	d, err := source.Parse("bench.yaml", benchdata.ChecksYAML, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	peak := func(calls int) (most uint64) {
		_, path, err := benchdata.Write(t.TempDir(), calls)
		if err != nil {
			t.Fatal(err)
		}
		runtime.GC()
		stop, done := make(chan struct{}), make(chan struct{})
		go func() {
			defer close(done)
			var m runtime.MemStats
			for {
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapInuse)
				select {
				case <-stop:
					return
				case <-time.After(2 * time.Millisecond):
				}
			}
		}()
		_, err = Read(context.Background(), Input{Path: path, Desc: d, Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), Workers: 2})
		close(stop)
		<-done
		if err != nil {
			t.Fatal(err)
		}
		return most
	}
	peak(65_000) // pools and tables that the first read fills
	small, large := peak(65_000), peak(325_000)
	t.Logf("most heap in use: %d MB for 260,000 rows, %d MB for 1,300,000", small>>20, large>>20)
	if large > 2*small+64<<20 {
		t.Errorf("heap grew from %d MB to %d MB with five times the rows", small>>20, large>>20)
	}
}
