package metrics

import (
	"errors"
	"math/rand/v2"
	"slices"
	"testing"
)

// classesOf groups rows by their quasi-identifiers, one record at a time.
func classesOf(quasi [][]string, sensitive []string) []EquivalenceClass {
	values := slices.Compact(slices.Sorted(slices.Values(sensitive)))
	place := map[string]int{}
	var out []EquivalenceClass
	for i := range sensitive {
		key := ""
		for _, q := range quasi {
			key += q[i] + "\x00"
		}
		at, ok := place[key]
		if !ok {
			at = len(out)
			place[key] = at
			out = append(out, EquivalenceClass{Sensitive: make([]int64, len(values))})
		}
		out[at].Records++
		out[at].Sensitive[slices.Index(values, sensitive[i])]++
	}
	return out
}

func TestAnonymityCheckValues(t *testing.T) {
	for _, c := range readChecks(t, "anonymity") {
		if c.ID == "AN-01" {
			var in struct{ Values, Class1, Class2 []int }
			c.input(t, &in)
			all := slices.Repeat([]int64{1}, len(in.Values))
			for key, class := range map[string][]int{"class1": in.Class1, "class2": in.Class2} {
				counts := make([]int64, len(in.Values))
				for _, v := range class {
					counts[slices.Index(in.Values, v)]++
				}
				d, err := OrderedDistance(counts, all)
				if err != nil {
					t.Fatal(err)
				}
				c.near(t, key, d)
			}
			c.allRead(t)
			continue
		}
		var in struct {
			Quasi     map[string][]any
			Sensitive []string
		}
		c.input(t, &in)
		var quasi [][]string
		for _, column := range in.Quasi {
			text := make([]string, len(column))
			for i, v := range column {
				switch v := v.(type) {
				case string:
					text[i] = v
				case float64:
					text[i] = string(rune('0' + int(v)))
				}
			}
			quasi = append(quasi, text)
		}
		classes := classesOf(quasi, in.Sensitive)
		r, err := Anonymity(classes)
		if err != nil {
			t.Fatal(err)
		}
		for key, got := range map[string]float64{
			"records": float64(r.Records), "classes": float64(r.Classes), "k": float64(r.K), "singletons": float64(r.Singletons),
			"records_in_classes_below_5": float64(RecordsBelow(classes, 5)), "max_risk": r.MaxRisk, "mean_risk": r.MeanRisk,
			"distinct_l": float64(r.DistinctL), "entropy_l": r.EntropyL, "t_equal_distance": r.TEqual,
		} {
			c.near(t, key, got)
		}
		c.allRead(t)
	}
}

// Joining two classes never lowers k, never raises the risk or the distance of
// the worst class, and never lowers the diversity of the less diverse.
func TestAnonymityOfJoinedClasses(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		classes := make([]EquivalenceClass, 2+rng.IntN(6))
		for i := range classes {
			s := []int64{rng.Int64N(4), rng.Int64N(4), 1 + rng.Int64N(4)}
			n := s[0] + s[1] + s[2]
			classes[i] = EquivalenceClass{Records: n, Units: 1 + rng.Int64N(n), Sensitive: s}
		}
		before, err := Anonymity(classes)
		if err != nil {
			t.Fatal(err)
		}
		a, b := classes[0], classes[1]
		joined := EquivalenceClass{Records: a.Records + b.Records, Units: a.Units + b.Units, Sensitive: []int64{a.Sensitive[0] + b.Sensitive[0], a.Sensitive[1] + b.Sensitive[1], a.Sensitive[2] + b.Sensitive[2]}}
		after, err := Anonymity(append([]EquivalenceClass{joined}, classes[2:]...))
		if err != nil {
			t.Fatal(err)
		}
		if after.K < before.K || after.MaxRisk > before.MaxRisk || after.TEqual > before.TEqual+1e-12 || after.DistinctL < before.DistinctL || after.Records != before.Records || after.EntropyL < before.EntropyL-1e-9 {
			t.Fatalf("%+v\nbefore %+v\nafter %+v", classes, before, after)
		}
		if before.EntropyL > float64(before.DistinctL)+1e-9 && before.DistinctL > 0 {
			t.Fatalf("entropy l %v above %d distinct values in the least diverse class", before.EntropyL, before.DistinctL)
		}
	}
}

func TestAnonymityEdges(t *testing.T) {
	if r, err := Anonymity(nil); err != nil || r != (AnonymityRisk{}) {
		t.Errorf("no records: %+v, %v", r, err)
	}
	// Ten calls of one owner hide nobody.
	r, err := Anonymity([]EquivalenceClass{{Records: 10, Units: 1}, {Records: 20, Units: 20}})
	if err != nil || r.K != 1 || r.Singletons != 10 || r.MaxRisk != 1 || r.DistinctL != 0 {
		t.Errorf("one owner: %+v, %v", r, err)
	}
	for name, classes := range map[string][]EquivalenceClass{
		"empty class":      {{}},
		"too many units":   {{Records: 1, Units: 2}},
		"ragged":           {{Records: 1, Sensitive: []int64{1}}, {Records: 1, Sensitive: []int64{1, 0}}},
		"negative":         {{Records: 1, Sensitive: []int64{2, -1}}},
		"does not add up":  {{Records: 2, Sensitive: []int64{1}}},
		"sensitive absent": {{Records: 1}, {Records: 1, Sensitive: []int64{1}}},
	} {
		if _, err := Anonymity(classes); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, bad := range [][2][]int64{{{1}, {1, 2}}, {{0, 0}, {1, 2}}, {{1, -1}, {1, 2}}} {
		if _, err := OrderedDistance(bad[0], bad[1]); !errors.Is(err, ErrArgument) {
			t.Errorf("%v: %v", bad, err)
		}
	}
	if d, err := OrderedDistance([]int64{3}, []int64{9}); d != 0 || err != nil {
		t.Errorf("one value: %v, %v", d, err)
	}
	if risk, err := JournalistRisk([]int64{40, 8, 20}); risk != 0.125 || err != nil {
		t.Errorf("journalist: %v, %v", risk, err)
	}
	if _, err := JournalistRisk([]int64{0}); !errors.Is(err, ErrArgument) {
		t.Error("nobody in the register: no error")
	}
}
