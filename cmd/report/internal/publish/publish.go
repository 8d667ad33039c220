package publish

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"hindcheck/cmd/report/internal/disclosure"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
	"hindcheck/queries/release"
)

// Options say what is published, where and under which rules.
type Options struct {
	// Dir takes the release; it must be empty, absent or an earlier release.
	Dir    string
	Config disclosure.Config
	// Seed makes the random keys; empty draws them, as every real release must.
	Seed string
	// Previous is the folder of an earlier release that others may hold beside
	// this one, or empty. One in Dir itself counts as such.
	Previous string
	// Review is the standard by which source and release are compared.
	Review review.Options
	// Today is the day of the release, Software the program and its version.
	Today    time.Time
	Software string
	Progress func(step string, rows int64)
}

// Result is what a release came to.
type Result struct {
	Dir    string
	Tables []TableFile
	Plan   *disclosure.Plan
	Risk   Risk
	Links  release.Links
	Errors Differences
}

// work is one release under way.
type work struct {
	opt       Options
	dir       string
	src       *queries.DB
	rel       *release.Release
	plan      *disclosure.Plan
	links     release.Links
	published queries.Published
	tables    []release.Table
	files     []TableFile
	words     map[string][]string
	risk      Risk
	errors    Differences
}

// Write publishes the episodes of src. A *disclosure.Refusal says that the
// target cannot be met within the limits; then nothing is written.
func Write(ctx context.Context, src *queries.DB, opt Options) (*Result, error) {
	if opt.Progress == nil {
		opt.Progress = func(string, int64) {}
	}
	if err := free(opt.Dir); err != nil {
		return nil, err
	}
	if _, err := queries.ReadPublished(opt.Dir); err == nil && opt.Previous == "" {
		opt.Previous = opt.Dir
	}
	w := &work{opt: opt, src: src, words: map[string][]string{}}
	if err := w.prepare(ctx); err != nil {
		return nil, err
	}
	parent := filepath.Dir(filepath.Clean(opt.Dir))
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return nil, fmt.Errorf("publish: %w", err)
	}
	var err error
	if w.dir, err = os.MkdirTemp(parent, ".release-*"); err != nil {
		return nil, fmt.Errorf("publish: %w", err)
	}
	defer os.RemoveAll(w.dir)
	if err := w.writeAll(ctx); err != nil {
		return nil, err
	}
	if err := replace(opt.Dir, w.dir); err != nil {
		return nil, fmt.Errorf("publish: %w", err)
	}
	return &Result{Dir: opt.Dir, Tables: w.files, Plan: w.plan, Risk: w.risk, Links: w.links, Errors: w.errors}, nil
}

// prepare finds the plan and assigns every episode to its published class.
func (w *work) prepare(ctx context.Context) error {
	w.opt.Progress("count combinations", 0)
	scope, err := review.DefaultPeriod(ctx, w.src, w.opt.Review)
	if err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	secret := w.opt.Seed
	if secret == "" {
		var b [32]byte
		if _, err := rand.Read(b[:]); err != nil {
			return fmt.Errorf("publish: %w", err)
		}
		secret = hex.EncodeToString(b[:])
	}
	cfg := w.opt.Config
	opt := release.Options{MatureBefore: scope.MatureBefore, Secret: secret, K: cfg.K, RareBelow: cfg.RareBelow}
	for _, c := range cfg.Columns {
		opt.Columns = append(opt.Columns, c.Name)
		if c.Name == "age" {
			opt.AgeEdges = c.Fine
		}
	}
	if w.rel, err = release.Prepare(ctx, w.src, opt); err != nil {
		return err
	}
	if err := w.choose(ctx, scope.To); err != nil {
		return err
	}
	meta := w.src.Meta()
	w.published = queries.Published{
		Format: queries.PublishedFormat, Made: w.opt.Today.Format(time.DateOnly), MatureBefore: scope.MatureBefore,
		Version: w.opt.Today.Format("2006.01.02"), From: queries.FormatMonth(scope.From), To: queries.FormatMonth(scope.To), Columns: opt.Columns, Meta: meta,
	}
	return nil
}

