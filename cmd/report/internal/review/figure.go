package review

import "hindcheck/metrics"

// Figure is one estimate as it is written to JSON and shown on a page. Either
// Estimate, Low and High are there, or NotEstimable says why they are not.
type Figure struct {
	Estimate *float64 `json:"estimate,omitempty"`
	// Low and High are the limits at Conf; one that does not exist is left out.
	Low  *float64 `json:"low,omitempty"`
	High *float64 `json:"high,omitempty"`
	Conf float64  `json:"conf,omitempty"`
	// Method names the interval in the words of the literature.
	Method string `json:"method,omitempty"`
	// Numerator and Denominator are counts of episodes, expected ones (not
	// whole) in a corrected figure, both 0 where there is no single fraction.
	Numerator   float64 `json:"numerator"`
	Denominator float64 `json:"denominator"`
	// NotEstimable says why there is no value.
	NotEstimable string   `json:"not_estimable,omitempty"`
	Warnings     []string `json:"warnings,omitempty"`
}

// figure dresses an estimate.
func figure(e metrics.Estimate) Figure {
	f := Figure{
		Conf: e.Conf, Method: string(e.Method), Numerator: e.Numerator, Denominator: e.Denominator,
		NotEstimable: e.NotEstimable, Warnings: e.Warnings,
	}
	if !e.Estimable() {
		return f
	}
	f.Estimate = &e.Value
	if !e.LowUnbounded {
		f.Low = &e.Low
	}
	if !e.HighUnbounded {
		f.High = &e.High
	}
	return f
}

// Estimable reports whether the figure has a value.
func (f Figure) Estimable() bool { return f.Estimate != nil }

// complement is 1 minus a share.
func (f Figure) complement() Figure {
	if f.Estimable() {
		v := 1 - *f.Estimate
		low, high := f.Low, f.High
		f.Estimate, f.Low, f.High = &v, nil, nil
		if high != nil {
			l := 1 - *high
			f.Low = &l
		}
		if low != nil {
			h := 1 - *low
			f.High = &h
		}
	}
	f.Numerator = f.Denominator - f.Numerator
	return f
}

// over is a number of episodes as a share of n.
func (f Figure) over(n float64) Figure {
	if !f.Estimable() || n == 0 {
		if n == 0 && f.NotEstimable == "" {
			f.NotEstimable = "there are no episodes (0 of 0)"
		}
		f.Estimate, f.Low, f.High = nil, nil, nil
		return f
	}
	div := func(p *float64) *float64 {
		if p == nil {
			return nil
		}
		v := *p / n
		return &v
	}
	f.Numerator, f.Denominator = *f.Estimate, n
	f.Estimate, f.Low, f.High = div(f.Estimate), div(f.Low), div(f.High)
	return f
}

// from is total minus a number of episodes.
func (f Figure) from(total float64) Figure {
	if !f.Estimable() {
		return f
	}
	sub := func(p *float64) *float64 {
		if p == nil {
			return nil
		}
		v := total - *p
		return &v
	}
	f.Estimate, f.Low, f.High = sub(f.Estimate), sub(f.High), sub(f.Low)
	return f
}

// Range is the lowest and highest value that a figure can take whatever the
// unverified episodes are. It is no interval and has no confidence.
type Range struct {
	Low       *float64 `json:"low,omitempty"`
	High      *float64 `json:"high,omitempty"`
	Undefined string   `json:"undefined,omitempty"`
}

func bounds(r metrics.Range) Range {
	if r.Undefined != "" {
		return Range{Undefined: r.Undefined}
	}
	return Range{Low: &r.Low, High: &r.High}
}

func (r Range) complement() Range {
	if r.Low == nil {
		return r
	}
	low, high := 1-*r.High, 1-*r.Low
	return Range{Low: &low, High: &high}
}

func (r Range) over(n float64) Range {
	if r.Low == nil || n == 0 {
		return Range{Undefined: "there are no episodes"}
	}
	low, high := *r.Low/n, *r.High/n
	return Range{Low: &low, High: &high}
}

func (r Range) from(total float64) Range {
	if r.Low == nil {
		return r
	}
	low, high := total-*r.High, total-*r.Low
	return Range{Low: &low, High: &high}
}

// Cells is a two-by-two table of episodes.
type Cells struct {
	TP int64 `json:"tp"`
	FP int64 `json:"fp"`
	FN int64 `json:"fn"`
	TN int64 `json:"tn"`
}

func (c Cells) table() metrics.TwoByTwo {
	return metrics.TwoByTwo{TP: c.TP, FP: c.FP, FN: c.FN, TN: c.TN}
}

// add puts n episodes into the cell of a test result and a need.
func (c *Cells) add(present bool, need int8, n int64) {
	switch {
	case present && need == 1:
		c.TP += n
	case present:
		c.FP += n
	case need == 1:
		c.FN += n
	default:
		c.TN += n
	}
}

// Sides are counts of episodes by test result.
type Sides struct {
	Present int64 `json:"present"`
	Absent  int64 `json:"absent"`
}

func (s *Sides) add(present bool, n int64) {
	if present {
		s.Present += n
	} else {
		s.Absent += n
	}
}

// Accuracy holds the five figures of a two-by-two table.
type Accuracy struct {
	// NotEstimable repeats the reason if no figure has a value.
	NotEstimable string `json:"not_estimable,omitempty"`
	Sensitivity  Figure `json:"sensitivity"`
	Specificity  Figure `json:"specificity"`
	PPV          Figure `json:"ppv"`
	NPV          Figure `json:"npv"`
	Prevalence   Figure `json:"prevalence"`
}

// AccuracyBounds holds their assumption-free bounds.
type AccuracyBounds struct {
	Sensitivity Range `json:"sensitivity"`
	Specificity Range `json:"specificity"`
	PPV         Range `json:"ppv"`
	NPV         Range `json:"npv"`
	Prevalence  Range `json:"prevalence"`
	Missed      Range `json:"missed"`
	Caught      Range `json:"caught"`
}

func accuracyBounds(b metrics.Bounds) AccuracyBounds {
	return AccuracyBounds{
		Sensitivity: bounds(b.Sensitivity), Specificity: bounds(b.Specificity), PPV: bounds(b.PPV), NPV: bounds(b.NPV),
		Prevalence: bounds(b.Prevalence), Missed: bounds(b.Missed), Caught: bounds(b.Caught),
	}
}

func (a *Accuracy) summarise() {
	for _, f := range []Figure{a.Sensitivity, a.Specificity, a.PPV, a.NPV, a.Prevalence} {
		if f.Estimable() {
			return
		}
	}
	a.NotEstimable = a.Sensitivity.NotEstimable
}
