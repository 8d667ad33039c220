package review

import (
	"fmt"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Beside sets a second period, or a second case definition on the same records,
// beside the review.
type Beside struct {
	// Kind is period or definition.
	Kind string `json:"kind"`
	// First is the review's own, Second the other.
	First  string `json:"first"`
	Second string `json:"second"`
	// SecondText says the second definition in words.
	SecondText string `json:"second_text,omitempty"`
	// Note says how the two are compared, or why they cannot be.
	Note string      `json:"note"`
	Rows []BesideRow `json:"rows"`
	// Pairs compare need on the same episodes, at both cuts; definitions only.
	Pairs []NeedPairs `json:"pairs"`
}

// BesideRow is one figure of both, with its difference, second minus first.
type BesideRow struct {
	Index    string `json:"index"`
	Cut      string `json:"cut"`
	CutLabel string `json:"cut_label"`
	// Figure names it; Kind is counted, naive or corrected.
	Figure     string `json:"figure"`
	Kind       string `json:"kind"`
	First      Figure `json:"first"`
	Second     Figure `json:"second"`
	Difference Figure `json:"difference"`
	// Signal is whether the limits of the difference leave out nought.
	Signal bool `json:"signal"`
}

// NeedPairs count mature episodes whose need is known under both definitions.
type NeedPairs struct {
	Cut        string `json:"cut"`
	CutLabel   string `json:"cut_label"`
	Both       int64  `json:"both"`
	FirstOnly  int64  `json:"first_only"`
	SecondOnly int64  `json:"second_only"`
	Neither    int64  `json:"neither"`
	// Unknown are known under one of the two at most.
	Unknown int64 `json:"unknown"`
	// Difference is the share in need, second minus first, by pair (Tango); P is
	// McNemar's mid-P test; Kappa is agreement beyond chance.
	Difference Figure  `json:"difference"`
	P          float64 `json:"p"`
	Kappa      Figure  `json:"kappa"`
}

// fillBeside fills what was asked for; nothing by default.
func (b *builder) fillBeside(r *Review) error {
	r.Beside = []Beside{}
	if b.opt.CompareTo != 0 {
		x, err := b.besidePeriod(r)
		if err != nil {
			return fmt.Errorf("second period: %w", err)
		}
		r.Beside = append(r.Beside, x)
	}
	if b.opt.Also != nil {
		x, err := b.besideDefinition()
		if err != nil {
			return fmt.Errorf("second definition: %w", err)
		}
		r.Beside = append(r.Beside, x)
	}
	return nil
}

// side is one of the two that are compared.
type side struct {
	tests []Test // advice and rules at both cuts
}

func (b *builder) side(db *queries.DB, scope queries.Scope) (side, error) {
	rows, err := db.AdviceCounts(b.ctx, scope)
	if err != nil {
		return side{}, err
	}
	other := *b
	other.db, other.scope = db, scope
	var out side
	for _, cut := range bothCuts {
		advice, rules, err := other.tests(rows, cut)
		if err != nil {
			return out, err
		}
		out.tests = append(out.tests, advice, rules)
	}
	return out, nil
}

// besidePeriod compares with another period under the same definition. The
// episodes differ, so differences are unpaired.
func (b *builder) besidePeriod(r *Review) (Beside, error) {
	scope := b.scope
	scope.From, scope.To = b.opt.CompareFrom, b.opt.CompareTo
	out := Beside{Kind: "period", First: r.Period.Label, Second: fmt.Sprintf("%s to %s", monthName(scope.From), monthName(scope.To)), Rows: []BesideRow{}, Pairs: []NeedPairs{},
		Note: "The two periods share no episode: differences are unpaired, by joining the limits of both. Episodes of either that are not mature are left out."}
	shared := scope.From <= b.scope.To && scope.To >= b.scope.From
	if shared {
		out.Note = "The two periods share months, and with them episodes: their difference has no limits and is not shown. Choose periods that do not overlap."
	}
	first, err := b.side(b.db, b.scope)
	if err != nil {
		return out, err
	}
	second, err := b.side(b.db, scope)
	if err != nil {
		return out, err
	}
	out.Rows, err = besideRows(first, second, func(_ Test, _ besideFigure, a, z Figure) (Figure, error) {
		if shared {
			return Figure{Conf: b.opt.Confidence, NotEstimable: "the two periods share episodes"}, nil
		}
		d, err := metrics.DifferenceOfEstimates(z.estimate(b.opt.Confidence), a.estimate(b.opt.Confidence))
		return figure(d), err
	})
	return out, err
}

// estimate is the figure as metrics has it.
func (f Figure) estimate(conf float64) metrics.Estimate {
	e := metrics.Estimate{Conf: conf, Method: metrics.Method(f.Method), Numerator: f.Numerator, Denominator: f.Denominator, NotEstimable: f.NotEstimable, Warnings: f.Warnings}
	if f.Estimate == nil {
		return e
	}
	e.Value, e.LowUnbounded, e.HighUnbounded = *f.Estimate, f.Low == nil, f.High == nil
	if f.Low != nil {
		e.Low = *f.Low
	}
	if f.High != nil {
		e.High = *f.High
	}
	return e
}

// besideFigure is one figure of a test.
type besideFigure struct {
	name, kind string
	under      bool
	of         func(Test) Figure
}

var besideFigures = []besideFigure{
	{"under-triage per need", "corrected", true, func(t Test) Figure { return t.Under[0].Corrected }},
	{"under-triage per need", "naive", true, func(t Test) Figure { return t.Under[0].Naive }},
	{"over-triage per need", "corrected", false, func(t Test) Figure { return t.Over[0].Corrected }},
	{"over-triage per need", "naive", false, func(t Test) Figure { return t.Over[0].Naive }},
}

func besideRows(first, second side, difference func(Test, besideFigure, Figure, Figure) (Figure, error)) ([]BesideRow, error) {
	var out []BesideRow
	for i := range first.tests {
		t, u := first.tests[i], second.tests[i]
		for _, x := range besideFigures {
			row := BesideRow{Index: t.Index, Cut: t.Cut, CutLabel: t.Label, Figure: x.name, Kind: x.kind, First: x.of(t), Second: x.of(u)}
			var err error
			if row.Difference, err = difference(t, x, row.First, row.Second); err != nil {
				return nil, err
			}
			d := row.Difference
			row.Signal = d.Estimable() && d.Low != nil && d.High != nil && (*d.Low > 0 || *d.High < 0)
			out = append(out, row)
		}
	}
	return out, nil
}

// besideDefinition judges the same episodes by another case definition.
func (b *builder) besideDefinition() (Beside, error) {
	also := b.opt.Also
	meta := also.Meta()
	out := Beside{Kind: "definition", First: b.db.Meta().Definition, Second: meta.Definition, SecondText: meta.DefinitionText, Rows: []BesideRow{}, Pairs: []NeedPairs{},
		Note: "Both judge the same episodes. Differences of naive figures are paired (Bayesian bootstrap over the joint table); for corrected figures of overlapping groups no paired limits exist, so they stand side by side only. An episode is mature here when it is under the longer of the two windows."}
	scope := b.scope
	if longer := meta.Window - b.opt.Window; longer > 0 {
		scope.MatureBefore = scope.MatureBefore.Add(-longer)
	}
	first, err := b.side(b.db, scope)
	if err != nil {
		return out, err
	}
	second, err := b.side(also, scope)
	if err != nil {
		return out, err
	}
	rows, err := also.DefinitionPairs(b.ctx, scope)
	if err != nil {
		return out, err
	}
	out.Rows, err = besideRows(first, second, func(t Test, x besideFigure, _, _ Figure) (Figure, error) {
		if x.kind != "naive" || t.Index != "advice" {
			return Figure{Conf: b.opt.Confidence, NotEstimable: "no paired limits exist for this figure under two definitions"}, nil
		}
		cut, err := CutNumber(t.Cut)
		if err != nil {
			return Figure{}, err
		}
		return b.pairedRate(rows, cut, x.under)
	})
	if err != nil {
		return out, err
	}
	for _, cut := range bothCuts {
		p, err := b.needPairs(rows, cut)
		if err != nil {
			return out, err
		}
		out.Pairs = append(out.Pairs, p)
	}
	return out, nil
}

// needs picks both definitions' needs of a row at a cut.
func needs(x queries.DefinitionPairsRow, cut int) (first, second int8) {
	if cut == emergency {
		return x.FirstEmergency, x.SecondEmergency
	}
	return x.FirstSameDay, x.SecondSameDay
}

// pairedRate is the difference, second minus first, of a naive rate of the
// advice. The cells of the joint table are escalated or not, by need under the
// first and the second definition (needed, not, unknown).
func (b *builder) pairedRate(rows []queries.DefinitionPairsRow, cut int, under bool) (Figure, error) {
	const needStates = 3
	cells := make([]int64, 2*needStates*needStates)
	for _, x := range rows {
		if x.Level == 0 {
			continue
		}
		one, two := needs(x, cut)
		escalated := 0
		if int(x.Level) >= cut {
			escalated = 1
		}
		cells[(escalated*needStates+int(one)+1)*needStates+int(two)+1] += x.N
	}
	group, wrong := 2, 0 // needed and not escalated
	if !under {
		group, wrong = 1, 1 // not needed and escalated
	}
	rate := func(share []float64, second bool) (float64, bool) {
		var n, w float64
		for i, s := range share {
			need := i / needStates % needStates
			if second {
				need = i % needStates
			}
			if need != group {
				continue
			}
			n += s
			if i/(needStates*needStates) == wrong {
				w += s
			}
		}
		return w / max(n, 1e-300), n > 0
	}
	e, err := metrics.BayesianBootstrap(cells, func(share []float64) (float64, bool) {
		a, ok := rate(share, false)
		z, ok2 := rate(share, true)
		return z - a, ok && ok2
	}, b.opt.Draws, b.opt.Confidence, b.rand())
	return figure(e), err
}

func (b *builder) needPairs(rows []queries.DefinitionPairsRow, cut int) (NeedPairs, error) {
	p := NeedPairs{Cut: levelWords[cut], CutLabel: cutLabel(cut)}
	for _, x := range rows {
		switch one, two := needs(x, cut); {
		case one < 0 || two < 0:
			p.Unknown += x.N
		case one == 1 && two == 1:
			p.Both += x.N
		case one == 1:
			p.FirstOnly += x.N
		case two == 1:
			p.SecondOnly += x.N
		default:
			p.Neither += x.N
		}
	}
	// Second minus first: the second definition takes the first place.
	c := metrics.PairedCounts{Both: p.Both, FirstOnly: p.SecondOnly, SecondOnly: p.FirstOnly, Neither: p.Neither}
	d, err := metrics.PairedDifferenceTango(c, b.opt.Confidence)
	if err != nil {
		return p, err
	}
	t, err := metrics.McNemarMidP(c)
	if err != nil {
		return p, err
	}
	k, err := metrics.CohenKappa([][]int64{{p.Both, p.FirstOnly}, {p.SecondOnly, p.Neither}}, b.opt.Confidence)
	p.Difference, p.P, p.Kappa = figure(d), t.P, figure(k.Estimate)
	return p, err
}
