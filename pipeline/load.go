package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sort"
	"sync/atomic"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/intake"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/store"
)

// LoadOptions say what to load into which store.
type LoadOptions struct {
	// Store is the folder of the store; it is made if it does not exist.
	Store string
	// Exports are files, folders or patterns; Sources likewise, of descriptions.
	// An export "-" is Stdin.
	Exports, Sources []string
	// Source, if set, names the only source description to read with, whatever
	// the names of the exports. Stdin needs it.
	Source string
	Stdin  io.Reader
	Files  DefinitionFiles
	Key    privacy.Key
	// ExportedAt overrides what the descriptions say; zero leaves it to them.
	ExportedAt time.Time
	// Now is the time that the manifest records.
	Now time.Time
	// Threads of 0 uses every processor. MemoryMB bounds DuckDB; 0 means 192 and
	// 64 more for each thread beyond two.
	Threads, MemoryMB int
	// DryRun does everything but the commit.
	DryRun bool
	// Software is the program's version, recorded in the manifest.
	Software string
	// FS is the disk; nil means the real one.
	FS store.FS
	// Progress, if set, is told what is being done: a step, and for the reading
	// of exports the rows read so far. Bytes, if set, is told before that how
	// much of all exports has been read.
	Progress func(step string, rows int64)
	Bytes    func(done, total int64)
	// plain is resolve.Settings.Plain, for tests.
	plain bool
}

// defaultMemory bounds DuckDB's own buffers in a load, in megabytes; what does
// not fit spills to the store's disk. The whole process takes up to 350 MB
// more, of which 80 MB are the program itself and a good part what DuckDB's allocator
// has yet to give back, and has to stay within 600 MB on two processors; each further
// one needs room to work in.
func defaultMemory(threads int) int {
	return 192 + 64*max(0, first(threads, runtime.NumCPU())-2)
}

// Summary says what a load did.
type Summary struct {
	// Load is the number of the load, 0 if there was nothing to do.
	Load   int  `json:"load"`
	DryRun bool `json:"dry_run,omitempty"`
	// Known are exports that the store has read before, with the load's number.
	Known   []KnownExport  `json:"known,omitempty"`
	Exports []store.Export `json:"exports"`
	Sums    store.Sums     `json:"sums"`
	// Aside counts rows set aside by reason; Examples are a few of them.
	Aside    map[string]int64 `json:"set_aside"`
	Examples []string         `json:"examples,omitempty"`
	Links    map[string]int64 `json:"links"`
	// Unusual counts readings outside the usual range of well animals, by
	// finding and species. They are kept as they are.
	Unusual []store.Unusual `json:"unusual"`
	DataCut time.Time       `json:"data_cut"`
	// Rebuilt says that a definition changed and all cases were derived anew.
	Rebuilt bool `json:"rebuilt,omitempty"`
	// Retry is the account of a retry, nil for a load.
	Retry *RetryAccount `json:"retry,omitempty"`
}

// KnownExport is an export that was loaded before, under the same description.
type KnownExport struct {
	Name string `json:"name"`
	Load int    `json:"load"`
}

// ErrKeyMismatch says that the key is not the one of the store.
var ErrKeyMismatch = errors.New("the key is not the one this store was loaded with, and its pseudonyms would not match; use the same key")

// loader carries one load.
type loader struct {
	opt  LoadOptions
	tx   *store.Tx
	defs *Definitions
	sum  *Summary
	in   resolve.Input
	// exports by file number, in the order of reading.
	exports []store.Export
	// total are the bytes of all exports, before those of the ones done with.
	total, before int64
	// hashes by path: several descriptions may read one export.
	hashes map[string]string
}

