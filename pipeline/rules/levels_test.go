package rules

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// TestLevelsAnswerAsEval holds SelectLevels, with and without stored bits, to the
// answer of the Go evaluator: the stored set itself, one that changes a
// threshold, demands, when_unknown and order, and one that shares nothing.
func TestLevelsAnswerAsEval(t *testing.T) {
	stored := compiled(t, demo(t))
	changed := *stored.Set
	changed.ID = "changed"
	changed.Flags = slices.Clone(changed.Flags)
	changed.Flags[0].Raise = !changed.Flags[0].Raise
	changed.Flags[3].Demands--
	for i := range changed.Flags {
		if changed.Flags[i].ID == "fast_breathing_cat" {
			changed.Flags[i].All = slices.Clone(changed.Flags[i].All)
			changed.Flags[i].All[0].Lower.Text = "40"
		}
	}
	slices.Reverse(changed.Flags[5:20])
	fewer := *stored.Set
	fewer.ID, fewer.Flags = "fewer", slices.Clone(fewer.Flags[:4])
	parts := []Part{{stored, "a_"}, {compiled(t, &changed), "b_"}, {compiled(t, stress(t)), "c_"}, {compiled(t, parse(t, ladder)), "d_"}, {compiled(t, &fewer), "e_"}}
	recs := directed(stored, 8_000, 20260301)
	for i := range 4_000 {
		recs = append(recs, directed(parts[1+i%4].Program, 1, uint64(i))...)
	}
	db := load(t, recs)
	bits, err := Select("cases", Part{Program: stored})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE held AS " + bits); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, p := range parts {
		names = append(names, p.LevelColumns()...)
	}
	levels := len(names)
	for relation, with := range map[string]*Program{"cases": nil, "held": stored} {
		query, fired, err := SelectLevels(relation, with, parts...)
		if err != nil {
			t.Fatal(err)
		}
		for i, list := range fired { // as a number that tells lists apart
			names = append(names[:levels+i], "list_sum(list_transform("+list+", lambda p: 2 * p + 1))::INTEGER")
			names[levels+i] = "coalesce(" + names[levels+i] + ", 0)"
		}
		rows, err := db.Query("SELECT i, " + strings.Join(names, ", ") + " FROM (" + query + ") ORDER BY i")
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		got, into := make([]int, len(names)+1), make([]any, len(names)+1)
		for i := range got {
			into[i] = &got[i]
		}
		var out Result
		differ, n := 0, 0
		for ; rows.Next() && differ < 3; n++ {
			if err := rows.Scan(into...); err != nil {
				t.Fatal(err)
			}
			want, sums := []int{n}, []int{}
			for _, p := range parts {
				p.Program.Eval(&recs[n], &out)
				want = append(want, int(out.Low), int(out.Level), int(out.High), int(out.Low)*25+int(out.Level)*5+int(out.High))
				sum := 0
				for i := range p.Program.flags {
					if Bit(out.Fired, i) {
						sum += 2*i + 1
					}
				}
				sums = append(sums, sum)
			}
			want = append(want, sums...)
			if !slices.Equal(got, want) {
				differ++
				t.Errorf("%s, record %d %+v:\nSQL %v\nGo  %v", relation, n, recs[n], got, want)
			}
		}
		if n != len(recs) && differ == 0 {
			t.Errorf("%d rows for %d records", n, len(recs))
		}
	}
}

// A flag that the stored rules hold alike costs no look at its findings.
func TestLevelsReadStoredBits(t *testing.T) {
	stored := compiled(t, demo(t))
	changed := *stored.Set
	changed.ID, changed.Flags = "changed", slices.Clone(changed.Flags)
	changed.Flags[0].Demands--
	query, _, err := SelectLevels("cases", stored, Part{compiled(t, &changed), "new_"})
	if err != nil || strings.Contains(query, "f_") {
		t.Errorf("a lower demand needs no finding: %v\n%s", err, query)
	}
	for _, parts := range [][]Part{{{stored, ""}}, {{stored, "a b"}}, {{stored, "a_"}, {stored, "a_"}}} {
		if _, _, err := SelectLevels("cases", nil, parts...); err == nil {
			t.Errorf("prefixes %q were taken", fmt.Sprint(parts[0].Prefix))
		}
	}
	if q, _, err := SelectLevels("cases", nil); err != nil || q != "SELECT * FROM cases" {
		t.Errorf("no part: %q, %v", q, err)
	}
}
