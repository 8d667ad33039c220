package queries_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// goName is the name of a question's function.
func goName(question string) string {
	var b strings.Builder
	for _, w := range strings.Split(question, "_") {
		b.WriteString(strings.ToUpper(w[:1]) + w[1:])
	}
	return b.String()
}

// Every .sql file has a header, a function of its name and a test; the header
// declares exactly the parameters that the text binds.
func TestEveryQuestion(t *testing.T) {
	all, err := queries.Questions()
	if err != nil {
		t.Fatal(err)
	}
	methods, tests := declared(t)
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		if name, ok := strings.CutSuffix(e.Name(), ".sql"); ok {
			names = append(names, name)
		}
	}
	if len(names) != len(all) || len(names) == 0 {
		t.Fatalf("%d .sql files, %d questions", len(names), len(all))
	}
	for _, q := range all {
		if !slices.Contains(methods, goName(q.Name)) {
			t.Errorf("%s.sql has no function DB.%s", q.Name, goName(q.Name))
		}
		if !slices.Contains(tests, "Test"+goName(q.Name)) {
			t.Errorf("%s.sql has no test Test%s", q.Name, goName(q.Name))
		}
		for _, c := range q.Columns {
			if c.Text == "" {
				t.Errorf("%s.sql: column %s has no meaning", q.Name, c.Name)
			}
		}
		checkParams(t, q)
	}
}

// actions are the template actions, whose variables are not parameters.
var actions = regexp.MustCompile(`{{[^}]*}}`)

func checkParams(t *testing.T, q queries.Question) {
	t.Helper()
	used := map[string]bool{}
	if strings.Contains(q.SQL, "{{inMonths}}") {
		used["from_month"], used["to_month"] = true, true
	}
	for _, m := range regexp.MustCompile(`\$([a-z_]+)`).FindAllStringSubmatch(actions.ReplaceAllString(q.SQL, ""), -1) {
		used[m[1]] = true
	}
	if strings.Contains(q.SQL, `{{alike "$mature_before"}}`) {
		used["mature_before"] = true
	}
	if strings.Contains(q.SQL, "{{finding}}") {
		used["finding"] = true
	}
	if strings.Contains(q.SQL, "{{cluster}}") {
		used["cluster"] = true
	}
	if strings.Contains(q.SQL, "{{ruled}}") || strings.Contains(q.SQL, "{{moved}}") {
		used["current"], used["proposed"] = true, true
	}
	for _, p := range q.Params {
		if !used[p.Name] {
			t.Errorf("%s.sql declares %s and does not use it", q.Name, p.Name)
		}
		if p.Text == "" || !slices.Contains([]string{"month", "time", "level", "number", "finding", "cluster", "episodes", "rules"}, p.Type) {
			t.Errorf("%s.sql: parameter %s: type %q, text %q", q.Name, p.Name, p.Type, p.Text)
		}
		delete(used, p.Name)
	}
	for name := range used {
		t.Errorf("%s.sql uses %s and does not declare it", q.Name, name)
	}
}

// declared lists the methods of DB and the tests of this folder.
func declared(t *testing.T) (methods, tests []string) {
	t.Helper()
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), e.Name(), nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok {
				if fn.Recv != nil {
					methods = append(methods, fn.Name.Name)
				} else {
					tests = append(tests, fn.Name.Name)
				}
			}
		}
	}
	return methods, tests
}

// Run gives what the typed functions give, under the columns of the header.
func TestRunByName(t *testing.T) {
	d, _ := line(t)
	all, err := queries.Questions()
	if err != nil {
		t.Fatal(err)
	}
	defaults := map[string]string{"from_month": "2026-06", "to_month": "2026-07", "mature_before": "2026-07-15",
		"cut": "same_day", "cluster": "animal", "finding": "capillary_refill_s", "threshold": "20", "scale": "10", "hours": "4", "doubtful": "0.8",
		"current": "in_force", "proposed": "in_force", "most": "20", "night_from": "20", "night_to": "8",
		"episodes": queriestest.ID(5) + "," + queriestest.ID(7), "from_time": "2026-06-01", "to_time": "2026-07-15", "known_by": "2026-07-15"}
	for _, q := range all {
		got, err := d.Run(ctx, q.Name, nil, defaults)
		if err != nil {
			t.Errorf("%s: %v", q.Name, err)
			continue
		}
		var want []string
		for _, c := range q.Columns {
			want = append(want, c.Name)
		}
		if !slices.Equal(got.Columns, want) {
			t.Errorf("%s: columns %v, header says %v", q.Name, got.Columns, want)
		}
	}
}

func TestRunRefusals(t *testing.T) {
	d, _ := line(t)
	scope := map[string]string{"from_month": "2026-06", "to_month": "2026-07"}
	for name, c := range map[string]struct {
		question string
		params   map[string]string
		want     string
	}{
		"no such question":  {"flag_count", nil, `no question "flag_count"`},
		"missing parameter": {"missed_cases", nil, "parameter cut (level) is missing"},
		"unknown parameter": {"not_attended", map[string]string{"cut": "soon"}, "has no parameter cut"},
		"bad level":         {"missed_cases", map[string]string{"cut": "urgent"}, "expected emergency"},
		"bad month":         {"not_attended", map[string]string{"from_month": "June"}, "expected a month"},
		"column injection": {"finding_values", map[string]string{"cut": "same_day", "mature_before": "2026-07-15",
			"finding": `gum_colour", (SELECT 1) AS "x`}, "expected one of the dictionary"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := d.Run(ctx, c.question, c.params, scope)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}
