package replay

import (
	"cmp"
	"fmt"
	"slices"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/pipeline/criteria"
	"hindcheck/queries"
)

// Groups looks for harm in every species, age band and site alone: an average
// may improve while one kind of animal pays for it.
type Groups struct {
	// Margin is the loss of sensitivity beyond which a group counts as harmed,
	// MarginSource who stated it.
	Margin       float64 `json:"margin"`
	LeastInNeed  int     `json:"least_in_need"`
	MarginSource string  `json:"margin_source"`
	// Way is how the rules are followed here; Multiplicity says how the number
	// of groups is allowed for.
	Way          string `json:"way"`
	Tests        int    `json:"tests"`
	Multiplicity string `json:"multiplicity"`
	// List has each group at both cuts, those with harm first.
	List []Group `json:"list"`
}

// The answers about a group, and about a criterion.
const (
	Met        = "met"
	NotMet     = "not_met"
	CannotTell = "cannot_tell"
	// TooFew is the answer about a group that the criteria leave out.
	TooFew = "too_few"
)

// Group is one group of animals at one cut.
type Group struct {
	Property string `json:"property"`
	Value    string `json:"value"`
	Label    string `json:"label"`
	Cut      string `json:"cut"`
	// Calls of the period, and those newly at or above and newly below the cut.
	Calls int64 `json:"calls"`
	Up    int64 `json:"up"`
	Down  int64 `json:"down"`
	// Needed are verified animals in need, Gained and Lost those that cross.
	Needed int64 `json:"needed"`
	Gained int64 `json:"gained"`
	Lost   int64 `json:"lost"`
	// Naive and Corrected are new minus old sensitivity; Range holds whatever
	// the unverified were like.
	Naive     review.Figure `json:"naive"`
	Corrected review.Figure `json:"corrected"`
	Range     review.Range  `json:"range"`
	// Answer is met (no harm beyond the margin), not_met (harm), cannot_tell or
	// too_few; Why says it.
	Answer string `json:"answer"`
	Why    string `json:"why"`

	difference metrics.Estimate
}

// defaultMargin is used where no criteria are given.
const defaultMargin = 0.05

// ageLabels are the age bands of the counts.
var ageLabels = []string{"age not recorded", "under six months", "six months to under seven years", "seven years and over"}

var ageWords = []string{"unknown", "under_6_months", "6_months_to_6_years", "7_years_and_over"}

// propertyOf is the word and the label of a row's group.
func propertyOf(property string, r *queries.ReplayCountsRow) (word, label string) {
	switch property {
	case "age":
		return ageWords[r.Age], ageLabels[r.Age]
	case "site":
		return r.Site, cmp.Or(r.Site, "site not recorded")
	}
	return r.Species, cmp.Or(r.Species, "species not recorded")
}

func (b *builder) groups(r *Report) error {
	g := &r.Groups
	g.List = []Group{}
	properties := criteria.Properties
	g.Margin, g.MarginSource, g.Way = defaultMargin, "built-in starting value, not set by this advice line", exact.word
	if c := b.opt.Criteria; c != nil {
		g.Way = c.Judged
		if len(c.Subgroups.Properties) > 0 {
			g.Margin, g.MarginSource, g.LeastInNeed = c.Subgroups.SensitivityLoss, "criteria "+c.ID, c.Subgroups.LeastInNeed
		}
	}
	w := b.judgedWay()
	split := make(map[string][]queries.ReplayCountsRow)
	var order []Group
	for _, property := range properties {
		for i := range b.rows {
			word, label := propertyOf(property, &b.rows[i])
			key := property + "\x00" + word
			if _, ok := split[key]; !ok {
				order = append(order, Group{Property: property, Value: word, Label: label})
			}
			split[key] = append(split[key], b.rows[i])
		}
	}
	strata := map[string][]metrics.PairVerificationStratum{}
	for _, one := range order {
		for _, cut := range bothCuts {
			one.Cut = review.LevelWord(int8(cut))
			s, err := b.group(&one, split[one.Property+"\x00"+one.Value], w, cut)
			if err != nil {
				return err
			}
			strata[one.id()] = s
			if one.Down > 0 && one.Needed >= int64(g.LeastInNeed) {
				g.Tests++
			}
			g.List = append(g.List, one)
		}
	}
	g.Multiplicity = fmt.Sprintf("That no group is harmed is claimed only if every single group passes at full confidence, which needs no adjustment (intersection-union test, "+
		"Berger 1982). That a group is harmed is claimed at limits widened for %d groups in which any call falls below a cut (Bonferroni).", g.Tests)
	for i := range g.List {
		if err := b.judgeGroup(&g.List[i], g, strata[g.List[i].id()]); err != nil {
			return err
		}
	}
	rank := map[string]int{NotMet: 0, CannotTell: 1, TooFew: 2, Met: 3}
	slices.SortStableFunc(g.List, func(a, b Group) int { return cmp.Compare(rank[a.Answer], rank[b.Answer]) })
	return nil
}

