package review

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/actions"
)

func some(x float64) *float64 { return &x }

func interval(at, low, high float64) Figure {
	return Figure{Estimate: some(at), Low: some(low), High: some(high), Conf: 0.95}
}

// small is a review of a month with one question and three months of trend.
func small(month string, load int) *Review {
	r := &Review{Format: Format, CaseDefinition: "a", DefinitionText: "needed care", RuleSet: "one",
		AsOf:     AsOf{Load: load, DataCut: time.Date(2026, 10, load, 6, 30, 0, 0, time.UTC)},
		Period:   Period{Month: month, MonthLabel: month},
		Standard: Standard{Confidence: 0.95, WindowHours: 72, LagDays: 45, MinVerified: 10, UnderLimit: 0.05, OverLimit: 0.5, Draws: 10, Seed: 1},
		Basis:    Basis{Software: "test", Files: []DefinitionFile{{Kind: "strata", ID: "s", Hash: "abc"}}},
	}
	r.Conclusion = Conclusion{Verdict: NoConclusion, Headline: "h", Questions: []Question{
		{Of: "under_triage", Cut: "same_day", Label: "Under-triage", Figure: interval(0.05, 0.03, 0.08), Verdict: NoConclusion}}}
	for _, m := range []string{"2026-05", "2026-06", "2026-07"} {
		r.Trend = append(r.Trend, Point{Month: m, Label: m, Episodes: 100, WithOutcome: 40, Needed: 12, Missed: 2, Died: 1})
	}
	return r
}

func said(s Since) string { return strings.Join(s.Sentences, "\n") }

func TestSinceNothing(t *testing.T) {
	s := since(small("2026-07", 2), nil)
	if s.Found || !strings.Contains(said(s), "No earlier review") {
		t.Errorf("%+v", s)
	}
}

// The present estimate is compared with the interval that the last review
// gave, its ends included.
func TestSinceFigures(t *testing.T) {
	for now, want := range map[float64]bool{0.03: false, 0.0299: true, 0.08: false, 0.0801: true, 0.05: false} {
		r := small("2026-07", 2)
		r.Conclusion.Questions[0].Figure = interval(now, now/2, now*2)
		s := since(r, small("2026-06", 1))
		if len(s.Figures) != 1 || s.Figures[0].Beyond != want || strings.Contains(said(s), "Left the interval") != want {
			t.Errorf("%g: %+v", now, s)
		}
	}
	r := small("2026-07", 2)
	r.Conclusion.Questions[0].Figure = Figure{NotEstimable: "why"}
	if s := since(r, small("2026-06", 1)); s.Figures[0].Beyond {
		t.Error("what cannot be estimated has not moved")
	}
}

func TestSinceFlags(t *testing.T) {
	flags := func(sensitivity float64) []Flags {
		f := Flag{Flag: "gums", Title: "White gums"}
		f.Corrected.Sensitivity, f.Corrected.Specificity = interval(sensitivity, sensitivity-0.1, sensitivity+0.1), interval(0.9, 0.8, 0.95)
		return []Flags{{Cut: "same_day", CutLabel: "same day or sooner", Flags: []Flag{f}}}
	}
	r, last := small("2026-07", 2), small("2026-06", 1)
	r.Flags, last.Flags = flags(0.7), flags(0.5)
	s := since(r, last)
	if s.FlagFigures != 2 || len(s.Figures) != 2 || s.Figures[1].Label != `Sensitivity of "White gums", same day or sooner` {
		t.Errorf("%d compared, %+v", s.FlagFigures, s.Figures)
	}
}

// A change of a definition makes figures not comparable, one of a limit or of
// the rules does not; both are named.
func TestSinceTerms(t *testing.T) {
	for name, c := range map[string]struct {
		change     func(*Review)
		comparable bool
		named      string
	}{
		"case definition": {func(r *Review) { r.DefinitionText = "other" }, false, "case definition"},
		"window":          {func(r *Review) { r.Standard.WindowHours = 48 }, false, "window, hours"},
		"strata":          {func(r *Review) { r.Basis.Files[0].Hash = "abd" }, false, "file of strata"},
		"strata gone":     {func(r *Review) { r.Basis.Files = nil }, false, "file of strata"},
		"rules":           {func(r *Review) { r.RuleSet = "two" }, true, "rules"},
		"limit":           {func(r *Review) { r.Standard.UnderLimit = 0.03 }, true, "limit of under-triage"},
		"nothing":         {func(r *Review) {}, true, ""},
	} {
		r := small("2026-07", 2)
		c.change(r)
		r.Conclusion.Questions[0].Figure = interval(0.5, 0.4, 0.6)
		s := since(r, small("2026-06", 1))
		names := []string{}
		for _, x := range s.Terms {
			names = append(names, x.Name)
		}
		if s.Comparable != c.comparable || strings.Join(names, "; ") != c.named {
			t.Errorf("%s: comparable %v, changed %q", name, s.Comparable, names)
		}
		if s.Figures[0].Beyond != c.comparable || strings.Contains(said(s), "cannot be compared") == c.comparable {
			t.Errorf("%s: marked %v: %s", name, s.Figures[0].Beyond, said(s))
		}
	}
	last := small("2026-06", 1)
	last.AsOf.DataCut = last.AsOf.DataCut.AddDate(1, 0, 0)
	if s := since(small("2026-07", 2), last); s.Comparable || !strings.Contains(said(s), "another store") {
		t.Errorf("a last review on later data: %s", said(s))
	}
}

