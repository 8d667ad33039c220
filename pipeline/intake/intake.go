// Package intake turns one export into staged Parquet: it maps cells as the
// source description says, replaces keys by pseudonyms, checks values, and sets
// aside what it cannot use, with the reason and never with the cell.
//
// What it leaves to others: whether a call is a duplicate, a correction or part
// of an episode is decided when the staged rows meet the store.
//
// Flow of Read:
//
//	tabular.Open -> plan (header meets description) -> workers, each:
//	  batch of cells -> mappers fill column buffers -> checks across columns
//	  -> rows at fault move to set-aside -> row hash -> row groups on disk
//
// Every row of the export is either staged or set aside, and both are counted.
// The set of staged rows depends only on the export, the description, the
// dictionary and the key; how many workers there were shows only in which part
// a row stands. Memory does not grow with the file.
package intake

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/records"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

// Input says what to read and where to put it.
type Input struct {
	// Path is the export, or its name where In is read instead of a file.
	Path string
	In   io.Reader
	Desc *source.Description
	// Dict is the dictionary the description was read with.
	Dict *findings.Dictionary
	Key  privacy.Key
	// Coarse says how coarsely ages, weights and times are kept.
	Coarse privacy.Coarsening
	// Dir is an existing folder for the parts.
	Dir string
	// FileNo is the file's number within the load; it is written to src_file.
	FileNo int32
	// ExportedAt overrides the description; zero: as the description says.
	ExportedAt time.Time
	// Workers is the number of goroutines; 0: one a processor.
	Workers int
	// Progress, if set, is called now and then with the rows read so far, from
	// any goroutine. Seen, if set, counts the bytes taken from a text file.
	Progress func(rows int64)
	Seen     *atomic.Int64
}

// Result says what became of an export. Rows == Staged + SetAside.
//
// For the wide form of checks each reading that the export's row holds is one
// row, and a row that cannot be read at all is one; SourceRows then counts the
// export's rows.
type Result struct {
	Record, File           string
	SourceRows             int64
	Rows, Staged, SetAside int64
	// Parts are the Parquet files of staged rows, SetAsideParts those of rows
	// set aside. Both are empty when there are none. Runs are the runs of the
	// checks in each part (records.Runs), and PartNos how they name it.
	Parts, SetAsideParts, Runs []string
	PartNos                    []int32
	// Words are the words that a text column of the parts may hold, sorted; a
	// column of which there are more than maxTold, or not all are known, is missing.
	Words map[string][]string
	// Reasons counts rows set aside by reason.
	Reasons map[string]int64
	// Examples are the first few rows set aside, by row.
	Examples []Fault
	// ContentHash is the SHA-256 of the file, MappingHash that of description
	// and dictionary.
	ContentHash, MappingHash string
	// ExportedAt is the time of the export, the latest one where rows differ.
	ExportedAt time.Time
	// Notes counts what was put right or passed over: ambiguous_local_time,
	// repaired_unit, repeated_headers and so on; see the Note constants.
	Notes map[string]int64
}

// Read reads one export. The error is a *tabular.Problem when file and
// description do not fit; a bad row is never an error.
func Read(ctx context.Context, in Input) (Result, error) {
	if in.Key.IsZero() {
		return Result{}, fmt.Errorf("read %s: %w: none given", in.Path, privacy.ErrKey)
	}
	format := in.Desc.Format
	format.In, format.Seen = in.In, in.Seen
	rd, err := tabular.Open(in.Path, format)
	if err != nil {
		return Result{}, err
	}
	defer rd.Close()
	p, err := newPlan(in, rd.Header())
	if err != nil {
		return Result{}, err
	}
	if s, ok := rd.(tabular.Serial); ok {
		p.serial, p.from1904 = true, s.Date1904()
	}
	rd.Select(p.selected)
	workers, err := run(ctx, p, rd)
	if err == nil {
		err = missing(p, rd)
	}
	if err != nil {
		for _, w := range workers {
			for _, path := range slices.Concat(w.parts.paths(), w.runs.paths(), w.aside.paths()) {
				err = errors.Join(err, os.Remove(path))
			}
		}
		return Result{}, err
	}
	return result(p, rd, workers), nil
}

