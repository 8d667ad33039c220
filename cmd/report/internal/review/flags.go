package review

import (
	"errors"
	"runtime"
	"slices"
	"sync"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Flag is one red flag judged at one cut. Its JSON shape is what report flags
// promises.
type Flag struct {
	Flag string `json:"flag"`
	// Stratum is all, or the value of the property that the result is split by.
	Stratum string `json:"stratum"`
	Title   string `json:"title"`
	Why     string `json:"why"`
	// Demands is the level that the flag demands.
	Demands string `json:"demands"`
	// WhenUnknown is raise if an unknown flag counts its level, else leave.
	WhenUnknown string     `json:"when_unknown"`
	Counts      FlagCounts `json:"counts"`
	// Escalated counts all episodes, mature or not, by what the flag was.
	Escalated Escalated `json:"escalated"`
	// EscalatedWhenPresent is compliance, not accuracy: a flag that demands
	// escalation nearly always leads to it.
	EscalatedWhenPresent Figure `json:"escalated_when_present"`
	// AssessedShare is the share of all episodes on which the flag was present
	// or ruled out.
	AssessedShare Figure `json:"assessed_share"`

	// Naive, Corrected and Bounds judge the sign among those assessed.
	Naive     Accuracy       `json:"naive"`
	Corrected Accuracy       `json:"corrected"`
	Bounds    AccuracyBounds `json:"bounds"`
	// Operational is the corrected accuracy where "not assessed" counts as
	// "did not fire": what the flag catches on the telephone as it is used.
	Operational Accuracy `json:"operational"`
	// AnyAnswer holds whatever the unassessed would have shown.
	AnyAnswer AnyAnswer `json:"any_answer"`
	// OnlyThis is what no other flag caught; left out for a flag that demands
	// less than the cut, and where the result is split.
	OnlyThis *Contribution `json:"only_this,omitempty"`
	// Change compares with the baseline period, in the monthly review only.
	Change *FlagChange `json:"change,omitempty"`
	// Likelihood ratios of the verified table.
	LRPositive Figure     `json:"lr_positive"`
	LRNegative Figure     `json:"lr_negative"`
	Strata     StrataNote `json:"strata"`
	// Clusters are naive figures with cluster-robust limits; the corrected
	// sensitivity and specificity are widened by the largest design effect
	// among them. Left out where the result is split.
	Clusters []Cluster `json:"clusters,omitempty"`
}

// FlagCounts are the counts behind a flag's figures.
type FlagCounts struct {
	// Verified, ByRoute and Unverified are mature episodes on which the flag
	// was assessed.
	Verified   Cells            `json:"verified"`
	ByRoute    map[string]Cells `json:"by_route"`
	Unverified Sides            `json:"unverified"`
	// Pending episodes are not mature: whatever is known of their outcome is
	// not used, because bad news arrives first.
	Pending Pending `json:"pending"`
	// NotAssessed counts mature episodes by why the flag is unknown.
	NotAssessed map[string]NotAssessed `json:"not_assessed"`
}

// Pending are immature episodes.
type Pending struct {
	Sides
	NotAssessed int64 `json:"not_assessed"`
}

// NotAssessed are episodes on which a flag is unknown.
type NotAssessed struct {
	Needed     int64 `json:"needed"`
	NotNeeded  int64 `json:"not_needed"`
	Unverified int64 `json:"unverified"`
}

// YesNo counts episodes by whether they were escalated.
type YesNo struct {
	Yes int64 `json:"yes"`
	No  int64 `json:"no"`
	// NoAdvice have no advice level on record: neither escalated nor not.
	NoAdvice int64 `json:"no_advice,omitempty"`
}

func (y *YesNo) add(level int8, cut int, n int64) {
	switch {
	case level == 0:
		y.NoAdvice += n
	case int(level) >= cut:
		y.Yes += n
	default:
		y.No += n
	}
}

// Total is all of them.
func (y YesNo) Total() int64 { return y.Yes + y.No + y.NoAdvice }

// Escalated splits escalation so that compliance with a flag is not taken for
// its accuracy.
type Escalated struct {
	Present YesNo `json:"present"`
	// Alone and WithOthers split Present by whether other flags fired too.
	Alone       YesNo `json:"present_alone"`
	WithOthers  YesNo `json:"present_with_others"`
	Absent      YesNo `json:"absent"`
	NotAssessed YesNo `json:"not_assessed"`
}

// Flags is the result of report flags.
type Flags struct {
	AsOf           AsOf   `json:"as_of"`
	Unit           string `json:"unit"`
	CaseDefinition string `json:"case_definition"`
	RuleSet        string `json:"ruleset"`
	Cut            string `json:"cut"`
	CutLabel       string `json:"cut_label"`
	Period         Period `json:"period"`
	// NoFlag is what happened where no flag fired: raised all the same, or not.
	NoFlag NoFlag `json:"no_flag"`
	Flags  []Flag `json:"flags"`
	// Baseline is what Change of the flags compares with.
	Baseline Baseline `json:"baseline,omitzero"`
}

// NoFlag counts episodes by whether any flag fired, against the advice.
type NoFlag struct {
	// Raised: no flag fired and the advisor escalated. Quiet: nor did she.
	Raised int64 `json:"raised"`
	Quiet  int64 `json:"quiet"`
	// Followed: the rules demanded escalation and the advisor escalated.
	// Lowered: they did and she did not.
	Followed int64 `json:"followed"`
	Lowered  int64 `json:"lowered"`
}

// flagWork gathers one flag in one stratum of the split.
type flagWork struct {
	counts                FlagCounts
	assessed, operational keyed
	escalated             Escalated
}

// flags judges every flag at one cut. by is empty, or a stratum to split by.
func (b *builder) flags(cut int, by string) (Flags, error) {
	meta := b.db.Meta()
	out := Flags{
		AsOf: b.asOf(), Unit: "episode", CaseDefinition: meta.Definition, RuleSet: meta.RuleSet,
		Cut: levelWords[cut], CutLabel: cutLabel(cut), Period: b.period, Flags: []Flag{},
	}
	if err := b.noFlag(&out.NoFlag, cut); err != nil {
		return out, err
	}
	work, groups, err := b.gatherFlags(cut, by)
	if err != nil {
		return out, err
	}
	clusters := make([][]Cluster, len(meta.Flags))
	if by == "" {
		if err := b.flagClusters(cut, clusters); err != nil {
			return out, err
		}
	}
	if out.Flags, err = b.judgeAll(groups, work, clusters); err != nil || by != "" {
		return out, err
	}
	return out, b.contributions(&out, cut)
}

// judgeAll judges every flag in every group, several at a time: fifty flags
// with a simulated posterior each take seconds. A figure has a generator of its
// own, so the order in which they are made does not matter.
func (b *builder) judgeAll(groups []string, work map[flagKey]*flagWork, clusters [][]Cluster) ([]Flag, error) {
	flags := b.db.Meta().Flags
	out, errs := make([]Flag, len(flags)*len(groups)), make([]error, len(flags)*len(groups))
	places := make(chan int)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for at := range places {
				i, g := at/len(groups), groups[at%len(groups)]
				w := work[flagKey{i, g}]
				if w == nil {
					w = &flagWork{}
				}
				out[at], errs[at] = b.judge(flags[i], g, w, clusters[i])
			}
		})
	}
	for at := range out {
		places <- at
	}
	close(places)
	workers.Wait()
	return out, errors.Join(errs...)
}

