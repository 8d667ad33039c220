package resolve

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"runtime/debug"
	"slices"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/intake"
	"hindcheck/pipeline/lanes"
	"hindcheck/pipeline/store"
)

// A month of which the store holds nothing yet needs no comparing: which staged
// rows it takes, and in which order, is known from keys alone. DuckDB finds that
// out, and the rows are copied from staged to stored pages (intake.Writer)
// instead of being joined, sorted and packed by DuckDB once more, which took
// three times as long. What a month already holds and a retry go the plain way; a
// test holds both ways to the same rows.

// direct reports whether rows of a table may be copied.
func (r *Resolver) direct(t table) bool {
	return !r.set.Plain && r.retry == nil && len(r.parts[t.name]) > 0 &&
		!slices.ContainsFunc(r.parts[t.name], func(p Part) bool { return !p.Packed })
}

// copying calls f with a writer of a table from all its parts. What it holds comes on
// top of what DuckDB may take, so that DuckDB makes do with half of that meanwhile, and
// garbage is collected early and given back at the end.
func (r *Resolver) copying(ctx context.Context, t table, f func(w *intake.Writer) error) error {
	_ = r.limit(ctx, max(r.opt.MemoryMB/2, min(r.opt.MemoryMB, leastMemory))) // where it cannot do with less, it keeps what it has
	percent, limit := debug.SetGCPercent(copyingGC), debug.SetMemoryLimit(copyingMemory)
	w := r.writer(t)
	err := errors.Join(f(w), w.Close(), r.closeOrders())
	debug.SetGCPercent(percent)
	debug.SetMemoryLimit(limit)
	debug.FreeOSMemory()
	return errors.Join(err, r.limit(ctx, r.usualMemory()))
}

// copyingGC is by how many parts in a hundred the memory may grow between collections, and
// copyingMemory where it stops growing: on a busy machine a collection takes so long that
// pages read meanwhile took it to twice what is in use, some 150 MB.
const (
	copyingGC     = 25
	copyingMemory = 240 << 20
)

func (r *Resolver) writer(t table) *intake.Writer {
	var parts []intake.Staged
	for _, p := range r.parts[t.name] {
		parts = append(parts, intake.Staged{Path: p.Path, File: p.File, Part: p.No})
	}
	w := intake.NewWriter(t.name, parts)
	w.Threads = r.threads
	return w
}

// copied notes a stored file that was copied, or that it would have no rows.
func (r *Resolver) copied(tab string, month int, path string, rows int64) {
	if rows == 0 {
		path = ""
	} else {
		r.res.Add = append(r.res.Add, store.Staged{Part: store.Current, Table: tab, Month: month, Path: path, Rows: rows})
	}
	r.settle(tab, month, path)
}

func (r *Resolver) copyPath(tab string, month int) string {
	return filepath.Join(r.tx.Staging(), fmt.Sprintf("%s-%s-%d.parquet", store.Current, tab, month))
}

// copyCallMonths writes the months that take no stored calls and returns the
// others, which joins tells.
func (r *Resolver) copyCallMonths(ctx context.Context, months []int, joins func(int) bool) (rest []int, err error) {
	if !r.direct(callsTable) {
		return months, nil
	}
	copied := slices.DeleteFunc(slices.Clone(months), joins)
	rest = slices.DeleteFunc(slices.Clone(months), func(m int) bool { return slices.Contains(copied, m) })
	err = r.copying(ctx, callsTable, func(w *intake.Writer) error {
		return ahead(ctx, copied, r.orderCalls, func(in intake.Calls) error { return r.copyCalls(w, in) })
	})
	return rest, err
}

// ahead writes months in order, each while the order of rows of the next one is found.
func ahead[T any](ctx context.Context, months []int, order func(context.Context, int) (T, error), write func(T) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	type ordered struct {
		rows T
		err  error
	}
	next := make(chan ordered)
	go func() {
		defer close(next)
		for _, m := range months {
			rows, err := order(ctx, m)
			if err != nil {
				err = fmt.Errorf("month %d: %w", m, err)
			}
			select {
			case next <- ordered{rows, err}:
			case <-ctx.Done():
				return
			}
		}
	}()
	for i := 0; ; i++ {
		o, ok := <-next
		if !ok {
			return ctx.Err()
		}
		err := o.err
		if err == nil {
			if err = write(o.rows); err != nil {
				err = fmt.Errorf("month %d: %w", months[i], err)
			}
		}
		if err != nil {
			cancel()
			for range next { // until the other side has ended its query
			}
			return err
		}
	}
}

