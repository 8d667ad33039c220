package review

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Feedback is one advisor's private sheet. It holds no rate of her misses: it
// would rest on none to two cases; and no place among others.
type Feedback struct {
	AsOf    AsOf   `json:"as_of"`
	Advisor string `json:"advisor"`
	Period  Period `json:"period"`
	// Contacts she took in the period, Advisors how many in the line are compared.
	Contacts int64 `json:"contacts"`
	Advisors int   `json:"advisors"`
	// MinCount is the least number of her records on which a share of hers is
	// shown, and of records with which another advisor enters the line's spread.
	MinCount int64 `json:"min_count"`
	// Checks are those she asked for, in the order of the dictionary.
	Checks []FeedbackCheck `json:"checks"`
	// Above and Below are advice above and below the rules' level.
	Above FeedbackShare `json:"above"`
	Below FeedbackShare `json:"below"`
	// SafetyNet is how often the owner was told when to ring again.
	SafetyNet FeedbackShare `json:"safety_net"`
	// Changes are the reasons given for departing from the rules, hers and the line's.
	Changes []FeedbackChange `json:"changes"`
	// CameOf is what came of departing from the rules in the line as a whole.
	CameOf []OverrideOutcome `json:"came_of"`
	Hurt   FeedbackHurt      `json:"hurt"`
	// Cases of hers to learn from: some that went well against the rules, some
	// that did not. A choice, not a count.
	Cases []Case `json:"cases"`
}

// FeedbackShare is a share of hers beside where the advisors of the line lie.
// Hers is not estimable, with the reason, where it would rest on too few.
type FeedbackShare struct {
	Hers Figure     `json:"hers"`
	Line LineSpread `json:"line"`
}

// LineSpread is where the shares of the line's advisors lie.
type LineSpread struct {
	// Advisors with enough records; fewer than 3 give no spread, since each
	// could be told from the others.
	Advisors      int      `json:"advisors"`
	LowerQuartile *float64 `json:"lower_quartile,omitempty"`
	Median        *float64 `json:"median,omitempty"`
	UpperQuartile *float64 `json:"upper_quartile,omitempty"`
}

// leastAdvisors that a spread is made of.
const leastAdvisors = 3

// FeedbackCheck is one home check in her calls.
type FeedbackCheck struct {
	Finding string `json:"finding"`
	Label   string `json:"label"`
	// Put is how often the check stands in her records; the other counts split it.
	// All are left out, and Few is set, where Put lies below the least number.
	Put          int64         `json:"put"`
	Few          bool          `json:"few"`
	NotPossible  int64         `json:"not_possible"`
	Declined     int64         `json:"declined"`
	NotAsked     int64         `json:"not_asked"`
	StoppedEarly int64         `json:"stopped_early"`
	Done         FeedbackShare `json:"done"`
}

// FeedbackChange counts one reason for departing from the rules.
type FeedbackChange struct {
	Direction string `json:"direction"`
	Reason    string `json:"reason"`
	Hers      int64  `json:"hers"`
	// Line is that of all advisors; left out where the others' would be fewer
	// than the least number.
	Line *int64 `json:"line,omitempty"`
}

// OverrideOutcome is what became known of advice above or below the rules.
type OverrideOutcome struct {
	Direction string `json:"direction"`
	Episodes  int64  `json:"episodes"`
	Known     int64  `json:"known"`
	// Needed is the share that needed care the same day, of those known. Naive.
	Needed Figure `json:"needed"`
}

// FeedbackHurt are scratches and bites in her calls.
type FeedbackHurt struct {
	Scratched int64 `json:"scratched"`
	Bitten    int64 `json:"bitten"`
	// LineShare is how often anybody was hurt in the line as a whole.
	LineShare Figure     `json:"line_share"`
	Calls     []HurtCall `json:"calls"`
}

