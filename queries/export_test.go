package queries

import (
	"context"
	"slices"
)

// SetLong has questions asked a month at a time, as on a long line.
func (d *DB) SetLong(long bool) { d.long = long }

// SetWalks has questions answered by walks over the files, as in a review.
func (d *DB) SetWalks() { d.kept = append(d.kept, kept{}) }

// ReadViews has every question read the views, whatever its months.
func (d *DB) ReadViews() { d.stored = nil }

// SetFiles puts files in place of those of a table and month.
func (d *DB) SetFiles(table string, month int, paths ...string) {
	if d.stored == nil {
		d.stored = map[string][]storedFile{}
	}
	d.stored[table] = slices.DeleteFunc(d.stored[table], func(f storedFile) bool { return f.month == month })
	for _, path := range paths {
		d.stored[table] = append(d.stored[table], storedFile{path, month})
	}
}

// Walks reports whether the files of the checks can be walked, and whether the
// readings of vets lie apart from those of owners.
func (d *DB) Walks(ctx context.Context, s Scope) (walks, apart bool) {
	w, err := d.walk(ctx, s)
	return err == nil && w != nil, w != nil && w.apart()
}

// WalksCases reports whether the files of cases can be walked.
func (d *DB) WalksCases(ctx context.Context, s Scope) bool {
	w, err := d.walkCases(ctx, s)
	return err == nil && w != nil
}
