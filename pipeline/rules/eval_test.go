package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
)

// values makes a Record's values from stored numbers by finding.
func values(stored map[string]int32) []int32 {
	d := findings.Default()
	out := make([]int32, len(d.Findings))
	for i := range out {
		out[i] = codes.NotAsked
	}
	for id, v := range stored {
		out[d.Index(id)] = v
	}
	return out
}

// The boundary of each operator, by hand: temperature is stored in tenths.
func TestThresholds(t *testing.T) {
	for _, c := range []struct {
		cond      string
		no        []int32
		yes       []int32
		low, high int32
	}{
		{"at_least: 40.5", []int32{0, 404}, []int32{405, 406}, 405, math.MaxInt32},
		{"above: 40.5", []int32{404, 405}, []int32{406}, 406, math.MaxInt32},
		{"at_most: 37", []int32{371}, []int32{0, 370}, 0, 370},
		{"below: 37.0", []int32{370}, []int32{0, 369}, 0, 369},
		{"at_least: 37, below: 37.1", []int32{369, 371}, []int32{370}, 370, 370},
		{"at_least: 40.55", []int32{405}, []int32{406}, 406, math.MaxInt32}, // between two stored values
		{"above: 40.55", []int32{405}, []int32{406}, 406, math.MaxInt32},
		{"at_most: 40.55", []int32{406}, []int32{405}, 0, 405},
		{"below: 40.55", []int32{406}, []int32{405}, 0, 405},
		{"at_least: -3", nil, []int32{0, 400}, 0, math.MaxInt32},
		{"at_most: -0.01", []int32{0, 400}, nil, 0, -1},
		{"below: 0", []int32{0}, nil, 0, -1},
		{"above: 99999999999999999999", []int32{0, math.MaxInt32}, nil, 0, -1},
		{"below: 99999999999999999999", nil, []int32{0, math.MaxInt32}, 0, math.MaxInt32},
		{"at_least: 0.1", []int32{0}, []int32{1}, 1, math.MaxInt32}, // 0.1 is no binary fraction
	} {
		p := compiled(t, parse(t, when("{finding: temperature_c, "+c.cond+"}")))
		if got := p.flags[0].conds[0]; got.low != c.low || got.high != c.high {
			t.Errorf("%s: stored %d to %d, want %d to %d", c.cond, got.low, got.high, c.low, c.high)
		}
		check := func(v int32, want codes.Tri) {
			t.Helper()
			if got := p.Flag(0, &Record{Values: values(map[string]int32{"temperature_c": v})}); got != want {
				t.Errorf("%s, stored %d: %v, want %v", c.cond, v, got, want)
			}
		}
		for _, v := range c.no {
			check(v, codes.No)
		}
		for _, v := range c.yes {
			check(v, codes.Yes)
		}
		for v := int32(-4); v < 0; v++ {
			check(v, codes.Unknown)
		}
	}
}

func TestCodes(t *testing.T) {
	is := compiled(t, parse(t, when("{finding: gum_colour, is: [white, blue]}")))
	not := compiled(t, parse(t, when("{finding: gum_colour, is_not: [pink]}")))
	for v, want := range map[int32][2]codes.Tri{
		1: {codes.No, codes.No}, 3: {codes.Yes, codes.Yes}, 4: {codes.No, codes.Yes}, 5: {codes.Yes, codes.Yes},
		9:  {codes.Unknown, codes.Unknown}, // pigmented_unreadable
		-1: {codes.Unknown, codes.Unknown}, -4: {codes.Unknown, codes.Unknown},
		0: {codes.Unknown, codes.Unknown}, 10: {codes.Unknown, codes.Unknown}, 64: {codes.Unknown, codes.Unknown}, // no such place
	} {
		r := &Record{Values: values(map[string]int32{"gum_colour": v})}
		if got := [2]codes.Tri{is.Flag(0, r), not.Flag(0, r)}; got != want {
			t.Errorf("gum_colour %d: is %v, is_not %v; want %v", v, got[0], got[1], want)
		}
	}
}

