package replay

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/pipeline/criteria"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// Format is the version of the JSON shape; it rises when a key changes its
// meaning or goes away.
const Format = 1

// The levels as numbers.
const (
	sameDay   = 3
	emergency = 4
)

// bothCuts in the order of every list.
var bothCuts = []int{sameDay, emergency}

// Options say what is replayed and by what it is judged.
type Options struct {
	// Review has the confidence, maturity, strata and draws of the review.
	Review review.Options
	// From and To are months as yyyymm, 0 for the twelve months to the latest
	// mature one.
	From, To int
	// Current is nil for the rules in force of the store.
	Current, Proposed *rules.Program
	// Criteria and Appointments are nil where no file was given.
	Criteria     *criteria.Criteria
	Appointments *criteria.Appointments
	// Listed is how many cases of each kind but the newly missed are listed.
	Listed int
}

// Report is everything that is known of a proposed change.
type Report struct {
	Format int    `json:"format"`
	Unit   string `json:"unit"`
	Record Record `json:"record"`
	// Verdict is left out where there are no criteria.
	Verdict  *Verdict        `json:"verdict,omitempty"`
	Period   review.Period   `json:"period"`
	Maturity review.Maturity `json:"maturity"`
	Standard Standard        `json:"standard"`
	Moves    Moves           `json:"moves"`
	// Ways judges the rules followed exactly, then the raises kept.
	Ways     []Way     `json:"ways"`
	Groups   Groups    `json:"groups"`
	Cases    Cases     `json:"cases"`
	Unknowns []Unknown `json:"unknowns"`
	Workload Workload  `json:"workload"`
	// CannotShow are effects that no record of past calls holds.
	CannotShow []Blind  `json:"cannot_show"`
	Cautions   []string `json:"cautions"`
	// Signatures is who has to sign, with space for it.
	Signatures []string `json:"signatures"`
}

// Standard is by what the replay estimates.
type Standard struct {
	Confidence  float64 `json:"confidence"`
	MinVerified int     `json:"min_verified"`
	Seed        uint64  `json:"seed"`
	Draws       int     `json:"draws"`
	// Strata are the recorded properties beside the level within which verified
	// and unverified calls are taken to be alike.
	Strata []string `json:"strata"`
	// Limits says how the limits treat episodes of one animal or advisor.
	Limits string `json:"limits"`
	// Days and Months are the length of the period, MatureMonths that of its
	// mature part.
	Days         float64 `json:"days"`
	Months       float64 `json:"months"`
	MatureMonths float64 `json:"mature_months"`
}

// builder carries what every part needs.
type builder struct {
	ctx     context.Context
	db      *queries.DB
	opt     Options
	scope   queries.Scope
	pair    queries.Replay
	oldSet  *rules.Set
	answers queries.ReplayRows
	rows    []queries.ReplayCountsRow // of answers
	std     Standard
}

func (b *builder) rand() *rand.Rand { return rand.New(rand.NewPCG(b.std.Seed, 0x7265706c6179)) }

func (b *builder) options(conf float64) metrics.CorrectionOptions {
	return metrics.CorrectionOptions{Conf: conf, MinSampled: int64(b.std.MinVerified), Draws: b.std.Draws, Rand: b.rand()}
}

// Build replays a proposal. Thin data are no error: the report then says what
// cannot be said and why. Criteria that do not fit the proposal or the store are.
func Build(ctx context.Context, db *queries.DB, opt Options) (_ *Report, err error) {
	b := &builder{ctx: ctx, db: db, opt: opt, pair: queries.Replay{Current: opt.Current, Proposed: opt.Proposed}}
	if err := b.oldRules(); err != nil {
		return nil, err
	}
	r := &Report{Format: Format, Unit: "episode", Cautions: caution.Lines, Signatures: signatures}
	if r.Period, r.Maturity, b.scope, err = review.ChoosePeriod(ctx, db, opt.Review, opt.From, opt.To); err != nil {
		return nil, fmt.Errorf("choose the period: %w", err)
	}
	b.standard()
	r.Standard = b.std
	if r.Record, err = b.record(); err != nil {
		return nil, err
	}
	from, to := b.night()
	if b.answers, err = db.ReplayRows(ctx, b.scope, b.pair, cmp.Or(max(opt.Listed, 0), defaultListed), b.workloadCut(), from, to); err != nil {
		return nil, err
	}
	b.rows = b.answers.Counts
	for _, part := range []struct {
		name string
		fill func(*Report) error
	}{
		{"moves", b.moves}, {"comparison", b.ways}, {"groups", b.groups}, {"unknowns", b.unknowns}, {"cases", b.cases},
		{"workload", b.workload}, {"limits of history", b.cannotShow}, {"verdict", b.judge},
	} {
		if err := part.fill(r); err != nil {
			return nil, fmt.Errorf("replay %s: %w", part.name, err)
		}
	}
	return r, nil
}

// oldRules finds what the proposal is compared with.
func (b *builder) oldRules() error {
	if b.opt.Current != nil {
		b.oldSet = b.opt.Current.Set
		return nil
	}
	b.oldSet = b.db.Meta().Rules
	if b.oldSet == nil {
		return fmt.Errorf("%w: the store has no rules in force to compare with; name them with --current", queries.ErrParameter)
	}
	// The rules in force as a program, so that listed cases name their flags.
	p, err := b.db.InForce()
	b.pair.Current = p
	return err
}

func (b *builder) standard() {
	opt, meta := b.opt.Review, b.db.Meta()
	b.std = Standard{Confidence: opt.Confidence, MinVerified: opt.MinVerified, Seed: opt.Seed, Draws: opt.Draws, Strata: meta.Strata, Limits: caution.Singly}
	if b.opt.Criteria != nil {
		b.std.Confidence = b.opt.Criteria.Confidence
	}
	if b.std.MinVerified == 0 {
		b.std.MinVerified = meta.MinVerified
	}
	if b.std.Seed == 0 {
		b.std.Seed = 1
	}
	if b.std.Draws == 0 {
		b.std.Draws = 2000
	}
	from, to := queries.MonthStart(b.scope.From), queries.MonthStart(queries.AddMonths(b.scope.To, 1))
	length := func(end time.Time) float64 {
		if end.After(to) {
			end = to
		}
		return max(0, end.Sub(from).Hours()/24)
	}
	b.std.Days = length(to)
	if cut := meta.DataCut; !cut.IsZero() {
		b.std.Days = length(cut)
	}
	b.std.Months = rounded(b.std.Days / daysPerMonth)
	b.std.MatureMonths = rounded(length(b.scope.MatureBefore) / daysPerMonth)
}

// daysPerMonth is the mean length of a month.
const daysPerMonth = 365.25 / 12

// signatures are the roles that a line signs with.
var signatures = []string{"Proposed by", "Reviewed by (licensed veterinary professional, registration)", "Decided by (licensed veterinary professional, registration)"}
