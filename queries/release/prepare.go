package release

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/queries"
)

// Options say how rows are set out.
type Options struct {
	// Columns are the quasi-identifiers by name, see Quasi.
	Columns []string
	// AgeEdges are the lower edges, in months, of the finest age bands after
	// the first.
	AgeEdges []int
	// MatureBefore: an episode that began earlier is mature.
	MatureBefore time.Time
	// Secret makes the new keys; it is never written anywhere.
	Secret string
	// K is how many persons, or members of staff, a key must hide among.
	K int64
	// RareBelow joins the values of open words that fewer rows have.
	RareBelow int64
}

// Release is a database in which rows are being prepared.
type Release struct {
	db  *sql.DB
	src *queries.DB
	opt Options
}

// quasi are the SQL expressions of the quasi-identifiers, on cases.
var quasi = map[string]string{
	"species": word("species"), "breed_group": word("breed_group"), "sex": word("sex"), "neutered": word("neutered"),
	"complaint": word("complaint"), "site": word("site"), "ruleset": "coalesce(ruleset, '')", "period": "month::VARCHAR",
	"hours": `CASE WHEN local_hour IS NULL THEN '' WHEN weekday >= 6 THEN 'weekend' WHEN local_hour BETWEEN 8 AND 18 THEN 'weekday_day' ELSE 'weekday_night' END`,
}

// word is an open word of a column, other if it is no code: no free text leaves.
func word(column string) string {
	return fmt.Sprintf("CASE WHEN %[1]s IS NULL THEN '' WHEN regexp_full_match(%[1]s, '[a-z0-9_]{1,48}') THEN %[1]s ELSE 'other' END", column)
}

// Quasi lists the names that Options.Columns may hold.
func Quasi() []string {
	out := []string{"age"}
	for k := range quasi {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// ageBand gives the lower edge of the finest band of an age.
func ageBand(edges []int) string {
	var b strings.Builder
	b.WriteString("CASE WHEN age_months IS NULL THEN ''")
	for _, e := range slices.Backward(edges) {
		fmt.Fprintf(&b, " WHEN age_months >= %d THEN '%d'", e, e)
	}
	return b.String() + " ELSE '0' END"
}

// Prepare sets out the episodes of src. Everything it makes lies in the memory
// of src and goes with it.
func Prepare(ctx context.Context, src *queries.DB, opt Options) (*Release, error) {
	r := &Release{db: src.SQL(), src: src, opt: opt}
	var exprs []string
	for _, c := range opt.Columns {
		expr, ok := quasi[c]
		if c == "age" {
			expr, ok = ageBand(opt.AgeEdges), true
		}
		if !ok {
			return nil, fmt.Errorf("quasi-identifier %q: expected one of %s", c, strings.Join(Quasi(), ", "))
		}
		exprs = append(exprs, expr+" AS q_"+c)
	}
	// The one chosen record of a person is drawn by a hash, so that it does not
	// follow time.
	base := fmt.Sprintf(`CREATE OR REPLACE TABLE release_base AS
SELECT episode, animal, coalesce(owner, animal, episode) AS person, advisor, practice, month, level, need_same_day,
  coalesce(started_at < TIMESTAMP '%s', false) AS mature,
  row_number() OVER (PARTITION BY coalesce(owner, animal, episode) ORDER BY hash(episode), episode) = 1 AS chosen, %s
FROM cases`, opt.MatureBefore.UTC().Format("2006-01-02 15:04:05.999999"), strings.Join(exprs, ",\n  "))
	combos := fmt.Sprintf(`CREATE OR REPLACE TABLE release_combo AS
SELECT (row_number() OVER (ORDER BY %[1]s, mature) - 1)::INTEGER AS combo, *
FROM (SELECT %[1]s, mature, count(*) AS records, count(*) FILTER (chosen) AS persons,
  bit_or(1::INTEGER << level::INTEGER) AS advice, bit_or(1::INTEGER << (need_same_day + 1)::INTEGER) AS need
  FROM release_base GROUP BY ALL)`, r.prefixed("q_"))
	return r, r.exec(ctx, base, combos)
}

// prefixed lists the quasi-identifiers with a prefix.
func (r *Release) prefixed(prefix string) string {
	out := make([]string, len(r.opt.Columns))
	for i, c := range r.opt.Columns {
		out[i] = prefix + c
	}
	return strings.Join(out, ", ")
}

func (r *Release) exec(ctx context.Context, statements ...string) error {
	for _, s := range statements {
		if _, err := r.db.ExecContext(ctx, s); err != nil {
			return fmt.Errorf("prepare a release: %w", err)
		}
	}
	return nil
}

// Combination counts the episodes that share recorded values of all
// quasi-identifiers; see package disclosure for the meaning of Persons.
type Combination struct {
	Values           []string
	Mature           bool
	Records, Persons int64
	// Advice has a bit for each advised level, Need for unknown, no and yes.
	Advice, Need uint16
}

// Combinations lists them in the order that Assign expects.
func (r *Release) Combinations(ctx context.Context) ([]Combination, error) {
	rows, err := r.db.QueryContext(ctx, "SELECT mature, records, persons, advice, need, "+r.prefixed("q_")+" FROM release_combo ORDER BY combo")
	if err != nil {
		return nil, fmt.Errorf("count combinations: %w", err)
	}
	defer rows.Close()
	var out []Combination
	for rows.Next() {
		c := Combination{Values: make([]string, len(r.opt.Columns))}
		into := []any{&c.Mature, &c.Records, &c.Persons, &c.Advice, &c.Need}
		for i := range c.Values {
			into = append(into, &c.Values[i])
		}
		if err := rows.Scan(into...); err != nil {
			return nil, fmt.Errorf("count combinations: %w", err)
		}
		out = append(out, c)
	}
	return out, rows.Err()
}

// Assigned is what one combination becomes.
type Assigned struct {
	Values []string
	Class  int
}

// batch bounds the rows of one INSERT.
const batch = 1000

// Assign takes what becomes of each combination, in the order of Combinations.
func (r *Release) Assign(ctx context.Context, all []Assigned) error {
	var cols []string
	for _, c := range r.opt.Columns {
		cols = append(cols, "p_"+c+" VARCHAR")
	}
	if err := r.exec(ctx, "CREATE OR REPLACE TABLE release_class (combo INTEGER, class INTEGER, "+strings.Join(cols, ", ")+")"); err != nil {
		return err
	}
	for at := 0; at < len(all); at += batch {
		var b strings.Builder
		b.WriteString("INSERT INTO release_class VALUES ")
		for i, a := range all[at:min(at+batch, len(all))] {
			if i > 0 {
				b.WriteString(", ")
			}
			fmt.Fprintf(&b, "(%d, %d", at+i, a.Class)
			for _, v := range a.Values {
				b.WriteString(", " + duck.Quote(v))
			}
			b.WriteString(")")
		}
		if err := r.exec(ctx, b.String()); err != nil {
			return err
		}
	}
	using := "mature"
	for _, c := range r.opt.Columns {
		using += ", q_" + c
	}
	return r.exec(ctx, `CREATE OR REPLACE TABLE release_rows AS
SELECT b.episode, b.animal, b.person, b.advisor, b.practice, b.month, b.mature, b.level, b.need_same_day, c.*
FROM release_base b JOIN (SELECT * FROM release_combo) k USING (`+using+`) JOIN release_class c USING (combo)`)
}
