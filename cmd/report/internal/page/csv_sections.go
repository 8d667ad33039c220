package page

import "hindcheck/cmd/report/internal/review"

// sections writes the figures of groups, units, charts, answers, the quality of
// the records and what stands side by side.
func (f *figures) sections(r *review.Review) {
	f.groups(r)
	f.units(r)
	f.charts(r)
	f.quality(r)
	f.beside(r)
}

func (f *figures) groups(r *review.Review) {
	for _, g := range r.Groups {
		f.cut = g.Cut
		for _, p := range g.Properties {
			for _, x := range p.Rows {
				f.section, f.subject, f.strata = "group", p.Property, x.Value
				f.count("episodes", x.Episodes)
				f.cells(x.Verified)
				f.put("advised at or above the cut", "naive", x.Escalated)
				f.put("under-triage per need", "naive", x.Under.Naive)
				f.put("under-triage per need", "corrected", x.Under.Corrected)
				f.bound("under-triage per need", x.Under.Bounds)
				if x.Shrunken != nil {
					f.put("under-triage per need", "shrunken", *x.Shrunken)
				}
				f.put("over-triage per need", "naive", x.Over.Naive)
				f.put("over-triage per need", "corrected", x.Over.Corrected)
				f.bound("over-triage per need", x.Over.Bounds)
			}
		}
	}
	f.cut, f.strata = "", ""
}

func (f *figures) units(r *review.Review) {
	for _, x := range r.Units.Funnels {
		for _, u := range x.Units {
			f.section, f.subject, f.strata = x.Kind, u.Name, ""
			f.put(x.Measure, "naive", u.Share)
		}
	}
	for _, o := range r.Units.Overrides {
		f.section, f.cut, f.subject = "override", o.Cut, o.Direction
		f.put("how often", "naive", o.Share)
		f.count("needed", o.Needed)
		f.count("not needed", o.NotNeeded)
		f.count("unknown", o.Unverified)
		f.put("needed, of the known", "naive", o.NeededShare)
		f.bound("needed", o.Range)
	}
	f.cut = ""
}

func (f *figures) charts(r *review.Review) {
	for _, c := range r.Charts {
		for _, p := range c.Points {
			f.section, f.subject = "chart "+c.Name, p.Label
			x := review.Figure{Estimate: p.Value, Numerator: p.Count, Denominator: p.Size, Method: c.Kind, NotEstimable: p.Missing, Warnings: p.Signals}
			if p.Limits != nil {
				x.Low, x.High = &p.Limits.Low, &p.Limits.High
			}
			f.put(c.Scale, "control limits", x)
		}
	}
}

func (f *figures) quality(r *review.Review) {
	for _, a := range r.Answers {
		f.section, f.subject = "answer", a.Finding
		f.count("asked", a.Asked)
		f.count("decided the advice", a.Decided)
		f.put("seconds for each deciding answer", "naive", a.Each)
	}
	for _, c := range r.Quality.Columns {
		f.section, f.subject = "filled", c.Record+": "+c.Column
		f.put("this month", "naive", c.Now)
		f.put("period", "naive", c.Period)
	}
	for _, l := range r.Quality.Links {
		f.section, f.subject = "linked", l.Practice+" "+l.Source
		f.put("linked", "naive", l.Linked)
	}
	for _, d := range r.Quality.Drift {
		f.section, f.subject, f.strata = "drift", d.Column, d.Word
		f.put("share now", "naive", d.WordNow)
		f.put("share before", "naive", d.WordBefore)
	}
	f.strata = ""
}

func (f *figures) beside(r *review.Review) {
	for _, b := range r.Beside {
		for _, x := range b.Rows {
			f.section, f.cut, f.subject = "side by side: "+b.Kind, x.Cut, x.Index
			f.put(x.Figure, x.Kind+", first", x.First)
			f.put(x.Figure, x.Kind+", second", x.Second)
			f.put(x.Figure, x.Kind+", second minus first", x.Difference)
		}
	}
	f.cut = ""
}
