package publish

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"hindcheck/pipeline/duck"
	"hindcheck/queries"
)

// Joined says what somebody can do who holds an earlier release of the same
// line beside this one: keys differ, but content does not.
type Joined struct {
	// Version of the earlier release.
	Version string `json:"version"`
	// Found is the share of its episodes whose content stands in this release
	// too, once in each, so that they can be joined.
	Found float64 `json:"found_again_share"`
	// New episodes stand in this release only, Gone in the earlier one only;
	// by their content.
	New  int64 `json:"new"`
	Gone int64 `json:"gone"`
}

// TooClose refuses a release that differs from an earlier one by so few
// episodes that subtracting the two picks them out.
type TooClose struct {
	Joined
	K int64
}

// Error says which numbers are too small and what to do.
func (e *TooClose) Error() string {
	return fmt.Sprintf("release %s differs from this one by %d new and %d other episodes; of one of these there are fewer than %d, so subtracting the releases would pick them out, and nothing was published\n  wait for more episodes, or withdraw the earlier release and leave --previous out",
		e.Version, e.New, e.Gone, e.K)
}

// join measures this release against an earlier one and refuses it if they are
// too close. Content is what is no key and no quasi-identifier.
func (w *work) join(ctx context.Context, previous string) error {
	old, err := queries.ReadPublished(previous)
	if err != nil {
		return err
	}
	db, err := duck.Open(ctx, duck.Options{})
	if err != nil {
		return err
	}
	defer db.Close()
	list := w.contentColumns(old)
	from := func(dir string) string {
		part := func(table string) string {
			return "read_parquet(" + duck.Quote(filepath.Join(dir, "data", table+".parquet")) + ", hive_partitioning = false)"
		}
		return "SELECT hash(" + list + ") AS h, count(*) AS n FROM " + part("episodes") + " e JOIN " + part("flags") + " g USING (episode) JOIN " + part("findings") + " f USING (episode) GROUP BY h"
	}
	j := Joined{Version: old.Version}
	err = db.QueryRowContext(ctx, "WITH a AS ("+from(previous)+"), b AS ("+from(w.dir)+`)
SELECT coalesce(count(*) FILTER (a.n = 1 AND b.n = 1) / sum(a.n), 0)::DOUBLE, coalesce(sum(greatest(coalesce(b.n, 0) - coalesce(a.n, 0), 0)), 0)::BIGINT,
  coalesce(sum(greatest(coalesce(a.n, 0) - coalesce(b.n, 0), 0)), 0)::BIGINT
FROM a FULL JOIN b USING (h)`).Scan(&j.Found, &j.New, &j.Gone)
	if err != nil {
		return fmt.Errorf("compare with the release in %s: %w", previous, err)
	}
	w.risk.Previous = &j
	k := w.opt.Config.K
	if j.New > 0 && j.New < k || j.Gone > 0 && j.Gone < k {
		return &TooClose{j, k}
	}
	return nil
}

// contentColumns lists what is no key and no quasi-identifier and stands in
// both releases: columns of episodes, all flags and all findings.
func (w *work) contentColumns(old queries.Published) string {
	var out []string
	for i, t := range w.tables[:3] {
		for _, c := range t.Columns {
			if slices.Contains([]string{"episode", "animal", "owner", "advisor", "practice"}, c.Name) || c.Quasi || !hadColumn(old, i, c.Name) {
				continue
			}
			out = append(out, fmt.Sprintf("%c.%q", "egf"[i], c.Name))
		}
	}
	return strings.Join(out, ", ")
}

// hadColumn reports whether an earlier release has a flag or finding too.
func hadColumn(old queries.Published, table int, name string) bool {
	switch table {
	case 1:
		return slices.ContainsFunc(old.Meta.Flags, func(f queries.Flag) bool { return f.ID == name })
	case 2:
		return slices.ContainsFunc(old.Meta.Findings, func(f queries.Finding) bool { return f.ID == strings.TrimSuffix(name, "_state") || f.ID == name })
	}
	return true
}
