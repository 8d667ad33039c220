package review

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"hindcheck/pipeline/strict"
	"hindcheck/queries"
)

// Event is a dated change that a chart is marked with, such as a new version of
// the rules or other opening hours.
type Event struct {
	Date time.Time `json:"date"`
	What string    `json:"what"`
	// Source is records for a change of the rules seen in them, else file.
	Source string `json:"source"`
	// NewLimits opens limits of their own from the first whole month on. Only an
	// events file can ask for it: limits are never drawn anew to lose a signal.
	NewLimits bool `json:"new_limits"`
}

// ReadEvents reads an events file: a list "events" of date (2026-03-01), what,
// and new_limits (true or false, false if it is left out). All faults of the file are
// returned together.
func ReadEvents(file string, data []byte) ([]Event, error) {
	doc, top := strict.Parse(file, data)
	var out []Event
	for _, n := range top.Map("events").Need("events").List() {
		m := n.Map("date", "what", "new_limits")
		e := Event{Date: m.Need("date").Date(), What: m.Need("what").Text(), Source: "file"}
		if m.Has("new_limits") {
			e.NewLimits = m.Get("new_limits").Bool()
		}
		out = append(out, e)
	}
	return out, doc.Err()
}

// fillEvents gathers the events of the file and the changes of the rules that
// the records show, in the order of time.
func (b *builder) fillEvents(r *Review) error {
	r.Events = append([]Event{}, b.opt.Events...)
	rows, err := b.db.RulesetMonths(b.ctx, b.trendScope())
	if err != nil {
		return err
	}
	r.Events = append(r.Events, rulesetChanges(rows)...)
	slices.SortStableFunc(r.Events, func(a, b Event) int { return cmp.Or(a.Date.Compare(b.Date), cmp.Compare(a.What, b.What)) })
	return nil
}

// rulesetChanges are the first days of versions that earlier months did not
// have. The first version on record is no change.
func rulesetChanges(rows []queries.RulesetMonthsRow) []Event {
	var out []Event
	known := map[string]bool{}
	for _, x := range rows {
		if x.Ruleset == "" || known[x.Ruleset] {
			continue
		}
		if len(known) > 0 {
			out = append(out, Event{Date: x.FirstDay.UTC(), What: fmt.Sprintf("rules %s first on record", x.Ruleset), Source: "records"})
		}
		known[x.Ruleset] = true
	}
	return out
}