func (g *Group) id() string { return g.Property + "\x00" + g.Value + "\x00" + g.Cut }

func (b *builder) judgedWay() way {
	if c := b.opt.Criteria; c != nil && c.Judged == kept.word {
		return kept
	}
	return exact
}

// group counts and compares one group at one cut.
func (b *builder) group(g *Group, rows []queries.ReplayCountsRow, w way, cut int) ([]metrics.PairVerificationStratum, error) {
	g.Calls, g.Up, g.Down = 0, 0, 0
	var p pairs
	for i := range rows {
		r := &rows[i]
		old, new := w.levels(r)
		pair := pairOf(old >= int8(cut), new >= int8(cut))
		g.Calls += r.N
		switch pair {
		case onlyNew:
			g.Up += r.N
		case onlyOld:
			g.Down += r.N
		}
		if r.Mature && r.Level > 0 {
			p.add(r, pair, needAt(r, cut))
		}
	}
	strata, err := b.strata(&p)
	if err != nil {
		return nil, err
	}
	x, err := b.correct(strata, b.std.Confidence)
	if err != nil {
		return nil, err
	}
	limits, err := metrics.ComparePairBounds(strata)
	if err != nil {
		return nil, err
	}
	g.Needed, g.Gained, g.Lost = x.Verified.Needed.N(), x.Verified.Needed.FirstOnly, x.Verified.Needed.SecondOnly
	g.Naive, g.Corrected, g.Range = figure(x.Naive.SensitivityDifference), figure(x.SensitivityDifference), bounds(limits.SensitivityDifference)
	g.difference = x.SensitivityDifference
	return strata, nil
}

// judgeGroup compares the limits of a group with the margin.
func (b *builder) judgeGroup(g *Group, all *Groups, strata []metrics.PairVerificationStratum) error {
	d := g.difference
	switch {
	case g.Down == 0:
		g.Answer, g.Why = Met, fmt.Sprintf("none of its %s would fall below the cut", calls(g.Calls))
	case g.Needed < int64(all.LeastInNeed):
		g.Answer, g.Why = TooFew, fmt.Sprintf("only %d known to have been in need; the criteria judge groups of %d or more", g.Needed, all.LeastInNeed)
	case !d.Estimable():
		g.Answer, g.Why = CannotTell, "the difference is not estimable: "+sides.Replace(d.NotEstimable)
	case d.Low > -all.Margin:
		g.Answer, g.Why = Met, "the lower limit of the difference lies above minus the margin"
	case d.High < -all.Margin:
		wide, err := b.correct(strata, 1-(1-b.std.Confidence)/float64(max(1, all.Tests)))
		if err != nil {
			return err
		}
		if wide.SensitivityDifference.High < -all.Margin {
			g.Answer, g.Why = NotMet, "the upper limit of the difference, widened for the number of groups, lies below minus the margin"
			return nil
		}
		g.Answer, g.Why = CannotTell, "the difference lies below minus the margin, though not at limits widened for the number of groups"
	default:
		g.Answer, g.Why = CannotTell, "the limits of the difference hold minus the margin"
	}
	return nil
}
