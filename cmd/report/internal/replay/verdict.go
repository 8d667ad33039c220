package replay

import (
	"fmt"
	"math"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/pipeline/codes"
	"hindcheck/queries"
)

// Verdict compares the results with criteria fixed beforehand. It is what the
// figures allow, not a decision: that is a licensed veterinary professional's.
type Verdict struct {
	// Answer is met, not_met or cannot_tell; Headline says it.
	Answer   string `json:"answer"`
	Headline string `json:"headline"`
	// Way says how rules were taken to be followed.
	Way    string `json:"way"`
	Met    int    `json:"met"`
	NotMet int    `json:"not_met"`
	Open   int    `json:"cannot_tell"`
	// Judged has each criterion with its answer.
	Judged []Judged `json:"judged"`
}

// Judged is one criterion.
type Judged struct {
	// Name says what is asked, Asked the bound and Found the result, in words.
	Name   string `json:"name"`
	Asked  string `json:"asked"`
	Found  string `json:"found"`
	Answer string `json:"answer"`
	Why    string `json:"why"`
	// Months more of calls like these would settle an open criterion with a
	// chance of 80 %, if the truth is what the estimate says; Never says why
	// no time would.
	Months *float64 `json:"months,omitempty"`
	Never  string   `json:"never,omitempty"`
}

// settlePower is the chance with which the stated months settle a criterion.
const settlePower = 0.8

func blame(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{queries.ErrParameter}, args...)...)
}

func (b *builder) judge(r *Report) error {
	c := b.opt.Criteria
	if c == nil {
		return nil
	}
	v := &Verdict{Way: b.judgedWay().label}
	w := &r.Ways[0]
	if c.Judged == kept.word {
		w = &r.Ways[1]
	}
	for _, part := range []func(*Report, *Way, *Verdict) error{b.judgeEvidence, b.judgeAccuracy, b.judgeGroups, b.judgeWorkload, b.judgeMissed} {
		if err := part(r, w, v); err != nil {
			return err
		}
	}
	v.conclude()
	r.Verdict = v
	return nil
}

func (v *Verdict) conclude() {
	for _, j := range v.Judged {
		switch j.Answer {
		case Met:
			v.Met++
		case NotMet:
			v.NotMet++
		default:
			v.Open++
		}
	}
	switch n := len(v.Judged); {
	case v.NotMet > 0 && v.Open > 0:
		v.Answer, v.Headline = NotMet, fmt.Sprintf("The proposal does not meet the criteria: of %d, %d are not met and %d cannot be told.", n, v.NotMet, v.Open)
	case v.NotMet > 0:
		v.Answer, v.Headline = NotMet, fmt.Sprintf("The proposal does not meet the criteria: %d of %d are not met.", v.NotMet, n)
	case v.Open > 0:
		v.Answer, v.Headline = CannotTell, fmt.Sprintf("The records cannot tell whether the proposal meets the criteria: %d of %d are open.", v.Open, n)
	default:
		v.Answer, v.Headline = Met, fmt.Sprintf("The proposal meets all %d criteria. A licensed veterinary professional decides.", n)
	}
}

func (v *Verdict) add(j Judged) { v.Judged = append(v.Judged, j) }

// judgeEvidence asks whether enough is known to judge at all; too little is not
// a failing of the proposal.
func (b *builder) judgeEvidence(_ *Report, w *Way, v *Verdict) error {
	e := b.opt.Criteria.Evidence
	enough := func(name string, least int, found, perMonth float64) {
		j := Judged{Name: name, Asked: "at least " + whole(int64(least)), Found: whole(int64(found)), Answer: Met, Why: "there are as many"}
		if found < float64(least) {
			j.Answer, j.Why = CannotTell, "there are fewer"
			if perMonth > 0 {
				months := rounded((float64(least) - found) / perMonth)
				j.Months = &months
			} else {
				j.Never = "at the present rate there would never be enough"
			}
		}
		v.add(j)
	}
	rate := func(n int64) float64 {
		if b.std.MatureMonths == 0 {
			return 0
		}
		return float64(n) / b.std.MatureMonths
	}
	if e.Months > 0 {
		enough("evidence: months whose outcomes have arrived", e.Months, math.Floor(b.std.MatureMonths+0.05), 1)
	}
	if e.Calls > 0 {
		enough("evidence: mature calls with advice", e.Calls, float64(w.Cuts[0].Mature), rate(w.Cuts[0].Mature))
	}
	for i := range w.Cuts {
		c := &w.Cuts[i]
		level, _ := codes.ParseLevel(c.Cut)
		if least := e.InNeed[level]; least > 0 {
			n := c.Needed.Both + c.Needed.OnlyNew + c.Needed.OnlyOld + c.Needed.Neither
			enough("evidence: animals known to have been in need, "+c.Label, least, float64(n), rate(n))
		}
		if least := e.Changed[level]; least > 0 {
			n := c.UpKnown + c.DownKnown
			enough("evidence: calls with a known need that cross the cut, "+c.Label, least, float64(n), rate(n))
		}
	}
	return nil
}

