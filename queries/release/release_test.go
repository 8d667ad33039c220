package release_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
	"hindcheck/queries/release"
)

var cut = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

// row is an episode of one owner's animal in a month.
func row(n, owner, animal, month int, species string) queriestest.Row {
	return queriestest.Row{"episode": queriestest.ID(n), "call": queriestest.ID(n), "owner": queriestest.ID(1000 + owner), "animal": queriestest.ID(2000 + animal),
		"species": species, "month": 202600 + month, "started_at": time.Date(2026, time.Month(month), 3, 9, 0, 0, 0, time.UTC), "local_hour": 9, "weekday": 6}
}

// prepared sets rows out with every combination as its own class.
func prepared(t *testing.T, k int64, rows ...queriestest.Row) (*release.Release, []release.Combination) {
	t.Helper()
	db, raw := queriestest.Open(t, queries.Meta{})
	for _, x := range rows {
		queriestest.Case(t, raw, queries.Meta{}, x)
	}
	r, err := release.Prepare(context.Background(), db, release.Options{Columns: []string{"species", "period"}, MatureBefore: cut, Secret: "secret", K: k, RareBelow: 1})
	if err != nil {
		t.Fatal(err)
	}
	c, err := r.Combinations(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var all []release.Assigned
	for i, x := range c {
		all = append(all, release.Assigned{Values: x.Values, Class: i})
	}
	if err := r.Assign(context.Background(), all); err != nil {
		t.Fatal(err)
	}
	return r, c
}

// Three owners rang once in January with a dog, two of them twice: five episodes
// of three persons, each of whom is counted once over all combinations.
func TestCombinationsCountPersonsOnce(t *testing.T) {
	r, c := prepared(t, 2, row(1, 1, 1, 1, "dog"), row(2, 2, 2, 1, "dog"), row(3, 3, 3, 1, "dog"), row(4, 1, 1, 2, "dog"), row(5, 2, 9, 7, "cat"))
	var records, persons int64
	var got []string
	for _, x := range c {
		records, persons = records+x.Records, persons+x.Persons
		got = append(got, fmt.Sprintf("%v %d %v", x.Values, x.Records, x.Mature))
	}
	slices.Sort(got)
	if want := "[cat 202607] 1 false [dog 202601] 3 true [dog 202602] 1 true"; strings.Join(got, " ") != want || records != 5 || persons != 3 {
		t.Errorf("%v, %d records, %d persons", got, records, persons)
	}
	classes, err := r.Classes(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range classes {
		if x.Records != x.Persons || x.Advice[1] != x.Records || x.Need[0] != x.Records {
			t.Errorf("class %+v", x)
		}
	}
}

// Owners stay linked only in company: two owners with the same two rows keep
// their keys at k = 2, a third with rows of its own does not, and nobody does at
// k = 3.
func TestKeysLinkOnlyInCompany(t *testing.T) {
	rows := []queriestest.Row{
		row(1, 1, 1, 1, "dog"), row(2, 1, 1, 2, "dog"), row(3, 2, 2, 1, "dog"), row(4, 2, 2, 2, "dog"),
		row(5, 3, 3, 1, "dog"), row(6, 3, 3, 3, "cat"), row(7, 4, 4, 1, "dog"), row(8, 5, 5, 3, "cat"),
	}
	for k, kept := range map[int64]int64{2: 2, 3: 0} {
		r, _ := prepared(t, k, rows...)
		l, err := r.Keys(context.Background())
		if err != nil || l.Persons != 3 || l.PersonsKept != kept || l.Pairs != 3 || l.PairsKept != kept {
			t.Errorf("k %d: %+v, %v", k, l, err)
		}
	}
	// In company, but the single episodes that would be left beside them are
	// those of one person: at k = 2 the links give that person away.
	r, _ := prepared(t, 2, append(rows[:4:4], row(9, 6, 6, 2, "dog"))...)
	if l, err := r.Keys(context.Background()); err != nil || l.PersonsKept != 0 {
		t.Errorf("one person beside: %+v, %v", l, err)
	}
	if k, err := r.SmallestGroup(context.Background()); err != nil || k < 2 {
		t.Errorf("the smallest group is %d, %v", k, err)
	}
}

func TestUnknownColumnIsRefused(t *testing.T) {
	db, _ := queriestest.Open(t, queries.Meta{})
	if _, err := release.Prepare(context.Background(), db, release.Options{Columns: []string{"name"}}); err == nil || !strings.Contains(err.Error(), "species") {
		t.Errorf("%v", err)
	}
}
