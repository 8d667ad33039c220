package replay

import (
	"fmt"
	"slices"

	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// Blind is an effect that history cannot show.
type Blind struct {
	// Kind is never_asked, seldom_asked, verification, stopped_early or conduct.
	Kind string `json:"kind"`
	// Flag is the id of the flag concerned, empty for the change as a whole.
	Flag string `json:"flag,omitempty"`
	Text string `json:"text"`
	// Calls are the calls concerned, of the Of calls that could be.
	Calls int64 `json:"calls"`
	Of    int64 `json:"of"`
}

// seldom is the share of calls below which a question counts as seldom asked.
const seldom = 0.2

func (b *builder) cannotShow(r *Report) error {
	r.CannotShow = []Blind{}
	asked, err := b.asked()
	if err != nil {
		return err
	}
	for _, f := range b.changedFlags() {
		for _, id := range findingsOf(f) {
			if x := asked.of(id); x != nil {
				x.Flag = f.ID
				r.CannotShow = append(r.CannotShow, *x)
			}
		}
	}
	var up, down, stopped, open, all, verified int64
	for i := range b.rows {
		x := &b.rows[i]
		all += x.N
		if x.NewLevel >= sameDay && x.OldLevel < sameDay {
			up += x.N
		}
		if x.OldLevel >= sameDay && x.NewLevel < sameDay {
			down += x.N
			if x.NeedSameDay >= 0 {
				verified += x.N
			}
		}
		if x.OldLevel == emergency && x.NewLevel < emergency {
			stopped += x.N
			if x.NewHigh == emergency {
				open += x.N
			}
		}
	}
	if up > 0 {
		r.CannotShow = append(r.CannotShow, Blind{Kind: "verification", Calls: up, Of: all, Text: "These calls would be sent in. Their outcome is known only where somebody followed up " +
			"or the animal came by itself; once they are sent in, vets see most of them, and the line's figures change although the animals do not."})
	}
	if down > 0 {
		r.CannotShow = append(r.CannotShow, Blind{Kind: "verification", Calls: down, Of: all, Text: fmt.Sprintf("These calls would no longer be sent in. The need of %s of them is known, mostly because they were "+
			"sent in; under the proposal vets would not see them, and what happens to an animal that waits is not recorded anywhere. Follow-up calls to such owners are needed after the change.", whole(verified))})
	}
	if stopped > 0 {
		r.CannotShow = append(r.CannotShow, Blind{Kind: "stopped_early", Calls: stopped, Of: all, Text: fmt.Sprintf("These calls fall from emergency. An advisor stops asking once an emergency sign is found, so that "+
			"other signs may never have been asked for: the missing answers could make %s of them emergencies again.", whole(open))})
	}
	r.CannotShow = append(r.CannotShow, Blind{Kind: "conduct", Of: all, Text: "How advisors and owners act under new rules: whether advisors raise or lower them as before, whether owners follow the advice, and whether they answer a question that has become decisive in the same way."})
	return nil
}

// changedFlags are the flags of the proposal that the old rules do not hold alike.
func (b *builder) changedFlags() []*rules.Flag {
	var out []*rules.Flag
	set := b.opt.Proposed.Set
	for i := range set.Flags {
		f := &set.Flags[i]
		same := slices.ContainsFunc(b.oldSet.Flags, func(o rules.Flag) bool { return o.ID == f.ID && o.Describe() == f.Describe() })
		if !same {
			out = append(out, f)
		}
	}
	return out
}

func findingsOf(f *rules.Flag) []string {
	var out []string
	for i := range f.All {
		if !slices.Contains(out, f.All[i].Finding) {
			out = append(out, f.All[i].Finding)
		}
	}
	return out
}

// asking counts how often each finding was assessed.
type asking struct {
	meta            queries.Meta
	n, has, stopped map[string]int64
}

func (b *builder) asked() (*asking, error) {
	rows, err := b.db.FindingStates(b.ctx, b.scope)
	if err != nil {
		return nil, err
	}
	a := &asking{b.db.Meta(), map[string]int64{}, map[string]int64{}, map[string]int64{}}
	for _, r := range rows {
		id := a.meta.Findings[r.Finding].ID
		a.n[id] += r.N
		a.has[id] += r.Assessed
		a.stopped[id] += r.StoppedEarly
	}
	return a, nil
}

// of says what is wanting about a finding, nil if it was asked often enough.
func (a *asking) of(id string) *Blind {
	switch n, has := a.n[id], a.has[id]; {
	case !slices.ContainsFunc(a.meta.Findings, func(f queries.Finding) bool { return f.ID == id }):
		return &Blind{Kind: "never_asked", Text: "The finding " + id + " is not in the dictionary of the store: nobody was ever asked for it, so the flag is unknown on every call and the replay says nothing of it."}
	case n == 0 || has == 0:
		return &Blind{Kind: "never_asked", Of: n, Text: "The finding " + id + " was assessed in no call of the period: the flag is unknown on every call and the replay says nothing of it."}
	case float64(has) < seldom*float64(n):
		return &Blind{Kind: "seldom_asked", Calls: has, Of: n, Text: "The finding " + id + " was assessed in few calls. A question that becomes decisive is asked more often, and of other animals than before."}
	}
	return nil
}
