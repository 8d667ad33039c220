package demo

import (
	"os"
	"slices"
	"testing"

	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

// ruleFile is as much of rules.yaml as this test needs.
type ruleFile struct {
	Ruleset   string
	Otherwise string
	Flags     []struct {
		ID          string
		Demands     string
		WhenUnknown string `yaml:"when_unknown"`
		Species     []string
		Sex         []string
		BreedGroup  []string `yaml:"breed_group"`
		AgeMonths   *limit   `yaml:"age_months"`
		All         []struct {
			Finding string
			Is      []string
			IsNot   []string `yaml:"is_not"`
			limit   `yaml:",inline"`
		}
	}
}

type limit struct {
	AtLeast *float64 `yaml:"at_least"`
	AtMost  *float64 `yaml:"at_most"`
	Above   *float64
	Below   *float64
}

func (l limit) holds(v float64) bool {
	return (l.AtLeast == nil || v >= *l.AtLeast) && (l.AtMost == nil || v <= *l.AtMost) &&
		(l.Above == nil || v > *l.Above) && (l.Below == nil || v < *l.Below)
}

func readRules(t *testing.T) ruleFile {
	t.Helper()
	data, err := os.ReadFile("rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var f ruleFile
	if err := yaml.Unmarshal(data, &f); err != nil {
		t.Fatal(err)
	}
	return f
}

// evaluate is a slow reading of the file on one episode: the second opinion to
// applyRules.
func (f ruleFile) evaluate(e *Episode) (fired, unknown uint64, level Level) {
	level = Level(slices.Index(levelIDs[:], f.Otherwise))
	assessed := false
	for _, r := range e.Readings {
		assessed = assessed || r.State == Done
	}
	for i, fl := range f.Flags {
		if fl.Species != nil && !slices.Contains(fl.Species, e.Species) ||
			fl.BreedGroup != nil && !slices.Contains(fl.BreedGroup, e.BreedGroup) ||
			fl.AgeMonths != nil && !fl.AgeMonths.holds(float64(e.AgeMonths)) ||
			fl.Sex != nil && e.Sex != "unknown" && !slices.Contains(fl.Sex, e.Sex) {
			continue
		}
		out, open := false, fl.Sex != nil && e.Sex == "unknown"
		for _, c := range fl.All {
			k := slices.IndexFunc(findingTable[:], func(x findingInfo) bool { return x.id == c.Finding })
			r := e.Readings[k]
			if r.State != Done || r.Unreadable {
				open = true
				continue
			}
			var holds bool
			if codes := findingTable[k].codes; codes != nil {
				code := codes[r.Recorded-1]
				holds = slices.Contains(c.Is, code) || c.IsNot != nil && !slices.Contains(c.IsNot, code)
			} else {
				holds = c.holds(float64(r.Recorded) / float64(findingTable[k].scale))
			}
			out = out || !holds
		}
		demanded := Level(slices.Index(levelIDs[:], fl.Demands))
		switch {
		case out:
		case open:
			unknown |= 1 << i
			if fl.WhenUnknown == "raise" {
				level = max(level, demanded)
			}
		default:
			fired |= 1 << i
			level = max(level, demanded)
		}
	}
	if !assessed {
		level = LevelNone
	}
	return fired, unknown, level
}

// The call system of the demonstration line says what rules.yaml says.
func TestCallSystemFollowsTheRulesFile(t *testing.T) {
	f := readRules(t)
	if f.Ruleset != ruleset {
		t.Errorf("the exports name ruleset %q, the file %q", ruleset, f.Ruleset)
	}
	ids := FlagIDs()
	if len(f.Flags) != len(ids) {
		t.Fatalf("the file has %d flags, the call system %d", len(f.Flags), len(ids))
	}
	for i := range ids {
		if f.Flags[i].ID != ids[i] {
			t.Fatalf("flag %d is %q in the file, %q in the call system", i, f.Flags[i].ID, ids[i])
		}
	}
	everFired, bad := uint64(0), 0
	if err := Simulate(Options{Seed: 2, Calls: 60000}, func(e *Episode) {
		fired, unknown, level := f.evaluate(e)
		everFired |= fired
		if (fired != e.Fired || unknown != e.Unknown || level != e.RuleLevel) && bad < 5 {
			bad++
			t.Errorf("call %d: file gives fired %b unknown %b level %v, call system %b %b %v", e.Call, fired, unknown, level,
				e.Fired, e.Unknown, e.RuleLevel)
		}
	}); err != nil {
		t.Fatal(err)
	}
	for i, id := range ids {
		if everFired>>i&1 == 0 {
			t.Errorf("flag %s never fires in 60,000 calls: it cannot be judged", id)
		}
	}
}

// The product's own evaluator gives the same answer: a third opinion.
func TestProductEvaluatorAgrees(t *testing.T) {
	set, err := rules.Load("rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	dict := findings.Default()
	program, err := rules.Compile(set, dict)
	if err != nil {
		t.Fatal(err)
	}
	place := make([]int, NumFindings)
	for f := range place {
		place[f] = slices.IndexFunc(dict.Findings, func(x findings.Finding) bool { return x.ID == Finding(f).String() })
		if place[f] < 0 {
			t.Fatalf("the dictionary has no finding %s", Finding(f))
		}
	}
	record := rules.Record{Values: make([]int32, len(dict.Findings))}
	var out rules.Result
	bad := 0
	if err := Simulate(Options{Seed: 3, Calls: 40000}, func(e *Episode) {
		record.Species, record.Sex, record.BreedGroup, record.AgeMonths = e.Species, e.Sex, e.BreedGroup, int32(e.AgeMonths)
		for f, r := range e.Readings {
			record.Values[place[f]] = codes.NotAsked
			if r.State == Done {
				record.Values[place[f]] = int32(r.Recorded)
			}
		}
		program.Eval(&record, &out)
		if (out.Fired[0] != e.Fired || out.Unknown[0] != e.Unknown || out.Level.String() != e.RuleLevel.String()) && bad < 5 {
			bad++
			t.Errorf("call %d: product %b %b %v, call system %b %b %v", e.Call, out.Fired[0], out.Unknown[0], out.Level, e.Fired, e.Unknown, e.RuleLevel)
		}
	}); err != nil {
		t.Fatal(err)
	}
}