// choose searches the plan and applies it.
func (w *work) choose(ctx context.Context, anchor int) error {
	counted, err := w.rel.Combinations(ctx)
	if err != nil {
		return err
	}
	combos := make([]disclosure.Combination, len(counted))
	for i, c := range counted {
		combos[i] = disclosure.Combination{Values: c.Values, Mature: c.Mature, Records: c.Records, Persons: c.Persons, Advice: c.Advice, Need: c.Need}
	}
	w.opt.Progress("search the least loss", 0)
	problem, err := disclosure.NewProblem(w.opt.Config, combos, anchor)
	if err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	if w.plan, err = problem.Search(); err != nil {
		return err
	}
	assigned := make([]release.Assigned, len(w.plan.Published))
	for i, p := range w.plan.Published {
		assigned[i] = release.Assigned{Values: p.Values, Class: p.Class}
	}
	if err := w.rel.Assign(ctx, assigned); err != nil {
		return err
	}
	if w.links, err = w.rel.Keys(ctx); err != nil {
		return err
	}
	if err := w.rel.Finish(ctx, w.periods(counted), w.opt.Config.TableMinimum); err != nil {
		return err
	}
	w.risk, err = measure(ctx, w, problem, combos)
	return err
}

// periods are the published periods by month, where they are not suppressed.
func (w *work) periods(counted []release.Combination) map[int]string {
	out := map[int]string{}
	at := slices.IndexFunc(w.opt.Config.Columns, func(c disclosure.Column) bool { return c.Name == "period" })
	for i := range counted {
		if at < 0 {
			break
		}
		label := w.plan.Published[i].Values[at]
		if m, err := strconv.Atoi(counted[i].Values[at]); err == nil && label != disclosure.Suppressed {
			out[m] = label
		}
	}
	return out
}

// writeAll fills the folder.
func (w *work) writeAll(ctx context.Context) error {
	w.tables = w.rel.Tables(w.links)
	if err := os.Mkdir(filepath.Join(w.dir, "data"), 0o755); err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	for _, t := range w.tables {
		w.opt.Progress("write "+t.Name, 0)
		f, err := w.writeTable(ctx, t)
		if err != nil {
			return err
		}
		w.files = append(w.files, f)
		w.published.Tables = append(w.published.Tables, t.Name)
	}
	w.published.Keys, w.published.Meta.Withheld = w.withheld()
	if err := writeJSON(filepath.Join(w.dir, queries.PublishedFile), w.published); err != nil {
		return err
	}
	if w.opt.Previous != "" {
		if err := w.join(ctx, w.opt.Previous); err != nil {
			return err
		}
	}
	w.opt.Progress("judge the release", 0)
	if err := w.compare(ctx); err != nil {
		return err
	}
	return w.describe()
}

// linkedShare is how many of the links of an animal or owner must be there for
// its key to serve as a cluster.
const linkedShare = 0.95

// withheld lists the cluster keys that serve and why the others do not.
func (w *work) withheld() (keys []string, why map[string]string) {
	why = map[string]string{
		"cluster owner":    "not all episodes of an owner share a key",
		"cluster animal":   fmt.Sprintf("only %d of %d repeated episodes of an animal share its key; linking the others would let owners be picked out", w.links.PairsKept, w.links.Pairs),
		"cluster advisor":  fmt.Sprintf("at one site only %d advisors work, fewer than %d", w.links.FewestAdvisors, w.opt.Config.K),
		"cluster practice": fmt.Sprintf("at one site outcomes come from %d practices only, fewer than %d", w.links.FewestPractices, w.opt.Config.K),
	}
	keys = []string{}
	for _, x := range []struct {
		name string
		ok   bool
	}{
		{"animal", float64(w.links.PairsKept) >= linkedShare*float64(w.links.Pairs)}, {"owner", w.links.PersonsKept == w.links.Persons},
		{"advisor", w.links.Advisor}, {"practice", w.links.Practice},
	} {
		if x.ok {
			keys = append(keys, x.name)
			delete(why, "cluster "+x.name)
		}
	}
	if reason, ok := why["cluster advisor"]; ok {
		why["unit_counts"] = reason
	}
	return keys, why
}

// free asks for a folder that may be replaced.
func free(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	if len(entries) == 0 {
		return nil
	}
	if _, err := queries.ReadPublished(dir); err != nil {
		return fmt.Errorf("publish: %s: expected an empty folder or an earlier release, found other files; name another folder", dir)
	}
	return nil
}

// replace moves the finished folder into place.
func replace(dir, with string) error {
	if err := os.Chmod(with, 0o755); err != nil {
		return err
	}
	old := with + ".old"
	if err := os.Rename(dir, old); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(with, dir); err != nil {
		return errors.Join(err, os.Rename(old, dir))
	}
	return os.RemoveAll(old)
}

// lines joins text with a final newline.
func lines(list ...string) string { return strings.Join(list, "\n") + "\n" }
