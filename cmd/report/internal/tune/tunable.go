package tune

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// tunable is one flag with its candidate thresholds, from the one that marks most
// to the one that marks fewest. Step k (from 1) is At[k-1]; one step beyond the
// last leaves the flag out, which only a flag on codes may.
type tunable struct {
	rules.Steps
	raise   bool
	inForce int
	canOff  bool
	words   []string
}

// count is how many steps there are without "off".
func (t tunable) count() int { return max(len(t.At), 1) }

// choices is how many steps may be chosen.
func (t tunable) choices() int {
	if t.canOff {
		return t.count() + 1
	}
	return t.count()
}

// word says a step.
func (t tunable) word(step int) string {
	if step > t.count() {
		return "off"
	}
	return t.words[step-1]
}

// chooseTunables finds the flags to tune and their candidates.
func (b *builder) chooseTunables(ctx context.Context) error {
	named := len(b.opt.Flags) > 0
	if !named {
		for i := range b.set.Flags {
			if int(b.set.Flags[i].Demands) == b.opt.Cut && b.numeric(i) >= 0 {
				b.opt.Flags = append(b.opt.Flags, b.set.Flags[i].ID)
			}
		}
	}
	if len(b.opt.Flags) == 0 {
		return fmt.Errorf("%w: no flag that rests on one number alone demands %s; name flags with --flag", queries.ErrParameter, b.r.Cut)
	}
	var places []int
	for k, id := range b.opt.Flags {
		if slices.Index(b.opt.Flags, id) != k {
			return fmt.Errorf("%w: flag %s is named twice", queries.ErrParameter, id)
		}
		place := slices.IndexFunc(b.set.Flags, func(f rules.Flag) bool { return f.ID == id })
		if place < 0 {
			return fmt.Errorf("%w: flag %q: expected one of the rules in force; see report flags", queries.ErrParameter, id)
		}
		if why := b.whyNot(place); why != "" {
			return fmt.Errorf("%w: flag %s: %s", queries.ErrParameter, id, why)
		}
		places = append(places, place)
	}
	at, err := b.readings(ctx, places)
	if err != nil {
		return err
	}
	for _, place := range places {
		b.addTunable(place, at[place], named)
	}
	if len(b.tuned) == 0 {
		b.r.NotEstimable = fmt.Sprintf("no flag has %d readings in the earlier months", b.opt.MinReadings)
	}
	return nil
}

// whyNot says why a flag cannot be tuned at the cut.
func (b *builder) whyNot(place int) string {
	if f := &b.set.Flags[place]; int(f.Demands) < b.opt.Cut {
		return fmt.Sprintf("it demands %s, below the cut", f.Demands)
	}
	return ""
}

// numeric is the only condition of a flag on a number with one end, or -1.
func (b *builder) numeric(place int) int {
	f := &b.set.Flags[place]
	if len(f.All) != 1 || f.All[0].Lower.Set() == f.All[0].Upper.Set() {
		return -1
	}
	return 0
}

// readings counts, for each flag on a number, the readings of the earlier months
// by value, of the animals that the flag is meant for.
func (b *builder) readings(ctx context.Context, places []int) (map[int][]valueCount, error) {
	var steps []rules.Steps
	x := queries.Tuning{}
	for _, place := range places {
		if cond := b.numeric(place); cond >= 0 {
			c := &b.set.Flags[place].All[cond]
			f, _ := b.db.Meta().Dictionary.Finding(c.Finding)
			steps = append(steps, rules.Steps{Flag: place, Condition: cond, Lower: c.Lower.Set(), At: []string{metByAll(f, c.Lower.Set())}})
			x.Counts = append(x.Counts, 1)
		}
	}
	out := map[int][]valueCount{}
	if len(steps) == 0 {
		return out, nil
	}
	set, err := rules.StepSet(b.set, steps)
	if err != nil {
		return nil, err
	}
	if x.Steps, err = rules.Compile(set, b.db.Meta().Dictionary); err != nil {
		return nil, err
	}
	scope := b.scope
	scope.To = queries.AddMonths(b.split, -1)
	rows, err := b.db.TuneReadings(ctx, scope, x)
	for _, r := range rows {
		place := steps[r.Flag].Flag
		out[place] = append(out[place], valueCount{r.Value, r.N})
	}
	return out, err
}