// Load reads exports into the store, wholly or not at all. An error means that
// the store is as it was: a missing file, a description or definition with
// mistakes (strict.Problems), a file that does not fit its description
// (*tabular.Problem), a wrong key, another load at work (store.ErrBusy), a
// full disk. The one exception wraps store.ErrApplied: the disk failed right
// behind a load that is in the store. Rows that cannot be used are no error;
// they are in the summary.
func Load(ctx context.Context, opt LoadOptions) (*Summary, error) {
	l, err := newLoader(opt)
	if err != nil {
		return nil, err
	}
	descs, err := l.plan()
	if err != nil {
		return nil, err
	}
	todo, err := l.opt.choose(ctx, descs)
	if err != nil {
		return nil, err
	}
	return l.sum, l.change(func() error {
		l.total = sizes(todo)
		for _, t := range todo {
			if err := l.read(ctx, t); err != nil {
				return err
			}
			l.before += sizes([]reading{t})
		}
		return l.finish(ctx)
	})
}

func newLoader(opt LoadOptions) (*loader, error) {
	if opt.FS == nil {
		opt.FS = store.Disk{}
	}
	opt.MemoryMB = first(opt.MemoryMB, defaultMemory(opt.Threads))
	if opt.Progress == nil {
		opt.Progress = func(string, int64) {}
	}
	if opt.Key.IsZero() {
		return nil, fmt.Errorf("load: %w: none given", privacy.ErrKey)
	}
	return &loader{opt: opt, sum: &Summary{DryRun: opt.DryRun, Aside: map[string]int64{}, Links: map[string]int64{}}, hashes: map[string]string{}}, nil
}

// change opens the store for one change, checks that key and window are those
// of the store, and carries the work out.
func (l *loader) change(work func() error) (err error) {
	opt, made := l.opt, false
	if _, serr := os.Stat(opt.Store); errors.Is(serr, os.ErrNotExist) {
		made = true
	}
	defer func() { err = diskRemedy(opt.Store, err) }()
	if l.tx, err = store.Begin(opt.FS, opt.Store); err != nil {
		return err
	}
	defer func() {
		err = errors.Join(err, l.tx.Close())
		if made && (err != nil || opt.DryRun) && l.tx.Manifest.LastLoad() == 0 {
			// A first load that did not happen leaves no folder behind.
			err = errors.Join(err, opt.FS.Remove(opt.Store))
		}
	}()
	if err := l.fits(); err != nil {
		return err
	}
	return work()
}

// plan reads definitions and descriptions, before the store is locked: mistakes
// in them should cost no time.
func (l *loader) plan() ([]*source.Description, error) {
	was, stored, done, err := lookAt(l.opt.Store)
	if err != nil {
		return nil, err
	}
	defer done()
	if l.defs, err = readDefinitions(l.opt.Files, was, stored); err != nil {
		return nil, err
	}
	return readSources(l.opt.Sources, l.defs.Dictionary)
}

// lookAt reads what a store, if there is one, was loaded with.
func lookAt(dir string) (was store.Definitions, stored func(string) ([]byte, error), done func(), err error) {
	s, err := store.Open(dir)
	if errors.Is(err, store.ErrNoStore) {
		return was, nil, func() {}, nil
	}
	if err != nil {
		return was, nil, nil, err
	}
	return s.Manifest.Definitions, s.Definition, func() { _ = s.Close() }, nil
}

// fits refuses a key, an episode window or a coarseness other than the store's.
func (l *loader) fits() error {
	m := l.tx.Manifest
	if m.KeyCheck != "" && m.KeyCheck != l.opt.Key.Check() {
		return fmt.Errorf("load into %s: %w", l.opt.Store, ErrKeyMismatch)
	}
	if was := m.Definitions; m.LastLoad() > 0 && was.EpisodeHours != l.defs.EpisodeHours {
		return fmt.Errorf("load into %s: expected --episode-hours %d, with which this store was made, found %d; use that, or load all exports into a new store",
			l.opt.Store, was.EpisodeHours, l.defs.EpisodeHours)
	}
	if was := m.Definitions; m.LastLoad() > 0 && was.Privacy != l.defs.ids.Privacy {
		return fmt.Errorf("load into %s: expected the privacy file with which this store was made, found another; leave --privacy out to use it, or load all exports into a new store", l.opt.Store)
	}
	return nil
}