// BuildFeedback fills the private sheet of one advisor for the period of the
// review. minCount hides shares on fewer records.
func BuildFeedback(ctx context.Context, db *queries.DB, opt Options, advisor string, minCount int64) (*Feedback, error) {
	b, err := newBuilder(ctx, db, opt)
	if err != nil {
		return nil, err
	}
	rows, err := db.AdvisorAdvice(ctx, b.scope)
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(rows, func(x queries.AdvisorAdviceRow) bool { return x.Advisor == advisor })
	if at < 0 {
		return nil, fmt.Errorf("%w: no advisor %s took a call in %s; report query advisors lists the pseudonyms", queries.ErrParameter, advisor, b.period.Label)
	}
	f := &Feedback{AsOf: b.asOf(), Advisor: advisor, Period: b.period, Contacts: rows[at].Contacts, Advisors: len(rows), MinCount: minCount}
	for _, fill := range []func(*Feedback, []queries.AdvisorAdviceRow, int) error{b.feedbackAdvice, b.feedbackHurt} {
		if err := fill(f, rows, at); err != nil {
			return nil, err
		}
	}
	for _, fill := range []func(*Feedback) error{b.feedbackChecks, b.feedbackChanges, b.feedbackCameOf, b.feedbackCases} {
		if err := fill(f); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// compare is her share of x[at] in n[at] beside the spread of all.
func (b *builder) compare(x, n []int64, at int, minCount int64) (FeedbackShare, error) {
	var out FeedbackShare
	var shares []float64
	for i := range n {
		if n[i] >= max(1, minCount) {
			shares = append(shares, float64(x[i])/float64(n[i]))
		}
	}
	s, err := metrics.SpreadOf(shares)
	if err != nil {
		return out, err
	}
	out.Line.Advisors = s.N
	if s.N >= leastAdvisors {
		out.Line.LowerQuartile, out.Line.Median, out.Line.UpperQuartile = &s.LowerQuartile, &s.Median, &s.UpperQuartile
	}
	if at < 0 || n[at] < minCount {
		out.Hers = Figure{Conf: b.opt.Confidence, NotEstimable: fmt.Sprintf("it would rest on fewer than %d records", minCount)}
		return out, nil
	}
	e, err := metrics.Wilson(x[at], n[at], b.opt.Confidence)
	out.Hers = figure(e)
	return out, err
}

func (b *builder) feedbackAdvice(f *Feedback, rows []queries.AdvisorAdviceRow, at int) error {
	for _, part := range []struct {
		into  *FeedbackShare
		share func(queries.AdvisorAdviceRow) (x, n int64)
	}{
		{&f.Above, func(r queries.AdvisorAdviceRow) (int64, int64) { return r.Above, r.WithBoth }},
		{&f.Below, func(r queries.AdvisorAdviceRow) (int64, int64) { return r.Below, r.WithBoth }},
		{&f.SafetyNet, func(r queries.AdvisorAdviceRow) (int64, int64) { return r.SafetyNet, r.SafetyNetKnown }},
	} {
		x, n := make([]int64, len(rows)), make([]int64, len(rows))
		for i, r := range rows {
			x[i], n[i] = part.share(r)
		}
		var err error
		if *part.into, err = b.compare(x, n, at, f.MinCount); err != nil {
			return err
		}
	}
	return nil
}

func (b *builder) feedbackHurt(f *Feedback, rows []queries.AdvisorAdviceRow, at int) error {
	f.Hurt.Scratched, f.Hurt.Bitten, f.Hurt.Calls = rows[at].Scratched, rows[at].Bitten, []HurtCall{}
	var hurt, known int64
	for _, r := range rows {
		hurt += r.Scratched + r.Bitten
		known += r.HurtKnown
	}
	e, err := metrics.Wilson(hurt, known, b.opt.Confidence)
	if err != nil {
		return err
	}
	f.Hurt.LineShare = figure(e)
	calls, err := b.db.PersonHurtCalls(b.ctx, b.scope)
	for _, x := range calls {
		if x.Advisor == f.Advisor {
			f.Hurt.Calls = append(f.Hurt.Calls, b.hurtCall(x))
		}
	}
	return err
}

func (b *builder) feedbackChecks(f *Feedback) error {
	rows, err := b.db.AdvisorChecks(b.ctx, b.scope)
	if err != nil {
		return err
	}
	by := map[string][]queries.AdvisorChecksRow{}
	for _, r := range rows {
		by[r.Finding] = append(by[r.Finding], r)
	}
	f.Checks = []FeedbackCheck{}
	for _, finding := range b.db.Meta().Findings {
		list := by[finding.ID]
		at := slices.IndexFunc(list, func(r queries.AdvisorChecksRow) bool { return r.Advisor == f.Advisor })
		if at < 0 {
			continue
		}
		x, n := make([]int64, len(list)), make([]int64, len(list))
		for i, r := range list {
			x[i], n[i] = r.Done, put(r)
		}
		c := FeedbackCheck{Finding: finding.ID, Label: finding.Label}
		if c.Done, err = b.compare(x, n, at, f.MinCount); err != nil {
			return err
		}
		if c.Few = n[at] < f.MinCount; !c.Few {
			r := list[at]
			c.Put, c.NotPossible, c.Declined, c.NotAsked, c.StoppedEarly = n[at], r.NotPossible, r.Declined, r.NotAsked, r.StoppedEarly
		}
		f.Checks = append(f.Checks, c)
	}
	return nil
}

func put(r queries.AdvisorChecksRow) int64 {
	return r.Done + r.NotPossible + r.Declined + r.NotAsked + r.StoppedEarly
}

func (b *builder) feedbackChanges(f *Feedback) error {
	rows, err := b.db.AdvisorChanges(b.ctx, b.scope)
	if err != nil {
		return err
	}
	f.Changes = []FeedbackChange{}
	var line []int64
	for _, x := range rows {
		i := slices.IndexFunc(f.Changes, func(c FeedbackChange) bool { return c.Direction == x.Direction && c.Reason == x.Reason })
		if i < 0 {
			i = len(f.Changes)
			f.Changes, line = append(f.Changes, FeedbackChange{Direction: x.Direction, Reason: x.Reason}), append(line, 0)
		}
		line[i] += x.N
		if x.Advisor == f.Advisor {
			f.Changes[i].Hers += x.N
		}
	}
	for i := range f.Changes {
		if line[i]-f.Changes[i].Hers >= f.MinCount {
			f.Changes[i].Line = &line[i]
		}
	}
	slices.SortFunc(f.Changes, func(a, b FeedbackChange) int {
		return cmp.Or(strings.Compare(a.Direction, b.Direction), cmp.Compare(b.Hers, a.Hers), strings.Compare(a.Reason, b.Reason))
	})
	return nil
}

func (b *builder) feedbackCameOf(f *Feedback) error {
	rows, err := b.db.OverrideOutcomes(b.ctx, b.scope)
	if err != nil {
		return err
	}
	f.CameOf = []OverrideOutcome{}
	for _, x := range rows {
		e, err := metrics.Wilson(x.Needed, x.Known, b.opt.Confidence)
		if err != nil {
			return err
		}
		f.CameOf = append(f.CameOf, OverrideOutcome{x.Direction, x.Episodes, x.Known, figure(e)})
	}
	return nil
}

// shownOfEach bounds how many cases of each kind are shown, so that their number
// is no count of misses.
const shownOfEach = 2

// feedbackCases chooses the latest few of each kind.
func (b *builder) feedbackCases(f *Feedback) error {
	rows, err := b.db.AdvisorCases(b.ctx, b.scope)
	if err != nil {
		return err
	}
	shown := map[string]int{}
	var ids []string
	for _, x := range rows {
		if x.Advisor == f.Advisor && shown[x.Kind] < shownOfEach {
			shown[x.Kind]++
			ids = append(ids, x.Episode)
		}
	}
	f.Cases, err = b.casesOf(ids)
	return err
}
