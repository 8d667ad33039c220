package disclosure

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"
)

// config is a small privacy file with three quasi-identifiers.
func config(k, l int64) Config {
	return Config{K: k, L: l, MaxSuppressed: 1, MaxEssential: 0.2, Essential: []string{"species"}, Columns: []Column{
		{Name: "species", Weight: 4, Levels: []string{"recorded"}},
		{Name: "age", Weight: 1, Levels: []string{"fine", "coarse", "all"}, Fine: []int{12, 84, 132}, Coarse: []int{84}},
		{Name: "period", Weight: 2, Levels: []string{"month", "quarter", "year"}},
	}, GiveUp: []string{"age", "period", "species"}, TellsNothing: map[string][]string{"need": {"unknown"}}}
}

// person is one row of one person, so that a slow count can check a plan.
type person struct {
	values []string
	mature bool
	level  int
	need   int // 0 unknown, 1 no, 2 yes
}

func people(rng *rand.Rand, n int) []person {
	out := make([]person, n)
	for i := range out {
		out[i] = person{values: []string{
			[]string{"dog", "dog", "dog", "cat", "cat", "rabbit"}[rng.IntN(6)],
			[]string{"0", "12", "84", "132"}[rng.IntN(4)],
			fmt.Sprint(202601 + rng.IntN(12)),
		}, mature: rng.IntN(10) > 0, level: 1 + rng.IntN(4), need: rng.IntN(3)}
	}
	return out
}

// combine counts people by combination.
func combine(all []person) ([]Combination, map[string]int) {
	place := map[string]int{}
	var out []Combination
	for _, p := range all {
		key := fmt.Sprint(p.values, p.mature)
		at, ok := place[key]
		if !ok {
			at = len(out)
			place[key] = at
			out = append(out, Combination{Values: p.values, Mature: p.mature})
		}
		out[at].Records++
		out[at].Persons++
		out[at].Advice |= 1 << p.level
		out[at].Need |= 1 << p.need
	}
	return out, place
}

// Whatever the counts, a plan that is returned holds: every published
// combination has k persons and l values, each value is the recorded one, its
// band or its period, or suppressed, and no limit is exceeded. The persons are
// counted here one by one.
func TestPlansHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	plans, refusals := 0, 0
	for range 60 {
		cfg := config(2+rng.Int64N(12), 1+rng.Int64N(2))
		all := people(rng, 50+rng.IntN(800))
		combos, place := combine(all)
		problem, err := NewProblem(cfg, combos, 202612)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := problem.Search()
		var refusal *Refusal
		if errors.As(err, &refusal) {
			refusals++
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		plans++
		checkPlan(t, cfg, plan, all, place)
	}
	if plans < 20 || refusals < 3 {
		t.Errorf("%d plans, %d refusals: too few of one kind", plans, refusals)
	}
}

func checkPlan(t *testing.T, cfg Config, plan *Plan, all []person, place map[string]int) {
	t.Helper()
	type look struct {
		persons      int64
		levels, need map[int]bool
	}
	classes := map[string]*look{}
	suppressed := make([]int64, len(cfg.Columns))
	for _, p := range all {
		pub := plan.Published[place[fmt.Sprint(p.values, p.mature)]]
		for i, v := range pub.Values {
			if v == Suppressed {
				if plan.Columns[i].Level != "all" {
					suppressed[i]++
				}
				continue
			}
			switch cfg.Columns[i].Name {
			case "species":
				if v != p.values[i] {
					t.Fatalf("%s published as %s", p.values[i], v)
				}
			case "age":
				if v != band(p.values[i], cfg.Columns[i].Fine) && v != band(p.values[i], cfg.Columns[i].Coarse) {
					t.Fatalf("age %s published as %s", p.values[i], v)
				}
			case "period":
				from, to, ok := strings.Cut(strings.ReplaceAll(v, "-", ""), "/")
				if !ok {
					to = from
				}
				if p.values[i] < from || p.values[i] > to {
					t.Fatalf("month %s published as %s", p.values[i], v)
				}
			}
		}
		key := fmt.Sprint(pub.Values, p.mature)
		if classes[key] == nil {
			classes[key] = &look{levels: map[int]bool{}, need: map[int]bool{}}
		}
		classes[key].persons++
		classes[key].levels[p.level], classes[key].need[p.need] = true, true
	}
	if int64(len(classes)) != plan.Classes {
		t.Errorf("%d combinations, the plan says %d", len(classes), plan.Classes)
	}
	for key, c := range classes {
		silent := len(c.need) == 1 && c.need[0]
		if c.persons < cfg.K || int64(len(c.levels)) < cfg.L || int64(len(c.need)) < cfg.L && !silent {
			t.Fatalf("k %d, l %d: %s has %d persons, %d levels, %d needs", cfg.K, cfg.L, key, c.persons, len(c.levels), len(c.need))
		}
	}
	for i, n := range suppressed {
		limit := cfg.MaxSuppressed
		if slices.Contains(cfg.Essential, cfg.Columns[i].Name) {
			limit = cfg.MaxEssential
		}
		if n != plan.Columns[i].Suppressed || float64(n) > limit*float64(len(all)) {
			t.Errorf("%s: %d suppressed, the plan says %d, limit %v", cfg.Columns[i].Name, n, plan.Columns[i].Suppressed, limit)
		}
	}
}

