package review

import (
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

var ctx = context.Background()

func options() Options {
	return Options{Confidence: 0.95, Lag: 45 * 24 * time.Hour, MinVerified: 10, UnderLimit: 0.05, OverLimit: 0.5, LimitSource: "test", Draws: 400}
}

func build(t *testing.T, d *queries.DB, opt Options) *Review {
	t.Helper()
	r, err := Build(ctx, d, opt)
	if err != nil {
		t.Fatal(err)
	}
	checkHonest(t, r)
	return r
}

// checkHonest holds every review to what must never happen: a number that is
// no number, an estimate without limits or denominator, a value beside a reason
// for having none.
func checkHonest(t *testing.T, r *Review) {
	t.Helper()
	data, err := json.Marshal(r) // refuses NaN and infinity
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(data, &tree); err != nil {
		t.Fatal(err)
	}
	walk(t, "", tree)
	if r.Conclusion.Headline == "" || len(r.Cautions) == 0 {
		t.Error("a review without headline or cautions")
	}
}

func walk(t *testing.T, path string, x any) {
	t.Helper()
	switch x := x.(type) {
	case []any:
		for _, y := range x {
			walk(t, path+"[]", y)
		}
	case map[string]any:
		if e, ok := x["estimate"].(float64); ok {
			low, hasLow := x["low"].(float64)
			high, hasHigh := x["high"].(float64)
			if !hasLow && !hasHigh {
				t.Errorf("%s: estimate %v without any limit", path, e)
			}
			if hasLow && low > e+1e-12 || hasHigh && high < e-1e-12 {
				t.Errorf("%s: %v outside %v to %v", path, e, low, high)
			}
			if x["not_estimable"] != nil {
				t.Errorf("%s: a value and a reason for having none", path)
			}
		} else if _, isFigure := x["denominator"]; isFigure && x["not_estimable"] == nil {
			t.Errorf("%s: neither a value nor a reason", path)
		}
		for k, y := range x {
			walk(t, path+"."+k, y)
		}
	}
}

// The invented year has care needed the same day in 14 % of episodes by
// construction; the corrected number must cover that although three quarters
// of the outcomes are unknown, and the naive sensitivity must be too high.
func TestYearCorrects(t *testing.T) {
	r := build(t, queriestest.Year(t, 20000, 0.08), options())
	a := r.Advice[0]
	want := 0.14 * float64(a.Episodes)
	if *a.Needed.Low > want || *a.Needed.High < want {
		t.Errorf("needed %s, want about %.0f", countFigure(a.Needed), want)
	}
	if *a.Naive.Sensitivity.Estimate <= *a.Corrected.Sensitivity.Estimate {
		t.Errorf("naive %v, corrected %v", *a.Naive.Sensitivity.Estimate, *a.Corrected.Sensitivity.Estimate)
	}
	if r.Period.Month != "2026-07" || !r.Maturity.Mature || r.Maturity.Chosen {
		t.Errorf("month: %+v %+v", r.Period, r.Maturity)
	}
	if len(r.Trend) != 15 || r.Trend[0].InPeriod || r.Trend[14].Mature || r.Trend[14].InPeriod || r.Charts[0].Points[13].Limits == nil {
		t.Errorf("trend: %d months", len(r.Trend))
	}
	if r.Data.FlowTotal.Episodes != a.Episodes || a.Escalated+a.NotEscalated != a.Episodes {
		t.Errorf("episodes do not add up: %+v, %+v", r.Data.FlowTotal, a)
	}
	v := a.Verified
	if v.TP+v.FP+v.FN+v.TN+a.Unverified.Present+a.Unverified.Absent != a.Episodes {
		t.Error("verified and unverified do not add up to the episodes")
	}
	if x := r.Thresholds; len(x) != 1 || x[0].Below+int64(x[0].Exact.Numerator)+x[0].Above != x[0].Readings || x[0].Exact.Numerator == 0 || x[0].Flags[0] != "slow_refill" {
		t.Errorf("thresholds: %+v", x)
	}
	// By construction the vet disagrees on one in seventeen collapses, and reads
	// the refill 0.1 s longer on average.
	if x := r.Readings; len(x) != 2 || x[0].Finding != "check_collapse" || x[0].CannotTell == 0 || x[0].Kappa == nil || *x[0].Same.Low > 16.0/17 || *x[0].Same.High < 16.0/17 ||
		x[1].Bias == nil || *x[1].Bias.Low > -0.1 || *x[1].Bias.High < -0.1 || *x[1].Lower.Estimate > *x[1].Bias.Estimate {
		t.Errorf("readings: %+v", x)
	}
	if h := r.Checks.ByHandling; len(h) != 4 || h[1].Value != "free" || *h[1].Done.Estimate < 0.5 || h[1].Declined == 0 {
		t.Errorf("handling: %+v", h)
	}
	if c := a.Clusters; len(c) != 6 || !c[0].Used || c[0].DesignEffect == nil || c[0].Figure.Numerator > float64(a.Verified.TP) {
		t.Errorf("clusters: %+v", c)
	}
	if again := build(t, queriestest.Year(t, 20000, 0.08), options()); *again.Advice[0].Missed.High != *a.Missed.High {
		t.Error("the same data and seed give other limits")
	}
	for _, f := range r.Flags[0].Flags {
		checkFlagSums(t, f, a.Episodes)
	}
	if s := r.Conclusion.Sentences[0]; !strings.Contains(s, countFigure(a.Missed)) || !strings.Contains(s, countFigure(a.Needed)) {
		t.Errorf("the first sentence does not hold its numbers: %s", s)
	}
}

// checkFlagSums: every episode of the period is in exactly one cell.
func checkFlagSums(t *testing.T, f Flag, episodes int64) {
	t.Helper()
	c := f.Counts
	n := c.Verified.table().Total() + c.Unverified.Present + c.Unverified.Absent + c.Pending.Present + c.Pending.Absent + c.Pending.NotAssessed
	for _, x := range c.NotAssessed {
		n += x.Needed + x.NotNeeded + x.Unverified
	}
	if n != episodes {
		t.Errorf("%s: %d episodes in the cells, want %d", f.Flag, n, episodes)
	}
	var routes Cells
	for _, r := range c.ByRoute {
		routes = Cells{routes.TP + r.TP, routes.FP + r.FP, routes.FN + r.FN, routes.TN + r.TN}
	}
	if routes != c.Verified {
		t.Errorf("%s: routes add up to %+v, verified %+v", f.Flag, routes, c.Verified)
	}
	e := f.Escalated
	if e.Alone.Yes+e.WithOthers.Yes != e.Present.Yes || e.Alone.No+e.WithOthers.No != e.Present.No {
		t.Errorf("%s: alone and with others do not add up: %+v", f.Flag, e)
	}
}

// By hand. Sent in: 100 of 200 verified, 80 in need: 160 expected. Kept: 15
// found (10 in need) are added as they are; of the other 985, 100 were
// followed up and 2 were in need: 19.7 expected. Missed 29.7, sensitivity
// 160 / 189.7. The naive figure pools all verified: 80 / 92.
func TestFoundCasesAreNoSample(t *testing.T) {
	b := &builder{ctx: ctx, opt: options(), db: empty(t, queries.Meta{Strata: []string{"site", "species"}, Collapse: []string{"site", "species"}})}
	b.opt.Seed = 1
	row := func(level, route, need int8, n int64) queries.AdviceCountsRow {
		return queries.AdviceCountsRow{Level: level, RuleLevel: level, NeedSameDay: need, NeedEmergency: -1, Route: route, Mature: true, Stratum: []string{"north", "dog"}, N: n}
	}
	rows := []queries.AdviceCountsRow{
		row(4, 1, 1, 80), row(4, 1, 0, 20), row(4, 0, -1, 100),
		row(1, 2, 1, 10), row(1, 2, 0, 5), row(1, 3, 1, 1), row(1, 3, 0, 49), row(1, 4, 1, 1), row(1, 4, 0, 49), row(1, 0, -1, 885),
		{Level: 4, NeedSameDay: 1, Route: 1, N: 1000, Stratum: []string{"north", "dog"}}, // immature
		row(0, 1, 1, 7), // no advice on record
	}
	got, err := b.test("advice", rows, sameDay, nil, func(r queries.AdviceCountsRow) int8 { return r.Level })
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(*got.Missed.Estimate-29.7) > 1e-9 || math.Abs(*got.Corrected.Sensitivity.Estimate-160/189.7) > 1e-12 {
		t.Errorf("missed %v, sensitivity %v", *got.Missed.Estimate, *got.Corrected.Sensitivity.Estimate)
	}
	if got.Naive.Sensitivity.Numerator != 80 || got.Naive.Sensitivity.Denominator != 92 {
		t.Errorf("naive %+v", got.Naive.Sensitivity)
	}
	if got.Kept != (Kept{Episodes: 1000, Sampled: 100, SampledNeeded: 2, Found: 15, FoundNeeded: 10}) || got.Left != 7 || got.Episodes != 1200 {
		t.Errorf("counts: %+v", got)
	}
	// Per all calls: 29.7 of 1200 missed, 40 of 1200 escalated without need.
	if u, o := got.Under[2].Corrected, got.Over[2].Corrected; math.Abs(*u.Estimate-29.7/1200) > 1e-12 || math.Abs(*o.Estimate-40.0/1200) > 1e-12 {
		t.Errorf("per all calls: %v, %v", *u.Estimate, *o.Estimate)
	}
	if u := got.Under[0]; math.Abs(*u.Corrected.Estimate-29.7/189.7) > 1e-12 || u.Naive.Numerator != 12 || u.Naive.Denominator != 92 {
		t.Errorf("per need: %+v", u)
	}
}

// Without any follow-up of those kept at home, own visits must not stand in
// for a sample: the figure is not estimable and the bounds are wide.
func TestNoFollowUp(t *testing.T) {
	r := build(t, queriestest.Year(t, 6000, 0), options())
	a := r.Advice[0]
	if a.Corrected.Sensitivity.Estimable() || a.Missed.Estimable() {
		t.Errorf("estimated without any follow-up: %+v", a.Corrected.Sensitivity)
	}
	if !a.Naive.Sensitivity.Estimable() || *a.Bounds.Sensitivity.High-*a.Bounds.Sensitivity.Low < 0.3 {
		t.Errorf("naive and bounds: %+v", a.Bounds.Sensitivity)
	}
	if q := r.Conclusion.Questions[1]; q.Verdict != NoConclusion || !strings.Contains(q.Sentence, "cannot be estimated") {
		t.Errorf("over-triage: %+v", q)
	}
}

// Three unseen episodes of a rare flag at a level without any follow-up must
// not make the flag not estimable: taken both ways they hardly matter, and the
// limits cover both. Where they matter, the figure stays not estimable.
func TestCellsWithoutFollowUp(t *testing.T) {
	b := &builder{ctx: ctx, opt: options(), db: empty(t, queries.Meta{Strata: []string{"site"}, Collapse: []string{"site"}})}
	fill := func(unseen int64) *keyed {
		var k keyed
		enter(k.cell(4, []string{"north"}, true), 4, 1, 1, 60)
		enter(k.cell(4, []string{"north"}, false), 4, 1, 0, 40)
		enter(k.cell(2, []string{"north"}, true), 2, 0, -1, unseen) // soon, with the flag: nobody followed up
		for _, level := range []int8{1, 2} {
			enter(k.cell(level, []string{"north"}, false), level, 3, 0, 49)
			enter(k.cell(level, []string{"north"}, false), level, 3, 1, 1)
			enter(k.cell(level, []string{"north"}, false), level, 0, -1, 950)
		}
		return &k
	}
	c, _, note, err := b.corrected(fill(3))
	if err != nil {
		t.Fatal(err)
	}
	// Without the flag 2 * 1000 / 50 = 40 are missed: 60 of 100 are caught if
	// none of the three needed care, 63 of 103 if all did.
	if want := (0.6 + 63.0/103) / 2; !c.Sensitivity.Estimable() || math.Abs(c.Sensitivity.Value-want) > 1e-12 || c.Sensitivity.Low >= 0.6 || c.Sensitivity.High <= 63.0/103 {
		t.Errorf("sensitivity %+v, want %v with limits around both", c.Sensitivity, want)
	}
	if note.NobodyFollowed != 3 || note.Before != 3 || !strings.Contains(strings.Join(c.Sensitivity.Warnings, " "), "lie where nobody was followed up") {
		t.Errorf("note %+v, warnings %q", note, c.Sensitivity.Warnings)
	}
	c, _, _, err = b.corrected(fill(60))
	if err != nil || c.Sensitivity.Estimable() || !strings.Contains(c.Sensitivity.NotEstimable, "60 unverified") {
		t.Errorf("60 unseen: %+v, %v", c.Sensitivity, err)
	}
}

func empty(t *testing.T, meta queries.Meta) *queries.DB {
	d, _ := queriestest.Open(t, meta)
	return d
}

// Thin and odd stores give an honest review, not an error.
func TestHonestEdges(t *testing.T) {
	meta := queriestest.YearMeta()
	day := func(m time.Month, d int) time.Time { return time.Date(2026, m, d, 9, 0, 0, 0, time.UTC) }
	none := strings.Repeat("-", len(meta.Flags))
	for name, c := range map[string]struct {
		rows    []queriestest.Row
		cut     time.Time
		verdict Verdict
		says    string
	}{
		"no calls": {nil, day(10, 5), NoConclusion, "holds no episodes"},
		"no outcomes": {[]queriestest.Row{
			{"started_at": day(6, 1), "level": 4, "flags": none}, {"started_at": day(6, 2), "level": 1, "flags": none},
		}, day(10, 5), NoConclusion, "Only 1 of the 12 months"},
		"all immature": {[]queriestest.Row{
			{"started_at": day(10, 1), "level": 4, "flags": none, "need_emergency": 1, "need_same_day": 1, "route": 1},
		}, day(10, 5), NoConclusion, "No episode of the period is mature"},
		"nothing escalated": {[]queriestest.Row{
			{"started_at": day(6, 1), "level": 1, "flags": none, "need_emergency": 0, "need_same_day": 0, "route": 3},
			{"started_at": day(6, 2), "level": 2, "flags": none},
		}, day(10, 5), NoConclusion, "Only 1 of the 12 months"},
		"no advice recorded": {[]queriestest.Row{
			{"started_at": day(6, 1), "level": 0, "flags": none},
		}, day(10, 5), NoConclusion, "Only 1 of the 12 months"},
		"no data cut": {nil, time.Time{}, NoConclusion, "holds no episodes"},
	} {
		t.Run(name, func(t *testing.T) {
			m := meta
			m.DataCut = c.cut
			d, db := queriestest.Open(t, m)
			for i, row := range c.rows {
				row["n"] = i + 1
				queriestest.Case(t, db, m, row)
			}
			r := build(t, d, options())
			if r.Conclusion.Verdict != c.verdict || !strings.Contains(strings.Join(r.Conclusion.Limitations, " "), c.says) {
				t.Errorf("%s, limitations %v", r.Conclusion.Verdict, r.Conclusion.Limitations)
			}
		})
	}
}

// A month whose feed is late is passed over, and asking for it says why.
func TestLateFeed(t *testing.T) {
	meta := queriestest.YearMeta()
	d, db := queriestest.Open(t, meta)
	for m := 3; m <= 7; m++ {
		queriestest.Case(t, db, meta, queriestest.Row{"n": m, "started_at": time.Date(2026, time.Month(m), 9, 0, 0, 0, 0, time.UTC)})
		to := queries.MonthStart(202600+m+1).AddDate(0, 0, -1)
		for _, feed := range []string{"prompt", "late"} {
			if feed == "late" && m == 7 {
				to = to.AddDate(0, 0, -11)
			}
			queriestest.Insert(t, db, "coverage", queriestest.Row{"feed": feed, "from_date": queries.MonthStart(202600 + m), "to_date": to, "delivered_at": meta.DataCut})
		}
	}
	r := build(t, d, options())
	if r.Period.Month != "2026-06" || len(r.Maturity.Reasons) != 1 || !strings.Contains(r.Maturity.Reasons[0], "feed late delivered 20 of the 31 days") {
		t.Errorf("%s: %+v", r.Period.Month, r.Maturity)
	}
	opt := options()
	opt.Month = 202607
	r = build(t, d, opt)
	if r.Maturity.Mature || !r.Maturity.Chosen || len(r.Maturity.Reasons) != 1 {
		t.Errorf("asked for: %+v", r.Maturity)
	}
	opt.Month = 202609
	if r = build(t, d, opt); r.Maturity.Mature || !strings.Contains(r.Maturity.Reasons[0], "complete in exports made on or after 18 November 2026") {
		t.Errorf("too young: %+v", r.Maturity)
	}
}

// A gap in the period holds an all-clear back even where the month is mature.
func TestGapIsALimitation(t *testing.T) {
	meta := queriestest.YearMeta()
	d, db := queriestest.Open(t, meta)
	for i, m := range []int{202605, 202606, 202607} {
		queriestest.Case(t, db, meta, queriestest.Row{"n": i + 1, "started_at": queries.MonthStart(m).AddDate(0, 0, 3)})
		if m != 202606 {
			queriestest.Insert(t, db, "coverage", queriestest.Row{"feed": "vets", "from_date": queries.MonthStart(m),
				"to_date": queries.MonthStart(queries.AddMonths(m, 1)).AddDate(0, 0, -1), "delivered_at": meta.DataCut})
		}
	}
	r := build(t, d, options())
	if r.Period.Month != "2026-07" || !r.Maturity.Mature || !strings.Contains(strings.Join(r.Conclusion.Limitations, " "), "vets in 2026-06 (0 of 30 days).") {
		t.Errorf("%s, mature %v, limitations %q", r.Period.Month, r.Maturity.Mature, r.Conclusion.Limitations)
	}
}

func TestVerdicts(t *testing.T) {
	fig := func(low, est, high float64) Figure { return Figure{Estimate: &est, Low: &low, High: &high} }
	rng := func(low, high float64) Range { return Range{Low: &low, High: &high} }
	for name, c := range map[string]struct {
		rate  Rate
		least Figure
		limit float64
		want  Verdict
	}{
		"interval above":          {Rate{Corrected: fig(0.06, 0.08, 0.1), Bounds: rng(0.01, 0.5)}, fig(0, 0.01, 0.04), 0.05, Concern},
		"interval below":          {Rate{Corrected: fig(0.01, 0.02, 0.05), Bounds: rng(0.01, 0.5)}, fig(0, 0.01, 0.04), 0.05, NoConcern},
		"limit inside":            {Rate{Corrected: fig(0.04, 0.05, 0.06), Bounds: rng(0.01, 0.5)}, fig(0, 0.01, 0.04), 0.05, NoConclusion},
		"least above":             {Rate{Corrected: Figure{NotEstimable: "x"}, Bounds: rng(0.08, 0.5)}, fig(0.06, 0.08, 0.09), 0.05, Concern},
		"one case is not enough":  {Rate{Corrected: Figure{NotEstimable: "x"}, Bounds: rng(1, 1)}, fig(0.03, 1, 1), 0.05, NoConclusion},
		"not estimable":           {Rate{Corrected: Figure{NotEstimable: "x"}, Bounds: rng(0.01, 0.5)}, fig(0, 0.01, 0.04), 0.05, NoConclusion},
		"nothing known":           {Rate{Corrected: Figure{NotEstimable: "x"}, Bounds: Range{Undefined: "x"}}, Figure{NotEstimable: "x"}, 0.05, NoConclusion},
		"no limit":                {Rate{Corrected: fig(0.06, 0.08, 0.1)}, fig(0.06, 0.08, 0.1), 1, NoConcern},
		"bounds alone clear none": {Rate{Corrected: Figure{NotEstimable: "x"}, Bounds: rng(0, 0.01)}, fig(0, 0, 0.01), 0.05, NoConclusion},
	} {
		if q := ask("under_triage", "Under-triage", &Test{Label: "emergency"}, c.rate, c.least, c.limit); q.Verdict != c.want || q.Sentence == "" {
			t.Errorf("%s: %s (%s), want %s", name, q.Verdict, q.Sentence, c.want)
		}
	}
	three := []Question{{Verdict: NoConcern}, {Verdict: NoConclusion}, {Verdict: NoConcern}}
	if overall(three, false) != NoConclusion || overall(three[:1], false) != NoConcern || overall(three[:1], true) != NoConclusion ||
		overall(append(three, Question{Verdict: Concern}), true) != Concern {
		t.Error("a concern stands whatever else is open; a limitation holds an all-clear back")
	}
}

// Ten episodes and one flag, to be checked by eye against the shape that
// report flags promises.
func TestFlagCountsByEye(t *testing.T) {
	meta := queries.Meta{
		Flags:    []queries.Flag{{ID: "pale_gums", Level: 4, Findings: []string{"gums"}}},
		Findings: []queries.Finding{{ID: "gums", Codes: []string{"pink", "white", "pigmented"}, Unreadable: []string{"pigmented"}}},
		Window:   72 * time.Hour, DataCut: time.Date(2026, 10, 5, 0, 0, 0, 0, time.UTC),
	}
	d, db := queriestest.Open(t, meta)
	june, october := time.Date(2026, 6, 2, 0, 0, 0, 0, time.UTC), time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	for i, row := range []queriestest.Row{
		{"level": 4, "flags": "+", "f_gums": 2, "route": 1, "need_same_day": 1},  // tp, seen as advised
		{"level": 4, "flags": "+", "f_gums": 2, "route": 1, "need_same_day": 0},  // fp
		{"level": 1, "flags": "+", "f_gums": 2},                                  // present, lowered, unverified
		{"level": 3, "flags": "-", "f_gums": 1, "route": 1, "need_same_day": 1},  // fn, raised by the advisor
		{"level": 1, "flags": "-", "f_gums": 1, "route": 2, "need_same_day": 1},  // fn, own decision
		{"level": 1, "flags": "-", "f_gums": 1, "route": 4, "need_same_day": 0},  // tn, audit
		{"level": 1, "flags": "-", "f_gums": 1},                                  // absent, unverified
		{"level": 4, "flags": "?", "f_gums": -4, "route": 1, "need_same_day": 1}, // stopped early, needed
		{"level": 1, "flags": "?", "f_gums": 3},                                  // cannot be read, unverified
		{"level": 4, "flags": "+", "f_gums": 2, "route": 1, "need_same_day": 1, "started_at": october},
	} {
		row["n"] = i + 1
		if row["started_at"] == nil {
			row["started_at"] = june
		}
		if row["level"] == 4 {
			row["rule_level"] = 4
		}
		queriestest.Case(t, db, meta, row)
	}
	got, err := BuildFlags(ctx, d, options(), sameDay, 202606, 202610, "")
	if err != nil {
		t.Fatal(err)
	}
	f := got.Flags[0]
	want := FlagCounts{
		Verified:    Cells{TP: 1, FP: 1, FN: 2, TN: 1},
		ByRoute:     map[string]Cells{"advised_visit": {TP: 1, FP: 1, FN: 1}, "own_decision": {FN: 1}, "audit": {TN: 1}},
		Unverified:  Sides{Present: 1, Absent: 1},
		Pending:     Pending{Sides: Sides{Present: 1}},
		NotAssessed: map[string]NotAssessed{"stopped_early": {Needed: 1}, "unreadable": {Unverified: 1}},
	}
	if diff := cmp.Diff(want, f.Counts); diff != "" {
		t.Errorf("counts (-want +got)\n%s", diff)
	}
	if want := (Escalated{Present: YesNo{Yes: 3, No: 1}, Alone: YesNo{Yes: 3, No: 1}, Absent: YesNo{Yes: 1, No: 3}, NotAssessed: YesNo{Yes: 1, No: 1}}); f.Escalated != want {
		t.Errorf("escalated %+v, want %+v", f.Escalated, want)
	}
	if s := f.Naive.Sensitivity; s.Numerator != 1 || s.Denominator != 3 || got.Period.From != "2026-06" || got.Period.To != "2026-10" {
		t.Errorf("naive sensitivity %+v of %+v", s, got.Period)
	}
}

func TestBuildFlags(t *testing.T) {
	d := queriestest.Year(t, 6000, 0.1)
	got, err := BuildFlags(ctx, d, options(), sameDay, 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(got)
	if err != nil {
		t.Fatal(err)
	}
	var tree struct {
		AsOf   any `json:"as_of"`
		Period any
		Flags  []map[string]any
	}
	if err := json.Unmarshal(data, &tree); err != nil || len(tree.Flags) != 12 {
		t.Fatalf("%d flags, %v", len(tree.Flags), err)
	}
	for _, key := range []string{"flag", "stratum", "counts", "escalated", "naive", "corrected", "bounds"} {
		if tree.Flags[0][key] == nil {
			t.Errorf("no %q", key)
		}
	}
	split, err := BuildFlags(ctx, d, options(), sameDay, 0, 0, "species")
	if err != nil || len(split.Flags) != 48 {
		t.Fatalf("%d rows by species, %v; want 12 flags of 4 species", len(split.Flags), err)
	}
	var sum int64
	for _, f := range split.Flags[:4] {
		sum += f.Counts.Verified.TP
	}
	if sum != got.Flags[0].Counts.Verified.TP {
		t.Errorf("species add up to %d, all is %d", sum, got.Flags[0].Counts.Verified.TP)
	}
	if _, err := BuildFlags(ctx, d, options(), sameDay, 0, 0, "colour"); err == nil {
		t.Error("a split by what is no stratum must be refused")
	}
	n := got.NoFlag
	if n.Raised == 0 || n.Quiet == 0 || n.Followed == 0 || n.Lowered == 0 {
		t.Errorf("advice against the rules: %+v", n)
	}
}
