package resolve

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// Settings are the choices that shape episodes, links and cases.
type Settings struct {
	Dictionary *findings.Dictionary
	Rules      *rules.Set
	CaseDef    *casedef.Definition
	// EpisodeHours is how long after the first contact another contact of the
	// animal still belongs to the episode.
	EpisodeHours int
	// LinkHours is how long after a first contact an outcome without a call
	// number may still be linked to it by animal.
	LinkHours int
	// BatchRows bounds the calls whose cases are derived by one query, where they
	// are derived by SQL; 0 means 40,000.
	BatchRows int64
	// joinCases derives all cases by SQL.
	joinCases bool
	// Plain makes every file the plain way, through DuckDB, also where rows could
	// be copied; for comparing the two.
	Plain bool
	// RebuildCases derives the cases of every month anew, because a
	// definition has changed.
	RebuildCases bool
	// Progress, if set, is told the name of each step as it begins.
	Progress func(step string)
}

// Input is what a load has read.
type Input struct {
	// Exports by their number.
	Exports []Export
	Parts   []Part
	// Retry, if set, tries rows again that an earlier load set aside.
	Retry *Retry
}

// Export tells one reading of an export: its base name, the kind of record, the
// source description, and the hash of its content.
type Export struct {
	Name, Record, Source, Content string
	// Reading is the column of the answers in the long form of checks. Labels
	// tell by column the findings of the wide form: there a reading is refused,
	// not a row.
	Reading string
	Labels  map[string][]string
}

// Part is one staged Parquet file of the load.
type Part struct {
	Table string
	Path  string
	// File is the number of the export it came from.
	File int32
	// No is its number within the export. Packed says that the reader of exports
	// wrote it, so that its rows can be copied; Runs is then the file of its runs
	// (records.Runs), of checks.
	No     int32
	Packed bool
	Runs   string
	// Words are the words that its text columns may hold, where they are few
	// and known; see intake.Result.
	Words map[string][]string
}

// Result is what the load adds to and takes from the store.
type Result struct {
	Add  []store.Staged
	Drop []string
	// Sums are by export; SetAside holds only what this package refused.
	Sums map[int32]*store.Sums
	// Links counts outcomes by how they were linked to an episode.
	Links map[string]int64
	// Aside counts refused rows by reason; in a retry those refused again.
	Aside   map[string]int64
	Retried Retried
	// Unusual counts the readings that enter by finding and species.
	Unusual []store.Unusual
}

// Resolver carries one load through the steps.
type Resolver struct {
	db  *sql.DB
	opt duck.Options
	memory
	// threads is how much of the work outside DuckDB is done at a time.
	threads int
	tx      *store.Tx
	set     Settings
	files   []Export
	parts   map[string][]Part
	retry   *Retry
	res     *Result
	aside   int
	// touched are the months of calls whose cases must be derived anew.
	touched map[int]bool
	// hasRuns says that the runs of all staged checks are known.
	hasRuns bool
	// hasOutliers says that readings were set aside for their species.
	hasOutliers bool
	// inMemory are the tables whose staged rows have been read into memory.
	inMemory map[string]bool
	// fresh are the staged files of this load by table and month.
	fresh map[string]map[int]string
	// orders are those that may still be open.
	orders []*order
	// coded are the types of text columns whose words are known, by table and column.
	coded map[string]map[string]string
}

// openBeside opens a database that spills into the staging folder of tx, on the
// store's own disk, unless opt names another place.
func openBeside(ctx context.Context, tx *store.Tx, opt duck.Options) (*sql.DB, error) {
	if opt.TempDir == "" {
		opt.TempDir = filepath.Join(tx.Staging(), "spill")
	}
	opt.GiveBack = true
	// What reading took is garbage now.
	debug.FreeOSMemory()
	return duck.Open(ctx, opt)
}

// Run resolves the staged parts against the present state of the store.
func Run(ctx context.Context, tx *store.Tx, in Input, set Settings, opt duck.Options) (_ *Result, err error) {
	db, err := openBeside(ctx, tx, opt)
	if err != nil {
		return nil, err
	}
	if opt.Threads <= 0 {
		opt.Threads = runtime.NumCPU()
	}
	r := &Resolver{db: db, opt: opt, threads: opt.Threads, tx: tx, set: set, files: in.Exports, retry: in.Retry, parts: map[string][]Part{}, touched: map[int]bool{}, inMemory: map[string]bool{}, fresh: map[string]map[int]string{}, coded: map[string]map[string]string{},
		res: &Result{Sums: map[int32]*store.Sums{}, Links: map[string]int64{}, Aside: map[string]int64{}}}
	defer func() { _ = r.db.Close() }()
	if err := r.limit(ctx, r.usualMemory()); err != nil {
		return nil, err
	}
	for _, p := range in.Parts {
		r.parts[p.Table] = append(r.parts[p.Table], p)
	}
	steps := []struct {
		name string
		run  func(context.Context) error
	}{
		{"open rows", r.open}, {"find refused rows", r.startRetry}, {"keep reasons", r.keepReasons}, {"resolve calls", r.calls}, {"resolve checks", r.checks},
		{"resolve outcomes", r.outcomes}, {"resolve coverage", r.coverage},
		{"settle reasons", r.settleAside}, {"drop reasons", r.dropReread}, {"derive cases", r.cases},
	}
	for _, s := range steps {
		r.tell(s.name)
		if err := s.run(ctx); err != nil {
			return nil, fmt.Errorf("%s: %w", s.name, err)
		}
	}
	return r.res, nil
}

