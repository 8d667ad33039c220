package review

import (
	"hindcheck/metrics"
	"hindcheck/queries"
)

// Test is what the outcome judges: the advice given or the level the rules
// demand. They are never blurred.
type Test struct {
	// Index is advice or rules.
	Index string `json:"index"`
	// Cut is same_day or emergency; Label and Below say it in words.
	Cut   string `json:"cut"`
	Label string `json:"label"`
	Below string `json:"below"`
	// Episodes are mature ones with a level on record; Left are mature ones
	// without (for rules: nothing that they ask for was assessed, which counts
	// as not escalated).
	Episodes int64 `json:"episodes"`
	Left     int64 `json:"left_out"`
	// NoAdvice are mature episodes without an advice level on record. They are
	// in none of the counts below.
	NoAdvice int64 `json:"no_advice,omitempty"`
	// Escalated and NotEscalated are the sides of the test.
	Escalated    int64 `json:"escalated"`
	NotEscalated int64 `json:"not_escalated"`
	// Verified pools all verified episodes, ByRoute splits them, Unverified is
	// the rest.
	Verified   Cells            `json:"verified"`
	ByRoute    map[string]Cells `json:"by_route"`
	Unverified Sides            `json:"unverified"`
	// Kept says how the need of animals that were not sent in became known.
	Kept Kept `json:"kept"`

	Naive     Accuracy       `json:"naive"`
	Corrected Accuracy       `json:"corrected"`
	Bounds    AccuracyBounds `json:"bounds"`
	// Missed, Caught and Needed are numbers among these very episodes.
	Missed Figure `json:"missed"`
	Caught Figure `json:"caught"`
	Needed Figure `json:"needed"`
	// Under and Over hold the three published meanings, per need first.
	Under []Rate `json:"under_triage"`
	Over  []Rate `json:"over_triage"`
	// Tipping asks how far the unseen would have to differ from the seen to
	// move under-triage per need to the limit.
	Tipping *Tipping   `json:"tipping,omitempty"`
	Strata  StrataNote `json:"strata"`
	// Clusters are naive figures with cluster-robust limits; the corrected
	// sensitivity and specificity of the advice are widened by the largest
	// design effect among them. The rules have none.
	Clusters []Cluster `json:"clusters,omitempty"`
}

// Kept counts verified episodes that were advised soon or home care.
type Kept struct {
	// Episodes are all of them, Sampled those with a known need by follow-up
	// call or audit, Found those that were seen by a vet all the same.
	Episodes      int64 `json:"episodes"`
	Sampled       int64 `json:"sampled"`
	SampledNeeded int64 `json:"sampled_needed"`
	Found         int64 `json:"found"`
	FoundNeeded   int64 `json:"found_needed"`
}

// Rate is under- or over-triage in one of its three published meanings.
type Rate struct {
	// Meaning is per need, per decision or per all calls; Formula is the
	// fraction in words.
	Meaning   string `json:"meaning"`
	Formula   string `json:"formula"`
	Naive     Figure `json:"naive"`
	Corrected Figure `json:"corrected"`
	Bounds    Range  `json:"bounds"`
}

// Tipping is metrics.Tipping with the words of a page.
type Tipping struct {
	// Limit is the under-triage per need asked about.
	Limit float64 `json:"limit"`
	// Unseen episodes were not escalated and have no known need; SeenRate is
	// the share in need that the followed-up ones lead to expect among them,
	// Rate the share at which the figure equals the limit.
	Unseen   int64    `json:"unseen"`
	SeenRate *float64 `json:"seen_rate,omitempty"`
	Rate     *float64 `json:"rate,omitempty"`
	// Reachable is false if no outcome of the unseen moves the figure across
	// the limit; there is no Rate then.
	Reachable bool `json:"reachable"`
	// NotEstimable says why the question has no answer.
	NotEstimable string `json:"not_estimable,omitempty"`
}

// tests judges the advice and the rules at one cut.
func (b *builder) tests(rows []queries.AdviceCountsRow, cut int) (advice, rules Test, err error) {
	clusters, err := b.adviceClusters(cut)
	if err != nil {
		return
	}
	advice, err = b.test("advice", rows, cut, clusters, func(r queries.AdviceCountsRow) int8 { return r.Level })
	if err != nil {
		return
	}
	rules, err = b.test("rules", rows, cut, nil, func(r queries.AdviceCountsRow) int8 { return r.RuleLevel })
	return
}

