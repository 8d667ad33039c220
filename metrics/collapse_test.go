package metrics

import (
	"errors"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func home(sampled, unverified int64) VerificationCell {
	return VerificationCell{SampledNotNeeded: sampled, Unverified: unverified}
}

func TestCollapseStrata(t *testing.T) {
	opt := CollapseOptions{Dimensions: []string{"level", "species", "season"}, Order: []string{"season", "species"}, MinSampled: 10}
	got, err := CollapseStrata([]KeyedStratum{
		// dog: summer is thin alone, so the dog seasons are joined.
		{Key: []string{"home", "dog", "summer"}, Absent: home(4, 100)},
		{Key: []string{"home", "dog", "winter"}, Absent: home(30, 100)},
		// cat: both rich, both stay.
		{Key: []string{"home", "cat", "summer"}, Absent: home(12, 50)},
		{Key: []string{"home", "cat", "winter"}, Absent: home(10, 50)},
		// rabbit and bird: thin whatever the season; together rich enough.
		{Key: []string{"home", "rabbit", "winter"}, Absent: home(6, 20)},
		{Key: []string{"home", "bird", "winter"}, Absent: home(5, 20)},
		// another level never joins them, and nothing unverified needs nothing.
		{Key: []string{"soon", "dog", "winter"}, Absent: home(3, 40)},
		{Key: []string{"same_day", "dog", "winter"}, Present: home(2, 0)},
	}, opt)
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"home", "(joined)", "winter"},
		{"home", "cat", "summer"},
		{"home", "cat", "winter"},
		{"home", "dog", "(all)"},
		{"same_day", "dog", "winter"},
		{"soon", "dog", "winter"},
	}
	if d := cmp.Diff(want, got.Keys); d != "" {
		t.Error(d)
	}
	if got.Strata[3].Absent != home(34, 200) || got.Strata[3].Name != "level=home, species=dog, season=(all)" {
		t.Errorf("dogs: %+v", got.Strata[3])
	}
	if d := cmp.Diff([]int{1, 1}, got.GivenUp); d != "" || got.Before != 8 {
		t.Errorf("given up of %d: %s", got.Before, d)
	}
	if got.ThinUnverified != 40 || got.ThinShare != 40.0/380 {
		t.Errorf("thin: %d, %v", got.ThinUnverified, got.ThinShare)
	}
}

func TestCollapseStrataKeepsEveryEpisode(t *testing.T) {
	r := rand.New(rand.NewPCG(27, 28))
	for range 300 {
		var in []KeyedStratum
		var present, absent VerificationCell
		for _, s := range randomStrata(r, 1+r.IntN(20), false) {
			key := []string{string(rune('a' + r.IntN(2))), string(rune('p' + r.IntN(3))), string(rune('x' + r.IntN(3)))}
			in = append(in, KeyedStratum{Key: key, Present: s.Present, Absent: s.Absent})
			present, absent = present.Add(s.Present), absent.Add(s.Absent)
		}
		opt := CollapseOptions{Dimensions: []string{"level", "species", "season"}, Order: []string{"season", "species"}, MinSampled: 20}
		got, err := CollapseStrata(in, opt)
		if err != nil {
			t.Fatal(err)
		}
		var p, a VerificationCell
		levels := map[string]int{}
		for i, s := range got.Strata {
			p, a = p.Add(s.Present), a.Add(s.Absent)
			levels[got.Keys[i][0]]++
		}
		if p != present || a != absent {
			t.Errorf("episodes lost: %+v, %+v", in, got)
		}
		// What is still thin is a whole level: nothing was left to join.
		for i, s := range got.Strata {
			k := KeyedStratum{Present: s.Present, Absent: s.Absent}
			if k.thin(20) && levels[got.Keys[i][0]] > 1 {
				t.Errorf("%s is thin but has relatives: %+v", s.Name, got)
			}
		}
		r.Shuffle(len(in), func(i, j int) { in[i], in[j] = in[j], in[i] })
		again, _ := CollapseStrata(in, opt)
		if d := cmp.Diff(got, again); d != "" {
			t.Errorf("order matters:\n%s", d)
		}
	}
}

func TestCollapseStrataRefuses(t *testing.T) {
	good := CollapseOptions{Dimensions: []string{"level"}, Order: nil, MinSampled: 10}
	for name, tt := range map[string]struct {
		opt CollapseOptions
		in  []KeyedStratum
	}{
		"short key":         {good, []KeyedStratum{{Key: nil}}},
		"unknown dimension": {CollapseOptions{Dimensions: []string{"level"}, Order: []string{"species"}}, nil},
		"listed twice":      {CollapseOptions{Dimensions: []string{"level"}, Order: []string{"level", "level"}}, nil},
		"negative minimum":  {CollapseOptions{MinSampled: -1}, nil},
		"negative count":    {good, []KeyedStratum{{Key: []string{"home"}, Absent: home(-1, 0)}}},
	} {
		if _, err := CollapseStrata(tt.in, tt.opt); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
