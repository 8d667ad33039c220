package tune

import (
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/thresholds"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// The flags of a small line: a cat's breaths, a refill, and a collapse that is
// never tuned.
const rulesText = `ruleset: small_1
title: T
owner: O
reason: R
effective: 2026-01-01
status: S
otherwise: home_care
flags:
  - {id: fast, title: T, why: W, demands: same_day, when_unknown: leave, species: [cat], all: [{finding: breathing_rate, at_least: 60}]}
  - {id: refill, title: T, why: W, demands: same_day, when_unknown: raise, all: [{finding: capillary_refill_s, at_least: 2}]}
  - {id: fell, title: T, why: W, demands: emergency, when_unknown: leave, all: [{finding: collapse, is: [yes]}]}
`

// episodes of one kind: n a month.
type kind struct {
	n                          int
	breaths, refill, collapsed int
	need, route, level         int
	age                        int // months, 0 not recorded
}

// line makes twelve months of cats. The stored levels are those of the rules.
func line(t *testing.T, kinds ...kind) *queries.DB { return lineUnder(t, rulesText, kinds...) }

// lineUnder makes it under other rules.
func lineUnder(t *testing.T, text string, kinds ...kind) *queries.DB {
	t.Helper()
	set, err := rules.Parse("small.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	dict := findings.Default()
	p, err := rules.Compile(set, dict)
	if err != nil {
		t.Fatal(err)
	}
	meta := queries.Describe(dict, set)
	meta.RulesText, meta.Window, meta.AsOf, meta.MinVerified = []byte(text), 72*time.Hour, 1, 5
	meta.DataCut = time.Date(2027, 6, 1, 0, 0, 0, 0, time.UTC)
	d, db := queriestest.Open(t, meta)
	base := 0
	for _, k := range kinds {
		rec := rules.Record{Species: "cat", AgeMonths: int32(cmp.Or(k.age, -1)), Values: make([]int32, len(dict.Findings))}
		for i := range rec.Values {
			rec.Values[i] = -1
		}
		for id, v := range map[string]int{"breathing_rate": k.breaths, "capillary_refill_s": k.refill, "collapse": k.collapsed} {
			rec.Values[dict.Index(id)] = int32(v)
		}
		var out rules.Result
		p.Eval(&rec, &out)
		n := 12 * k.n
		text := fmt.Sprintf(`INSERT INTO cases (episode, call, started_at, month, species, level, route, need_same_day, need_emergency, rule_level, fired_0, unknown_0,
			f_breathing_rate, f_capillary_refill_s, f_collapse, age_months)
			SELECT id, id, make_timestamp(2026, (i %% 12 + 1)::BIGINT, 10, 9, 0, 0), 202601 + i %% 12, 'cat', %d, %d, %d, %d, %d, %d, %d, %d, %d, %d, nullif(%d, 0)
			FROM (SELECT i, ('00000000-0000-0000-0000-' || lpad((i + %d)::VARCHAR, 12, '0'))::UUID AS id FROM range(%d) t(i))`,
			k.level, k.route, k.need, k.need, int(out.Level), out.Fired[0], out.Unknown[0], k.breaths, k.refill, k.collapsed, k.age, base, n)
		if _, err := db.Exec(text); err != nil {
			t.Fatal(err)
		}
		base += n
	}
	return d
}

// cats: in need at 65 and at 45 breaths; well ones at 65, 45 and 20, of which
// one in five kept at home is called back.
func cats(t *testing.T) *queries.DB {
	return line(t,
		kind{2, 65, 10, 1, 1, 1, 3, 0}, kind{1, 65, 10, 1, 0, 1, 3, 0}, kind{4, 45, 10, 1, 1, 1, 3, 0}, kind{2, 45, 10, 1, 0, 3, 1, 0}, kind{8, 45, 10, 1, -1, 0, 1, 0},
		kind{4, 20, 10, 1, 0, 3, 1, 0}, kind{16, 20, 10, 1, -1, 0, 1, 0}, kind{1, -1, 10, 2, 1, 1, 4, 0}, kind{3, -1, 20, 1, 0, 1, 3, 0}, kind{1, -1, -1, 1, 0, 1, 3, 0})
}

func options(text string, flags ...string) Options {
	c, err := ParseCriterion(text)
	if err != nil {
		panic(err)
	}
	return Options{Cut: 3, Criterion: c, Flags: flags, Draws: 400, Review: review.Options{Confidence: 0.95, Lag: 45 * 24 * time.Hour}}
}

func build(t *testing.T, d *queries.DB, o Options) *Result {
	t.Helper()
	r, err := Build(context.Background(), d, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A flag for the old is tuned on the readings of the old: eight earlier months with
// 2 of 65 and 3 of 45 breaths; not on those of the young or of unknown age.
func TestReadingsOfTheFlagsAnimals(t *testing.T) {
	old := strings.Replace(rulesText, "species: [cat], all", "species: [cat], age_months: {at_least: 120}, all", 1)
	d := lineUnder(t, old, kind{2, 65, 10, 1, 1, 1, 3, 130}, kind{3, 45, 10, 1, 0, 3, 1, 120}, kind{4, 30, 10, 1, 0, 3, 1, 24}, kind{5, 25, 10, 1, 0, 3, 1, 0})
	r := build(t, d, options("extra=100", "fast"))
	if len(r.Tuned) != 1 || r.Tuned[0].Readings != 8*5 || !slices.Equal(r.Tuned[0].Candidates, []string{"at least 45", "at least 60", "at least 65"}) {
		t.Errorf("%+v", r.Tuned)
	}
}

// Every number of the dictionary has a limit that all its readings meet and that
// a rule may state.
func TestMetByAll(t *testing.T) {
	dict := findings.Default()
	for i := range dict.Findings {
		f := &dict.Findings[i]
		if f.Kind != findings.Number {
			continue
		}
		for key, lower := range map[string]bool{"at_least": true, "at_most": false} {
			text := metByAll(f, lower)
			set, err := rules.Parse("x.yaml", []byte(strings.Replace(rulesText, "all: [{finding: breathing_rate, at_least: 60}]", fmt.Sprintf("all: [{finding: %s, %s: %s}]", f.ID, key, text), 1)))
			if err != nil {
				t.Errorf("%s %s %s: %v", f.ID, key, text, err)
				continue
			}
			if _, err := rules.Compile(set, dict); err != nil {
				t.Errorf("%s %s %s: %v", f.ID, key, text, err)
			}
		}
	}
}

// TestByHand counts one month by eye. In need are 7: 2 at 65, 4 at 45, 1
// collapsed. In force the rules send in 3 at 65, 1 collapsed, 3 with a refill of
// 2 s and 1 of whom it is not known: 8 a month, catching 3 of 7. With breaths from
// 45 on it is 14 more, catching all.
func TestByHand(t *testing.T) {
	d := cats(t)
	r := build(t, d, options("extra=100", "fast"))
	if len(r.Tuned) != 1 || !slices.Equal(r.Tuned[0].Candidates, []string{"at least 20", "at least 45", "at least 60", "at least 65"}) || r.Tuned[0].InForce != "at least 60" {
		t.Fatalf("%+v", r.Tuned)
	}
	if r.FitEpisodes != 8*42 || r.JudgeEpisodes != 4*42 || !r.Search.Exact || r.Search.Combinations != 4 {
		t.Errorf("%d and %d episodes, %+v", r.FitEpisodes, r.JudgeEpisodes, r.Search)
	}
	near(t, "in force, sensitivity", r.Present.Fit.Sensitivity, 3.0/7)
	near(t, "in force, a day", r.Present.Fit.PerDay, 8*8.0/243)
	near(t, "chosen, sensitivity", r.Chosen.Fit.Sensitivity, 1)
	near(t, "chosen, a day", r.Chosen.Fit.PerDay, 8*22.0/243)
	near(t, "chosen, later", r.Chosen.Later.Sensitivity, 1)
	near(t, "optimism", r.Optimism.Sensitivity, 0)
	if r.Tuned[0].Chosen != "at least 45" || !strings.HasPrefix(r.Holds, "yes") {
		t.Errorf("chosen %q, %s", r.Tuned[0].Chosen, r.Holds)
	}
	// At most 13 a month more: the 14 at 45 do not fit in.
	if r := build(t, d, options("extra=0.4", "fast")); r.Tuned[0].Chosen == "at least 45" {
		t.Errorf("%s refers more than it may", r.Tuned[0].Chosen)
	}
	p, err := Propose(r, d.Meta(), "small_2")
	if err != nil || !bytes.Contains(p.Text, []byte("{finding: breathing_rate, at_least: 45}")) || !slices.Equal(p.Flags, []string{"fast"}) {
		t.Errorf("%v, %v", p, err)
	}
}

func near(t *testing.T, what string, f review.Figure, want float64) {
	t.Helper()
	if !f.Estimable() || math.Abs(*f.Estimate-want) > 1e-9 || *f.Low > want+1e-9 || *f.High < want-1e-9 {
		t.Errorf("%s: %+v, want %v", what, f, want)
	}
}

// TestFloor: the fewest referrals whose sensitivity the data show; one that they
// cannot show is not chosen.
func TestFloor(t *testing.T) {
	d := cats(t)
	r := build(t, d, options("sensitivity=0.6", "fast", "refill"))
	if r.Chosen == nil || *r.Chosen.Fit.Sensitivity.Low < 0.6 || *r.Chosen.Fit.PerDay.Estimate > 8*22.0/243 {
		t.Errorf("%+v", r.Chosen)
	}
	r = build(t, d, options("sensitivity=0.999", "refill"))
	if r.Chosen != nil || !strings.Contains(r.NotEstimable, "no combination") || r.Present == nil || len(r.Path) == 0 {
		t.Errorf("chosen %+v, %q", r.Chosen, r.NotEstimable)
	}
	if _, err := Propose(r, d.Meta(), ""); !errors.Is(err, thresholds.ErrNothing) {
		t.Errorf("%v", err)
	}
}

// TestAFlagOnCodes may stay or go, and is never taken out of the file.
func TestAFlagOnCodes(t *testing.T) {
	d := line(t, kind{4, 20, 10, 2, 0, 1, 4, 0}, kind{3, 65, 10, 1, 1, 1, 3, 0}, kind{5, 20, 10, 1, 0, 3, 1, 0}, kind{5, 20, 10, 1, -1, 0, 1, 0})
	r := build(t, d, options("extra=-0.05", "fell"))
	if r.Tuned[0].Chosen != "off" || len(r.Warnings) < 2 {
		t.Errorf("%+v, %v", r.Tuned[0], r.Warnings)
	}
	if _, err := Propose(r, d.Meta(), ""); !errors.Is(err, thresholds.ErrNothing) || !strings.Contains(err.Error(), "by hand") {
		t.Errorf("%v", err)
	}
	var cautious []string
	for _, f := range r.ByThemselves {
		if f.Cautious {
			cautious = append(cautious, f.Flag)
		}
	}
	if !slices.Equal(cautious, []string{"fell"}) { // 0 of 48 in need, where the rules reach 36 of 84
		t.Errorf("too cautious: %v in %+v", cautious, r.ByThemselves)
	}
}

// TestNobodyFollowedUp: nothing is chosen, with the reason.
func TestNobodyFollowedUp(t *testing.T) {
	r := build(t, line(t, kind{2, 65, 10, 1, 1, 1, 3, 0}, kind{9, 20, 10, 1, -1, 0, 1, 0}), options("extra=1"))
	if r.Chosen != nil || !strings.Contains(r.NotEstimable, "followed up") {
		t.Errorf("%+v", r)
	}
	var b bytes.Buffer
	if err := errors.Join(Text(&b, r), HTML(&b, r), CSV(&b, r)); err != nil || strings.Contains(b.String(), "NaN") {
		t.Errorf("%v", err)
	}
}

// TestStoredLevelsMustAgree: counts that contradict the stored levels are an error.
func TestStoredLevelsMustAgree(t *testing.T) {
	d := cats(t)
	meta := d.Meta()
	other, err := rules.Parse("x.yaml", []byte(strings.Replace(rulesText, "at_least: 60", "at_least: 30", 1)))
	if err != nil {
		t.Fatal(err)
	}
	*meta.Rules = *other
	if _, err := Build(context.Background(), d, options("extra=1", "fast")); err == nil || !strings.Contains(err.Error(), "verify --rebuild") {
		t.Errorf("%v", err)
	}
}

// TestSearchIsExact is a second opinion: on made-up patterns the front holds the
// best of all combinations, and the search one flag at a time finds no better and
// keeps what it finds in order.
func TestSearchIsExact(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for range 30 {
		b := &builder{r: &Result{}}
		for range 3 {
			b.tuned = append(b.tuned, tunable{Steps: rules.Steps{At: []string{"a", "b", "c", "d"}}, inForce: 1 + r.IntN(4), words: []string{"a", "b", "c", "d"}})
		}
		m := &model{patterns: newPatterns(b.tuned)}
		for range 40 {
			m.place(r.IntN(5) == 0, []int{r.IntN(5), r.IntN(5), r.IntN(5)})
		}
		for range m.list {
			needed, well := r.Float64()*3, r.Float64()*10
			m.needed, m.well, m.episodes = append(m.needed, needed), append(m.well, well), append(m.episodes, needed+well)
		}
		front := b.front(b.search(m))
		if !b.r.Search.Exact || b.r.Search.Tried != 64 {
			t.Fatalf("%+v", b.r.Search)
		}
		for _, w := range []float64{0.3, 2, 9} {
			cost := func(o outcome) float64 { return o.sent - (w+1)*o.caught }
			best, bestFront, greedy := math.Inf(1), math.Inf(1), math.Inf(1)
			for x := 1; x <= 4; x++ {
				for y := 1; y <= 4; y++ {
					for z := 1; z <= 4; z++ {
						best = min(best, cost(m.try(combination{x, y, z})))
					}
				}
			}
			for _, o := range front {
				bestFront = min(bestFront, cost(o))
			}
			for _, start := range b.starts() {
				b.descend(start, w, func(c combination) outcome { o := m.try(c); greedy = min(greedy, cost(o)); return o })
			}
			if math.Abs(best-bestFront) > 1e-9 || greedy < best-1e-9 {
				t.Errorf("weight %v: best %v, on the front %v, one at a time %v", w, best, bestFront, greedy)
			}
		}
		for i := 1; i < len(front); i++ {
			if front[i].sent < front[i-1].sent || front[i].caught <= front[i-1].caught {
				t.Errorf("the front falls at %d", i)
			}
		}
	}
}

func TestRefused(t *testing.T) {
	d := cats(t)
	for name, o := range map[string]Options{
		"unknown flag":  options("extra=1", "tail"),
		"named twice":   options("extra=1", "fast", "fast"),
		"below the cut": func() Options { o := options("extra=1", "fast"); o.Cut = 4; return o }(),
		"nothing":       func() Options { o := options("extra=1"); o.Cut = 4; return o }(),
		"months":        func() Options { o := options("extra=1"); o.From, o.To = 202612, 202601; return o }(),
	} {
		if _, err := Build(context.Background(), d, o); !errors.Is(err, queries.ErrParameter) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, text := range []string{"", "extra", "extra=", "extra=NaN", "extra=Inf", "sensitivity=1", "sensitivity=0", "sensitivity=97", "youden", "cost=20"} {
		if _, err := ParseCriterion(text); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
}

func TestWriters(t *testing.T) {
	r := build(t, cats(t), options("extra=1"))
	data, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var html, table, text bytes.Buffer
	if err := errors.Join(HTML(&html, r), CSV(&table, r), Text(&text, r)); err != nil {
		t.Fatal(err)
	}
	if rows, err := csv.NewReader(&table).ReadAll(); err != nil || len(rows) < 20 {
		t.Errorf("csv: %d rows, %v", len(rows), err)
	}
	for _, b := range []string{html.String(), text.String()} {
		for _, bad := range []string{"NaN", "Inf", "%!", "ZgotmplZ"} {
			if strings.Contains(b, bad) {
				t.Errorf("%s in the output", bad)
			}
		}
		if !strings.Contains(b, "emergency sign is seen at once") || !strings.Contains(b, "in force") {
			t.Error("the cautions or the rules in force are missing")
		}
	}
	if again, _ := json.Marshal(build(t, cats(t), options("extra=1"))); !bytes.Equal(data, again) {
		t.Error("the same counts give another result")
	}
}