// orderCalls finds the order of a month of new calls.
func (r *Resolver) orderCalls(ctx context.Context, m int) (in intake.Calls, err error) {
	in = intake.Calls{Month: int32(m), LoadNo: int32(r.tx.No), Kinds: codes.ContactKinds.Words()}
	rows, err := r.ordered(ctx, fmt.Sprint("calls-", m), fmt.Sprintf(`SELECT (src_file::BIGINT << 40) | src_row AS place, coalesce(enum_code(kind)::INTEGER, -1) AS kind,
			CASE WHEN episode IS NULL THEN %d WHEN episode = call THEN %d ELSE 0 END::INTEGER AS whose, CASE WHEN episode <> call THEN episode END AS episode
		FROM placed WHERE fresh AND month = %d ORDER BY started_at, call`, intake.NoEpisode, intake.OwnEpisode, m))
	if err != nil {
		return in, err
	}
	place, kind, whose, episode := lanes.Longs(rows.Reader, "place"), lanes.Whole(rows.Reader, "kind"), lanes.Whole(rows.Reader, "whose"), lanes.Keys(rows.Reader, "episode")
	in.Next = func() (b intake.CallBatch, err error) {
		n, err := rows.Next(ctx)
		b.Rows = make([]intake.Call, n)
		for i := range n {
			b.Rows[i] = intake.Call{File: int32(place.Values[i] >> 40), Row: place.Values[i] & (1<<40 - 1), Kind: kind.Values[i], Episode: whose.Values[i]}
			if episode.Valid[i] {
				b.Rows[i].Episode = int32(len(b.Episodes))
				b.Episodes = append(b.Episodes, episode.Values[i])
			}
		}
		return b, err
	}
	return in, nil
}

// copyCalls writes a month of new calls.
func (r *Resolver) copyCalls(w *intake.Writer, in intake.Calls) error {
	path := r.copyPath("calls", int(in.Month))
	n, err := w.WriteCalls(path, in)
	if err == nil {
		r.copied("calls", int(in.Month), path, n)
	}
	return err
}

// openRuns makes the view runs of the runs of all staged checks, where they are known.
func (r *Resolver) openRuns(ctx context.Context) error {
	if r.hasRuns = r.direct(checksTable); !r.hasRuns {
		return nil
	}
	return r.exec(ctx, "CREATE VIEW runs AS SELECT * FROM "+parquet(r.runsOf(nil)))
}

// runsOf are the files of runs of some exports, or of all.
func (r *Resolver) runsOf(files []int) (paths []string) {
	for _, p := range r.parts["checks"] {
		if files == nil || slices.Contains(files, int(p.File)) {
			paths = append(paths, p.Runs)
		}
	}
	return paths
}

// copyMonths writes the months of which the store holds no checks and returns
// the others.
func (r *Resolver) copyMonths(ctx context.Context, months []int) (rest []int, err error) {
	if !r.hasRuns {
		return months, nil
	}
	shifted, err := r.ints(ctx, `SELECT month FROM shifted UNION SELECT was_month FROM shifted`)
	if err != nil {
		return nil, err
	}
	refused, err := r.refusedReadings(ctx)
	if err != nil {
		return nil, err
	}
	usual := newTallies(r.set.Dictionary.UsualRanges())
	files := map[int]string{} // of calls, by month
	var copied []int
	for _, m := range months {
		here := r.present("calls", m)
		if len(r.tx.Paths(store.Current, "checks", m)) == 0 && !slices.Contains(shifted, m) && len(here) == 1 {
			copied, files[m] = append(copied, m), here[0]
		} else {
			rest = append(rest, m)
		}
	}
	if err := r.learnSpecies(ctx, usual, files); err != nil {
		return nil, err
	}
	number := lanes.Closed(slices.Clone(usual.species)...)
	order := func(ctx context.Context, m int) (intake.Checks, error) {
		in, err := r.orderChecks(ctx, m, files[m], number)
		in.Refused = refused
		return in, err
	}
	err = r.copying(ctx, checksTable, func(w *intake.Writer) error {
		return ahead(ctx, copied, order, func(in intake.Checks) error {
			here := usual.again()
			in.Usual = here.of
			if err := r.copyChecks(w, in); err != nil {
				return err
			}
			r.res.Unusual = here.addTo(r.res.Unusual)
			return nil
		})
	})
	return rest, err
}

// copyChecks writes a month of checks, by the calls in their order.
func (r *Resolver) copyChecks(w *intake.Writer, in intake.Checks) error {
	m := int(in.Month)
	path := r.copyPath("checks", m)
	booked, err := w.WriteChecks(path, in)
	if err != nil {
		return err
	}
	r.touched[m] = true
	total := int64(0)
	for file, n := range booked {
		s := r.sums(file)
		s.Rows += n.New + n.Within
		s.New += n.New
		s.Within += n.Within
		total += n.New
	}
	r.copied("checks", m, path, total)
	return nil
}