type flagKey struct {
	flag    int
	stratum string
}

const allStrata = "all"

// gatherFlags adds up the counts of each flag in each group.
func (b *builder) gatherFlags(cut int, by string) (map[flagKey]*flagWork, []string, error) {
	place := slices.Index(b.db.Meta().Strata, by)
	work := map[flagKey]*flagWork{}
	groups := []string{}
	at := func(flag int, g string) *flagWork {
		if work[flagKey{flag, g}] == nil {
			work[flagKey{flag, g}] = &flagWork{}
			if !slices.Contains(groups, g) {
				groups = append(groups, g)
			}
		}
		return work[flagKey{flag, g}]
	}
	rows, err := b.db.FlagCounts(b.ctx, b.scope, cut)
	if err != nil {
		return nil, nil, err
	}
	for _, r := range rows {
		g := allStrata
		if place >= 0 {
			g = r.Stratum[place]
		}
		at(r.Flag, g).add(r, cut)
	}
	if by == "" {
		groups = []string{allStrata}
		if err := b.flagDetails(cut, at); err != nil {
			return nil, nil, err
		}
	}
	slices.Sort(groups)
	return work, groups, nil
}

// flagDetails adds what is counted over all strata only.
func (b *builder) flagDetails(cut int, at func(int, string) *flagWork) error {
	states, err := once(b, &b.states, func() ([]queries.FlagNotAssessedRow, error) { return b.db.FlagNotAssessed(b.ctx, b.scope) })
	if err != nil {
		return err
	}
	for _, r := range states {
		if !r.Mature {
			continue
		}
		w := at(r.Flag, allStrata)
		if w.counts.NotAssessed == nil {
			w.counts.NotAssessed = map[string]NotAssessed{}
		}
		delete(w.counts.NotAssessed, anyState)
		x := w.counts.NotAssessed[r.State]
		need := r.NeedSameDay
		if cut == emergency {
			need = r.NeedEmergency
		}
		x.add(need, r.N)
		w.counts.NotAssessed[r.State] = x
	}
	esc, err := once(b, &b.escalation, func() ([]queries.FlagEscalationRow, error) { return b.db.FlagEscalation(b.ctx, b.scope) })
	if err != nil {
		return err
	}
	for _, r := range esc {
		w := at(r.Flag, allStrata)
		w.escalated.Alone.add(r.Level, cut, r.Alone)
		w.escalated.WithOthers.add(r.Level, cut, r.WithOthers)
	}
	return nil
}