// The search over the lattice finds the least loss: trying every node gives none
// lower, and the walk for large tables finds a plan that holds too.
func TestSearchFindsTheLeastLoss(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 15 {
		cfg := config(3+rng.Int64N(8), 1)
		all := people(rng, 300)
		combos, place := combine(all)
		problem, err := NewProblem(cfg, combos, 202612)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := problem.Search()
		if err != nil {
			continue
		}
		e := newEvaluator(problem)
		for _, n := range problem.nodes() {
			if s := e.evaluate(n); s.ok && s.loss < plan.Loss-1e-12 {
				t.Errorf("node %v loses %v, the plan %v", n.levels, s.loss, plan.Loss)
			}
		}
		if s, _ := problem.descend(); s != nil {
			if s.loss < plan.Loss-1e-12 {
				t.Errorf("the walk loses %v, less than the exact search (%v)", s.loss, plan.Loss)
			}
			checkPlan(t, cfg, problem.plan(s), all, place)
		}
	}
}

// Twelve records by hand: two species of six. At k = 6 the ages must go; at k =
// 7 no plan keeps species within its limit.
func TestSearchByHand(t *testing.T) {
	var all []person
	for i := range 12 {
		all = append(all, person{values: []string{[]string{"dog", "cat"}[i/6], []string{"0", "12", "132"}[i%3], "202612"}, mature: true, level: 1 + i%2, need: 1 + i%2})
	}
	combos, _ := combine(all)
	for k, loss := range map[int64]float64{2: 0, 6: 1} {
		problem, err := NewProblem(config(k, 1), combos, 202612)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := problem.Search()
		if err != nil || plan.Columns[0].Suppressed != 0 || plan.Columns[1].Loss != loss {
			t.Errorf("k %d: %+v, %v; want age to lose %v", k, plan, err, loss)
		}
	}
	problem, err := NewProblem(config(7, 1), combos, 202612)
	if err != nil {
		t.Fatal(err)
	}
	_, err = problem.Search()
	var refusal *Refusal
	if !errors.As(err, &refusal) || refusal.TooFew || len(refusal.Columns) != 1 || refusal.Columns[0].Name != "species" || refusal.Unsafe != 12 || len(refusal.Causes) != 1 || refusal.Causes[0] != (Cause{"species", 12}) {
		t.Errorf("k 7: %+v, %v", refusal, err)
	}
	if _, err := NewProblem(config(2, 1), nil, 202612); !errors.Is(err, ErrNoRecords) {
		t.Errorf("no records: %v", err)
	}
}

func TestBandsAndPeriods(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{band("0", []int{12, 84}), "0-11"}, {band("84", []int{12, 84}), "84+"}, {band("83", []int{12, 84}), "12-83"},
		{block("202608", 1, 202608), "2026-08"}, {block("202608", 3, 202608), "2026-06/2026-08"}, {block("202605", 3, 202608), "2026-03/2026-05"},
		{block("202609", 3, 202608), "2026-09/2026-11"}, {block("202509", 12, 202608), "2025-09/2026-08"}, {block("202508", 12, 202608), "2024-09/2025-08"},
	} {
		if c.got != c.want {
			t.Errorf("got %s, want %s", c.got, c.want)
		}
	}
}

func TestPrivacyFiles(t *testing.T) {
	c, err := Read("")
	if err != nil || c.K != 10 || len(c.Columns) != len(ColumnNames) || len(c.GiveUp) != len(c.Columns) {
		t.Fatalf("%+v, %v", c, err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource("privacy.json", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := compiler.Compile("privacy.json")
	if err != nil {
		t.Fatal(err)
	}
	valid := func(text string) error {
		var v any
		if err := yaml.Unmarshal([]byte(text), &v); err != nil {
			return err
		}
		return schema.Validate(v)
	}
	good := string(DefaultText())
	if err := valid(good); err != nil {
		t.Error(err)
	}
	for name, x := range map[string]struct{ from, to, want string }{
		"unknown key":      {"rare_below:", "rarely_below:", "rare_below"},
		"k of 1":           {"k: 10", "k: 1", "target.k"},
		"share":            {"suppressed: 0.40", "suppressed: 40", "share from 0 to 1"},
		"unknown column":   {"  sex:", "  shoe:", "shoe"},
		"unknown level":    {"levels: [parts, all]", "levels: [minutes, all]", "minutes"},
		"levels reversed":  {"levels: [parts, all]", "levels: [all, parts]", "fine to coarse"},
		"edges reversed":   {"fine: [6, 12,", "fine: [12, 6,", "ascending"},
		"coarse not fine":  {"coarse: [12, 84]", "coarse: [13, 84]", "coarse bands are joined fine ones"},
		"word twice":       {"gut: [vomiting,", "gut: [vomiting, breathing,", "one group"},
		"order incomplete": {"give_up: [hours, ", "give_up: [", "every quasi-identifier once"},
		"no contributors":  {"  contributors:", "  helpers:", "contributors"},
	} {
		text := strings.Replace(good, x.from, x.to, 1)
		if text == good {
			t.Fatalf("%s: nothing replaced", name)
		}
		if _, err := Parse("p.yaml", []byte(text)); err == nil || !strings.Contains(err.Error(), x.want) || !strings.Contains(err.Error(), "p.yaml") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(DefaultText())
	f.Add([]byte("privacy: x\nquasi_identifiers: {age: {weight: 1, levels: [coarse], coarse: [3]}}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse("p.yaml", data)
		if err == nil && (c.K < 2 || len(c.GiveUp) != len(c.Columns)) {
			t.Errorf("accepted %+v", c)
		}
	})
}