// finish resolves what was read, accounts for it and commits.
func (l *loader) finish(ctx context.Context) error {
	m := l.tx.Manifest
	rebuild := m.LastLoad() > 0 && casesDiffer(m.Definitions, l.ids())
	if len(l.exports) == 0 && !rebuild && m.Definitions == l.ids() {
		return nil // nothing new: the store stays untouched
	}
	set := l.defs.Settings()
	set.Progress = func(step string) { l.opt.Progress(step, 0) }
	set.RebuildCases, set.Plain = rebuild, l.opt.plain
	res, err := resolve.Run(ctx, l.tx, l.in, set, duck.Options{Threads: l.opt.Threads, MemoryMB: l.opt.MemoryMB})
	if err != nil {
		return err
	}
	l.sum.Rebuilt = rebuild
	if err := l.account(res); err != nil {
		return err
	}
	if l.sum.Retry != nil {
		l.sum.Retry.Retried = res.Retried
		if len(res.Add)+len(res.Drop) == 0 && m.Definitions == l.ids() {
			l.sum.Load = 0
			return nil // every row is still refused, for the same reason
		}
	}
	if l.opt.DryRun {
		return nil
	}
	l.opt.Progress("commit", 0)
	return l.commit(res)
}

// ids are the definitions as the manifest records them.
func (l *loader) ids() store.Definitions {
	ids := l.defs.ids
	ids.CasesFormat = resolve.CasesFormat
	return ids
}

// casesDiffer reports whether cases made under a would differ under b. The
// strata only group them.
func casesDiffer(a, b store.Definitions) bool {
	a.Strata, b.Strata = "", ""
	return a != b
}

// read stages one export, unless the store has read it before.
func (l *loader) read(ctx context.Context, t reading) error {
	if t.in != nil {
		return l.readStream(ctx, t)
	}
	name := filepath.Base(t.path)
	if load, ok, err := l.known(t); ok || err != nil {
		// An export that two descriptions read is one export.
		if k := (KnownExport{name, load}); !slices.Contains(l.sum.Known, k) {
			l.sum.Known = append(l.sum.Known, k)
		}
		return err
	}
	got, err := l.stage(ctx, t, name, l.opt.ExportedAt)
	if err != nil {
		return err
	}
	l.bookRead(got)
	return nil
}

// sizes adds up the bytes of exports; those of a stream are not known.
func sizes(list []reading) (n int64) {
	for _, t := range list {
		if info, err := os.Stat(t.path); t.in == nil && err == nil {
			n += info.Size()
		}
	}
	return n
}

// readStream stages an export that can be read only once; whether the store has
// read it before shows at its end.
func (l *loader) readStream(ctx context.Context, t reading) error {
	parts := len(l.in.Parts)
	got, err := l.stage(ctx, t, t.path, l.opt.ExportedAt)
	if err != nil {
		return err
	}
	if load, ok := l.tx.Manifest.Has(got.ContentHash, t.desc.Hash); ok {
		n := len(l.exports) - 1
		l.exports, l.in.Exports, l.in.Parts = l.exports[:n], l.in.Exports[:n], l.in.Parts[:parts]
		l.sum.Known = append(l.sum.Known, KnownExport{t.path, load})
		return nil
	}
	l.bookRead(got)
	return nil
}

// bookRead enters what reading has set aside of the latest export.
func (l *loader) bookRead(got intake.Result) {
	for reason, n := range got.Reasons {
		l.sum.Aside[reason] += n
	}
	for _, f := range got.Examples {
		if len(l.sum.Examples) < maxExamples {
			l.sum.Examples = append(l.sum.Examples, f.String())
		}
	}
	l.exports[len(l.exports)-1].Sums = store.Sums{Rows: got.Rows, SetAside: got.SetAside}
}

