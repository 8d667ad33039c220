package thresholds

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// Options say what is asked of one finding.
type Options struct {
	Finding string
	Cut     int
	// Species to look at, each by itself; none takes those with readings.
	Species []string
	// Setting of the readings; empty is home.
	Setting  string
	Criteria []Criterion
	// From and To bound the months (yyyymm), 0 for the first recorded and the
	// latest mature one. JudgeMonths are the last of them, on which a choice is
	// judged; 0 takes a third.
	From, To, JudgeMonths int
	Review                review.Options
	// Seed and Draws govern simulation; 0 takes 1 and 1000.
	Seed  uint64
	Draws int
}

type builder struct {
	opt       Options
	db        *queries.DB
	finding   *findings.Finding
	direction metrics.Direction
	program   *rules.Program
	rows      []queries.ThresholdValuesRow
	split     int // first month of the judged part
	r         *Result
}

func (b *builder) rand() *rand.Rand { return rand.New(rand.NewPCG(b.opt.Seed, 0x7468726573)) }

func (b *builder) correction() metrics.CorrectionOptions {
	return metrics.CorrectionOptions{Conf: b.opt.Review.Confidence, MinSampled: int64(b.r.Standard.MinVerified), Draws: b.opt.Draws, Rand: b.rand()}
}

// Build fills a Result. Thin or missing data are no error: the result then says
// what cannot be said and why.
func Build(ctx context.Context, db *queries.DB, opt Options) (*Result, error) {
	b := &builder{opt: opt, db: db}
	if err := b.prepare(ctx); err != nil {
		return nil, err
	}
	for _, species := range b.groups() {
		g, err := b.group(species)
		if err != nil {
			return nil, fmt.Errorf("thresholds of %s, %s: %w", opt.Finding, groupName(species), err)
		}
		b.r.Groups = append(b.r.Groups, g)
	}
	return b.r, nil
}

// prepare checks what was asked, chooses the months and reads the counts.
func (b *builder) prepare(ctx context.Context) error {
	meta := b.db.Meta()
	if meta.Dictionary == nil {
		return fmt.Errorf("%w: the store holds no findings dictionary", queries.ErrParameter)
	}
	f, ok := meta.Dictionary.Finding(b.opt.Finding)
	if !ok {
		return fmt.Errorf("%w: finding %q: expected a number of the dictionary: %v", queries.ErrParameter, b.opt.Finding, numbers(meta.Dictionary))
	}
	if f.Kind != findings.Number {
		return fmt.Errorf("%w: finding %s is recorded by code and has no threshold; expected one of %v", queries.ErrParameter, f.ID, numbers(meta.Dictionary))
	}
	b.finding = f
	b.direction = map[findings.Bad]metrics.Direction{findings.High: metrics.HighIsBad, findings.Low: metrics.LowIsBad, findings.Both: metrics.BothEndsAreBad}[f.Bad]
	var err error
	if b.program, err = b.db.InForce(); err != nil {
		return err
	}
	b.defaults()
	months, err := Months(ctx, b.db, b.opt.Review, b.opt.From, b.opt.To, b.opt.JudgeMonths)
	if err != nil {
		return err
	}
	b.split = months.Split
	if b.rows, err = b.db.ThresholdValues(ctx, months.Scope, b.opt.Cut, f.ID); err != nil {
		return err
	}
	b.fillHead(months)
	return nil
}

func (b *builder) defaults() {
	if b.opt.Setting == "" {
		b.opt.Setting = "home"
	}
	if b.opt.Seed == 0 {
		b.opt.Seed = 1
	}
	if b.opt.Draws == 0 {
		b.opt.Draws = 1000
	}
}

// numbers lists the findings that have a threshold.
func numbers(d *findings.Dictionary) []string {
	var out []string
	for i := range d.Findings {
		if d.Findings[i].Kind == findings.Number {
			out = append(out, d.Findings[i].ID)
		}
	}
	return out
}

// Split is a period cut into the months on which something is chosen and the
// later ones on which it is judged.
type Split struct {
	Scope queries.Scope
	// Split is the first month (yyyymm) of the judged part.
	Split             int
	Whole, Fit, Judge Period
}