// metByAll is a limit of a condition that every reading meets: the end of the
// range outside which readings are set aside.
func metByAll(f *findings.Finding, lower bool) string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range f.Hard {
		low, high = min(low, r.Low), max(high, r.High)
	}
	if lower {
		return decimal(f, int32(math.Floor(low*float64(f.Scale))))
	}
	return decimal(f, int32(math.Ceil(high*float64(f.Scale))))
}

// addTunable adds a flag with its candidates. at are the readings of its animals.
func (b *builder) addTunable(place int, at []valueCount, named bool) {
	f := &b.set.Flags[place]
	cond := b.numeric(place)
	t := tunable{Steps: rules.Steps{Flag: place, Condition: cond}, raise: f.Raise, inForce: 1}
	one := Tuned{Flag: f.ID, Condition: f.Describe(), Demands: f.Demands.String()}
	if cond < 0 {
		t.canOff, t.words = true, []string{"as it is"}
	} else {
		c := &f.All[cond]
		t.Lower = c.Lower.Set()
		b.candidates(&t, &one, f, at)
		if few := one.Readings < int64(b.opt.MinReadings); few && !named {
			b.r.Warnings = append(b.r.Warnings, fmt.Sprintf("flag %s stays as it is: only %d readings in the earlier months", f.ID, one.Readings))
			return
		} else if few {
			b.r.Warnings = append(b.r.Warnings, fmt.Sprintf("flag %s rests on only %d readings in the earlier months", f.ID, one.Readings))
		}
	}
	if int(f.Demands) > b.opt.Cut {
		b.r.Warnings = append(b.r.Warnings, fmt.Sprintf("flag %s demands %s; what moving it does at that cut is not counted here", f.ID, f.Demands))
	}
	one.InForce = t.word(t.inForce)
	one.Candidates = t.words
	b.tuned = append(b.tuned, t)
	b.r.Tuned = append(b.r.Tuned, one)
}

// candidates spreads thresholds over the recorded readings of the flag's animals:
// at even steps of how many readings they mark, from nearly none to three in
// five, with the one in force always among them.
func (b *builder) candidates(t *tunable, one *Tuned, f *rules.Flag, at []valueCount) {
	finding, _ := b.db.Meta().Dictionary.Finding(f.All[t.Condition].Finding)
	n := int64(0)
	for _, v := range at {
		n += v.n
	}
	one.Readings = n
	limit := limitOf(b.p, *t)
	chosen := map[int32]bool{limit: true}
	for k := range b.opt.Steps - 1 {
		want := 0.6 * float64(n) * (float64(k) + 0.5) / float64(b.opt.Steps-1)
		if v, ok := marking(at, want, t.Lower); ok {
			chosen[v] = true
		}
	}
	var list []int32
	for v := range chosen {
		list = append(list, v)
	}
	slices.Sort(list)
	if !t.Lower { // an upper bound marks more the higher it is
		slices.Reverse(list)
	}
	for k, v := range list {
		text := decimal(finding, v)
		t.At = append(t.At, text)
		word := "at least " + text
		if !t.Lower {
			word = "at most " + text
		}
		t.words = append(t.words, word)
		if v == limit {
			t.inForce = k + 1
		}
	}
}

// limitOf is the threshold in force as a stored number.
func limitOf(p *rules.Program, t tunable) int32 {
	for _, l := range p.Limits(p.Set.Flags[t.Flag].All[t.Condition].Finding) {
		if l.Flag == t.Flag && l.Condition == t.Condition {
			if t.Lower {
				return l.Low
			}
			return l.High
		}
	}
	return 0
}

// valueCount counts the readings of one value.
type valueCount struct {
	value int32
	n     int64
}

// marking finds the recorded value at which a threshold marks about want readings.
func marking(at []valueCount, want float64, lower bool) (int32, bool) {
	if len(at) == 0 {
		return 0, false
	}
	sum := int64(0)
	for k := range at {
		i := k
		if lower {
			i = len(at) - 1 - k
		}
		sum += at[i].n
		if float64(sum) >= want {
			return at[i].value, true
		}
	}
	return 0, false
}

// decimal writes a stored number in the finding's unit.
func decimal(f *findings.Finding, v int32) string {
	decimals := 0
	for s := f.Scale; s >= 10; s /= 10 {
		decimals++
	}
	return strconv.FormatFloat(f.Value(v), 'f', decimals, 64)
}
