package queries

import (
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/duck"
)

// PublishedFormat is the version of release.json; it rises when a key changes
// its meaning or goes away.
const PublishedFormat = 1

// Published is what a published dataset says of itself, in release.json: all
// that a reader needs beside the rows to count as on a store.
type Published struct {
	Format int `json:"format"`
	// Version of the release, and the day on which it was made.
	Version string `json:"version"`
	Made    string `json:"made"`
	// MatureBefore is the moment that the column mature refers to.
	MatureBefore time.Time `json:"mature_before"`
	// From and To bound the period under review, as 2026-07.
	From string `json:"from"`
	To   string `json:"to"`
	// Keys are the cluster columns whose links are all there.
	Keys []string `json:"keys"`
	// Columns are the columns of episodes.
	Columns []string `json:"columns"`
	// Tables lists the names of the tables.
	Tables []string `json:"tables"`
	Meta   Meta     `json:"meta"`
}

// PublishedFile is the name of the file that holds Published.
const PublishedFile = "release.json"

// ErrNotPublished is returned for a folder that holds no published dataset.
var ErrNotPublished = errors.New("no published dataset")

// ReadPublished reads release.json of a published dataset.
func ReadPublished(dir string) (Published, error) {
	var p Published
	data, err := os.ReadFile(filepath.Join(dir, PublishedFile))
	if errors.Is(err, os.ErrNotExist) {
		return p, fmt.Errorf("%w in %s: expected the file %s; make one with report publish", ErrNotPublished, dir, PublishedFile)
	}
	if err != nil {
		return p, err
	}
	if err := json.Unmarshal(data, &p); err != nil {
		return p, fmt.Errorf("%s: expected the JSON that report publish writes: %w", filepath.Join(dir, PublishedFile), err)
	}
	if p.Format != PublishedFormat {
		return p, fmt.Errorf("%s: expected format %d, found %d; use the version of the program that made the dataset", filepath.Join(dir, PublishedFile), PublishedFormat, p.Format)
	}
	return p, nil
}

// OpenPublished opens a dataset that report publish wrote, under the same names
// as a store. Times that were published as bands stand at a fixed place within
// their band, and an episode's first contact at the start of its period, so
// that every question that needs no more than the band counts as on the store.
// Questions that need what was held back are refused with ErrWithheld.
func OpenPublished(ctx context.Context, dir string, opt OpenOptions) (_ *DB, err error) {
	p, err := ReadPublished(dir)
	if err != nil {
		return nil, err
	}
	if opt.AsOf != 0 && opt.AsOf != p.Meta.AsOf {
		return nil, fmt.Errorf("%w: a published dataset shows the store as of load %d only, found --as-of %d", ErrParameter, p.Meta.AsOf, opt.AsOf)
	}
	temp, err := os.MkdirTemp("", "hindcheck-query-")
	if err != nil {
		return nil, fmt.Errorf("open published dataset: %w", err)
	}
	closers := []func() error{func() error { return os.RemoveAll(temp) }}
	defer func() {
		if err != nil {
			err = errors.Join(err, closeAll(closers))
		}
	}()
	db, err := duck.Open(ctx, duck.Options{Threads: opt.Threads, MemoryMB: opt.MemoryMB, TempDir: temp})
	if err != nil {
		return nil, err
	}
	closers = append(closers, db.Close)
	for _, s := range p.statements(dir) {
		if _, err := db.ExecContext(ctx, s); err != nil {
			return nil, fmt.Errorf("open published dataset %s: %w", dir, err)
		}
	}
	d, err := New(db, p.Meta)
	if err != nil {
		return nil, err
	}
	d.published, d.close = true, func() error { return closeAll(closers) }
	return d, nil
}

//go:embed published.tmpl
var publishedSQL string

// statements makes the relations of a store from the published tables.
func (p Published) statements(dir string) []string {
	var out []string
	for _, t := range p.Tables {
		if !plainTable.MatchString(t) {
			continue
		}
		path := filepath.Join(dir, "data", t+".parquet")
		out = append(out, "CREATE VIEW published_"+t+" AS SELECT * FROM read_parquet("+duck.Quote(path)+", hive_partitioning = false)")
	}
	text := strings.NewReplacer(
		"{mature_before}", p.MatureBefore.UTC().Format("2006-01-02 15:04:05.999999"),
		"{species}", p.column("species"), "{breed_group}", p.column("breed_group"), "{sex}", p.column("sex"), "{neutered}", p.column("neutered"),
		"{complaint}", p.column("complaint"), "{site}", p.column("site"), "{period}", p.column("period"), "{hours}", p.column("hours"), "{ruleset}", p.column("ruleset"),
		"{animal}", p.key("animal"), "{owner}", p.key("owner"), "{advisor}", p.key("advisor"), "{practice}", p.key("practice"),
		"{routes}", duck.FileList(codes.Routes.Words()), "{sources}", duck.FileList(codes.Sources.Words()),
		"{flags}", p.flagWords(), "{findings}", p.findingColumns(),
	).Replace(publishedSQL)
	for _, s := range strings.Split(text, ";\n") {
		if strings.TrimSpace(s) != "" {
			out = append(out, s)
		}
	}
	return out
}

