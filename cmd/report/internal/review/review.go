package review

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/queries"
)

// Format is the version of the JSON shape; it rises when a key changes its
// meaning or goes away.
const Format = 1

// Months is the length of the rolling period over which accuracy is judged:
// missed cases are too rare for shorter ones.
const Months = 12

// Options say what is reviewed and by which standard.
type Options struct {
	// Month to review as yyyymm; 0 takes the latest mature one.
	Month int
	// Confidence of all limits, in (0, 1).
	Confidence float64
	// Window overrides the case definition's if positive; Lag is how long
	// after it outcomes still arrive.
	Window, Lag time.Duration
	// MinVerified is the least number followed up in a correction stratum; 0
	// takes the strata file's.
	MinVerified int
	// UnderLimit and OverLimit are what the line wishes to stay below, per
	// need; LimitSource says who set them.
	UnderLimit, OverLimit float64
	LimitSource           string
	// Software names the program that writes the review.
	Software string
	// Seed and Draws govern the posterior simulation; 0 takes 1 and 2000.
	Seed  uint64
	Draws int
	// BaselineFrom and BaselineTo (yyyymm) bound the period that flags are
	// compared with; 0 takes the twelve months before.
	BaselineFrom, BaselineTo int
	// CompareFrom and CompareTo (yyyymm) bound a second period to set beside the
	// review; 0 for none. Also is a database over the same records under a second
	// case definition; nil for none.
	CompareFrom, CompareTo int
	Also                   *queries.DB
	// Events are dated changes to mark on the charts.
	Events []Event
}

// Review is everything that a monthly review shows.
type Review struct {
	Format         int    `json:"format"`
	AsOf           AsOf   `json:"as_of"`
	Unit           string `json:"unit"`
	CaseDefinition string `json:"case_definition"`
	// DefinitionText says in words when an animal counted as needing care.
	DefinitionText string   `json:"definition_text"`
	RuleSet        string   `json:"ruleset"`
	Period         Period   `json:"period"`
	Maturity       Maturity `json:"maturity"`
	Standard       Standard `json:"standard"`

	Conclusion Conclusion `json:"conclusion"`
	// Since, Actions and Next depend on the archive of reviews: see Follow.
	Since   Since     `json:"since"`
	Awaited []Waiting `json:"awaited"`
	Actions Agreed    `json:"actions"`
	Next    []ToDo    `json:"next"`

	Month Month `json:"month"`
	// Advice and Rules are judged at both cuts: same day first, then emergency.
	Advice []Test `json:"advice"`
	Rules  []Test `json:"rules"`
	// Levels is advice against the level that the vet saw.
	Levels Levels `json:"levels"`
	// Groups split the advice by species, complaint, site, hours and contacts,
	// at both cuts.
	Groups []GroupCut `json:"groups"`
	// Flags are judged at both cuts, in the same order.
	Flags []Flags `json:"flags"`
	Trend []Point `json:"trend"`
	// Charts follow single quantities under control limits; Events are the
	// dated changes marked on them.
	Charts []ControlChart `json:"charts"`
	Events []Event        `json:"events"`
	// Warnings need no outcome, so they cover the months after the one under
	// review too.
	Warnings Warnings `json:"early_warnings"`
	// StayedAway are animals sent in that did not go: not misses.
	StayedAway StayedAway `json:"stayed_away"`
	Missed     Missed     `json:"missed_cases"`
	// Needless are escalations that proved needless, at both cuts.
	Needless []Needless `json:"needless_escalations"`
	// Panel sums the case reviews, FollowUp the drawn follow-up sample, at both cuts.
	Panel      Panel       `json:"panel"`
	FollowUp   []FollowUp  `json:"follow_up_sample"`
	Findings   []Finding   `json:"findings"`
	Thresholds []Threshold `json:"thresholds"`
	// Checks split the checks by species, handling and reason.
	Checks CheckSplit `json:"checks"`
	// Answers say what each check took for every answer that decided the advice;
	// AnswersText defines it.
	Answers     []Answer `json:"answers"`
	AnswersText string   `json:"answers_text"`
	// Readings compare what the owner read with what the vet read.
	Readings []Reading `json:"readings"`
	Safety   Safety    `json:"safety"`
	// Units are sites and advisors, unranked, and what left the rules' level.
	Units Units `json:"units"`
	Data  Data  `json:"data"`
	// Quality says how complete, prompt and steady the records are.
	Quality Quality `json:"quality"`
	// Diagram is the flow of episodes from receipt to a known need.
	Diagram Diagram `json:"diagram"`
	// Beside sets a second period or definition beside the review, if asked for.
	Beside []Beside `json:"beside"`
	// Basis is under which definitions, rules and settings all this stands.
	Basis     Basis     `json:"basis"`
	Checklist Checklist `json:"checklist"`
	Cautions  []string  `json:"cautions"`
}

