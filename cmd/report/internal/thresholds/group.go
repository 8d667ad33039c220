package thresholds

import (
	"fmt"
	"slices"
	"strconv"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/pipeline/codes"
	"hindcheck/queries"
)

// group judges one species, or several that read alike.
func (b *builder) group(species []string) (Group, error) {
	g := Group{Name: groupName(species), Species: species, Elsewhere: []Elsewhere{}, NotAssessed: []State{}, InForce: []InForce{},
		Values: []Value{}, Candidates: []Candidate{}, Choices: []Choice{}, ByState: []ByState{}, Warnings: []string{}}
	rows := b.sort(&g)
	dims, given := KeepDimensions(rows, b.db.Meta(), b.r.Standard.MinVerified)
	g.Strata = Strata{Dimensions: []string{"level"}, GivenUp: append([]string{}, given...)}
	for _, d := range dims {
		g.Strata.Dimensions = append(g.Strata.Dimensions, b.db.Meta().Strata[d])
	}
	earlier, later := months(rows, b.split)
	g.present = b.side(rows, b.r.Whole.Days, dims)
	g.fit, g.judge = b.side(earlier, b.r.Fit.Days, dims), b.side(later, b.r.Judge.Days, dims)
	if n := g.present.Likened + g.fit.Likened + g.judge.Likened; n > 0 {
		g.Warnings = append(g.Warnings, "of a few readings of one advice level nobody was followed up; they are taken to be like those of the next level on the same side of being sent in")
	}
	for k, v := range g.present.Counts {
		g.Values = append(g.Values, Value{Value: v.Value, Needed: v.Needed, NotNeeded: v.NotNeeded, Unverified: g.present.unverified(k)})
	}
	inForce := b.inForce(&g)
	for _, fill := range []func(*Group, threshold) error{b.candidates, b.present, b.states, b.choices} {
		if err := fill(&g, inForce); err != nil {
			return g, err
		}
	}
	return g, nil
}

// months splits rows at the first month of the judged part.
func months(rows []queries.ThresholdValuesRow, split int) (earlier, later []queries.ThresholdValuesRow) {
	for _, r := range rows {
		if r.Month < split {
			earlier = append(earlier, r)
		} else {
			later = append(later, r)
		}
	}
	return earlier, later
}

// sort keeps the rows of the group's readings in the setting asked for and
// counts the others.
func (b *builder) sort(g *Group) []queries.ThresholdValuesRow {
	var out []queries.ThresholdValuesRow
	var young, noAdvice int64
	for _, r := range b.rows {
		switch {
		case !slices.Contains(g.Species, r.Species):
		case !r.Mature:
			young += r.N
		case r.Level == 0:
			noAdvice += r.N
		default:
			g.Episodes += r.N
			switch {
			case r.Value < 0:
				g.notAssessed(r)
			case settingName(r.Setting) != b.opt.Setting:
				g.elsewhere(settingName(r.Setting), r.N)
			default:
				g.Readings += r.N
				out = append(out, r)
			}
		}
	}
	if young > 0 {
		g.Warnings = append(g.Warnings, fmt.Sprintf("%d episodes are left out because their outcomes are still arriving", young))
	}
	if noAdvice > 0 {
		g.Warnings = append(g.Warnings, fmt.Sprintf("%d episodes are left out because no advice is on record", noAdvice))
	}
	return out
}

// settingName is a setting as --setting names it.
func settingName(s string) string {
	if s == "" {
		return NotRecorded
	}
	return s
}

// NotRecorded stands for a setting or a state that nobody wrote down.
const NotRecorded = "not_recorded"

func (g *Group) elsewhere(setting string, n int64) {
	i := slices.IndexFunc(g.Elsewhere, func(e Elsewhere) bool { return e.Setting == setting })
	if i < 0 {
		i = len(g.Elsewhere)
		g.Elsewhere = append(g.Elsewhere, Elsewhere{Setting: setting})
	}
	g.Elsewhere[i].Readings += n
}

