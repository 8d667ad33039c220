package resolve

import (
	"fmt"
	"slices"

	"hindcheck/pipeline/store"
)

// AsOf makes the SELECT of a record table as it was after load n: present rows
// that had come by then, and superseded ones that still stood. n of 0, or the
// latest load, is the present.
func AsOf(s *store.Snapshot, name string, n int) (string, error) {
	t, ok := tableNamed(name)
	if !ok {
		return "", fmt.Errorf("no table %q", name)
	}
	current := relation(s.Paths(store.Current, name), t.stored())
	if n == 0 || n >= s.Manifest.LastLoad() {
		return current, nil
	}
	query := fmt.Sprintf("SELECT * FROM (%s) WHERE load_no <= %d", current, n)
	if paths := s.Paths(store.History, name); len(paths) > 0 {
		past := relation(paths, append(t.stored(), column{"superseded_by", "INTEGER"}))
		query += fmt.Sprintf(" UNION ALL SELECT %s FROM (%s) WHERE load_no <= %d AND superseded_by > %d", names(t.stored(), ""), past, n, n)
	}
	return query, nil
}

// AsideAsOf makes the SELECT of the rows set aside as of load n: those that
// were still refused then. n of 0 is the present.
func AsideAsOf(s *store.Snapshot, n int) string {
	current := AsideRelation(s.Paths(store.Aside, ""))
	if n == 0 || n >= s.Manifest.LastLoad() {
		return current
	}
	query := fmt.Sprintf("SELECT * FROM (%s) WHERE load_no <= %d", current, n)
	if paths := s.Paths(store.History, AsideTable); len(paths) > 0 {
		past := relation(paths, append(slices.Clone(asideColumns), column{"superseded_by", "INTEGER"}))
		query += fmt.Sprintf(" UNION ALL SELECT %s FROM (%s) WHERE load_no <= %d AND superseded_by > %d", names(asideColumns, ""), past, n, n)
	}
	return query
}

// Records are the relations of a whole store after load n, for CasesSQL.
func Records(s *store.Snapshot, n int) (rel Relations, err error) {
	for _, one := range []struct {
		name string
		into *string
	}{{"calls", &rel.Calls}, {"checks", &rel.Checks}, {"outcomes", &rel.Outcomes}} {
		if *one.into, err = AsOf(s, one.name, n); err != nil {
			return rel, err
		}
	}
	return rel, nil
}