// AsOf says which state of the store was read.
type AsOf struct {
	Load    int       `json:"load"`
	DataCut time.Time `json:"data_cut"`
	// Erased is what was removed from that state since, nil for nothing.
	Erased *Erased `json:"erased,omitempty"`
}

// Erased counts the removals of all records of an animal or owner on request.
type Erased struct {
	Requests int   `json:"requests"`
	Calls    int64 `json:"calls"`
	// Rows are calls, checks and outcomes, superseded ones included.
	Rows int64 `json:"rows"`
}

// Standard is by what the review judges.
type Standard struct {
	Confidence  float64 `json:"confidence"`
	WindowHours float64 `json:"window_hours"`
	LagDays     float64 `json:"lag_days"`
	MinVerified int     `json:"min_verified"`
	UnderLimit  float64 `json:"under_triage_limit"`
	OverLimit   float64 `json:"over_triage_limit"`
	LimitSource string  `json:"limit_source"`
	Seed        uint64  `json:"seed"`
	Draws       int     `json:"draws"`
}

// builder carries what every part needs.
type builder struct {
	ctx    context.Context
	db     *queries.DB
	opt    Options
	period Period
	scope  queries.Scope
	months []queries.MonthsRow
	mature Maturity
	// These are counts of the scope, once asked for; asking guards them.
	asking     *sync.Mutex
	advice     []queries.AdviceCountsRow
	patterns   []queries.FlagPatternsRow
	states     []queries.FlagNotAssessedRow
	escalation []queries.FlagEscalationRow
	followed   []queries.RulesFollowedRow
	usually    []queries.UsualChecksRow
}

// once asks for counts that several parts read.
func once[T any](b *builder, kept *[]T, ask func() ([]T, error)) ([]T, error) {
	if b.asking != nil {
		b.asking.Lock()
		defer b.asking.Unlock()
	}
	if *kept != nil {
		return *kept, nil
	}
	var err error
	*kept, err = ask()
	return *kept, err
}

// rand gives every correction its own generator from the same seed, so that a
// figure does not depend on which others were made before it.
func (b *builder) rand() *rand.Rand { return rand.New(rand.NewPCG(b.opt.Seed, 0x68696e64)) }

func (b *builder) asOf() AsOf {
	m := b.db.Meta()
	out := AsOf{Load: m.AsOf, DataCut: m.DataCut.UTC()}
	if m.Erased.Requests > 0 {
		out.Erased = &Erased{m.Erased.Requests, m.Erased.Calls, m.Erased.Rows}
	}
	return out
}

func newBuilder(ctx context.Context, db *queries.DB, opt Options) (*builder, error) {
	if opt.Window <= 0 {
		opt.Window = db.Meta().Window
	}
	if opt.Draws == 0 {
		opt.Draws = 2000
	}
	if opt.Seed == 0 {
		opt.Seed = 1
	}
	b := &builder{ctx: ctx, db: db, opt: opt, asking: new(sync.Mutex)}
	if err := b.choose(); err != nil {
		return nil, fmt.Errorf("choose the month: %w", err)
	}
	return b, nil
}

// keep has episodes counted once for all that is asked about flags and advice.
func (b *builder) keep() error {
	s, base := b.scope, b.baselineScope()
	s.From, s.To = min(s.From, base.From), max(s.To, base.To)
	return b.db.Keep(b.ctx, s)
}

// Build fills the review of one month. Thin or missing data are no error: the
// review then says what cannot be said and why.
func Build(ctx context.Context, db *queries.DB, opt Options) (*Review, error) {
	b, err := newBuilder(ctx, db, opt)
	if err != nil {
		return nil, err
	}
	if err := b.keep(); err != nil {
		return nil, err
	}
	meta := db.Meta()
	r := &Review{
		Format: Format, AsOf: b.asOf(), Unit: "episode", CaseDefinition: meta.Definition, DefinitionText: meta.DefinitionText,
		RuleSet: meta.RuleSet, Period: b.period, Maturity: b.mature, Cautions: cautions,
		Standard: Standard{
			Confidence: b.opt.Confidence, WindowHours: b.opt.Window.Hours(), LagDays: b.opt.Lag.Hours() / 24, MinVerified: b.minVerified(),
			UnderLimit: b.opt.UnderLimit, OverLimit: b.opt.OverLimit, LimitSource: b.opt.LimitSource, Seed: b.opt.Seed, Draws: b.opt.Draws,
		},
	}
	if err := b.fill(r); err != nil {
		return nil, err
	}
	if err := conclude(r); err != nil {
		return nil, fmt.Errorf("review conclusion: %w", err)
	}
	Follow(r, nil, nil, time.Time{})
	return r, nil
}