// Months chooses a period and splits it. from and to are months (yyyymm), 0 for
// the first recorded and the latest mature one; the last judge months are kept
// for judging, 0 takes a third.
func Months(ctx context.Context, db *queries.DB, opt review.Options, from, to, judge int) (Split, error) {
	opt.Month = to
	scope, err := review.DefaultPeriod(ctx, db, opt)
	if err != nil {
		return Split{}, err
	}
	recorded, err := db.Months(ctx)
	if err != nil {
		return Split{}, err
	}
	if len(recorded) > 0 {
		scope.From = recorded[0].Month
	}
	if from != 0 {
		scope.From = from
	}
	if scope.From > scope.To {
		return Split{}, fmt.Errorf("%w: the first month %s lies after the last, %s", queries.ErrParameter, queries.FormatMonth(scope.From), queries.FormatMonth(scope.To))
	}
	n := 1
	for m := scope.From; m < scope.To; m = queries.AddMonths(m, 1) {
		n++
	}
	if judge >= n {
		return Split{}, fmt.Errorf("%w: %d months to judge on, expected fewer than the %d of the period", queries.ErrParameter, judge, n)
	}
	if judge == 0 {
		judge = n / 3
	}
	split := queries.AddMonths(scope.To, 1-judge)
	return Split{Scope: scope, Split: split, Whole: period(scope.From, scope.To),
		Fit: period(scope.From, queries.AddMonths(split, -1)), Judge: period(split, scope.To)}, nil
}

func period(from, to int) Period {
	if from > to {
		return Period{}
	}
	days := queries.MonthStart(queries.AddMonths(to, 1)).Sub(queries.MonthStart(from)).Hours() / 24
	return Period{From: queries.FormatMonth(from), To: queries.FormatMonth(to), Days: int(days + 0.5)}
}

func (b *builder) fillHead(months Split) {
	meta := b.db.Meta()
	label := "same day or sooner"
	if b.opt.Cut == 4 {
		label = "emergency"
	}
	minVerified := meta.MinVerified
	if b.opt.Review.MinVerified > 0 {
		minVerified = b.opt.Review.MinVerified
	}
	b.r = &Result{
		Format: Format, AsOf: review.AsOf{Load: meta.AsOf, DataCut: meta.DataCut.UTC()}, Unit: "episode",
		CaseDefinition: meta.Definition, DefinitionText: meta.DefinitionText, RuleSet: meta.RuleSet,
		Finding: b.finding.ID, Label: b.finding.Title, UnitOf: b.finding.Unit, Decimals: b.decimals(), Direction: b.direction.String(),
		Cut: map[int]string{3: "same_day", 4: "emergency"}[b.opt.Cut], CutLabel: label, Setting: b.opt.Setting,
		Whole: months.Whole, Fit: months.Fit, Judge: months.Judge,
		Standard: Standard{Confidence: b.opt.Review.Confidence, MinVerified: minVerified, Seed: b.opt.Seed, Draws: b.opt.Draws},
		Groups:   []Group{}, Notes: []string{caution.Singly}, Cautions: caution.Lines,
	}
	if b.r.Judge.Days == 0 {
		b.r.Notes = append(b.r.Notes, "the period is too short to judge a choice on later months")
	}
	if n := b.finding.SettingNote; n != "" {
		b.r.Notes = append(b.r.Notes, n)
	}
}

// groups are the species that share a threshold: each by itself where one was
// asked for or their usual ranges differ, else all together.
func (b *builder) groups() [][]string {
	species := b.opt.Species
	if len(species) == 0 {
		for _, r := range b.rows {
			if r.Value >= 0 && r.Species != "" && !slices.Contains(species, r.Species) {
				species = append(species, r.Species)
			}
		}
		slices.Sort(species)
		if alike(b.finding, species) && len(species) > 1 {
			return [][]string{species}
		}
	}
	out := make([][]string, len(species))
	for i, s := range species {
		out[i] = []string{s}
	}
	return out
}

// alike reports whether well animals of all these species read alike.
func alike(f *findings.Finding, species []string) bool {
	var first findings.Range
	known := false
	for _, s := range species {
		r, ok := f.UsualRange(s)
		if !ok {
			continue
		}
		if known && (r.Low != first.Low || r.High != first.High) {
			return false
		}
		first, known = r, true
	}
	return true
}

func groupName(species []string) string {
	if len(species) == 1 {
		return species[0]
	}
	return "all"
}
