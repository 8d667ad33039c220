package rules

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
)

// flags makes a set of one-line flags: id, level, policy, then the rest.
func flags(t testing.TB, lines ...string) *Set {
	t.Helper()
	var b strings.Builder
	b.WriteString(head)
	for _, l := range lines {
		f := strings.SplitN(l, " ", 4)
		fmt.Fprintf(&b, "  - {id: %s, title: T, why: W, demands: %s, when_unknown: %s, %s}\n", f[0], f[1], f[2], f[3])
	}
	return parse(t, b.String())
}

// found lists notices as "kind flag other".
func found(notices []Notice, kinds ...NoticeKind) []string {
	var out []string
	for _, n := range notices {
		for _, k := range kinds {
			if n.Kind == k {
				out = append(out, strings.TrimSpace(fmt.Sprintf("%s %s %s", n.Kind, n.Flag, n.Other)))
			}
		}
	}
	return out
}

func TestCheck(t *testing.T) {
	every := []NoticeKind{NotInDictionary, Contradiction, NeverFires, AlwaysFires, OutOfRange, TooFine, Shadowed, Idle, Overlap}
	for name, c := range map[string]struct {
		lines []string
		want  []string
	}{
		"nothing odd": {[]string{
			"a emergency leave all: [{finding: capillary_refill_s, at_least: 4}]",
			"b same_day leave all: [{finding: capillary_refill_s, at_least: 2}]"}, nil},
		"not in the dictionary": {[]string{
			"a emergency leave all: [{finding: tail_wag, is: [yes]}]",
			"b emergency leave all: [{finding: gum_colour, is: [purple]}]"},
			[]string{"not_in_dictionary a", "not_in_dictionary b"}},
		"conditions that exclude each other": {[]string{
			"a emergency leave all: [{finding: breathing_rate, at_least: 40}, {finding: breathing_rate, below: 40}]",
			"b emergency leave all: [{finding: gum_colour, is: [white]}, {finding: gum_colour, is_not: [white]}]"},
			[]string{"never_fires a", "never_fires b"}},
		"every code excluded": {[]string{"a emergency leave all: [{finding: collapse, is_not: [no, yes]}]"}, []string{"never_fires a"}},
		"degrees Fahrenheit":  {[]string{"a emergency leave all: [{finding: temperature_c, at_least: 104}]"}, []string{"never_fires a", "out_of_range a"}},
		"out of range for the species only": {[]string{
			"a emergency leave species: [dog], all: [{finding: heart_rate, at_least: 310}]",
			"b emergency leave species: [cat], all: [{finding: heart_rate, at_least: 310}]"},
			[]string{"never_fires a", "out_of_range a"}},
		"always": {[]string{
			"a emergency leave all: [{finding: heart_rate, at_least: 10}]",
			"b emergency leave all: [{finding: collapse, is: [yes, no]}]"},
			[]string{"always_fires a", "always_fires b"}},
		"negative threshold": {[]string{"a emergency leave all: [{finding: onset_h, above: -1}]"}, []string{"always_fires a", "out_of_range a"}},
		"too fine":           {[]string{"a emergency leave all: [{finding: temperature_c, at_least: 40.55}]"}, []string{"too_fine a"}},
		"shadowed": {[]string{
			"wide emergency leave all: [{finding: gum_colour, is: [white, blue]}]",
			"narrow same_day leave species: [cat], all: [{finding: gum_colour, is: [blue]}]"},
			[]string{"shadowed narrow wide"}},
		"a narrower flag with a higher level is a refinement": {[]string{
			"wide same_day leave all: [{finding: urination, is: [straining_little, none]}]",
			"narrow emergency leave species: [cat], sex: male, all: [{finding: urination, is: [straining_little, none]}]"}, nil},
		"a narrower flag that raises is not shadowed by one that does not": {[]string{
			"wide emergency leave all: [{finding: gum_colour, is: [white, blue]}]",
			"narrow emergency raise species: [cat], all: [{finding: gum_colour, is: [blue]}]"}, nil},
		"more conditions are narrower": {[]string{
			"narrow emergency leave all: [{finding: belly_feel, is: [hard]}, {finding: retching, is: [unproductive]}]",
			"wide emergency leave all: [{finding: belly_feel, is_not: [soft]}]"},
			[]string{"shadowed narrow wide"}},
		"age within age": {[]string{
			"wide same_day leave age_months: {below: 6}, all: [{finding: hours_since_eating, at_least: 8}]",
			"narrow same_day leave age_months: {at_least: 1, below: 3}, all: [{finding: hours_since_eating, at_least: 10}]"},
			[]string{"shadowed narrow wide"}},
		"twice the same": {[]string{
			"a same_day leave all: [{finding: lump, is: [warm, soft]}]",
			"b same_day leave all: [{finding: lump, is: [soft, warm]}]"}, []string{"shadowed b a"}},
		"same by another wording, two levels": {[]string{
			"a same_day leave all: [{finding: breathing_rate, at_least: 41}]",
			"b emergency leave all: [{finding: breathing_rate, above: 40}]"}, []string{"contradiction b a"}},
		"overlap": {[]string{
			"a same_day leave all: [{finding: gum_colour, is: [white, grey]}]",
			"b emergency leave all: [{finding: gum_colour, is: [grey, blue]}]"}, []string{"overlap b a"}},
		"no overlap between species": {[]string{
			"a same_day leave species: [dog], all: [{finding: gum_colour, is: [white, grey]}]",
			"b emergency leave species: [cat], all: [{finding: gum_colour, is: [grey, blue]}]"}, nil},
		"idle": {[]string{"a home_care leave all: [{finding: collapse, is: [yes]}]"}, []string{"idle a"}},
	} {
		got := found(Check(flags(t, c.lines...), findings.Default()), every...)
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

func TestCheckGaps(t *testing.T) {
	got := Check(flags(t,
		"a emergency leave species: [cat], all: [{finding: mouth_breathing, is: [at_rest]}]",
		"b emergency leave species: [dog, rabbit], all: [{finding: collapse, is: [yes]}]",
		"c emergency leave all: [{finding: gum_colour, is: [white]}]"), findings.Default())
	var texts []string
	for _, n := range got {
		if n.Kind == SpeciesGap {
			texts = append(texts, n.Text)
		}
	}
	want := []string{"no flag rests on mouth_breathing for dog and rabbit", "no flag rests on collapse for cat"}
	if diff := cmp.Diff(want, texts); diff != "" {
		t.Error(diff)
	}
	last := found(got, NotAskedAbout)
	if len(last) != 1 {
		t.Errorf("unused findings are listed once: %v", last)
	}
}

// TestCheckDemo: the demonstration rules are a sound file, apart from the flags
// that are wrong about animals, which no linter can see.
func TestCheckDemo(t *testing.T) {
	for _, n := range Check(demo(t), findings.Default()) {
		if n.Severity != Note {
			t.Errorf("%s %s: %s", n.Kind, n.Flag, n.Text)
		}
	}
}

// TestCheckAgainstEval is a second opinion: what Check says of a pair must hold
// on every one of many directed records, by the evaluator.
func TestCheckAgainstEval(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	conds := []string{"{finding: gum_colour, is: [white]}", "{finding: gum_colour, is: [white, grey]}", "{finding: gum_colour, is_not: [pink]}",
		"{finding: breathing_rate, at_least: 40}", "{finding: breathing_rate, above: 40}", "{finding: breathing_rate, at_least: 40, at_most: 60}",
		"{finding: collapse, is: [yes]}", "{finding: collapse, is_not: [yes]}", "{finding: breathing_rate, below: 40}", "{finding: breathing_rate, at_most: 39}"}
	limits := []string{"", "species: [cat], ", "species: [cat, dog], ", "sex: male, ", "age_months: {below: 6}, ", "age_months: {at_least: 2, below: 4}, "}
	said := map[NoticeKind]int{}
	for range 300 {
		var lines []string
		for _, id := range []string{"a", "b", "c"} {
			cond := conds[r.IntN(len(conds))]
			if r.IntN(2) == 0 {
				cond += ", " + conds[r.IntN(len(conds))]
			}
			lines = append(lines, id+" same_day leave "+limits[r.IntN(len(limits))]+"all: ["+cond+"]")
		}
		s := flags(t, lines...)
		p := compiled(t, s)
		recs := directed(p, 300, r.Uint64())
		for _, n := range Check(s, p.Dict) {
			said[n.Kind]++
			if n.Flag == "" {
				continue
			}
			for i := range recs {
				mine := p.Flag(flagIndex(t, s, n.Flag), &recs[i])
				switch n.Kind {
				case NeverFires:
					if mine == codes.Yes {
						t.Errorf("%v: %s fires", lines, n.Flag)
					}
				case Shadowed:
					if mine == codes.Yes && p.Flag(flagIndex(t, s, n.Other), &recs[i]) != codes.Yes {
						t.Errorf("%v: %s fires without %s", lines, n.Flag, n.Other)
					}
				}
			}
		}
	}
	if said[NeverFires] < 20 || said[Shadowed] < 20 || said[Overlap] < 20 {
		t.Errorf("too few notices to mean anything: %v", said)
	}
}

func TestCheckManyFlags(t *testing.T) {
	if testing.Short() {
		t.Skip("compares 4,000 flags with each other")
	}
	if got := Check(parse(t, manyFlags(4000)), findings.Default()); len(got) < 3900 {
		t.Errorf("%d notices on 4,000 flags that repeat each other", len(got))
	}
}

func TestDiff(t *testing.T) {
	base := []string{"a same_day leave species: [cat], all: [{finding: breathing_rate, at_least: 60}]",
		"b same_day leave all: [{finding: gum_colour, is: [white, grey]}]"}
	change := func(from, to string) []string {
		all := strings.Join(base, "\n")
		if !strings.Contains(all, from) {
			t.Fatalf("no %q", from)
		}
		return strings.Split(strings.Replace(all, from, to, 1), "\n")
	}
	for name, c := range map[string]struct {
		lines []string
		want  []string
	}{
		"nothing":          {base, nil},
		"tighter":          {change("at_least: 60", "at_least: 40"), []string{"a: threshold of breathing_rate lowered from at least 60 to at least 40: it fires more often"}},
		"looser":           {change("at_least: 60", "above: 60"), []string{"a: condition changed from breathing_rate at least 60 to breathing_rate above 60: it fires less often"}},
		"upper added":      {change("at_least: 60", "at_least: 60, below: 90"), []string{"a: condition changed from breathing_rate at least 60 to breathing_rate at least 60 and below 90: it fires less often"}},
		"moved":            {change("at_least: 60", "below: 90"), []string{"a: condition changed from breathing_rate at least 60 to breathing_rate below 90: it fires on other records"}},
		"written anew":     {change("at_least: 60", "at_least: 60.00"), nil},
		"codes reordered":  {change("[white, grey]", "[grey, white]"), nil},
		"as before":        {change("at_least: 60", "above: 59"), []string{"a: threshold of breathing_rate lowered from at least 60 to above 59: it fires as before"}},
		"codes, other way": {change("is: [white, grey]", "is_not: [pink, pale_pink, blue, brick_red, yellow, brown]"), []string{"b: condition changed from gum_colour is white or grey to gum_colour is not pink, pale_pink, blue, brick_red, yellow or brown: it fires as before"}},
		"code added":       {change("[white, grey]", "[white, grey, blue]"), []string{"b: condition changed from gum_colour is white or grey to gum_colour is white, grey or blue: it fires more often"}},
		"code gone":        {change("[white, grey]", "[white]"), []string{"b: condition changed from gum_colour is white or grey to gum_colour is white: it fires less often"}},
		"codes exchanged":  {change("[white, grey]", "[white, blue]"), []string{"b: condition changed from gum_colour is white or grey to gum_colour is white or blue: it fires on other records"}},
		"species added":    {change("[cat]", "[cat, dog]"), []string{"a: species widened from cat to cat or dog: it fires more often"}},
		"limit gone":       {change("species: [cat], ", ""), []string{"a: species widened from cat to any: it fires more often"}},
		"limit added":      {change("b same_day leave ", "b same_day leave age_months: {below: 6}, "), []string{"b: age: any age became aged under 6 months: it fires less often"}},
		"condition added":  {change("at_least: 60}", "at_least: 60}, {finding: collapse, is: [yes]}"), []string{"a: new condition: collapse is yes: it fires less often"}},
		"both ways":        {change("species: [cat], all: [{finding: breathing_rate, at_least: 60}]", "all: [{finding: breathing_rate, at_least: 70}]"), []string{"a: species widened from cat to any", "a: threshold of breathing_rate raised from at least 60 to at least 70: it fires on other records (all changes together)"}},
		"level raised":     {change("a same_day", "a emergency"), []string{"a: demanded level raised from same_day to emergency"}},
		"level lowered":    {change("b same_day", "b soon"), []string{"b: demanded level lowered from same_day to soon"}},
		"policy":           {change("a same_day leave", "a same_day raise"), []string{"a: now counts when it is unknown"}},
		"flag added":       {append(base[:2:2], "c soon leave all: [{finding: lump, is: [warm]}]"), []string{"c: new flag: lump is warm; demands soon"}},
		"flag removed":     {base[:1], []string{"b: flag removed: gum_colour is white or grey; demanded same_day"}},
		"order":            {[]string{base[1], base[0]}, []string{": the order of the flags changed; stored flag bits must be made anew"}},
		"condition merged": {change("at_least: 60}", "at_least: 60}, {finding: breathing_rate, below: 90}"), []string{"a: condition changed from breathing_rate at least 60 to breathing_rate at least 60 and breathing_rate below 90: it fires less often"}},
	} {
		var got []string
		for _, ch := range DiffIn(flags(t, base...), flags(t, c.lines...), findings.Default()) {
			got = append(got, ch.Flag+": "+ch.Text)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
	old := parse(t, head+flagA)
	next := parse(t, strings.NewReplacer("r_1", "r_2", "expires: 2026-12-31\n", "", "otherwise: home_care", "otherwise: soon").Replace(head+flagA))
	var got []string
	for _, ch := range Diff(old, next) {
		got = append(got, ch.Text)
	}
	want := []string{`ruleset: "r_1" became "r_2"`, `expires: "2026-12-31" became "open"`, `level without any flag: "home_care" became "soon"`}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestDiffAgainstEval is a second opinion on the effects: "more often" must hold
// on every record.
func TestDiffAgainstEval(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	conds := []string{"{finding: gum_colour, is: [white]}", "{finding: gum_colour, is: [white, grey]}", "{finding: gum_colour, is_not: [pink]}",
		"{finding: gum_colour, is_not: [pink, blue]}", "{finding: breathing_rate, at_least: 40}", "{finding: breathing_rate, above: 40}",
		"{finding: breathing_rate, at_least: 40, at_most: 60}", "{finding: breathing_rate, below: 61}", "{finding: breathing_rate, at_most: 61}"}
	limits := []string{"", "species: [cat], ", "species: [cat, dog], ", "age_months: {below: 6}, ", "age_months: {at_least: 2, below: 4}, "}
	said := map[Effect]int{}
	for range 400 {
		line := func() string {
			cond := conds[r.IntN(len(conds))]
			if r.IntN(3) == 0 {
				cond += ", " + conds[r.IntN(len(conds))]
			}
			return "a same_day leave " + limits[r.IntN(len(limits))] + "all: [" + cond + "]"
		}
		old, next := flags(t, line()), flags(t, line())
		p, q := compiled(t, old), compiled(t, next)
		for _, ch := range append(Diff(old, next), DiffIn(old, next, p.Dict)...) {
			said[ch.Effect]++
			for _, rec := range append(directed(p, 100, r.Uint64()), directed(q, 100, r.Uint64())...) {
				before, after := p.Flag(0, &rec) == codes.Yes, q.Flag(0, &rec) == codes.Yes
				if ch.Effect == More && before && !after || ch.Effect == Fewer && after && !before || ch.Effect == Same && before != after {
					t.Fatalf("%s: before %v, after %v", ch.Text, before, after)
				}
			}
		}
	}
	if said[More] < 20 || said[Fewer] < 20 || said[Other] < 20 || said[Unclear] < 5 {
		t.Errorf("too few changes to mean anything: %v", said)
	}
}