// forget begins a new database. Of what is dropped the allocator keeps most, of
// two million calls 200 MB, and gives it back only with the database.
func (r *Resolver) forget(ctx context.Context) error {
	db, err := openBeside(ctx, r.tx, r.opt)
	if err != nil {
		return err
	}
	_ = r.db.Close() // it held tables in memory only
	r.db = db
	return nil
}

// tell says which step begins.
func (r *Resolver) tell(step string) {
	if r.set.Progress != nil {
		r.set.Progress(step)
	}
}

// open makes the views st_TABLE (staged) and cur_TABLE (present), and the
// names of the exports.
func (r *Resolver) open(ctx context.Context) error {
	if err := r.openFiles(ctx); err != nil {
		return err
	}
	for _, t := range []table{callsTable, checksTable, outcomesTable, coverageTable} {
		if err := r.code(ctx, t); err != nil {
			return err
		}
		var staged []string
		for _, p := range r.parts[t.name] {
			staged = append(staged, p.Path)
		}
		kind := "VIEW"
		if r.small(staged) {
			kind, r.inMemory[t.name] = "TABLE", true
		}
		if err := r.exec(ctx, "CREATE "+kind+" st_"+t.name+" AS "+relation(staged, t.staged())); err != nil {
			return err
		}
		if err := r.exec(ctx, view("cur_"+t.name, r.tx.Paths(store.Current, t.name), t.stored())); err != nil {
			return err
		}
	}
	return nil
}

// openFiles makes the tables files (the exports) and label (the findings of
// columns of the wide form).
func (r *Resolver) openFiles(ctx context.Context) error {
	if err := r.exec(ctx, `CREATE TABLE files (no INTEGER PRIMARY KEY, name VARCHAR, record VARCHAR, source VARCHAR, content VARCHAR, reading VARCHAR);
		CREATE TABLE label (src_file INTEGER, "column" VARCHAR, finding VARCHAR)`); err != nil {
		return err
	}
	var files, labels []string
	for no, f := range r.files {
		files = append(files, fmt.Sprintf("(%d, %s, %s, %s, %s, nullif(%s, ''))", no, duck.Quote(f.Name), duck.Quote(f.Record), duck.Quote(f.Source), duck.Quote(f.Content), duck.Quote(f.Reading)))
		for _, column := range slices.Sorted(maps.Keys(f.Labels)) {
			for _, id := range f.Labels[column] {
				labels = append(labels, fmt.Sprintf("(%d, %s, %s)", no, duck.Quote(column), duck.Quote(id)))
			}
		}
	}
	for table, rows := range map[string][]string{"files": files, "label": labels} {
		if len(rows) > 0 {
			if err := r.exec(ctx, "INSERT INTO "+table+" VALUES "+strings.Join(rows, ", ")); err != nil {
				return err
			}
		}
	}
	return nil
}

// small reports whether staged files are read once into memory: a monthly load then opens
// each file once instead of in every query. In memory they take a multiple of their size.
func (r *Resolver) small(paths []string) bool {
	total := int64(0)
	for _, p := range paths {
		st, err := os.Stat(p)
		if err != nil {
			return false // the query that reads the file will say why
		}
		total += st.Size()
	}
	return total <= int64(r.opt.MemoryMB)<<20/smallShare
}

// smallShare is the part of what DuckDB may take that such files may have.
const smallShare = 16

// stagedOf selects the staged rows of a table from those exports alone whose
// numbers a query gives, so that monthly exports are not all read for each
// month. Text columns whose words are known come as numbers of a list (coded).
func (r *Resolver) stagedOf(ctx context.Context, t table, files string) (string, error) {
	if r.inMemory[t.name] {
		return "SELECT " + r.codedNames(t) + " FROM st_" + t.name, nil
	}
	numbers, err := r.ints(ctx, files)
	if err != nil {
		return "", err
	}
	var paths []string
	for _, p := range r.parts[t.name] {
		if slices.Contains(numbers, int(p.File)) {
			paths = append(paths, p.Path)
		}
	}
	if len(paths) == 0 {
		return emptySelect(t.staged()), nil
	}
	return "SELECT " + r.codedNames(t) + " FROM " + parquet(paths), nil
}

