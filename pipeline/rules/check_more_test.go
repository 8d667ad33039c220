package rules

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
)

func TestCovered(t *testing.T) {
	for name, c := range map[string]struct {
		lines []string
		want  []string
	}{
		"two halves": {[]string{
			"low emergency leave all: [{finding: breathing_rate, below: 60}]",
			"high emergency leave all: [{finding: breathing_rate, at_least: 60}]",
			"mid same_day leave all: [{finding: breathing_rate, at_least: 40, at_most: 80}]"}, []string{"covered mid"}},
		"a gap of one step": {[]string{
			"low emergency leave all: [{finding: breathing_rate, below: 60}]",
			"high emergency leave all: [{finding: breathing_rate, above: 60}]",
			"mid same_day leave all: [{finding: breathing_rate, at_least: 40, at_most: 80}]"}, nil},
		"a lower level covers nothing": {[]string{
			"low soon leave all: [{finding: breathing_rate, below: 60}]",
			"high emergency leave all: [{finding: breathing_rate, at_least: 60}]",
			"mid same_day leave all: [{finding: breathing_rate, at_least: 40, at_most: 80}]"}, nil},
		"sexes may be unknown": {[]string{
			"m emergency leave sex: male, all: [{finding: lump, is: [warm]}]",
			"f emergency leave sex: female, all: [{finding: lump, is: [warm]}]",
			"any same_day leave all: [{finding: lump, is: [warm]}]"}, nil},
		"both sexes named": {[]string{
			"m emergency leave sex: male, all: [{finding: lump, is: [warm]}]",
			"f emergency leave sex: female, all: [{finding: lump, is: [warm]}]",
			"any same_day leave sex: [male, female], all: [{finding: lump, is: [warm]}]"}, []string{"covered any"}},
		"a flag that raises is not covered by ones that leave": {[]string{
			"m emergency leave sex: male, all: [{finding: lump, is: [warm]}]",
			"f emergency leave sex: female, all: [{finding: lump, is: [warm]}]",
			"any same_day raise sex: [male, female], all: [{finding: lump, is: [warm]}]"}, nil},
		"a chequered board": {[]string{
			"a emergency leave age_months: {below: 6}, all: [{finding: lump, is: [warm]}]",
			"b emergency leave age_months: {at_least: 6, below: 12}, all: [{finding: lump, is: [warm, hard]}]",
			"c emergency leave age_months: {below: 8}, all: [{finding: lump, is: [hard]}]",
			"z same_day leave age_months: {at_least: 2, below: 10}, all: [{finding: lump, is: [hard, warm]}]"}, []string{"covered z"}},
	} {
		if diff := cmp.Diff(c.want, found(Check(flags(t, c.lines...), findings.Default()), Covered)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

// TestCannotTell: where the work would not end, the notice says so.
func TestCannotTell(t *testing.T) {
	var lines []string
	for i := range 700 {
		lines = append(lines, fmt.Sprintf("f%d same_day leave all: [{finding: onset_h, at_least: %d, below: %d}]", i, i, i+650))
	}
	got := found(Check(flags(t, lines...), findings.Default()), CannotTell)
	if len(got) != 1 {
		t.Errorf("%v", got)
	}
}

func TestEndGaps(t *testing.T) {
	got := Check(flags(t,
		"a emergency leave species: [dog, cat], all: [{finding: temperature_c, above: 40.5}]",
		"b emergency leave species: [dog], all: [{finding: temperature_c, below: 37}]",
		"c emergency leave species: [rabbit], all: [{finding: temperature_c, at_least: 38, at_most: 39}]",
		"d emergency leave species: [rabbit], all: [{finding: breathing_rate, above: 60}]"), findings.Default())
	var texts []string
	for _, n := range got {
		if n.Kind == EndGap {
			texts = append(texts, n.Text)
		}
	}
	if want := []string{"no flag rests on a low temperature_c of a cat, and one on the other end does"}; cmp.Diff(want, texts) != "" {
		t.Error(texts)
	}
}

func TestDraftsAreWrong(t *testing.T) {
	text := strings.NewReplacer("owner: O", "owner: "+Draft+" (who answers for it)", "why: W", "why: "+Draft).Replace(head + flagA)
	var got []string
	for _, n := range Check(parse(t, text), findings.Default()) {
		if n.Kind == NotFilledIn {
			got = append(got, fmt.Sprintf("%s %d %s", n.Severity, n.Pos.Line, n.Flag))
		}
	}
	if diff := cmp.Diff([]string{"wrong 3 ", "wrong 10 a"}, got); diff != "" {
		t.Error(diff)
	}
}

func TestCheckDates(t *testing.T) {
	s := parse(t, head+flagA) // in force from 2026-01-01 to 2026-12-31
	open := parse(t, strings.Replace(head, "expires: 2026-12-31\n", "", 1)+flagA)
	for day, want := range map[string]NoticeKind{"2025-12-31": OutOfForce, "2026-01-01": "", "2026-10-01": "", "2026-10-03": ExpiresSoon, "2026-12-31": ExpiresSoon, "2027-01-01": OutOfForce} {
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		got := NoticeKind("")
		if n := CheckDates(s, at.Add(23*time.Hour)); len(n) > 0 {
			got = n[0].Kind
			if n[0].Pos.Line == 0 || n[0].Remedy == "" {
				t.Errorf("%s: %+v has no place or remedy", day, n[0])
			}
		}
		if got != want {
			t.Errorf("%s: %q, want %q", day, got, want)
		}
		if n := CheckDates(open, at); day > "2026" && (len(n) != 1 || n[0].Kind != NoExpiry) {
			t.Errorf("%s: without a last day %v", day, n)
		}
	}
}

// A reading equal to the bound, one step below and one above, and 30 beside 30.0.
func TestBoundaries(t *testing.T) {
	for cond, want := range map[string]string{
		"at_least: 30":              "29 no, 30 yes, 31 yes",
		"at_least: 30.0":            "29 no, 30 yes, 31 yes",
		"above: 30":                 "30 no, 31 yes, 32 yes",
		"above: 29.5":               "29 no, 30 yes, 31 yes",
		"at_most: 30":               "29 yes, 30 yes, 31 no",
		"below: 30":                 "28 yes, 29 yes, 30 no",
		"at_least: 30, at_most: 31": "29 no, 30 yes, 31 yes, 32 no",
		"at_least: 250":             "249 no, 250 yes, 251 yes (cannot be)",
		"above: 9999":               "2 no, 250 no",
		"at_least: 0":               "2 yes, 250 yes",
	} {
		b, err := Boundaries(parse(t, when("{finding: breathing_rate, "+cond+"}", "{finding: lump, is: [warm]}")), findings.Default())
		if err != nil || len(b) != 1 {
			t.Fatalf("%s: %v, %d boundaries", cond, err, len(b))
		}
		var got []string
		for _, r := range b[0].Readings {
			text := strings.TrimSuffix(r.Text, " /min") + map[bool]string{true: " yes", false: " no"}[r.Meets]
			if !r.Possible {
				text += " (cannot be)"
			}
			got = append(got, text)
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%s: %v, want %s", cond, got, want)
		}
	}
}

func TestCheckRecorded(t *testing.T) {
	s := flags(t, "a emergency raise all: [{finding: collapse, is: [yes]}]", "b soon leave all: [{finding: lump, is: [warm]}]",
		"c soon leave species: [cat], all: [{finding: stool, is: [bloody]}]", "d soon leave all: [{finding: pupils, is: [unequal]}]")
	uses := []Use{{Fired: 3, Unknown: 31, RuledOut: 66}, {Fired: 0, Unknown: 40, RuledOut: 60}, {Fired: 50, Unknown: 50}, {}}
	asked := []Asked{{"collapse", "dog", 69, 100}, {"lump", "dog", 1, 60}, {"lump", "cat", 0, 40}, {"stool", "dog", 60, 60}, {"stool", "cat", 0, 40}}
	got := found(CheckRecorded(s, uses, asked), NeverFired, AlwaysFired, HardlyAsked, RaisesBlindly)
	want := []string{"raises_blindly a", "never_fired b", "hardly_asked b", "always_fired c", "hardly_asked c"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestCoveredAgainstEval is a second opinion in both directions: a covered flag
// never fires alone, and one that is not covered does on some reading or other.
func TestCoveredAgainstEval(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	said, alone := 0, 0
	for range 400 {
		var lines []string
		for _, id := range []string{"a", "b", "c", "z"} {
			low, ages := 10*r.IntN(4), ""
			if r.IntN(3) > 0 {
				ages = fmt.Sprintf("age_months: {at_least: %d, below: %d}, ", r.IntN(3), 3+r.IntN(3))
			}
			level := "emergency"
			if id == "z" {
				level = "same_day"
			}
			lines = append(lines, fmt.Sprintf("%s %s leave %sall: [{finding: hours_since_eating, at_least: %d, below: %d}]", id, level, ages, low, low+10+10*r.IntN(3)))
		}
		s := flags(t, lines...)
		p := compiled(t, s)
		hidden := len(found(Check(s, p.Dict), Covered, Shadowed, Contradiction)) > 0 && strings.Contains(strings.Join(found(Check(s, p.Dict), Covered, Shadowed, Contradiction), "\n")+" ", " z ")
		fires := false
		for v := int32(0); v < 80; v++ {
			for age := int32(-1); age < 8; age++ {
				rec := Record{AgeMonths: age, Values: values(map[string]int32{"hours_since_eating": v})}
				fires = fires || p.Flag(3, &rec) == codes.Yes && !anotherFires(p, "z", &rec)
			}
		}
		if hidden == fires {
			t.Fatalf("%v: said to be needless %v, fires alone %v", lines, hidden, fires)
		}
		if fires {
			alone++
		} else {
			said++
		}
	}
	if said < 20 || alone < 20 {
		t.Errorf("%d needless and %d needed flags do not test it", said, alone)
	}
}

// anotherFires reports whether a flag other than the named one fires on a record.
func anotherFires(p *Program, id string, r *Record) bool {
	for i := range p.flags {
		if p.flags[i].ID != id && p.Flag(i, r) == codes.Yes {
			return true
		}
	}
	return false
}