// missing finds wanted columns that no record of a file named, in kinds of
// files whose records need not name all: a mistyped name would otherwise pass
// as a column of blanks.
func missing(p *plan, rd tabular.Reader) error {
	s, ok := rd.(tabular.Sparse)
	if !ok {
		return nil
	}
	_, optional := p.desc.ExportColumns()
	for _, name := range s.NeverSeen() {
		if !optional[name] {
			p.problems = append(p.problems, fmt.Sprintf("no record that names %q", name))
		}
	}
	if len(p.problems) == 0 {
		return nil
	}
	slices.Sort(p.problems)
	return &tabular.Problem{File: filepath.Base(p.in.Path), Expected: "records with the columns that " + p.desc.Path + " names", Found: strings.Join(p.problems, ", "),
		Remedy: "correct the description (keys within keys are written with dots), or mark a column optional"}
}

// run lets workers take batches until the file ends or one of them fails.
func run(ctx context.Context, p *plan, rd tabular.Reader) ([]*worker, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	n := p.in.Workers
	if n <= 0 {
		n = runtime.GOMAXPROCS(0)
	}
	var (
		done    atomic.Int64
		wg      sync.WaitGroup
		workers = make([]*worker, n)
		errs    = make([]error, n)
	)
	for i := range workers {
		workers[i] = newWorker(p, i)
	}
	for i, w := range workers {
		wg.Go(func() {
			if errs[i] = w.loop(ctx, rd, &done); errs[i] != nil {
				cancel()
			}
		})
	}
	wg.Wait()
	return workers, firstCause(errs)
}

// firstCause prefers the error that made the others stop.
func firstCause(errs []error) error {
	var first error
	for _, err := range errs {
		if err != nil && (first == nil || errors.Is(first, context.Canceled)) {
			first = err
		}
	}
	return first
}

// loop works off batches and closes the worker's files.
func (w *worker) loop(ctx context.Context, rd tabular.Reader, done *atomic.Int64) (err error) {
	defer func() { err = errors.Join(err, w.parts.close(), w.runs.close(), w.aside.close()) }()
	var b tabular.Batch
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("read %s: fault of this program near row %d: %v", filepath.Base(w.p.in.Path), lastRow(&b), p)
		}
	}()
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		err := rd.Next(&b)
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if err := w.batch(&b); err != nil {
			return err
		}
		if n := done.Add(int64(len(b.Rows) + len(b.Broken))); w.p.in.Progress != nil {
			w.p.in.Progress(n)
		}
	}
	if err := w.flush(); err != nil {
		return err
	}
	giveMemory(w.p.table, w.columns)
	return w.flushAside()
}

// lastRow returns the last row of a batch, 0 when it has none.
func lastRow(b *tabular.Batch) int64 {
	if len(b.Rows) == 0 {
		return 0
	}
	return b.Rows[len(b.Rows)-1]
}

// maxExamples is how many faults a Result shows.
const maxExamples = 5

func result(p *plan, rd tabular.Reader, workers []*worker) Result {
	r := Result{Record: p.table.Name, File: filepath.Base(p.in.Path), Reasons: map[string]int64{}, Notes: rd.Notes(),
		ContentHash: rd.ContentHash(), MappingHash: p.in.Desc.Hash}
	exported := p.exportedAt
	for i, w := range workers {
		r.SourceRows += w.sourceRows
		r.Staged += w.staged
		r.SetAside += w.setAside
		for _, path := range w.parts.paths() {
			r.Parts, r.PartNos = append(r.Parts, path), append(r.PartNos, int32(i))
		}
		r.Runs = append(r.Runs, w.runs.paths()...)
		r.SetAsideParts = append(r.SetAsideParts, w.aside.paths()...)
		for reason, n := range w.reasons {
			if n > 0 {
				r.Reasons[reasonNames[reason]] += n
			}
		}
		for note, n := range w.notes {
			if n > 0 {
				r.Notes[noteNames[note]] += n
			}
		}
		r.Examples = append(r.Examples, w.examples...)
		exported = max(exported, w.latestExport)
	}
	r.Words = words(p.table, workers)
	r.Examples = firstRows(r.Examples, 0)
	r.Rows = r.Staged + r.SetAside
	if exported != 0 {
		r.ExportedAt = time.UnixMicro(exported).UTC()
	}
	return r
}

// maxTold is the most words of a column that a Result lists.
const maxTold = 1000

// words collects the words of each text column from the workers.
func words(t records.Table, workers []*worker) map[string][]string {
	told := map[string][]string{}
	for i, c := range t.Columns {
		if c.Kind != records.Text {
			continue
		}
		var all []string
		known := true
		for _, w := range workers {
			if col := &w.columns[i]; !col.absent {
				list, ok := col.words.list()
				all, known = append(all, list...), known && ok
			}
		}
		slices.Sort(all)
		if all = slices.Compact(all); known && len(all) <= maxTold {
			told[c.Name] = all
		}
	}
	return told
}