// view makes a view over Parquet files, or over nothing.
func view(name string, paths []string, cols []column) string {
	return "CREATE OR REPLACE VIEW " + name + " AS " + relation(paths, cols)
}

// relation selects the columns from Parquet files, or no rows from none. The
// casts turn the fixed 16 bytes of a pseudonym and the dictionary words into
// the types that the rest of the SQL expects.
func relation(paths []string, cols []column) string {
	if len(paths) == 0 {
		return emptySelect(cols)
	}
	return "SELECT " + names(cols, "") + " FROM " + parquet(paths)
}

func parquet(paths []string) string {
	return "read_parquet(" + duck.FileList(paths) + ", hive_partitioning = false)"
}

func (r *Resolver) exec(ctx context.Context, query string, args ...any) error {
	_, err := r.db.ExecContext(ctx, query, args...)
	if isOutOfMemory(err) {
		err = r.withMore(ctx, err, func() error {
			_, err := r.db.ExecContext(ctx, query, args...)
			return err
		})
	}
	if err != nil {
		return fmt.Errorf("%w (in: %s)", err, firstLine(query))
	}
	return nil
}

// ints reads one column of whole numbers.
func (r *Resolver) ints(ctx context.Context, query string, args ...any) ([]int, error) {
	rows, err := r.db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("%w (in: %s)", err, firstLine(query))
	}
	defer rows.Close()
	var out []int
	for rows.Next() {
		var n int
		if err := rows.Scan(&n); err != nil {
			return nil, err
		}
		out = append(out, n)
	}
	return out, rows.Err()
}

// perMonth reads numbers of rows by month.
func (r *Resolver) perMonth(ctx context.Context, query string) (map[int]int64, error) {
	rows, err := r.db.QueryContext(ctx, query)
	if err != nil {
		return nil, fmt.Errorf("%w (in: %s)", err, firstLine(query))
	}
	defer rows.Close()
	out := map[int]int64{}
	for rows.Next() {
		var m int
		var n int64
		if err := rows.Scan(&m, &n); err != nil {
			return nil, err
		}
		out[m] = n
	}
	return out, rows.Err()
}

// count reads one number.
func (r *Resolver) count(ctx context.Context, query string, args ...any) (int64, error) {
	var n int64
	if err := r.db.QueryRowContext(ctx, query, args...).Scan(&n); err != nil {
		return 0, fmt.Errorf("%w (in: %s)", err, firstLine(query))
	}
	return n, nil
}

// parquetOptions are how every file of the store is written. The second version
// of Parquet's encodings writes times as differences: five to eight parts in a
// hundred less, at no cost.
const parquetOptions = "FORMAT parquet, COMPRESSION zstd, PARQUET_VERSION v2, ROW_GROUP_SIZE 122880"

// write copies a SELECT to a staged Parquet file; it is dropped again if it
// has no rows.
func (r *Resolver) write(ctx context.Context, part, tab string, month int, query string) (string, error) {
	name := fmt.Sprintf("%s-%s-%d", part, tab, month)
	if month < 0 {
		month = 0 // a file without a month; the number only kept the names apart
	}
	return r.writeAs(ctx, name, store.Staged{Part: part, Table: tab, Month: month}, query)
}

// writeAs is write with a name of the staged file that the caller chose.
func (r *Resolver) writeAs(ctx context.Context, name string, s store.Staged, query string) (string, error) {
	path := filepath.Join(r.tx.Staging(), name+".parquet")
	n, err := copyQuery(ctx, r.db, path, query)
	if err != nil || n == 0 {
		return "", err
	}
	s.Path, s.Rows = path, n
	r.res.Add = append(r.res.Add, s)
	return path, nil
}

// drop takes the present files of a table and month out of the manifest.
func (r *Resolver) drop(part, tab string, month int) {
	for _, f := range r.tx.Manifest.Select(part, tab) {
		if f.Month == month {
			r.res.Drop = append(r.res.Drop, f.Path)
		}
	}
}

// sums is the account of an export.
func (r *Resolver) sums(file int32) *store.Sums {
	s, ok := r.res.Sums[file]
	if !ok {
		s = new(store.Sums)
		r.res.Sums[file] = s
	}
	return s
}

func firstLine(query string) string {
	line := strings.Join(strings.Fields(query), " ")
	if len(line) > 160 {
		line = line[:160] + "..."
	}
	return line
}