// anyState stands for all reasons where they are not told apart.
const anyState = "any"

func (x *NotAssessed) add(need int8, n int64) {
	switch need {
	case 1:
		x.Needed += n
	case 0:
		x.NotNeeded += n
	default:
		x.Unverified += n
	}
}

// add counts one row of flag_counts.
func (w *flagWork) add(r queries.FlagCountsRow, cut int) {
	w.escalated.Present.add(r.Level, cut, r.Present)
	w.escalated.Absent.add(r.Level, cut, r.Absent)
	w.escalated.NotAssessed.add(r.Level, cut, r.Unknown)
	c := &w.counts
	if !r.Mature {
		c.Pending.Present += r.Present
		c.Pending.Absent += r.Absent
		c.Pending.NotAssessed += r.Unknown
		return
	}
	if r.Unknown > 0 {
		if c.NotAssessed == nil {
			c.NotAssessed = map[string]NotAssessed{}
		}
		x := c.NotAssessed[anyState]
		x.add(r.Need, r.Unknown)
		c.NotAssessed[anyState] = x
	}
	for _, side := range []struct {
		present bool
		n       int64
	}{{true, r.Present}, {false, r.Absent}} {
		if side.n == 0 {
			continue
		}
		if r.Need < 0 {
			c.Unverified.add(side.present, side.n)
			continue
		}
		c.Verified.add(side.present, r.Need, side.n)
		if c.ByRoute == nil {
			c.ByRoute = map[string]Cells{}
		}
		route := c.ByRoute[word(routeWords, r.Route)]
		route.add(side.present, r.Need, side.n)
		c.ByRoute[word(routeWords, r.Route)] = route
	}
	if r.Level == 0 {
		return // no advice on record: no stratum in which verification could be ignorable
	}
	if r.Present > 0 {
		enter(w.assessed.cell(r.Level, r.Stratum, true), r.Level, r.Route, r.Need, r.Present)
		enter(w.operational.cell(r.Level, r.Stratum, true), r.Level, r.Route, r.Need, r.Present)
	}
	if r.Absent > 0 {
		enter(w.assessed.cell(r.Level, r.Stratum, false), r.Level, r.Route, r.Need, r.Absent)
	}
	if r.Absent+r.Unknown > 0 {
		enter(w.operational.cell(r.Level, r.Stratum, false), r.Level, r.Route, r.Need, r.Absent+r.Unknown)
	}
}

