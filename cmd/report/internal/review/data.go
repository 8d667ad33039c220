package review

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Safety counts persons hurt during the checks.
type Safety struct {
	InMonth  int64 `json:"in_month"`
	InPeriod int64 `json:"in_period"`
	// Share is of all episodes of the period.
	Share  Figure       `json:"share"`
	Events []SafetyKind `json:"events"`
	// Calls are those of the month under review, in the order of time, at most
	// listed many: bites before scratches, and of each the latest. MoreCalls is how
	// many there are beside them.
	Calls     []HurtCall `json:"calls"`
	MoreCalls int64      `json:"more_calls,omitzero"`
}

// SafetyKind are the events of one kind and way of handling the animal.
type SafetyKind struct {
	Hurt     string `json:"hurt"`
	Handling string `json:"handling"`
	Species  string `json:"species"`
	InMonth  int64  `json:"in_month"`
	InPeriod int64  `json:"in_period"`
}

func (b *builder) fillSafety(r *Review) error {
	rows, err := b.db.PersonHurt(b.ctx, b.scope)
	if err != nil {
		return err
	}
	r.Safety.Events = []SafetyKind{}
	place := map[[3]string]int{}
	for _, x := range rows {
		key := [3]string{x.PersonHurt, x.Handling, x.Species}
		i, ok := place[key]
		if !ok {
			i = len(r.Safety.Events)
			place[key] = i
			r.Safety.Events = append(r.Safety.Events, SafetyKind{Hurt: x.PersonHurt, Handling: x.Handling, Species: x.Species})
		}
		r.Safety.Events[i].InPeriod += x.N
		r.Safety.InPeriod += x.N
		if x.Month == b.scope.To {
			r.Safety.Events[i].InMonth += x.N
			r.Safety.InMonth += x.N
		}
	}
	slices.SortStableFunc(r.Safety.Events, func(a, b SafetyKind) int {
		return cmp.Or(strings.Compare(a.Hurt, b.Hurt), cmp.Compare(b.InPeriod, a.InPeriod), strings.Compare(a.Handling+a.Species, b.Handling+b.Species))
	})
	var episodes int64
	for _, p := range r.Trend {
		if p.InPeriod {
			episodes += p.Episodes
		}
	}
	e, err := metrics.Wilson(r.Safety.InPeriod, episodes, b.opt.Confidence)
	r.Safety.Share = figure(e)
	return err
}

// Data says what the figures rest on.
type Data struct {
	// Contacts by type; all but clinical are left out.
	Contacts []Contact `json:"contacts"`
	// Clinical and LeftOut sum them.
	Clinical int64 `json:"clinical"`
	LeftOut  int64 `json:"left_out"`
	// Flow is where episodes went, by advised level.
	Flow []Flow `json:"flow"`
	// FlowTotal sums the flow.
	FlowTotal Flow `json:"flow_total"`
	// Feeds are the deliveries of outcomes, by month.
	Feeds []Feed `json:"feeds"`
	// FeedGaps are those that do not cover every day of a month with episodes.
	FeedGaps []Feed `json:"feed_gaps"`
	// SetAside are rows of exports that were refused, over the whole store.
	SetAside      []SetAside `json:"set_aside"`
	SetAsideTotal int64      `json:"set_aside_total"`
	// Components are the parts of the case definition among mature episodes
	// with an outcome.
	Components []Component `json:"components"`
	// Makeup describes the episodes.
	Makeup []Makeup `json:"makeup"`
}

// Contact counts contacts of one type.
type Contact struct {
	Type     string `json:"type"`
	Contacts int64  `json:"contacts"`
	Records  int64  `json:"records"`
}

// Flow is one advised level on its way from advice to a known need.
type Flow struct {
	Level          string `json:"level"`
	Label          string `json:"label"`
	Episodes       int64  `json:"episodes"`
	Immature       int64  `json:"immature"`
	NoOutcome      int64  `json:"no_outcome"`
	AdvisedVisit   int64  `json:"advised_visit"`
	OwnDecision    int64  `json:"own_decision"`
	CallBack       int64  `json:"call_back"`
	Audit          int64  `json:"audit"`
	Unverified     int64  `json:"unverified"`
	Needed         int64  `json:"needed"`
	NotNeeded      int64  `json:"not_needed"`
	AuditSelected  int64  `json:"audit_selected"`
	AuditResponded int64  `json:"audit_responded"`
	Conflicts      int64  `json:"conflicts"`
}

// Feed is one feed of outcomes in one month.
type Feed struct {
	Feed         string     `json:"feed"`
	Month        string     `json:"month"`
	Days         int        `json:"days"`
	DaysInMonth  int        `json:"days_in_month"`
	LastDelivery *time.Time `json:"last_delivery,omitempty"`
}

// SetAside is one reason for refusing rows.
type SetAside struct {
	Column   string `json:"column"`
	Reason   string `json:"reason"`
	Expected string `json:"expected"`
	Remedy   string `json:"remedy"`
	Files    int64  `json:"files"`
	Rows     int64  `json:"rows"`
}