// part fills one part of a review.
type part struct {
	name string
	fill func(*Review) error
}

// fill fills all parts. Those that read the records of calls and checks need
// nothing from the others, nor these from them: while one lane counts or works
// something out by itself, the other uses the processors that it leaves. Quality
// would belong to the first; in the second it makes them about as long.
func (b *builder) fill(r *Review) error {
	records := []part{
		{"missed cases", b.fillMissed}, {"early warnings", b.fillWarnings}, {"readings", b.fillReadings}, {"checks", b.fillCheckSplit}, {"answers", b.fillAnswers},
	}
	cases := []part{
		{"advice and rules", b.fillTests}, {"levels", b.fillLevels}, {"groups", b.fillGroups}, {"flags", b.fillFlags}, {"process", b.fillProcess},
		{"animals that stayed away", b.fillStayedAway}, {"needless escalations", b.fillNeedless}, {"case reviews", b.fillPanel}, {"follow-up sample", b.fillFollowUp},
		{"findings", b.fillFindings}, {"thresholds", b.fillThresholds}, {"safety", b.fillSafety}, {"people hurt", b.fillHurt}, {"units", b.fillUnits}, {"data", b.fillData},
		{"quality", b.fillQuality},
	}
	var lanes sync.WaitGroup
	var errs [2]error
	for i, lane := range [][]part{records, cases} {
		lanes.Go(func() { errs[i] = b.fillParts(r, lane) })
	}
	lanes.Wait()
	if err := cmp.Or(errs[0], errs[1]); err != nil {
		return err
	}
	return b.fillParts(r, []part{
		{"flow", b.fillDiagram}, {"side by side", b.fillBeside}, {"awaited", b.fillAwaited}, {"basis", b.fillBasis}, {"checklist", b.fillChecklist},
	})
}

func (b *builder) fillParts(r *Review, parts []part) error {
	for _, part := range parts {
		if err := part.fill(r); err != nil {
			return fmt.Errorf("review %s: %w", part.name, err)
		}
	}
	return nil
}

// BuildFlags judges the flags alone, for report flags. from and to bound the
// period (yyyymm) or are 0 for the twelve months to the latest mature one; by
// is empty or a stratum to split by.
func BuildFlags(ctx context.Context, db *queries.DB, opt Options, cut, from, to int, by string) (Flags, error) {
	if by != "" && !slices.Contains(db.Meta().Strata, by) {
		return Flags{}, fmt.Errorf("%w: split by %q: expected one of %s", queries.ErrParameter, by, list(db.Meta().Strata))
	}
	opt.Month = to
	b, err := newBuilder(ctx, db, opt)
	if err != nil {
		return Flags{}, err
	}
	if from != 0 {
		b.setPeriod(from, b.scope.To)
	}
	return b.flags(cut, by)
}

// DefaultPeriod is the period that Build would take, for commands that count
// without estimating.
func DefaultPeriod(ctx context.Context, db *queries.DB, opt Options) (queries.Scope, error) {
	b, err := newBuilder(ctx, db, opt)
	if err != nil {
		return queries.Scope{}, err
	}
	return b.scope, nil
}

// bothCuts in the order of the review.
var bothCuts = []int{sameDay, emergency}

// adviceCounts asks for the counts of the advice once.
func (b *builder) adviceCounts() ([]queries.AdviceCountsRow, error) {
	return once(b, &b.advice, func() ([]queries.AdviceCountsRow, error) { return b.db.AdviceCounts(b.ctx, b.scope) })
}

// rulesFollowed asks for the advice against the rules once.
func (b *builder) rulesFollowed() ([]queries.RulesFollowedRow, error) {
	return once(b, &b.followed, func() ([]queries.RulesFollowedRow, error) { return b.db.RulesFollowed(b.ctx, b.scope) })
}

func (b *builder) fillTests(r *Review) error {
	rows, err := b.adviceCounts()
	if err != nil {
		return err
	}
	for _, cut := range bothCuts {
		advice, rules, err := b.tests(rows, cut)
		if err != nil {
			return err
		}
		r.Advice, r.Rules = append(r.Advice, advice), append(r.Rules, rules)
	}
	return nil
}

func (b *builder) fillFlags(r *Review) error {
	for _, cut := range bothCuts {
		f, err := b.flags(cut, "")
		if err != nil {
			return err
		}
		if err := b.flagChanges(&f, cut); err != nil {
			return err
		}
		r.Flags = append(r.Flags, f)
	}
	return nil
}

// cautions are shown on every review: those of every output, and what
// corrected figures rest on.
var cautions = append(slices.Clone(caution.Lines),
	"Figures rest on calls whose outcome became known. Where they are corrected, that assumes that calls without an outcome resemble those with one within the same advice and stratum.")