// orderChecks finds the order of the runs of a month, whose calls stand in a file.
func (r *Resolver) orderChecks(ctx context.Context, m int, calls string, species func(string) int32) (in intake.Checks, err error) {
	in = intake.Checks{Month: int32(m), LoadNo: int32(r.tx.No)}
	files, err := r.ints(ctx, fmt.Sprintf(`SELECT DISTINCT src_file FROM spread WHERE month = %d`, m))
	if err != nil {
		return in, err
	}
	runs, err := newRunOrder(ctx, calls, r.runsOf(files), species, callsHeld)
	if err != nil {
		return in, fmt.Errorf("order checks: %w", err)
	}
	in.Next = func() ([]intake.Run, error) { return runs.next(ctx) }
	return in, nil
}

// refusedReadings are the readings that outliers has set aside.
func (r *Resolver) refusedReadings(ctx context.Context) (none intake.Refused, err error) {
	if !r.hasOutliers {
		return none, nil
	}
	rows, err := r.db.QueryContext(ctx, `SELECT src_file, src_row, finding::VARCHAR, seq FROM outlier`)
	if err != nil {
		return none, err
	}
	defer rows.Close()
	var list []intake.Reading
	for rows.Next() {
		var one intake.Reading
		if err := rows.Scan(&one.File, &one.Row, &one.Finding, &one.Seq); err != nil {
			return none, err
		}
		list = append(list, one)
	}
	return intake.NewRefused(list), rows.Err()
}

// learnSpecies gives every species of some files of calls a number.
func (r *Resolver) learnSpecies(ctx context.Context, usual *tallies, files map[int]string) error {
	if len(files) == 0 {
		return nil
	}
	rows, err := r.db.QueryContext(ctx, `SELECT DISTINCT species FROM `+parquet(slices.Collect(maps.Values(files)))+` WHERE species IS NOT NULL ORDER BY 1`)
	if err != nil {
		return fmt.Errorf("list species: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return err
		}
		usual.learn(name)
	}
	return rows.Err()
}

// tallies counts the readings that enter by finding and species, and those
// outside the usual range; see countUnusual, which does so the plain way.
type tallies struct {
	ranges  []findings.SpeciesRange
	species []string // by number from 1; 0 is none
	known   map[string]*intake.Tally
}

func newTallies(usual []findings.SpeciesRange) *tallies {
	return &tallies{ranges: usual, species: []string{""}, known: map[string]*intake.Tally{}}
}

// again counts anew, by the same numbers of species.
func (t *tallies) again() *tallies {
	return &tallies{ranges: t.ranges, species: t.species, known: map[string]*intake.Tally{}}
}

// learn gives a species a number.
func (t *tallies) learn(name string) {
	if slices.Contains(t.species, name) {
		return
	}
	t.species = append(t.species, name)
	for finding, one := range t.known {
		t.extend(finding, one)
	}
}

// of is the tally of a finding, nil where it has no usual range.
func (t *tallies) of(finding string) *intake.Tally {
	one, ok := t.known[finding]
	if !ok && slices.ContainsFunc(t.ranges, func(r findings.SpeciesRange) bool { return r.Finding.ID == finding }) {
		one = new(intake.Tally)
		t.extend(finding, one)
	}
	t.known[finding] = one
	return one
}

// extend makes room for the species learned since: the range of its own, else
// that of any species.
func (t *tallies) extend(finding string, one *intake.Tally) {
	if one == nil {
		return
	}
	for no := len(one.N); no < len(t.species); no++ {
		var low, high float64
		known := false
		for _, r := range t.ranges {
			if r.Finding.ID != finding || no == 0 {
				continue
			}
			if own := r.Species == t.species[no]; own || r.Species == findings.AnySpecies && !known {
				low, high, known = r.Low, r.High, true
				if own {
					break
				}
			}
		}
		one.Low, one.High, one.Known = append(one.Low, low), append(one.High, high), append(one.Known, known)
		one.N, one.Below, one.Above = append(one.N, 0), append(one.Below, 0), append(one.Above, 0)
	}
}

// addTo adds what was counted.
func (t *tallies) addTo(list []store.Unusual) []store.Unusual {
	for finding, one := range t.known {
		for no := 1; one != nil && no < len(one.N); no++ {
			if one.N[no] > 0 {
				list = store.AddUnusual(list, store.Unusual{Finding: finding, Species: t.species[no], Readings: one.N[no], Below: one.Below[no], Above: one.Above[no]})
			}
		}
	}
	return list
}