func TestLimits(t *testing.T) {
	p := compiled(t, parse(t, with("species: [cat]", "sex: [male]", "neutered: [no]", "age_months: {at_least: 6, below: 24}",
		"breed_group: [large]", "complaint: [urine]")))
	base := Record{Species: "cat", Sex: "male", Neutered: "no", AgeMonths: 6, BreedGroup: "large", Complaint: "urine",
		Values: values(map[string]int32{"breathing_rate": 40})}
	for name, c := range map[string]struct {
		change func(*Record)
		want   codes.Tri
	}{
		"all true":          {func(*Record) {}, codes.Yes},
		"other species":     {func(r *Record) { r.Species = "dog" }, codes.No},
		"species blank":     {func(r *Record) { r.Species = "" }, codes.Unknown},
		"female":            {func(r *Record) { r.Sex = "female" }, codes.No},
		"sex unknown":       {func(r *Record) { r.Sex = "unknown" }, codes.Unknown},
		"sex blank":         {func(r *Record) { r.Sex = "" }, codes.Unknown},
		"neutered":          {func(r *Record) { r.Neutered = "yes" }, codes.No},
		"neutered unknown":  {func(r *Record) { r.Neutered = "unknown" }, codes.Unknown},
		"too young":         {func(r *Record) { r.AgeMonths = 5 }, codes.No},
		"oldest":            {func(r *Record) { r.AgeMonths = 23 }, codes.Yes},
		"too old":           {func(r *Record) { r.AgeMonths = 24 }, codes.No},
		"age unknown":       {func(r *Record) { r.AgeMonths = -1 }, codes.Unknown},
		"breed":             {func(r *Record) { r.BreedGroup = "small" }, codes.No},
		"breed unknown":     {func(r *Record) { r.BreedGroup = "" }, codes.Unknown},
		"complaint":         {func(r *Record) { r.Complaint = "skin" }, codes.No},
		"reading low":       {func(r *Record) { r.Values = values(map[string]int32{"breathing_rate": 39}) }, codes.No},
		"not assessed":      {func(r *Record) { r.Values = nil }, codes.Unknown},
		"false beats blank": {func(r *Record) { r.Values = nil; r.Sex = ""; r.Species = "dog" }, codes.No},
		"blank and low":     {func(r *Record) { r.Sex = ""; r.Values = values(map[string]int32{"breathing_rate": 39}) }, codes.No},
	} {
		r := base
		c.change(&r)
		if got := p.Flag(0, &r); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

const ladder = head + `  - {id: now, title: N, why: W, demands: emergency, when_unknown: raise, species: [cat, dog], all: [{finding: collapse, is: [yes]}]}
  - {id: today, title: D, why: W, demands: same_day, when_unknown: leave, species: [cat], all: [{finding: breathing_rate, at_least: 40}]}
  - {id: later, title: S, why: W, demands: soon, when_unknown: leave, species: [dog, cat], all: [{finding: lump, is: [warm]}]}
`

func TestLevels(t *testing.T) {
	p := compiled(t, parse(t, ladder))
	for _, c := range []struct {
		name, species    string
		stored           map[string]int32
		low, level, high codes.Level
		fired, unknown   uint64
	}{
		{"nothing assessed", "cat", nil, 0, 0, 0, 0, 0b111},
		{"only an unrelated check", "cat", map[string]int32{"pupils": 1}, 0, 0, 0, 0, 0b111},
		{"no flag for the species", "rabbit", map[string]int32{"collapse": 2}, 0, 0, 0, 0, 0},
		{"all well", "cat", map[string]int32{"collapse": 1, "breathing_rate": 20, "lump": 1}, 1, 1, 1, 0, 0},
		{"all well, flag of another species", "dog", map[string]int32{"collapse": 1, "breathing_rate": 90, "lump": 1}, 1, 1, 1, 0, 0},
		{"raise counts, leave does not", "cat", map[string]int32{"lump": 4}, 2, 4, 4, 0b100, 0b011},
		{"leave does not count", "cat", map[string]int32{"collapse": 1, "lump": 4}, 2, 2, 3, 0b100, 0b010},
		{"highest wins", "cat", map[string]int32{"collapse": 2, "breathing_rate": 40, "lump": 4}, 4, 4, 4, 0b111, 0},
	} {
		var out Result
		p.Eval(&Record{Species: c.species, AgeMonths: -1, Values: values(c.stored)}, &out)
		if out.Low != c.low || out.Level != c.level || out.High != c.high || out.Fired[0] != c.fired || out.Unknown[0] != c.unknown {
			t.Errorf("%s: %d %d %d fired %b unknown %b, want %d %d %d %b %b", c.name, out.Low, out.Level, out.High,
				out.Fired[0], out.Unknown[0], c.low, c.level, c.high, c.fired, c.unknown)
		}
		if out.Determined() != (c.level != 0) {
			t.Errorf("%s: determined %v", c.name, out.Determined())
		}
	}
	soon := compiled(t, parse(t, strings.Replace(ladder, "otherwise: home_care", "otherwise: same_day", 1)))
	var out Result
	soon.Eval(&Record{Species: "cat", Values: values(map[string]int32{"lump": 4})}, &out)
	if out.Low != codes.SameDay || out.Level != codes.Emergency {
		t.Errorf("no result lies below otherwise: %+v", out)
	}
}

func TestFindings(t *testing.T) {
	got := compiled(t, parse(t, ladder)).Findings()
	if want := []string{"lump", "collapse", "breathing_rate"}; !slices.Equal(got, want) {
		t.Errorf("asks about %v, want %v in dictionary order", got, want)
	}
}

func TestEvalDoesNotAllocate(t *testing.T) {
	p := compiled(t, demo(t))
	r := Record{Species: "cat", Sex: "male", AgeMonths: 30, Values: values(map[string]int32{"gum_colour": 3, "breathing_rate": 70})}
	var out Result
	p.Eval(&r, &out)
	if n := testing.AllocsPerRun(100, func() { p.Eval(&r, &out) }); n != 0 {
		t.Errorf("%v allocations a record", n)
	}
	if !Bit(out.Fired, flagIndex(t, p.Set, "gums_white_grey_blue")) || Bit(out.Fired, 64) {
		t.Error("white gums must fire, and a bit beyond the words is not set")
	}
}

func flagIndex(t testing.TB, s *Set, id string) int {
	t.Helper()
	for i := range s.Flags {
		if s.Flags[i].ID == id {
			return i
		}
	}
	t.Fatalf("no flag %s", id)
	return -1
}

// The two flags that the demonstration line gets wrong on purpose.
func TestDemoPlantedFlags(t *testing.T) {
	s := demo(t)
	p := compiled(t, s)
	cat := func(stored map[string]int32) *Record { return &Record{Species: "cat", Values: values(stored)} }
	fast := flagIndex(t, s, "fast_breathing_cat")
	for v, want := range map[int32]codes.Tri{40: codes.No, 59: codes.No, 60: codes.Yes} {
		if got := p.Flag(fast, cat(map[string]int32{"breathing_rate": v})); got != want {
			t.Errorf("fast_breathing_cat at %d: %v", v, got)
		}
	}
	stress := flagIndex(t, s, "mouth_breathing_after_stress")
	if s.Flags[stress].Demands != codes.Emergency || p.Flag(stress, cat(map[string]int32{"mouth_breathing": 2})) != codes.Yes {
		t.Error("mouth_breathing_after_stress must demand emergency")
	}
}

func manyFlags(n int) string {
	var b strings.Builder
	b.WriteString(head)
	for i := range n {
		fmt.Fprintf(&b, "  - {id: f%d, title: T, why: W, demands: soon, when_unknown: leave, all: [{finding: temperature_c, at_least: %d.%d}]}\n",
			i, 30+i%10, i/10%10)
	}
	return b.String()
}

func BenchmarkEval(b *testing.B) {
	p := compiled(b, demo(b))
	recs := directed(p, 1024, 1)
	var out Result
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		p.Eval(&recs[i%len(recs)], &out)
	}
}
