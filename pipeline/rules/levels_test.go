package rules

import (
	"fmt"
	"math"
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
	near := compiled(t, moveLimits(stored.Set, 4))
	all := []Part{{stored, "a_"}, {compiled(t, &changed), "b_"}, {compiled(t, stress(t)), "c_"}, {compiled(t, parse(t, ladder)), "d_"}, {compiled(t, &fewer), "e_"}, {near, "f_"},
		{compiled(t, moveLimits(stored.Set, 2)), "g_"}}
	recs := directed(stored, 8_000, 20260301)
	for i := range 4_000 {
		recs = append(recs, directed(all[1+i%6].Program, 1, uint64(i))...)
	}
	db := load(t, recs)
	bits, err := Select("cases", Part{Program: stored})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE held AS " + bits); err != nil {
		t.Fatal(err)
	}
	for _, with := range []struct {
		relation string
		stored   *Program
		parts    []Part
	}{{"cases", nil, all}, {"held", stored, all}, {"held", stored, []Part{all[1], all[5]}}, {"held", stored, []Part{all[0], all[5]}}, {"held", stored, []Part{all[4]}}} {
		relation, parts := with.relation, with.parts
		var names []string
		for _, p := range parts {
			code, moved := p.LevelColumns()[0], p.LevelColumns()[1]
			if with.stored == nil {
				names = append(names, code)
				continue
			}
			low, level, high := LevelsOfCode(code)
			// What is said not to have moved has the stored levels.
			names = append(names, fmt.Sprintf("CASE WHEN NOT %s AND %s >= 0 THEN -7 ELSE (%s * 25 + %s * 5 + %s)::INTEGER END", moved, code, low, level, high))
		}
		levels := len(names)
		query, _, fired, err := SelectLevels(relation, with.stored, parts...)
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
				want = append(want, int(out.Low)*25+int(out.Level)*5+int(out.High))
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

// moveLimits changes limits and codes of one flag in every few, and ages, and nothing else.
func moveLimits(from *Set, every int) *Set {
	set := *from
	set.ID, set.Flags = "near", slices.Clone(set.Flags)
	for i := range set.Flags {
		f := &set.Flags[i]
		if f.Age.Limits() {
			f.Age.AtLeast += 2
		}
		f.All = slices.Clone(f.All)
		for j := range f.All {
			c := &f.All[j]
			switch {
			case i%every != 0:
			case c.Lower.Text != "":
				c.Lower.Text, c.Lower.Inclusive = strings.Split(c.Lower.Text, ".")[0], !c.Lower.Inclusive
			case c.Upper.Text != "":
				c.Upper.Inclusive = !c.Upper.Inclusive
			case len(c.Is) > 1:
				c.Is = c.Is[1:]
			case len(c.Is) == 1:
				c.Is, c.IsNot = nil, c.Is
			}
		}
	}
	return &set
}

// Limits apart are written out where they matter, and no word is made of every row.
func TestLevelsLookOnlyBetweenLimits(t *testing.T) {
	stored := compiled(t, demo(t))
	changed := *stored.Set
	changed.ID, changed.Flags = "changed", slices.Clone(changed.Flags)
	f := &changed.Flags[slices.IndexFunc(changed.Flags, func(f Flag) bool { return f.ID == "fast_breathing_cat" })]
	f.All = []Condition{{Finding: "breathing_rate", Lower: Bound{Text: "40", Inclusive: true}}}
	query, _, _, err := SelectLevels("cases", stored, Part{compiled(t, &changed), "new_"})
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(query, "made_possible") || !strings.Contains(query, "((f_breathing_rate BETWEEN 40 AND 59)) AS new_rule_moved") {
		t.Error(query)
	}
	for _, x := range []struct {
		a, b span
		want string
	}{
		{span{10, 20}, span{10, 20}, ""}, {span{10, 20}, span{12, 20}, "v BETWEEN 10 AND 11"}, {span{10, 20}, span{8, 25}, "v BETWEEN 8 AND 9 v BETWEEN 21 AND 25"},
		{span{-5, 20}, span{0, 20}, ""}, {span{10, 20}, span{30, 40}, "v BETWEEN 10 AND 20 v BETWEEN 30 AND 40"}, {span{5, 3}, span{4, 1}, ""},
		{span{5, 3}, span{0, 2}, "v BETWEEN 0 AND 2"}, {span{5, math.MaxInt32}, span{5, 9}, "v >= 10"},
	} {
		if got := strings.Join(apart("v", x.a, x.b), " "); got != x.want {
			t.Errorf("%v and %v are apart at %q, expected %q", x.a, x.b, got, x.want)
		}
	}
}

// A flag that the stored rules hold alike costs no look at its findings.
func TestLevelsReadStoredBits(t *testing.T) {
	stored := compiled(t, demo(t))
	changed := *stored.Set
	changed.ID, changed.Flags = "changed", slices.Clone(changed.Flags)
	changed.Flags[0].Demands--
	query, _, _, err := SelectLevels("cases", stored, Part{compiled(t, &changed), "new_"})
	if err != nil || strings.Contains(query, "f_") {
		t.Errorf("a lower demand needs no finding: %v\n%s", err, query)
	}
	for _, parts := range [][]Part{{{stored, ""}}, {{stored, "a b"}}, {{stored, "a_"}, {stored, "a_"}}} {
		if _, _, _, err := SelectLevels("cases", nil, parts...); err == nil {
			t.Errorf("prefixes %q were taken", fmt.Sprint(parts[0].Prefix))
		}
	}
	if q, _, _, err := SelectLevels("cases", nil); err != nil || q != "SELECT * FROM cases" {
		t.Errorf("no part: %q, %v", q, err)
	}
}