// Outcomes that came late are told by month, in the same month restated too.
func TestSinceLateOutcomes(t *testing.T) {
	r := small("2026-06", 2)
	r.Trend[0].WithOutcome, r.Trend[0].Needed, r.Trend[0].Missed = 43, 13, 1
	s := since(r, small("2026-06", 1))
	if !s.Restated || len(s.Months) != 1 || s.Months[0].Month != "2026-05" || s.Months[0].Outcomes != (CountPair{40, 43}) {
		t.Errorf("%+v", s)
	}
	for _, want := range []string{"restates it", "3 more episodes of 1 month on file have an outcome", "1 more are known to have needed care and \u22121 more to have been missed", "months already reviewed changed"} {
		if !strings.Contains(said(s), want) {
			t.Errorf("does not say %q:\n%s", want, said(s))
		}
	}
}

func TestSinceVerdict(t *testing.T) {
	r := small("2026-07", 2)
	r.Conclusion.Verdict = Concern
	if s := since(r, small("2026-06", 1)); !strings.Contains(said(s), "then, the evidence does not allow a conclusion; now, it raises a concern") {
		t.Errorf("%s", said(s))
	}
}

func TestAgreed(t *testing.T) {
	day := func(d int) time.Time { return time.Date(2026, 10, d, 0, 0, 0, 0, time.UTC) }
	last := small("2026-06", 1)
	last.Actions = agreed([]actions.Action{
		{ID: "kept", Due: day(9), Status: actions.Open}, {ID: "finished", Due: day(1), Status: actions.Open}, {ID: "lost", Due: day(1), Status: actions.Open}}, nil, day(2))
	a := agreed([]actions.Action{
		{ID: "new", Due: day(20), Status: actions.Open}, {ID: "kept", Due: day(9), Status: actions.Open},
		{ID: "finished", Due: day(1), Status: actions.Done}, {ID: "old", Due: day(1), Status: actions.Dropped}}, last, day(10))
	ids := func(list []AgreedAction) (out []string) {
		for _, x := range list {
			out = append(out, x.ID)
		}
		return out
	}
	if !slices.Equal(ids(a.Open), []string{"kept", "new"}) || !slices.Equal(ids(a.Closed), []string{"finished"}) || !slices.Equal(ids(a.Gone), []string{"lost"}) {
		t.Errorf("%+v", a)
	}
	if a.Overdue != 1 || !a.Open[0].Overdue || a.Open[0].New || a.Open[1].Overdue || !a.Open[1].New || a.New != 1 || a.Earlier != 1 {
		t.Errorf("%+v", a)
	}
}

// Every step follows from its criterion and from nothing else.
func TestNext(t *testing.T) {
	quiet := func() *Review {
		r := small("2026-07", 2)
		r.Conclusion.Questions[0].Verdict = NoConcern
		return r
	}
	if got := next(quiet()); len(got) != 0 {
		t.Errorf("nothing met, and still: %+v", got)
	}
	for want, change := range map[string]func(*Review){
		"cases": func(r *Review) { r.Missed.InMonth = make([]Case, 2) },
		"accuracy": func(r *Review) {
			r.Conclusion.Questions[0].Verdict, r.Conclusion.Questions[0].Sentence = Concern, "above"
		},
		"trend": func(r *Review) {
			r.Charts = []ControlChart{{Title: "c", Points: []ChartPoint{{Month: "2026-07", Signals: []string{"s"}}}}}
		},
		"safety":  func(r *Review) { r.Safety.InMonth = 1 },
		"actions": func(r *Review) { r.Actions.Overdue = 1 },
		"data":    func(r *Review) { r.Data.SetAsideTotal = 3 },
	} {
		r := quiet()
		change(r)
		if got := next(r); len(got) != 1 || got[0].Part != want || got[0].Because == "" {
			t.Errorf("%s: %+v", want, got)
		}
	}
	r := quiet()
	r.Charts = []ControlChart{{Title: "c", Points: []ChartPoint{{Month: "2026-06", Signals: []string{"s"}}}}}
	if got := next(r); len(got) != 0 {
		t.Errorf("a signal of another month: %+v", got)
	}
}

func TestPlain(t *testing.T) {
	q := Question{Of: "under_triage", Cut: "same_day", Limit: 0.05, Figure: interval(0.057, 0.03, 0.102), Verdict: NoConclusion}
	if got, want := plain(q), "Of every 100 animals that needed care the same day or sooner, about 5.7 (3 to 10) were first advised to wait longer. The limit is 5; the records do not settle on which side of it the line is."; got != want {
		t.Errorf("%s", got)
	}
	q.Figure = Figure{NotEstimable: "why"}
	if got := plain(q); !strings.Contains(got, "do not tell how many") {
		t.Errorf("%s", got)
	}
}

// The checklist holds every item of STARD 2015 once: 30, of which four have
// two halves (Bossuyt and others 2015, BMJ 351:h5527, table 2; from memory).
func TestChecklist(t *testing.T) {
	c, err := checklist()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, i := range c.Items {
		seen[i.Standard+" "+i.Item]++
	}
	items := 0
	for k, n := range seen {
		if n != 1 {
			t.Errorf("%s stands %d times", k, n)
		}
		if strings.HasPrefix(k, "STARD 2015 ") {
			items++
		}
	}
	if items != 34 {
		t.Errorf("%d items and halves of STARD 2015, want 34", items)
	}
	if len(c.Sources) != 3 {
		t.Errorf("sources %+v", c.Sources)
	}
}