func (b *builder) judgeAccuracy(_ *Report, w *Way, v *Verdict) error {
	for i := range w.Cuts {
		c := &w.Cuts[i]
		level, _ := codes.ParseLevel(c.Cut)
		a := b.opt.Criteria.Accuracy[level]
		for _, x := range []struct {
			name, asked string
			e           metrics.Estimate
			bound       *float64
			sign        float64
			write       func(float64) string
		}{
			{"sensitivity of the proposal, " + c.Label, "lower limit at or above ", c.sensitivity, a.SensitivityFloor, 1, percent},
			{"loss of sensitivity against the current rules, " + c.Label, "at most ", c.sensDiff, a.SensitivityLoss, -1, points},
			{"loss of specificity against the current rules, " + c.Label, "at most ", c.specDiff, a.SpecificityLoss, -1, points},
		} {
			if x.bound == nil {
				continue
			}
			j, err := b.against(x.e, x.sign**x.bound)
			if err != nil {
				return err
			}
			j.Name, j.Asked, j.Found = x.name, x.asked+x.write(*x.bound), said(x.e, x.write)
			if x.sign < 0 {
				j.Found = "difference " + j.Found
				if c.Down == 0 && x.bound == a.SensitivityLoss {
					j.Answer, j.Why, j.Months, j.Never = Met, fmt.Sprintf("none of %s would fall below the cut", calls(c.Calls)), nil, ""
				}
			}
			v.add(j)
		}
	}
	return nil
}

// against judges an estimate by its limits: met if it lies wholly at or above the
// bound, not met if wholly below, else open, with the time that would settle it.
func (b *builder) against(e metrics.Estimate, bound float64) (Judged, error) {
	f, err := metrics.AgainstFloor(e, bound)
	if err != nil {
		return Judged{}, err
	}
	switch f {
	case metrics.FloorMet:
		return Judged{Answer: Met, Why: "both limits lie on the right side of the bound"}, nil
	case metrics.FloorNotMet:
		return Judged{Answer: NotMet, Why: "both limits lie on the wrong side of the bound"}, nil
	case metrics.FloorNotEstimable:
		return Judged{Answer: CannotTell, Why: "not estimable: " + sides.Replace(e.NotEstimable), Never: "more months alone do not help; calls have to be followed up"}, nil
	}
	j := Judged{Answer: CannotTell, Why: "the limits hold the bound"}
	return j, b.settle(&j, e, bound)
}

func (b *builder) settle(j *Judged, e metrics.Estimate, bound float64) error {
	if b.std.MatureMonths <= 0 {
		j.Never = "no month of the period is mature"
		return nil
	}
	s, err := metrics.MonthsToSettle(e, bound, b.std.MatureMonths, settlePower)
	if err != nil {
		return err
	}
	if s.NotReachable != "" {
		j.Never = s.NotReachable
		return nil
	}
	if s.Months > 0 { // else only the limits widened for many groups hold the bound
		months := rounded(s.Months)
		j.Months = &months
	}
	return nil
}

// judgeGroups has one criterion for each property: every group of it must pass.
func (b *builder) judgeGroups(r *Report, _ *Way, v *Verdict) error {
	for _, property := range b.opt.Criteria.Subgroups.Properties {
		j := Judged{Name: "no " + property + " loses sensitivity", Asked: "at most " + points(r.Groups.Margin) + " in each, at both cuts", Answer: Met, Why: "every group passes by itself"}
		passed, few, all := 0, 0, 0
		for i := range r.Groups.List {
			g := &r.Groups.List[i]
			if g.Property != property {
				continue
			}
			all++
			switch g.Answer {
			case Met:
				passed++
				continue
			case TooFew:
				few++
				continue
			}
			// The list holds harm before doubt.
			if j.Answer == Met {
				j.Answer, j.Why = g.Answer, fmt.Sprintf("%s at %s: %s", g.Label, review.CutLabel(cutOf(g.Cut)), g.Why)
				if g.Answer == CannotTell {
					if err := b.settle(&j, g.difference, -r.Groups.Margin); err != nil {
						return err
					}
				}
			}
		}
		j.Found = fmt.Sprintf("%d of %d groups and cuts pass", passed, all)
		if few > 0 {
			j.Found += fmt.Sprintf(", %d hold too few to judge", few)
		}
		v.add(j)
	}
	return nil
}

func cutOf(word string) int {
	if word == "emergency" {
		return emergency
	}
	return sameDay
}

func (b *builder) judgeWorkload(_ *Report, w *Way, v *Verdict) error {
	load := b.opt.Criteria.Workload
	c := &w.Cuts[0]
	if load.Cut == codes.Emergency {
		c = &w.Cuts[1]
	}
	for _, x := range []struct {
		name string
		e    metrics.Estimate
		most *float64
	}{
		{"extra referrals a day, " + c.Label, c.extra, load.ExtraPerDay},
		{"further animals not in need sent in for each further one in need, " + c.Label, c.perCaught, load.ExtraPerCaught},
	} {
		if x.most == nil {
			continue
		}
		e := x.e
		e.Value, e.Low, e.High = -e.Value, -e.High, -e.Low
		j, err := b.against(e, -*x.most)
		if err != nil {
			return err
		}
		if x.most == load.ExtraPerCaught && c.NewSent <= c.OldSent && !x.e.Estimable() {
			j = Judged{Answer: Met, Why: "the proposal sends in no more animals than the current rules"}
		}
		j.Name, j.Asked, j.Found = x.name, "at most "+number(*x.most), said(x.e, number)
		v.add(j)
	}
	return nil
}

// judgeMissed asks a named reviewer's reason for every newly missed case,
// whatever else is met.
func (b *builder) judgeMissed(r *Report, _ *Way, v *Verdict) error {
	answered := 0
	for i := range r.Cases.Missed {
		if r.Cases.Missed[i].Reviewed != nil {
			answered++
		}
	}
	n := len(r.Cases.Missed)
	j := Judged{Name: "every newly missed case has a named reviewer's reason", Asked: "all", Found: fmt.Sprintf("%d of %d", answered, n), Answer: Met, Why: "each has"}
	switch {
	case n == 0:
		j.Why = "no animal in need, so far as known, would newly be missed"
	case answered < n:
		j.Answer, j.Why = NotMet, fmt.Sprintf("%d cases wait for a reason under \"reviewed\" in the criteria file", n-answered)
	}
	v.add(j)
	return nil
}
