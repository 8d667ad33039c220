package queries

import (
	"regexp"
	"slices"
	"strings"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// storedFile is a Parquet file of one table, with the rows of one month of
// episodes; 0 for rows without an episode.
type storedFile struct {
	path  string
	month int
}

// storedFiles lists the files behind each view that shows a table of a store as
// it lies there.
func storedFiles(s *store.Snapshot, asOf int, ownCases bool) map[string][]storedFile {
	if asOf != s.Manifest.LastLoad() {
		return nil
	}
	parts := map[string]string{"calls": store.Current, "checks": store.Current, "outcomes": store.Current}
	if ownCases {
		parts["cases"] = store.Cases
	}
	out := map[string][]storedFile{}
	for name, part := range parts {
		table := name
		if part == store.Cases {
			table = ""
		}
		paths := s.Paths(part, table)
		for i, f := range s.Manifest.Select(part, table) {
			out[name] = append(out[name], storedFile{paths[i], f.Month})
		}
	}
	return out
}

// otherMonths are questions whose from_month and to_month are not those of the
// episodes.
var otherMonths = []string{"outcome_links"}

// monthly are the tables that lie in the month of the episode.
var monthly = regexp.MustCompile(`\b(?:FROM|JOIN) (calls|checks|outcomes|cases)\b`)

// ofMonths has a question read the files of its months only: a view knows
// nothing of months, and opening every file of a long store to skip it takes
// longer than many a count. The tables keep their names, as common tables.
func (d *DB) ofMonths(name, text string, args map[string]any) string {
	from, _ := args["from_month"].(int)
	to, _ := args["to_month"].(int)
	if from == 0 || to == 0 || slices.Contains(otherMonths, name) {
		return text
	}
	var tables, with []string
	for _, m := range monthly.FindAllStringSubmatch(text, -1) {
		if table := m[1]; !slices.Contains(tables, table) {
			tables = append(tables, table)
			if relation := d.filesOf(table, from, to); relation != "" {
				with = append(with, table+" AS NOT MATERIALIZED (SELECT * FROM "+relation+")")
			}
		}
	}
	if len(with) == 0 {
		return text
	}
	if rest, ok := strings.CutPrefix(text, "WITH "); ok {
		return "WITH " + strings.Join(with, ", ") + ", " + rest
	}
	return "WITH " + strings.Join(with, ", ") + "\n" + text
}

// inMonths is the condition that episodes are of the months asked about, true
// where only files of those months are read: every row of such a file would be
// looked at to find that it is.
func (d *DB) inMonths(args map[string]any) string {
	from, _ := args["from_month"].(int)
	to, _ := args["to_month"].(int)
	files := d.stored["cases"]
	if len(files) == 0 || from == 0 || to == 0 || d.casesHeld() ||
		!slices.ContainsFunc(files, func(f storedFile) bool { return f.month >= from && f.month <= to }) {
		return "month BETWEEN $from_month AND $to_month"
	}
	return "true"
}

// filesOf reads the files of some months; empty where the view will do.
func (d *DB) filesOf(table string, from, to int) string {
	files := d.stored[table]
	if table == "cases" && d.casesHeld() {
		return ""
	}
	paths := d.pathsOf(table, from, to)
	if len(paths) == 0 || len(paths) == len(files) {
		return ""
	}
	return "read_parquet(" + duck.FileList(paths) + ", hive_partitioning = false)"
}

// pathsOf lists the files of some months.
func (d *DB) pathsOf(table string, from, to int) (paths []string) {
	for _, f := range d.stored[table] {
		if f.month >= from && f.month <= to {
			paths = append(paths, f.path)
		}
	}
	return paths
}
