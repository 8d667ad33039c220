// Package duck opens DuckDB the one way this project uses it: in memory, in
// UTC, with a stated number of threads, a memory limit, a place to spill, and
// no way to load an extension or reach the network.
//
// Everything that needs DuckDB starts here: pipeline/resolve for the joins of
// a load, queries for counting. Oddities of the engine are written down next
// to the settings that deal with them.
package duck

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"runtime"
	"strings"
	"sync"

	duckdb "github.com/duckdb/duckdb-go/v2"
)

// Options are the limits of one database.
type Options struct {
	// Threads is how many threads a query may use; 0 means all processors.
	Threads int
	// MemoryMB caps DuckDB's own buffers in megabytes; 0 means 1,024. Work
	// that does not fit spills to TempDir.
	MemoryMB int
	// TempDir is where spilled blocks go. Empty means no spilling: a query
	// that needs more than MemoryMB fails instead.
	TempDir string
	// GiveBack returns memory to the system soon after it is freed, for work
	// whose peak matters more than its speed.
	GiveBack bool
}

// Open starts an in-memory database. The caller closes it.
//
// DuckDB keeps TimeZone for a connection, so every connection of the pool sets
// it. The rest belongs to the database and is set once: a spill folder that is
// already in use cannot be set again, not even to the same value.
func Open(ctx context.Context, opt Options) (*sql.DB, error) {
	if opt.Threads <= 0 {
		opt.Threads = runtime.NumCPU()
	}
	if opt.MemoryMB <= 0 {
		opt.MemoryMB = 1024
	}
	settings := []string{
		"SET autoinstall_known_extensions = false",
		"SET autoload_known_extensions = false",
		fmt.Sprintf("SET threads = %d", opt.Threads),
		fmt.Sprintf("SET memory_limit = '%dMB'", opt.MemoryMB),
		// Partitioned writes and big scans must not hold rows back only to
		// keep the order of the input: wherever order matters our SQL says
		// ORDER BY.
		"SET preserve_insertion_order = false",
	}
	if opt.GiveBack {
		// The peak of a load was a fifth lower for it, at no measurable cost.
		settings = append(settings, "SET allocator_flush_threshold = '16MB'", "SET allocator_bulk_deallocation_flush_threshold = '32MB'")
	}
	if opt.TempDir == "" {
		settings = append(settings, "SET temp_directory = ''")
	} else {
		settings = append(settings, "SET temp_directory = "+Quote(opt.TempDir))
	}
	var mu sync.Mutex
	connector, err := duckdb.NewConnector("", func(execer driver.ExecerContext) error {
		mu.Lock()
		defer mu.Unlock()
		now := append(settings, "SET TimeZone = 'UTC'")
		settings = nil
		for _, s := range now {
			if _, err := execer.ExecContext(ctx, s, nil); err != nil {
				return fmt.Errorf("set up duckdb (%s): %w", s, err)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("open duckdb: %w", err)
	}
	db := sql.OpenDB(connector)
	if err := db.PingContext(ctx); err != nil {
		_ = db.Close()
		return nil, fmt.Errorf("open duckdb: %w", err)
	}
	return db, nil
}

// Quote makes a string literal of s. It is for the few places where DuckDB
// takes no bound parameter: file lists, settings and COPY targets.
func Quote(s string) string {
	return "'" + strings.ReplaceAll(s, "'", "''") + "'"
}

// FileList makes the list literal that read_parquet takes: ['a', 'b'].
func FileList(paths []string) string {
	quoted := make([]string, len(paths))
	for i, p := range paths {
		quoted[i] = Quote(p)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}