// states of a check without a reading, by the number under which cases keeps them.
var states = map[int]string{int(codes.NotAsked): "not_asked", int(codes.NotPossible): "not_possible", int(codes.Declined): "declined", int(codes.StoppedEarly): "stopped_early"}

func (g *Group) notAssessed(r queries.ThresholdValuesRow) {
	name := states[r.Value]
	i := slices.IndexFunc(g.NotAssessed, func(s State) bool { return s.State == name })
	if i < 0 {
		i = len(g.NotAssessed)
		g.NotAssessed = append(g.NotAssessed, State{State: name})
	}
	s := &g.NotAssessed[i]
	switch r.Need {
	case 1:
		s.Needed += r.N
	case 0:
		s.NotNeeded += r.N
	default:
		s.Unverified += r.N
	}
}

// inForce finds what the rules in force do with the finding at the cut, and says
// of each condition whether it decides.
func (b *builder) inForce(g *Group) threshold {
	var th threshold
	if b.program == nil {
		return th
	}
	for _, l := range b.program.Limits(b.finding.ID) {
		f := &b.program.Set.Flags[l.Flag]
		if len(f.Species) > 0 && !slices.ContainsFunc(g.Species, func(s string) bool { return slices.Contains(f.Species, s) }) {
			continue
		}
		x := InForce{Flag: f.ID, Condition: f.All[l.Condition].String(), Demands: f.Demands.String(), flag: l.Flag, condition: l.Condition,
			lower: l.HasLow, species: f.Species}
		switch {
		case int(f.Demands) < b.opt.Cut:
			x.Why = "demands less than the cut"
		case !l.Alone:
			x.Why = "fires only together with another finding"
		case len(f.Sex)+len(f.Neutered)+len(f.BreedGroup)+len(f.Complaint) > 0 || f.Age.Limits():
			x.Why = "is meant for some of these animals only"
		case len(f.Species) > 0 && !covers(f.Species, g.Species):
			x.Why = "is meant for some of these species only"
		case l.HasLow && l.HasHigh:
			x.Why = "is a band between two limits"
		case l.HasLow:
			x.Decides = true
			if v := b.finding.Value(l.Low); !th.HasUpper || v < th.Upper {
				th.Upper, th.HasUpper = v, true
			}
		default:
			x.Decides = true
			if v := b.finding.Value(l.High); !th.HasLower || v > th.Lower {
				th.Lower, th.HasLower = v, true
			}
		}
		g.InForce = append(g.InForce, x)
	}
	for i := range g.InForce { // of two that could decide, the one that marks more does
		x := &g.InForce[i]
		if x.Decides && !b.sets(x, th) {
			x.Decides, x.Why = false, "another flag marks all that this one does"
		}
	}
	if th.HasLower || th.HasUpper {
		g.Rule = b.rule(th)
	}
	return th
}

func covers(all, some []string) bool {
	return !slices.ContainsFunc(some, func(s string) bool { return !slices.Contains(all, s) })
}

// sets reports whether a condition is the one that gives a limit of th.
func (b *builder) sets(x *InForce, th threshold) bool {
	for _, l := range b.program.Limits(b.finding.ID) {
		if l.Flag == x.flag && l.Condition == x.condition {
			return l.HasLow && th.HasUpper && b.finding.Value(l.Low) == th.Upper || l.HasHigh && th.HasLower && b.finding.Value(l.High) == th.Lower
		}
	}
	return false
}

// number writes a value with the decimals that are stored.
func (b *builder) number(v float64) string {
	return decimal(v, b.decimals())
}

