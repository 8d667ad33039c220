package release

import (
	"context"
	"fmt"
	"strings"

	"hindcheck/pipeline/duck"
)

// Links says how many repeated episodes stay linked to one animal or owner.
type Links struct {
	// Persons with several episodes, and how many of them keep one key.
	Persons, PersonsKept int64
	// Pairs are episodes after the first of the same animal, and how many keep
	// the animal's key.
	Pairs, PairsKept int64
	// Advisor and Practice say whether these keys may be published: at every
	// published site at least K of them work. Fewest is the smallest number.
	Advisor, Practice               bool
	FewestAdvisors, FewestPractices int64
}

// Keys decides which rows may share a key and makes the keys. The episodes of an
// owner share one only if at least K owners show the same published rows, animal
// by animal; otherwise each episode stands alone, under an owner and an animal
// of its own. Owners are taken apart, too, where the episodes that stand alone
// in a class would otherwise be those of fewer than K persons: who knows that a
// person rang once could tell them from the linked ones.
func (r *Release) Keys(ctx context.Context) (Links, error) {
	var l Links
	err := r.exec(ctx, `CREATE OR REPLACE TABLE release_owner AS
WITH animals AS (SELECT person, coalesce(animal, episode) AS animal, string_agg(class::VARCHAR, ',' ORDER BY class) AS shows, count(*) AS n FROM release_rows GROUP BY ALL)
SELECT person, string_agg(shows, ';' ORDER BY shows) AS shows, sum(n)::BIGINT AS n, sum(n) > 1 AS kept FROM animals GROUP BY person`)
	if err != nil {
		return l, err
	}
	for {
		n, err := r.takeApart(ctx)
		if err != nil {
			return l, err
		}
		if n == 0 {
			break
		}
	}
	err = r.exec(ctx,
		"CREATE OR REPLACE MACRO release_key(kind, id) AS left(sha256("+duck.Quote(r.opt.Secret)+" || kind || id::VARCHAR), 24)",
		`CREATE OR REPLACE TABLE release_keys AS
SELECT r.episode, r.person, coalesce(r.animal, r.episode) AS animal, release_key('episode', r.episode) AS episode_key,
  CASE WHEN o.kept THEN release_key('animal', coalesce(r.animal, r.episode)) ELSE release_key('animal of', r.episode) END AS animal_key,
  CASE WHEN o.kept THEN release_key('owner', r.person) ELSE release_key('owner of', r.episode) END AS owner_key
FROM release_rows r JOIN release_owner o USING (person)`)
	if err != nil {
		return l, err
	}
	err = r.db.QueryRowContext(ctx, `SELECT
  (SELECT count(*) FROM (SELECT person FROM release_keys GROUP BY person HAVING count(*) > 1)),
  (SELECT count(*) FROM (SELECT person FROM release_keys GROUP BY person HAVING count(*) > 1 AND count(DISTINCT owner_key) = 1)),
  (SELECT count(*) - count(DISTINCT (person, animal)) FROM release_keys),
  (SELECT count(*) - count(DISTINCT animal_key) FROM release_keys)`).Scan(&l.Persons, &l.PersonsKept, &l.Pairs, &l.PairsKept)
	if err != nil {
		return l, fmt.Errorf("count links: %w", err)
	}
	return l, r.staff(ctx, &l)
}

// takeApart takes owners apart who cannot stay linked, and says how many.
func (r *Release) takeApart(ctx context.Context) (int64, error) {
	total := int64(0)
	for _, test := range []string{
		"shows IN (SELECT shows FROM release_owner WHERE kept GROUP BY shows HAVING count(*) < %d)",
		`person IN (SELECT person FROM release_rows WHERE class IN (
  SELECT class FROM release_rows JOIN release_owner USING (person) WHERE NOT kept GROUP BY class HAVING count(DISTINCT person) < %d))`,
	} {
		res, err := r.db.ExecContext(ctx, fmt.Sprintf("UPDATE release_owner SET kept = false WHERE kept AND "+test, r.opt.K))
		if err != nil {
			return 0, fmt.Errorf("take owners apart: %w", err)
		}
		n, err := res.RowsAffected()
		if err != nil {
			return 0, err
		}
		total += n
	}
	return total, nil
}

// SmallestGroup is the fewest persons whose published rows, taken together under
// their published owner key, are the same: k on the level of owners.
func (r *Release) SmallestGroup(ctx context.Context) (int64, error) {
	var k int64
	err := r.db.QueryRowContext(ctx, `WITH owners AS (
  SELECT k.owner_key, any_value(k.person) AS person, string_agg(r.class::VARCHAR, ',' ORDER BY r.class) AS shows
  FROM release_keys k JOIN release_rows r USING (episode) GROUP BY k.owner_key)
SELECT coalesce(min(n), 0) FROM (SELECT count(DISTINCT person) AS n FROM owners GROUP BY shows)`).Scan(&k)
	if err != nil {
		return 0, fmt.Errorf("measure owners: %w", err)
	}
	return k, nil
}

// staff counts advisors and practices by published site.
func (r *Release) staff(ctx context.Context, l *Links) error {
	site := "''"
	if strings.Contains(" "+strings.Join(r.opt.Columns, " ")+" ", " site ") {
		site = "p_site"
	}
	for _, x := range []struct {
		column string
		few    *int64
		ok     *bool
	}{{"advisor", &l.FewestAdvisors, &l.Advisor}, {"practice", &l.FewestPractices, &l.Practice}} {
		err := r.db.QueryRowContext(ctx, fmt.Sprintf(`SELECT coalesce(min(n), 0) FROM (SELECT count(DISTINCT %s) AS n FROM release_rows GROUP BY %s)`, x.column, site)).Scan(x.few)
		if err != nil {
			return fmt.Errorf("count %ss: %w", x.column, err)
		}
		*x.ok = *x.few >= r.opt.K
	}
	return nil
}

// Class is one combination of published values with what stands behind it,
// persons counted exactly.
type Class struct {
	Records, Persons int64
	// Advice counts records by advised level 0 to 4, Need by unknown, no, yes.
	Advice, Need []int64
}

// Classes measures the published combinations after Assign.
func (r *Release) Classes(ctx context.Context) ([]Class, error) {
	rows, err := r.db.QueryContext(ctx, `SELECT count(*), count(DISTINCT person),
  count(*) FILTER (level = 0), count(*) FILTER (level = 1), count(*) FILTER (level = 2), count(*) FILTER (level = 3), count(*) FILTER (level = 4),
  count(*) FILTER (need_same_day = -1), count(*) FILTER (need_same_day = 0), count(*) FILTER (need_same_day = 1)
FROM release_rows GROUP BY class ORDER BY class`)
	if err != nil {
		return nil, fmt.Errorf("measure classes: %w", err)
	}
	defer rows.Close()
	var out []Class
	for rows.Next() {
		c := Class{Advice: make([]int64, 5), Need: make([]int64, 3)}
		if err := rows.Scan(&c.Records, &c.Persons, &c.Advice[0], &c.Advice[1], &c.Advice[2], &c.Advice[3], &c.Advice[4], &c.Need[0], &c.Need[1], &c.Need[2]); err != nil {
			return nil, fmt.Errorf("measure classes: %w", err)
		}
		out = append(out, c)
	}
	return out, rows.Err()
}