// column is a published column of episodes, null where it was left out.
func (p Published) column(name string) string {
	if slices.Contains(p.Columns, name) {
		return "e." + name
	}
	return "NULL::VARCHAR"
}

// key is a cluster's key, null where not all of its links were published: a
// count of clusters would otherwise take the pieces for clusters.
func (p Published) key(name string) string {
	if slices.Contains(p.Keys, name) {
		return "e." + name
	}
	return "NULL::VARCHAR"
}

// flagWords packs the published results of flags into bits again.
func (p Published) flagWords() string {
	var b strings.Builder
	for w := range (len(p.Meta.Flags) + 63) / 64 {
		for _, x := range []struct{ name, test string }{{"fired", "= 'present'"}, {"unknown", "NOT IN ('present', 'absent')"}} {
			var parts []string
			for i := w * 64; i < min(w*64+64, len(p.Meta.Flags)); i++ {
				parts = append(parts, fmt.Sprintf(`CASE WHEN g."%s" %s THEN 1::UBIGINT << %d ELSE 0::UBIGINT END`, p.Meta.Flags[i].ID, x.test, i%64))
			}
			fmt.Fprintf(&b, ",\n  (%s)::UBIGINT AS %s_%d", strings.Join(parts, " | "), x.name, w)
		}
	}
	return b.String()
}

// findingColumns are the findings as cases stores them.
func (p Published) findingColumns() string {
	var b strings.Builder
	const states = "WHEN 'not_possible' THEN -2 WHEN 'declined' THEN -3 WHEN 'stopped_early' THEN -4 ELSE -1 END"
	for _, f := range p.Meta.Findings {
		if f.Numeric() {
			fmt.Fprintf(&b, ",\n  CASE WHEN f.%[1]q IS NOT NULL THEN round(f.%[1]q * %[2]d)::INTEGER ELSE CASE f.%[3]q %[4]s END::INTEGER AS %[5]s",
				f.ID, max(f.Scale, 1), f.ID+"_state", states, column(f.ID))
			continue
		}
		fmt.Fprintf(&b, ",\n  CASE f.%q", f.ID)
		for i, c := range f.Codes {
			fmt.Fprintf(&b, " WHEN '%s' THEN %d", c, i+1)
		}
		fmt.Fprintf(&b, " %s::INTEGER AS %s", states, column(f.ID))
	}
	return b.String()
}

// PublishedViews makes one view each of the tables of a published dataset,
// under their own names, for callers that write their own SQL.
func PublishedViews(ctx context.Context, dir string, opt OpenOptions) (_ *Views, err error) {
	if dir, err = filepath.Abs(dir); err != nil {
		return nil, fmt.Errorf("open published dataset: %w", err)
	}
	p, err := ReadPublished(dir)
	if err != nil {
		return nil, err
	}
	db, err := duck.Open(ctx, duck.Options{Threads: opt.Threads, MemoryMB: opt.MemoryMB})
	if err != nil {
		return nil, err
	}
	v := &Views{DB: db, Meta: p.Meta, Close: db.Close}
	for _, t := range p.Tables {
		if !plainTable.MatchString(t) {
			return nil, errors.Join(fmt.Errorf("%s: expected the name of a table, found %q", filepath.Join(dir, PublishedFile), t), db.Close())
		}
		path := filepath.Join(dir, "data", t+".parquet")
		v.Files = append(v.Files, path)
		if _, err := db.ExecContext(ctx, "CREATE VIEW "+t+" AS SELECT * FROM read_parquet("+duck.Quote(path)+", hive_partitioning = false)"); err != nil {
			return nil, errors.Join(fmt.Errorf("open published dataset %s: table %s: %w", dir, t, err), db.Close())
		}
	}
	return v, nil
}

// plainTable is what a table may be called; release.json comes from elsewhere.
var plainTable = regexp.MustCompile(`^[a-z_]+$`)