func decimal(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

func (b *builder) decimals() int {
	n := 0
	for s := b.finding.Scale; s >= 10; s /= 10 {
		n++
	}
	return n
}

// rule says a threshold in words.
func (b *builder) rule(th threshold) string {
	switch {
	case th.HasLower && th.HasUpper:
		return fmt.Sprintf("at most %s or at least %s", b.number(th.Lower), b.number(th.Upper))
	case th.HasLower:
		return "at most " + b.number(th.Lower)
	case th.HasUpper:
		return "at least " + b.number(th.Upper)
	}
	return "no value"
}

// candidates fills the area and every threshold of the whole period.
func (b *builder) candidates(g *Group, inForce threshold) error {
	curve, err := metrics.CorrectedROC(g.present.Cells, b.direction, metrics.WithinStratum, b.correction())
	if err != nil {
		return err
	}
	g.NaiveArea, g.CorrectedArea = review.FigureOf(curve.NaiveArea.Estimate), review.FigureOf(curve.Area)
	g.Warnings = append(g.Warnings, curve.Warnings...)
	points := curve.Points
	if !curve.Estimable() {
		g.Warnings = append(g.Warnings, "corrected figures are not estimable: "+curve.NotEstimable)
		none := metrics.Estimate{Conf: b.opt.Review.Confidence, Method: metrics.MethodCorrectedROC, NotEstimable: curve.NotEstimable}
		for _, p := range curve.Naive.Points {
			points = append(points, metrics.CorrectedPoint{Threshold: p.Threshold, Sensitivity: none, Specificity: none})
		}
	}
	seen := false
	for _, p := range points {
		c, err := b.candidate(g.present, p.Threshold)
		if err != nil {
			return err
		}
		c.Corrected = Rates{review.FigureOf(p.Sensitivity), review.FigureOf(p.Specificity)}
		if c.Marked.Numerator == 0 || c.Marked.Numerator == c.Marked.Denominator { // by definition, not by estimate
			c.Corrected = c.Naive
		}
		c.InForce = g.Rule != "" && p.Threshold == inForce
		seen = seen || c.InForce
		g.Candidates = append(g.Candidates, c)
	}
	if g.Rule == "" || seen || len(points) == 0 {
		return nil
	}
	// The threshold in force is no recorded value, or no best pair: it gets a row all the same.
	c, err := b.candidate(g.present, inForce)
	if err != nil {
		return err
	}
	c.InForce = true
	if c.Corrected, err = b.at(g.present, inForce); err != nil {
		return err
	}
	g.Candidates = append(g.Candidates, c)
	slices.SortStableFunc(g.Candidates, func(a, b Candidate) int { return int(a.Marked.Numerator - b.Marked.Numerator) })
	return nil
}

func (b *builder) candidate(s *Side, th threshold) (c Candidate, err error) {
	c.Rule = b.rule(th)
	if th.HasLower {
		c.Lower = &th.Lower
	}
	if th.HasUpper {
		c.Upper = &th.Upper
	}
	if c.Naive, err = b.naive(s, th); err != nil {
		return c, err
	}
	c.PerDay, c.Marked, c.AtLimit, err = b.load(s, th)
	return c, err
}

// states judges the threshold in force by what the animal did; the rules know
// nothing of that, so this only warns.
func (b *builder) states(g *Group, inForce threshold) error {
	by := map[string][]queries.ThresholdValuesRow{}
	for _, r := range b.rows {
		if slices.Contains(g.Species, r.Species) && r.Mature && r.Level > 0 && r.Value >= 0 && settingName(r.Setting) == b.opt.Setting {
			name := settingName(r.AnimalState)
			by[name] = append(by[name], r)
		}
	}
	for _, name := range append(codes.AnimalStates.Words(), NotRecorded) {
		if len(by[name]) == 0 {
			continue
		}
		s := b.side(by[name], b.r.Whole.Days, nil)
		area, err := metrics.AUCDeLong(s.Counts, b.direction, b.opt.Review.Confidence)
		if err != nil {
			return err
		}
		x := ByState{State: name, Readings: int64(s.N), Area: review.FigureOf(area.Estimate)}
		if g.Rule != "" {
			rates, err := b.naive(s, inForce)
			if err != nil {
				return err
			}
			x.Rates = &rates
		}
		g.ByState = append(g.ByState, x)
	}
	if len(g.ByState) > 1 {
		g.Warnings = append(g.Warnings, "readings of animals asleep, at rest and excited stand together, as the rules do not ask which; see the table by state")
	}
	return nil
}
