package pipeline

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/store"
)

// RetryAccount says what a retry took up. Retried counts rows set aside, the
// summary's Sums the records that came of them: in a wide export one row that
// could not be read at all may hold several.
type RetryAccount struct {
	resolve.Retried
	// Missing are exports of refused rows that could not be read again.
	Missing []MissingExport `json:"missing,omitempty"`
}

// MissingExport is an export whose refused rows could not be tried.
type MissingExport struct {
	Name   string `json:"name"`
	Record string `json:"record"`
	// Rows set aside that stay so.
	Rows int64 `json:"rows"`
	// Why in words, with what to do.
	Why string `json:"why"`
}

// String gives it in one line.
func (m MissingExport) String() string {
	return fmt.Sprintf("%s: %d refused rows of %s were not tried: %s", m.Name, m.Rows, m.Record, m.Why)
}

// refused is an export of which rows are set aside.
type refused struct {
	record, source, content, name string
	rows                          int64
}

// Retry tries the rows that earlier loads set aside again, under the
// descriptions and definitions as they are now, wholly or not at all. Their
// cells are not kept: the original exports are found by the hash of their
// content among opt.Exports (files, folders or patterns), whatever their names.
// An export that is gone or has changed is in the account, and its rows stay
// set aside. Errors are those of Load.
func Retry(ctx context.Context, opt LoadOptions, which resolve.AsideFilter) (*Summary, error) {
	s, err := store.Open(opt.Store) // a store that is not there must not be made
	if err != nil {
		return nil, fmt.Errorf("retry: %w", err)
	}
	if err := s.Close(); err != nil {
		return nil, err
	}
	l, err := newLoader(opt)
	if err != nil {
		return nil, err
	}
	descs, err := l.plan()
	if err != nil {
		return nil, err
	}
	files, err := expand(opt.Exports, func(string) bool { return true })
	if err != nil {
		return nil, fmt.Errorf("exports: %w", err)
	}
	l.sum.Retry = &RetryAccount{}
	return l.sum, l.change(func() error { return l.retry(ctx, which, files, descs) })
}

func (l *loader) retry(ctx context.Context, which resolve.AsideFilter, files []string, descs []*source.Description) error {
	waiting, err := l.refusedExports(ctx, which)
	if err != nil || len(waiting) == 0 {
		return err
	}
	found, names := map[string]string{}, map[string]bool{}
	for _, path := range files {
		sum, err := l.hash(path)
		if err != nil {
			return err
		}
		found[sum], names[filepath.Base(path)] = path, true
	}
	l.in.Retry = &resolve.Retry{Filter: which}
	for _, w := range waiting {
		desc, why := describing(w, descs)
		path, ok := found[w.content]
		switch {
		case !ok && names[w.name]:
			why = "a file of that name is there and its content has changed since; load it as a newer export, or bring back the original"
		case !ok:
			why = "no file among those given has its content; name the folder that holds the original"
		}
		if why != "" {
			l.sum.Retry.Missing = append(l.sum.Retry.Missing, MissingExport{w.name, w.record, w.rows, why})
			continue
		}
		if err := l.readAgain(ctx, w, path, desc); err != nil {
			return err
		}
	}
	if len(l.exports) == 0 {
		lines := []string{fmt.Sprintf("retry: expected the exports of the refused rows, found none of %d", len(l.sum.Retry.Missing))}
		for _, m := range l.sum.Retry.Missing {
			lines = append(lines, m.String())
		}
		return errors.New(strings.Join(lines, "\n  "))
	}
	return l.finish(ctx)
}

// describing finds the description that read an export: the one of its name, or
// the only one of its kind of record that fits the file's name.
func describing(w refused, descs []*source.Description) (d *source.Description, why string) {
	var fit []*source.Description
	for _, d := range descs {
		if d.Record() != w.record {
			continue
		}
		if d.Source == w.source {
			return d, ""
		}
		if ok, _ := filepath.Match(d.Match, w.name); ok || d.Match == "" {
			fit = append(fit, d)
		}
	}
	if len(fit) == 1 {
		return fit[0], ""
	}
	return nil, fmt.Sprintf("no description has source: %s for record: %s; name the folder of descriptions with --sources", w.source, w.record)
}

// readAgain stages the whole of an export whose refused rows are to be tried.
func (l *loader) readAgain(ctx context.Context, w refused, path string, desc *source.Description) error {
	var at time.Time
	if desc.Exported.Column == "" {
		// A file that was renamed since no longer says when it was written.
		at = l.exportedAt(w)
	}
	got, err := l.stage(ctx, reading{path: path, desc: desc}, w.name, at)
	if err != nil {
		return err
	}
	no := len(l.exports) - 1
	if got.ContentHash != w.content {
		return fmt.Errorf("%s: the file changed while it was read; nothing was loaded; try again", w.name)
	}
	l.exports[no].RefusedOnly, l.exports[no].Notes = true, nil
	return nil
}

// exportedAt is when an export was written, as the latest load of it took it.
func (l *loader) exportedAt(w refused) (at time.Time) {
	for _, load := range l.tx.Manifest.Loads {
		for _, e := range load.Exports {
			if e.ContentHash == w.content && e.Source == w.source && e.Record == w.record {
				at = e.ExportedAt
			}
		}
	}
	return at
}

// refusedExports lists the exports of which the filter finds rows set aside.
func (l *loader) refusedExports(ctx context.Context, which resolve.AsideFilter) (list []refused, err error) {
	db, err := duck.Open(ctx, duck.Options{Threads: l.opt.Threads, MemoryMB: l.opt.MemoryMB})
	if err != nil {
		return nil, err
	}
	defer db.Close()
	cond, args := which.Where()
	rows, err := db.QueryContext(ctx, `SELECT record, source, content, any_value(file ORDER BY load_no DESC, file), count(*)
		FROM (`+resolve.AsideRelation(l.tx.Paths(store.Aside, ""))+`) WHERE `+cond+` GROUP BY ALL ORDER BY ALL`, args...)
	if err != nil {
		return nil, fmt.Errorf("find refused rows: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var r refused
		if err := rows.Scan(&r.record, &r.source, &r.content, &r.name, &r.rows); err != nil {
			return nil, err
		}
		list = append(list, r)
	}
	return list, rows.Err()
}