func (b *builder) test(index string, rows []queries.AdviceCountsRow, cut int, clusters []Cluster, level func(queries.AdviceCountsRow) int8) (Test, error) {
	t := Test{Clusters: clusters, Index: index, Cut: levelWords[cut], Label: cutLabel(cut), Below: belowLabel(cut), ByRoute: map[string]Cells{}}
	var k keyed
	for _, r := range rows {
		if !r.Mature {
			continue
		}
		if level(r) == 0 {
			t.Left += r.N
		}
		// Without a recorded advice there is no stratum in which verification
		// could be ignorable, so such episodes are counted and left out.
		if r.Level == 0 {
			t.NoAdvice += r.N
			continue
		}
		t.add(&k, r, level(r) >= int8(cut), needAt(r, cut))
	}
	c, strata, note, err := b.corrected(&k)
	if err != nil {
		return t, err
	}
	if err := widen(&c, clusters); err != nil {
		return t, err
	}
	if t.NoAdvice > 0 && t.Episodes == 0 {
		withoutAdvice(&c, t.NoAdvice, true)
		for _, e := range []*metrics.Estimate{&c.Naive.Sensitivity, &c.Naive.Specificity, &c.Naive.PPV, &c.Naive.NPV, &c.Naive.Prevalence} {
			e.NotEstimable = noAdvice
		}
	}
	t.Strata = note
	t.fill(c)
	if err := t.rates(c, b.opt.Confidence); err != nil {
		return t, err
	}
	tip, err := metrics.TippingPoint(strata, min(max(1-b.opt.UnderLimit, 1e-9), 1-1e-9))
	if err != nil {
		return t, err
	}
	t.Tipping = tipping(tip, b.opt.UnderLimit)
	return t, nil
}

func needAt(r queries.AdviceCountsRow, cut int) int8 {
	if cut == emergency {
		return r.NeedEmergency
	}
	return r.NeedSameDay
}

// add counts the episodes of one row.
func (t *Test) add(k *keyed, r queries.AdviceCountsRow, present bool, need int8) {
	t.Episodes += r.N
	if present {
		t.Escalated += r.N
	} else {
		t.NotEscalated += r.N
	}
	enter(k.cell(r.Level, r.Stratum, present), r.Level, r.Route, need, r.N)
	if need < 0 {
		t.Unverified.add(present, r.N)
	} else {
		t.Verified.add(present, need, r.N)
		route := t.ByRoute[word(routeWords, r.Route)]
		route.add(present, need, r.N)
		t.ByRoute[word(routeWords, r.Route)] = route
	}
	if !sent(r.Level) {
		t.Kept.add(r.Route, need, r.N)
	}
}

func (k *Kept) add(route, need int8, n int64) {
	k.Episodes += n
	if need < 0 {
		return
	}
	if route == 1 || route == 2 {
		k.Found += n
		if need == 1 {
			k.FoundNeeded += n
		}
		return
	}
	k.Sampled += n
	if need == 1 {
		k.SampledNeeded += n
	}
}

func (t *Test) fill(c metrics.Correction) {
	t.Naive = naive(c.Naive)
	t.Corrected = correctedAccuracy(c)
	t.Bounds = accuracyBounds(c.Bounds)
	t.Missed, t.Caught, t.Needed = figure(c.Missed), figure(c.Caught), figure(c.Needed)
}

func naive(n metrics.NaiveAccuracy) Accuracy {
	a := Accuracy{
		Sensitivity: figure(n.Sensitivity), Specificity: figure(n.Specificity),
		PPV: figure(n.PPV), NPV: figure(n.NPV), Prevalence: figure(n.Prevalence),
	}
	a.summarise()
	return a
}

// rates fills the three meanings of under- and over-triage. The corrected ones
// follow from the corrected figures: per need 1 - sensitivity and 1 -
// specificity, per decision 1 - NPV and 1 - PPV, per all calls the missed and
// the escalated that were not in need over all mature episodes.
func (t *Test) rates(c metrics.Correction, conf float64) error {
	n, escalated := float64(t.Episodes), float64(t.Escalated)
	for _, x := range []struct {
		meaning      metrics.TriageMeaning
		under, over  Figure
		loose, tight Range
	}{
		{metrics.PerNeed, t.Corrected.Sensitivity.complement(), t.Corrected.Specificity.complement(),
			t.Bounds.Sensitivity.complement(), t.Bounds.Specificity.complement()},
		{metrics.PerDecision, t.Corrected.NPV.complement(), t.Corrected.PPV.complement(),
			t.Bounds.NPV.complement(), t.Bounds.PPV.complement()},
		{metrics.PerAllCalls, t.Missed.over(n), t.Caught.from(escalated).over(n),
			t.Bounds.Missed.over(n), t.Bounds.Caught.from(escalated).over(n)},
	} {
		under, err := metrics.UnderTriage(c.Verified, x.meaning, conf)
		if err != nil {
			return err
		}
		over, err := metrics.OverTriage(c.Verified, x.meaning, conf)
		if err != nil {
			return err
		}
		t.Under = append(t.Under, Rate{x.meaning.String(), under.Formula, figure(under.Estimate), x.under, x.loose})
		t.Over = append(t.Over, Rate{x.meaning.String(), over.Formula, figure(over.Estimate), x.over, x.tight})
	}
	return nil
}

func tipping(t metrics.Tipping, limit float64) *Tipping {
	out := &Tipping{Limit: limit, Unseen: t.Unseen, NotEstimable: t.NotEstimable}
	if t.NotEstimable != "" {
		return out
	}
	if t.ValueKnown {
		out.SeenRate = &t.SeenRate
	}
	if out.Reachable = t.Reachable; t.Reachable {
		out.Rate = &t.Rate
	}
	return out
}
