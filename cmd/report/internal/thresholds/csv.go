package thresholds

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"hindcheck/cmd/report/internal/review"
)

// sheetCSV writes rows of one shape: what, of which group and threshold, and a figure.
type sheetCSV struct {
	w     *csv.Writer
	group string
}

func number(p *float64) string {
	if p == nil {
		return ""
	}
	return strconv.FormatFloat(*p, 'g', -1, 64)
}

func (s *sheetCSV) put(section, rule, name, kind string, f review.Figure) {
	_ = s.w.Write([]string{section, s.group, rule, name, kind, number(f.Estimate), number(f.Low), number(f.High),
		number(&f.Numerator), number(&f.Denominator), f.Method, f.NotEstimable, strings.Join(f.Warnings, "; ")})
}

func (s *sheetCSV) count(section, rule, name string, n int64) {
	_ = s.w.Write([]string{section, s.group, rule, name, "count", strconv.FormatInt(n, 10), "", "", "", "", "", "", ""})
}

func (s *sheetCSV) rates(section, rule, kind string, r Rates) {
	s.put(section, rule, "sensitivity", kind, r.Sensitivity)
	s.put(section, rule, "specificity", kind, r.Specificity)
}

// CSV writes every count and figure of a result, one row each.
func CSV(w io.Writer, r *Result) error {
	s := &sheetCSV{w: csv.NewWriter(w)}
	if err := s.w.Write([]string{"section", "group", "threshold", "figure", "kind", "estimate", "low", "high", "numerator", "denominator", "method", "not_estimable", "warnings"}); err != nil {
		return err
	}
	for i := range r.Groups {
		s.all(&r.Groups[i])
	}
	s.w.Flush()
	return s.w.Error()
}

func (s *sheetCSV) all(g *Group) {
	s.group = g.Name
	for _, v := range g.Values {
		value := strconv.FormatFloat(v.Value, 'g', -1, 64)
		s.count("value", value, "needed", v.Needed)
		s.count("value", value, "not_needed", v.NotNeeded)
		s.count("value", value, "unverified", v.Unverified)
	}
	for _, x := range g.NotAssessed {
		s.count("not_assessed", "", x.State+" needed", x.Needed)
		s.count("not_assessed", "", x.State+" not_needed", x.NotNeeded)
		s.count("not_assessed", "", x.State+" unverified", x.Unverified)
	}
	s.put("curve", "", "area", "naive", g.NaiveArea)
	s.put("curve", "", "area", "corrected", g.CorrectedArea)
	for _, c := range g.Candidates {
		s.rates("candidate", c.Rule, "naive", c.Naive)
		s.rates("candidate", c.Rule, "corrected", c.Corrected)
		s.put("candidate", c.Rule, "marked", "naive", c.Marked)
		s.put("candidate", c.Rule, "exactly on it", "naive", c.AtLimit)
		s.put("candidate", c.Rule, "readings a day", "naive", c.PerDay)
	}
	if g.Present != nil {
		s.trial("in force", *g.Present)
	}
	for _, c := range g.Choices {
		if c.Trial == nil {
			s.put(c.Criterion, "", "choice", "", review.Figure{NotEstimable: c.NotEstimable})
			continue
		}
		s.trial(c.Criterion, *c.Trial)
		for k, f := range []*review.Figure{c.Lower, c.Upper} {
			if f != nil {
				s.put(c.Criterion, c.Trial.Rule, []string{"lower limit", "upper limit"}[k], "choice", *f)
			}
		}
	}
}

func (s *sheetCSV) trial(section string, t Trial) {
	s.rates(section, t.Rule, "corrected, earlier months", t.Fit)
	s.rates(section, t.Rule, "corrected, later months", t.Judge)
	s.rates(section, t.Rule, "naive, later months", t.Naive)
	s.put(section, t.Rule, "readings a day", "later months", t.PerDay)
}
