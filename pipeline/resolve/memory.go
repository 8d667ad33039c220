package resolve

import (
	"context"
	"errors"
	"fmt"
	"sync"

	duckdb "github.com/duckdb/duckdb-go/v2"
)

// leastMemory is what DuckDB needs to put a month in order, in megabytes.
const leastMemory = 128

// usualMemory is what DuckDB may take over calls and checks, which spill well: with all of
// it making the table of placed calls took a load of 1.7 million to 559 MB instead of 479,
// in the same time.
func (r *Resolver) usualMemory() int {
	return max(3*r.opt.MemoryMB/4, min(r.opt.MemoryMB, leastMemory))
}

// memory is what DuckDB may take at present.
type memory struct {
	mu sync.Mutex
	// megabytes is the limit; 0 leaves DuckDB its own.
	megabytes int
}

// limit sets what DuckDB may take; 0 leaves it as it is.
func (r *Resolver) limit(ctx context.Context, megabytes int) error {
	if megabytes == 0 {
		return nil
	}
	r.memory.mu.Lock()
	defer r.memory.mu.Unlock()
	r.megabytes = megabytes
	return r.setLimit(ctx, megabytes)
}

func (r *Resolver) setLimit(ctx context.Context, megabytes int) error {
	if _, err := r.db.ExecContext(ctx, fmt.Sprintf("SET memory_limit = '%dMB'", megabytes)); err != nil {
		return fmt.Errorf("give DuckDB %d MB: %w", megabytes, err)
	}
	return nil
}

// withMore does again what ran out of memory, with more of it each time and at last
// with four times what a load takes: what DuckDB needs at least depends on how its
// threads happen to meet, and a load is not to fail for our thrift. Nothing of a statement
// that failed is left.
func (r *Resolver) withMore(ctx context.Context, err error, again func() error) error {
	r.memory.mu.Lock()
	defer r.memory.mu.Unlock()
	for _, megabytes := range []int{r.opt.MemoryMB, 3 * r.opt.MemoryMB / 2, 2 * r.opt.MemoryMB, 4 * r.opt.MemoryMB} {
		if megabytes <= r.megabytes {
			continue
		}
		if e := r.setLimit(ctx, megabytes); e != nil {
			return e
		}
		if err = again(); !isOutOfMemory(err) {
			break
		}
	}
	// Where DuckDB cannot give back what it holds yet, it keeps what it has.
	_ = r.setLimit(ctx, r.megabytes)
	return err
}

func isOutOfMemory(err error) bool {
	var e *duckdb.Error
	return errors.As(err, &e) && e.Type == duckdb.ErrorTypeOutOfMemory
}