// stage reads one export into staged files and notes it under its name.
func (l *loader) stage(ctx context.Context, t reading, name string, exportedAt time.Time) (intake.Result, error) {
	no := int32(len(l.exports))
	var seen atomic.Int64
	got, err := intake.Read(ctx, intake.Input{Path: t.path, In: t.in, Desc: t.desc, Dict: l.defs.Dictionary, Key: l.opt.Key, Coarse: l.defs.Coarse, Dir: l.tx.Staging(),
		FileNo: no, ExportedAt: exportedAt, Workers: l.opt.Threads,
		Seen: &seen, Progress: func(rows int64) {
			if l.opt.Bytes != nil && l.total > 0 {
				l.opt.Bytes(min(l.total, l.before+seen.Load()), l.total)
			}
			l.opt.Progress("read "+name, rows)
		}})
	if err != nil {
		return got, err
	}
	for i, p := range got.Parts {
		part := resolve.Part{Table: got.Record, Path: p, File: no, No: got.PartNos[i], Packed: true, Words: got.Words}
		if len(got.Runs) > 0 {
			part.Runs = got.Runs[i]
		}
		l.in.Parts = append(l.in.Parts, part)
	}
	for _, p := range got.SetAsideParts {
		l.in.Parts = append(l.in.Parts, resolve.Part{Table: resolve.AsideTable, Path: p, File: no})
	}
	l.in.Exports = append(l.in.Exports, resolve.Export{Name: name, Record: got.Record, Source: t.desc.Source, Content: got.ContentHash,
		Reading: t.desc.ReadingColumn(), Labels: t.desc.WideLabels()})
	l.exports = append(l.exports, store.Export{Name: name, Record: got.Record, Source: t.desc.Source, ContentHash: got.ContentHash,
		MappingHash: t.desc.Hash, ExportedAt: got.ExportedAt.UTC(), Notes: got.Notes})
	return got, nil
}

// known reports whether the store has read this export under this description.
// Only a store that has read something can, so a first load hashes each file
// once, while reading it.
func (l *loader) known(t reading) (load int, ok bool, err error) {
	if l.tx.Manifest.LastLoad() == 0 {
		return 0, false, nil
	}
	hash, err := l.hash(t.path)
	if err != nil {
		return 0, false, err
	}
	load, ok = l.tx.Manifest.Has(hash, t.desc.Hash)
	return load, ok, nil
}

// hash is the content hash of an export, reckoned once.
func (l *loader) hash(path string) (sum string, err error) {
	sum, ok := l.hashes[path]
	if ok {
		return sum, nil
	}
	if sum, _, err = store.HashFile(path); err != nil {
		return "", fmt.Errorf("read export: %w", err)
	}
	l.hashes[path] = sum
	return sum, nil
}

// maxExamples is how many rows set aside a summary quotes.
const maxExamples = 5

// account joins what reading and resolving booked, and refuses to go on unless
// every row read is accounted for.
func (l *loader) account(res *resolve.Result) error {
	for no := range l.exports {
		e := &l.exports[no]
		if s, ok := res.Sums[int32(no)]; ok {
			read := e.Sums.Rows
			e.Sums.Add(*s)
			if l.sum.Retry == nil {
				e.Sums.Rows = read // reading has counted them
			}
		}
		if !e.Sums.Balanced() {
			return fmt.Errorf("%s: %d rows were read and the account does not cover them (%+v); nothing was loaded; please report this", e.Name, e.Sums.Rows, e.Sums)
		}
		l.sum.Sums.Add(e.Sums)
	}
	for reason, n := range res.Aside {
		l.sum.Aside[reason] += n
	}
	l.sum.Links = res.Links
	l.sum.Unusual = res.Unusual
	l.sum.Exports = l.exports
	l.sum.Load = l.tx.No
	l.sum.DataCut = l.tx.Manifest.DataCut()
	for _, e := range l.exports {
		if e.ExportedAt.After(l.sum.DataCut) {
			l.sum.DataCut = e.ExportedAt
		}
	}
	return nil
}

func (l *loader) commit(res *resolve.Result) error {
	sort.Slice(res.Add, func(i, j int) bool { return res.Add[i].Path < res.Add[j].Path })
	return l.tx.Commit(store.Change{
		Add: res.Add, Drop: res.Drop, Texts: l.defs.texts,
		Load:        &store.Load{No: l.tx.No, At: l.opt.Now.UTC(), DataCut: l.sum.DataCut, Exports: l.exports, Sums: l.sum.Sums, Links: res.Links, Unusual: res.Unusual},
		Definitions: l.ids(), KeyCheck: l.opt.Key.Check(), Software: l.opt.Software,
	})
}