// Component is one part of the case definition.
type Component struct {
	Component string `json:"component"`
	Yes       int64  `json:"yes"`
	No        int64  `json:"no"`
	Unknown   int64  `json:"unknown"`
}

// Makeup counts episodes by one value of a property.
type Makeup struct {
	Property  string `json:"property"`
	Value     string `json:"value"`
	N         int64  `json:"n"`
	Escalated int64  `json:"escalated"`
}

func (b *builder) fillData(r *Review) error {
	r.Data = Data{Contacts: []Contact{}, Flow: []Flow{}, Feeds: []Feed{}, FeedGaps: []Feed{}, SetAside: []SetAside{}, Components: []Component{}, Makeup: []Makeup{}}
	for _, fill := range []func(*Data) error{b.contacts, b.flow, b.feeds, b.setAside, b.components, b.makeup} {
		if err := fill(&r.Data); err != nil {
			return err
		}
	}
	return nil
}

func (b *builder) contacts(d *Data) error {
	rows, err := b.db.ContactTypes(b.ctx, b.scope)
	if err != nil {
		return err
	}
	for _, x := range rows {
		n := len(d.Contacts)
		if n == 0 || d.Contacts[n-1].Type != x.ContactType {
			d.Contacts = append(d.Contacts, Contact{Type: x.ContactType})
			n++
		}
		d.Contacts[n-1].Contacts += x.Contacts
		d.Contacts[n-1].Records += x.Records
		if x.ContactType == "clinical" {
			d.Clinical += x.Contacts
		} else {
			d.LeftOut += x.Contacts
		}
	}
	return nil
}

func (b *builder) flow(d *Data) error {
	rows, err := b.db.Flow(b.ctx, b.scope)
	if err != nil {
		return err
	}
	t := &d.FlowTotal
	t.Level, t.Label = "all", "all"
	for _, x := range rows {
		f := Flow{
			Level: word(levelWords, x.Level), Label: word(levelLabels, x.Level), Episodes: x.Episodes, Immature: x.Immature,
			NoOutcome: x.NoOutcome, AdvisedVisit: x.AdvisedVisit, OwnDecision: x.OwnDecision, CallBack: x.CallBack, Audit: x.Audit,
			Unverified: x.Unverified, Needed: x.Needed, NotNeeded: x.NotNeeded, AuditSelected: x.AuditSelected,
			AuditResponded: x.AuditResponded, Conflicts: x.Conflicts,
		}
		d.Flow = append(d.Flow, f)
		for _, sum := range []struct{ into, n *int64 }{
			{&t.Episodes, &f.Episodes}, {&t.Immature, &f.Immature}, {&t.NoOutcome, &f.NoOutcome}, {&t.AdvisedVisit, &f.AdvisedVisit},
			{&t.OwnDecision, &f.OwnDecision}, {&t.CallBack, &f.CallBack}, {&t.Audit, &f.Audit}, {&t.Unverified, &f.Unverified},
			{&t.Needed, &f.Needed}, {&t.NotNeeded, &f.NotNeeded}, {&t.AuditSelected, &f.AuditSelected},
			{&t.AuditResponded, &f.AuditResponded}, {&t.Conflicts, &f.Conflicts},
		} {
			*sum.into += *sum.n
		}
	}
	return nil
}

func (b *builder) feeds(d *Data) error {
	rows, err := b.db.FeedCoverage(b.ctx, b.scope)
	if err != nil {
		return err
	}
	for _, x := range rows {
		f := Feed{x.Feed, queries.FormatMonth(x.Month), x.Days, x.DaysInMonth, x.LastDelivery}
		d.Feeds = append(d.Feeds, f)
		withEpisodes := slices.ContainsFunc(b.months, func(m queries.MonthsRow) bool { return m.Month == x.Month })
		if f.Days < f.DaysInMonth && withEpisodes {
			d.FeedGaps = append(d.FeedGaps, f)
		}
	}
	return nil
}

func (b *builder) setAside(d *Data) error {
	rows, err := b.db.SetAsideReasons(b.ctx)
	if err != nil {
		return err
	}
	for _, x := range rows {
		d.SetAside = append(d.SetAside, SetAside{x.Column, x.Reason, x.Expected, x.Remedy, x.Files, x.N})
		d.SetAsideTotal += x.N
	}
	return nil
}

func (b *builder) components(d *Data) error {
	rows, err := b.db.CaseComponents(b.ctx, b.scope)
	if err != nil {
		return err
	}
	for _, x := range rows {
		n := len(d.Components)
		if n == 0 || d.Components[n-1].Component != x.Component {
			d.Components = append(d.Components, Component{Component: x.Component})
			n++
		}
		c := &d.Components[n-1]
		switch x.Answer {
		case 1:
			c.Yes += x.N
		case 0:
			c.No += x.N
		default:
			c.Unknown += x.N
		}
	}
	return nil
}

func (b *builder) makeup(d *Data) error {
	rows, err := b.db.Subgroups(b.ctx, b.scope)
	if err != nil {
		return err
	}
	for _, x := range rows {
		d.Makeup = append(d.Makeup, Makeup{x.Property, x.Value, x.N, x.Escalated})
	}
	return nil
}