// judge makes the figures of one flag.
func (b *builder) judge(f queries.Flag, stratum string, w *flagWork, clusters []Cluster) (Flag, error) {
	out := Flag{
		Flag: f.ID, Stratum: stratum, Title: f.Title, Why: f.Why, Demands: word(levelWords, f.Level),
		WhenUnknown: "leave", Counts: w.counts, Escalated: w.escalated, Clusters: clusters,
	}
	if f.RaiseUnknown {
		out.WhenUnknown = "raise"
	}
	if out.Counts.NotAssessed == nil {
		out.Counts.NotAssessed = map[string]NotAssessed{}
	}
	if out.Counts.ByRoute == nil {
		out.Counts.ByRoute = map[string]Cells{}
	}
	p, a, u := w.escalated.Present, w.escalated.Absent, w.escalated.NotAssessed
	conf := b.opt.Confidence
	for _, x := range []struct {
		into *Figure
		of   func() (metrics.Estimate, error)
	}{
		{&out.EscalatedWhenPresent, func() (metrics.Estimate, error) { return metrics.Wilson(p.Yes, p.Yes+p.No, conf) }},
		{&out.AssessedShare, func() (metrics.Estimate, error) {
			return metrics.Wilson(p.Total()+a.Total(), p.Total()+a.Total()+u.Total(), conf)
		}},
		{&out.LRPositive, func() (metrics.Estimate, error) { return metrics.LRPositive(w.counts.Verified.table(), conf) }},
		{&out.LRNegative, func() (metrics.Estimate, error) { return metrics.LRNegative(w.counts.Verified.table(), conf) }},
	} {
		e, err := x.of()
		if err != nil {
			return out, err
		}
		*x.into = figure(e)
	}
	var err error
	if out.AnyAnswer, err = anyAnswer(w.counts); err != nil {
		return out, err
	}
	c, _, note, err := b.shares().corrected(&w.assessed)
	if err != nil {
		return out, err
	}
	left := w.counts.mature() - c.Episodes
	withoutAdvice(&c, left, c.Episodes == 0)
	if left > 0 {
		if c.Naive, c.Bounds, err = b.corrector().sign(w.counts); err != nil {
			return out, err
		}
	}
	if err := widen(&c, clusters); err != nil {
		return out, err
	}
	out.Strata, out.Naive, out.Bounds = note, naive(c.Naive), accuracyBounds(c.Bounds)
	out.Corrected = correctedAccuracy(c)
	op, _, _, err := b.shares().corrected(&w.operational)
	if err != nil {
		return out, err
	}
	withoutAdvice(&op, left, op.Episodes == 0)
	if err := widen(&op, clusters); err != nil {
		return out, err
	}
	out.Operational = correctedAccuracy(op)
	return out, nil
}

func correctedAccuracy(c metrics.Correction) Accuracy {
	a := Accuracy{
		Sensitivity: figure(c.Sensitivity), Specificity: figure(c.Specificity),
		PPV: figure(c.PPV), NPV: figure(c.NPV), Prevalence: figure(c.Prevalence),
	}
	a.summarise()
	return a
}

// noFlag counts what the advisor did with and without a flag.
func (b *builder) noFlag(out *NoFlag, cut int) error {
	rows, err := b.rulesFollowed()
	if err != nil {
		return err
	}
	for _, r := range rows {
		escalated, demanded := int(r.Level) >= cut, int(r.RuleLevel) >= cut
		switch {
		case r.Level == 0:
		case demanded && escalated:
			out.Followed += r.N
		case demanded:
			out.Lowered += r.N
		case escalated && !r.AnyFlag:
			out.Raised += r.N
		case !r.AnyFlag:
			out.Quiet += r.N
		}
	}
	return nil
}

// flagClusters fills the cluster-robust sensitivity and specificity of each
// flag, in the order of the rules file.
func (b *builder) flagClusters(cut int, out [][]Cluster) error {
	for _, kind := range clusterKinds {
		rows, err := b.db.FlagClusters(b.ctx, b.scope, cut, kind)
		if err != nil {
			return err
		}
		for i := range out {
			sens := patterns(rows, func(r queries.FlagClustersRow) (metrics.ClusterPattern, bool) {
				return metrics.ClusterPattern{Needed: r.Episodes, Caught: r.Present, Times: r.Clusters}, r.Flag == i && r.Need == 1
			})
			spec := patterns(rows, func(r queries.FlagClustersRow) (metrics.ClusterPattern, bool) {
				return metrics.ClusterPattern{Needed: r.Episodes, Caught: r.Episodes - r.Present, Times: r.Clusters}, r.Flag == i && r.Need == 0
			})
			both, err := clusters(kind, sens, spec, b.opt.Confidence)
			if err != nil {
				return err
			}
			out[i] = append(out[i], both...)
		}
	}
	return nil
}
