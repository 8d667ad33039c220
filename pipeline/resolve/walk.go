package resolve

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync"

	"hindcheck/pipeline/derive"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// walks derive the cases of months by one pass over the files of each, several
// months at a time.
type walks struct {
	r   *Resolver
	def derive.Definitions

	mu   sync.Mutex
	idle []*derive.Deriver
}

// walked is what came of a month: the file of its cases, if there are any, or
// that its files must be joined.
type walked struct {
	staged store.Staged
	joins  bool
	err    error
}

// walkMemory is what garbage may fill beside what is in use, in all, while months
// are walked; only months of a million calls come near it.
const walkMemory = 300 << 20

// walkCases derives months by walks, as many at a time as there are threads, and
// returns those whose files are out of step.
func (r *Resolver) walkCases(ctx context.Context, months []int) (out []int, err error) {
	defer debug.SetMemoryLimit(debug.SetMemoryLimit(walkMemory))
	w := &walks{r: r}
	if w.def, err = r.definitions(ctx); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	results := make([]walked, len(months))
	r.together(months, func(i int) {
		if results[i] = w.month(ctx, months[i]); results[i].err != nil {
			cancel()
		}
	})
	for i, one := range results {
		switch {
		case one.err != nil && (err == nil || errors.Is(err, context.Canceled)):
			err = fmt.Errorf("month %d: %w", months[i], one.err)
		case one.joins:
			out = append(out, months[i])
		case one.staged.Rows > 0:
			r.res.Add = append(r.res.Add, one.staged)
		}
	}
	return out, err
}

// walkedCalls bounds the calls of the months that are walked at a time, since their
// outcomes and what stands within the window of an episode are held in memory.
const walkedCalls = 1_000_000

// together calls do for each month, as many at a time as there are threads and as
// their calls allow, and waits for all.
func (r *Resolver) together(months []int, do func(i int)) {
	calls := r.rowsByMonth("calls")
	var mu sync.Mutex
	free := sync.NewCond(&mu)
	running, held := 0, int64(0)
	for i, m := range months {
		n := calls[m]
		mu.Lock()
		for running > 0 && (running == r.threads || held+n > walkedCalls) {
			free.Wait()
		}
		running, held = running+1, held+n
		mu.Unlock()
		go func() {
			do(i)
			mu.Lock()
			running, held = running-1, held-n
			mu.Unlock()
			free.Signal()
		}()
	}
	mu.Lock()
	for running > 0 {
		free.Wait()
	}
	mu.Unlock()
}

// month walks one month.
func (w *walks) month(ctx context.Context, month int) (out walked) {
	calls, checks := w.r.present("calls", month), w.r.present("checks", month)
	if len(calls) == 0 {
		return out
	}
	if len(calls) > 1 || len(checks) > 1 || w.r.set.joinCases {
		out.joins = true
		return out
	}
	d := w.take()
	defer w.giveBack(d)
	s := store.Staged{Part: store.Cases, Month: month, Path: filepath.Join(w.r.tx.Staging(), fmt.Sprintf("cases-%d.parquet", month))}
	s.Rows, out.err = d.Month(ctx, derive.Files{Calls: calls[0], Checks: strings.Join(checks, ""), Outcomes: w.r.present("outcomes", month)}, s.Path)
	if errors.Is(out.err, derive.ErrUnwalkable) {
		out.joins, out.err = true, nil
	}
	out.staged = s
	return out
}

// take returns a deriver that nobody uses.
func (w *walks) take() *derive.Deriver {
	w.mu.Lock()
	defer w.mu.Unlock()
	if n := len(w.idle); n > 0 {
		d := w.idle[n-1]
		w.idle = w.idle[:n-1]
		return d
	}
	return derive.New(w.def)
}

func (w *walks) giveBack(d *derive.Deriver) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.idle = append(w.idle, d)
}

// definitions are what the walk derives cases under.
func (r *Resolver) definitions(ctx context.Context) (derive.Definitions, error) {
	def := derive.Definitions{Dictionary: r.set.Dictionary, CaseDef: r.set.CaseDef, EpisodeHours: r.set.EpisodeHours, Shifts: derive.ShiftsOf(ctx, r.db)}
	if r.set.Rules == nil || len(r.set.Rules.Flags) == 0 {
		return def, nil
	}
	var err error
	if def.Program, err = rules.Compile(r.set.Rules, r.set.Dictionary); err != nil {
		err = fmt.Errorf("compile rules: %w", err)
	}
	return def, err
}
