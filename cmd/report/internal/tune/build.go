package tune

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/thresholds"
	"hindcheck/metrics"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// Options say what to tune.
type Options struct {
	Cut       int
	Criterion Criterion
	// Flags to tune, by id; none takes every flag that rests on one number alone
	// and demands the cut. A flag on codes may only stay or go.
	Flags []string
	// Steps is the most candidates a flag gets; 0 takes 10.
	Steps int
	// MinReadings is the least number of readings in the earlier months with which
	// a flag may move without being named; 0 takes 50.
	MinReadings int
	// From and To bound the months (yyyymm), JudgeMonths are the last of them;
	// see thresholds.Options.
	From, To, JudgeMonths int
	Review                review.Options
	Seed                  uint64
	Draws                 int
}

type builder struct {
	opt    Options
	db     *queries.DB
	set    *rules.Set
	p      *rules.Program
	tuned  []tunable
	scope  queries.Scope
	split  int
	r      *Result
	fit    *model
	judged *model
}

func (b *builder) correction() metrics.CorrectionOptions {
	return metrics.CorrectionOptions{Conf: b.opt.Review.Confidence, MinSampled: int64(b.r.Standard.MinVerified), Draws: b.opt.Draws,
		Rand: rand.New(rand.NewPCG(b.opt.Seed, 0x74756e65))}
}

// Build fills a Result. Thin data are no error: the result says what cannot be
// chosen and why.
func Build(ctx context.Context, db *queries.DB, opt Options) (*Result, error) {
	if opt.Steps == 0 {
		opt.Steps = 10
	}
	if opt.MinReadings == 0 {
		opt.MinReadings = 50
	}
	if opt.Seed == 0 {
		opt.Seed = 1
	}
	if opt.Draws == 0 {
		opt.Draws = 1000
	}
	b := &builder{opt: opt, db: db}
	for _, step := range []func(context.Context) error{b.prepare, b.chooseTunables, b.count} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	if err := b.flagsByThemselves(ctx); err != nil {
		return nil, fmt.Errorf("flags by themselves: %w", err)
	}
	if b.r.NotEstimable != "" {
		return b.r, nil
	}
	if err := b.choose(); err != nil {
		return nil, fmt.Errorf("tune: %w", err)
	}
	return b.r, nil
}

// prepare takes the rules in force and the months.
func (b *builder) prepare(ctx context.Context) error {
	var err error
	if b.p, err = b.db.InForce(); err != nil {
		return err
	}
	if b.p == nil {
		return fmt.Errorf("%w: the store holds no rules to tune; load some with ingest load --rules", queries.ErrParameter)
	}
	b.set = b.p.Set
	months, err := thresholds.Months(ctx, b.db, b.opt.Review, b.opt.From, b.opt.To, b.opt.JudgeMonths)
	if err != nil {
		return err
	}
	b.scope, b.split = months.Scope, months.Split
	meta := b.db.Meta()
	least := meta.MinVerified
	if b.opt.Review.MinVerified > 0 {
		least = b.opt.Review.MinVerified
	}
	b.r = &Result{
		Format: Format, AsOf: review.AsOf{Load: meta.AsOf, DataCut: meta.DataCut.UTC()}, Unit: "episode",
		CaseDefinition: meta.Definition, DefinitionText: meta.DefinitionText, RuleSet: meta.RuleSet,
		Cut: map[int]string{3: "same_day", 4: "emergency"}[b.opt.Cut], CutLabel: map[int]string{3: "same day or sooner", 4: "emergency"}[b.opt.Cut],
		Criterion: b.opt.Criterion.String(), Fit: months.Fit, Judge: months.Judge,
		Standard: thresholds.Standard{Confidence: b.opt.Review.Confidence, MinVerified: least, Seed: b.opt.Seed, Draws: b.opt.Draws},
		Tuned:    []Tuned{}, Path: []Step{}, ByThemselves: []Flag{}, Warnings: []string{}, Limits: caution.Singly, Cautions: caution.Lines,
	}
	return nil
}

// count asks for the patterns and checks that they say of the rules in force
// what the store says.
func (b *builder) count(ctx context.Context) error {
	steps := make([]rules.Steps, len(b.tuned))
	places := make([]int, len(b.tuned))
	x := queries.Tuning{}
	for i, t := range b.tuned {
		steps[i], places[i] = t.Steps, t.Flag
		x.Counts = append(x.Counts, t.count())
	}
	set, err := rules.StepSet(b.set, steps)
	if err != nil {
		return err
	}
	if x.Steps, err = rules.Compile(set, b.db.Meta().Dictionary); err != nil {
		return err
	}
	if rest := rules.Without(b.set, places); len(rest.Flags) > 0 {
		if x.Rest, err = rules.Compile(rest, b.db.Meta().Dictionary); err != nil {
			return err
		}
	}
	rows, err := b.db.TunePatterns(ctx, b.scope, b.opt.Cut, x)
	if err != nil {
		return err
	}
	return b.models(rows)
}

// models makes the counts of the two parts of the period.
func (b *builder) models(rows []queries.TunePatternsRow) error {
	var used []queries.ThresholdValuesRow
	patterns := newPatterns(b.tuned)
	for _, r := range rows {
		place := patterns.place(r.Rest, r.Bins)
		if got := patterns.marks(place, b.present()); got != r.Present {
			return fmt.Errorf("the stored levels do not agree with the rules in force (pattern %v, month %d); make them anew with ingest verify --rebuild", r.Bins, r.Month)
		}
		if !r.Mature || r.Level == 0 {
			continue
		}
		used = append(used, queries.ThresholdValuesRow{Month: r.Month, Value: place, Need: r.Need, Route: r.Route, Level: r.Level, Stratum: r.Stratum, N: r.N})
	}
	b.r.Search.Patterns = len(patterns.list)
	dims, given := thresholds.KeepDimensions(used, b.db.Meta(), b.r.Standard.MinVerified)
	b.r.Strata = thresholds.Strata{Dimensions: []string{"level"}, GivenUp: append([]string{}, given...)}
	for _, d := range dims {
		b.r.Strata.Dimensions = append(b.r.Strata.Dimensions, b.db.Meta().Strata[d])
	}
	earlier := slices.DeleteFunc(slices.Clone(used), func(r queries.ThresholdValuesRow) bool { return r.Month >= b.split })
	later := slices.DeleteFunc(used, func(r queries.ThresholdValuesRow) bool { return r.Month < b.split })
	var err error
	if b.fit, err = b.model(patterns, earlier, b.r.Fit.Days, dims); err != nil {
		return err
	}
	if b.judged, err = b.model(patterns, later, b.r.Judge.Days, dims); err != nil {
		return err
	}
	b.r.FitEpisodes, b.r.JudgeEpisodes = int64(b.fit.side.N), int64(b.judged.side.N)
	if b.r.NotEstimable == "" {
		b.r.NotEstimable = b.fit.why
	}
	return nil
}

// present is the combination in force.
func (b *builder) present() combination {
	c := make(combination, len(b.tuned))
	for i, t := range b.tuned {
		c[i] = t.inForce
	}
	return c
}
