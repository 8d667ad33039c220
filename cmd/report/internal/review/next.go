package review

import (
	"fmt"
	"slices"
	"strings"
)

// ToDo is one thing to do next. Steps follow from stated criteria alone;
// nothing is applied by itself, and a meeting may decide otherwise.
type ToDo struct {
	Do string `json:"do"`
	// Because gives the criterion with the numbers that met it.
	Because string `json:"because"`
	// Part is the id of the part of the page that holds the evidence.
	Part string `json:"part"`
}

// next lists the steps in the order in which a meeting would take them.
func next(r *Review) []ToDo {
	out := []ToDo{}
	add := func(part, do, because string, args ...any) {
		out = append(out, ToDo{do, fmt.Sprintf(because, args...), part})
	}
	if n := r.Missed.Month(); n > 0 {
		add("cases", "Read the cases of the month and judge each.", "%s of %s needed more urgent care than was first advised.",
			plural(n, "episode", "episodes"), r.Period.MonthLabel)
	}
	for _, q := range r.Conclusion.Questions {
		if q.Verdict == Concern {
			add("accuracy", "Ask the licensed veterinary professional which rules or questions let these cases pass; try a change on past calls before it goes live.", "%s", q.Sentence)
			break
		}
	}
	if s := inconclusive(r.Conclusion.Questions); s != "" {
		add("accuracy", "Follow up more animals that were kept at home, drawn at random.", "%s", s)
	}
	if n := r.Data.FlowTotal.AuditSelected - r.Data.FlowTotal.AuditResponded; n > 0 {
		add("data", "Telephone those of the audit sample who have not answered.", "%s of %s drawn have no answer.", count(float64(n)), count(float64(r.Data.FlowTotal.AuditSelected)))
	}
	if s := gapSentence(r.Data.FeedGaps); s != "" {
		add("data", "Ask for the missing deliveries of outcomes.", "%s", s)
	}
	if s := monthSignals(r); s != "" {
		add("trend", "Ask what changed, and write it down with its date.", "%s", s)
	}
	if r.Safety.InMonth > 0 {
		add("safety", "Look at the checks in which a person was hurt.", "A person was scratched or bitten in %s of %s.",
			plural(r.Safety.InMonth, "episode", "episodes"), r.Period.MonthLabel)
	}
	if r.Actions.Overdue > 0 {
		add("actions", "Settle the overdue actions, or give them a new day.", "%s overdue on %s.", plural(int64(r.Actions.Overdue), "action is", "actions are"), day(r.Actions.On))
	}
	if len(r.Actions.Gone) > 0 {
		var ids []string
		for _, x := range r.Actions.Gone {
			ids = append(ids, x.ID)
		}
		add("actions", "Put back the actions that left the file without being closed.", "Open in the last review and not in the file: %s.", list(ids))
	}
	if r.Data.SetAsideTotal > 0 {
		add("data", "Mend the mapping or the export of rows set aside.", "%s could not be read.", plural(r.Data.SetAsideTotal, "row", "rows"))
	}
	return out
}

// inconclusive gives the sentences of questions of under-triage that stay open.
func inconclusive(questions []Question) string {
	var list []string
	for _, q := range questions {
		if q.Of == "under_triage" && q.Verdict == NoConclusion {
			list = append(list, q.Sentence)
		}
	}
	return strings.Join(list, " ")
}

// monthSignals says which measures of the month stand out.
func monthSignals(r *Review) string {
	var out []string
	for _, c := range r.Charts {
		if marked := marked(c, r.Period.Month); len(marked) > 0 {
			out = append(out, fmt.Sprintf("the control chart of %q marks %s", c.Title, firstOf(marked)))
		}
	}
	for _, c := range r.Month.Changes {
		if c.Signal {
			out = append(out, fmt.Sprintf("%s: %s, months before %s", c.Measure, percentFigure(c.Now), percentFigure(c.Before)))
		}
	}
	if len(out) == 0 {
		return ""
	}
	s := strings.Join(out, "; ")
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// marked are the labels of a chart's points of one month that stand out, each once.
func marked(c ControlChart, month string) (labels []string) {
	for _, p := range c.Points {
		if p.Month == month && len(p.Signals) > 0 && !slices.Contains(labels, p.Label) {
			labels = append(labels, p.Label)
		}
	}
	return labels
}
