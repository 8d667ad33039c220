package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// CheckGroup says what became of the checks of one species or way of handling.
// Only checks that have a record are counted, and the vet's own are left out.
type CheckGroup struct {
	// Value is the species or the handling; empty if it is not recorded.
	Value string `json:"value"`
	// Done is of those tried: done, not possible or declined.
	Done        Figure `json:"done"`
	NotPossible int64  `json:"not_possible"`
	Declined    int64  `json:"declined"`
	NotAsked    int64  `json:"not_asked"`
}

// CheckReason counts why checks were not done.
type CheckReason struct {
	// State is not_possible, declined or not_asked; Reason is empty if none was
	// stated.
	State  string `json:"state"`
	Reason string `json:"reason"`
	N      int64  `json:"n"`
	// Species splits N, in the order of CheckSplit.Species.
	Species []int64 `json:"by_species"`
}

// CheckSplit splits all checks that have a record.
type CheckSplit struct {
	BySpecies  []CheckGroup  `json:"by_species"`
	ByHandling []CheckGroup  `json:"by_handling"`
	Species    []string      `json:"species"`
	Reasons    []CheckReason `json:"reasons"`
}

// fillCheckSplit counts checks by species, by handling and by reason.
func (b *builder) fillCheckSplit(r *Review) error {
	rows, err := b.db.CheckHandling(b.ctx, b.scope)
	if err != nil {
		return err
	}
	c := &r.Checks
	c.Species, c.Reasons = []string{}, []CheckReason{}
	for _, x := range rows {
		if !slices.Contains(c.Species, x.Species) {
			c.Species = append(c.Species, x.Species)
		}
	}
	slices.Sort(c.Species)
	if c.BySpecies, err = b.checkGroups(rows, func(x queries.CheckHandlingRow) string { return x.Species }); err != nil {
		return err
	}
	if c.ByHandling, err = b.checkGroups(rows, func(x queries.CheckHandlingRow) string { return x.Handling }); err != nil {
		return err
	}
	place := map[[2]string]int{}
	for _, x := range rows {
		if x.State == "done" {
			continue
		}
		key := [2]string{x.State, x.Reason}
		if _, ok := place[key]; !ok {
			place[key] = len(c.Reasons)
			c.Reasons = append(c.Reasons, CheckReason{State: x.State, Reason: x.Reason, Species: make([]int64, len(c.Species))})
		}
		one := &c.Reasons[place[key]]
		one.N += x.N
		one.Species[slices.Index(c.Species, x.Species)] += x.N
	}
	slices.SortFunc(c.Reasons, func(a, b CheckReason) int {
		return cmp.Or(strings.Compare(a.State, b.State), cmp.Compare(b.N, a.N), strings.Compare(a.Reason, b.Reason))
	})
	return nil
}

// checkGroups counts checks by one property, in the order of its values.
func (b *builder) checkGroups(rows []queries.CheckHandlingRow, of func(queries.CheckHandlingRow) string) ([]CheckGroup, error) {
	out, done, place := []CheckGroup{}, map[string]int64{}, map[string]int{}
	for _, x := range rows {
		v := of(x)
		if _, ok := place[v]; !ok {
			place[v] = len(out)
			out = append(out, CheckGroup{Value: v})
		}
		switch g := &out[place[v]]; x.State {
		case "done":
			done[v] += x.N
		case "not_possible":
			g.NotPossible += x.N
		case "declined":
			g.Declined += x.N
		default:
			g.NotAsked += x.N
		}
	}
	for i := range out {
		g := &out[i]
		e, err := metrics.Wilson(done[g.Value], done[g.Value]+g.NotPossible+g.Declined, b.opt.Confidence)
		if err != nil {
			return nil, err
		}
		g.Done = figure(e)
	}
	slices.SortFunc(out, func(a, b CheckGroup) int { return strings.Compare(a.Value, b.Value) })
	return out, nil
}

// Answer says what the answers to one check cost and brought.
type Answer struct {
	Finding string `json:"finding"`
	Label   string `json:"label"`
	// Asked counts first contacts in which the check was done, tried or
	// declined; Timed those whose beginning and end are on record.
	Asked int64 `json:"asked"`
	Timed int64 `json:"timed"`
	// Seconds is the mean time of one such check.
	Seconds *float64 `json:"seconds,omitempty"`
	// Decided are episodes in which a flag that reads this check fired, demanded
	// at least the level then given, and no flag that does not read it did.
	Decided int64 `json:"decided"`
	// Each is the seconds spent on asking for every answer that decided.
	Each Figure `json:"seconds_each"`
}

// answersText defines the figure in words.
const answersText = "A check lasts from its question to the next one, the last to the end of the call. Its answer decided the advice where a flag that reads it fired, " +
	"that flag demanded at least the level which was then given, and no flag that does not read it demanded as much. " +
	"Seconds for each deciding answer are the mean time of the check, times all who were asked, over the answers that decided."

// minTimedShare is the share of the checks asked whose time must be on record
// before their mean stands for all.
const minTimedShare = 0.5

func (b *builder) fillAnswers(r *Review) error {
	r.Answers, r.AnswersText = []Answer{}, answersText
	seconds, err := b.db.CheckSeconds(b.ctx, b.scope)
	if err != nil {
		return err
	}
	patterns, err := b.flagPatterns()
	if err != nil {
		return err
	}
	meta := b.db.Meta()
	decided := decidedBy(patterns, meta)
	for i, f := range meta.Findings {
		at := slices.IndexFunc(seconds, func(x queries.CheckSecondsRow) bool { return x.Finding == f.ID })
		if at < 0 {
			continue
		}
		x := seconds[at]
		a := Answer{Finding: f.ID, Label: f.Label, Asked: x.Asked, Timed: x.Timed, Decided: decided[i]}
		if err := b.costOf(&a, x.Seconds); err != nil {
			return fmt.Errorf("%s: %w", f.ID, err)
		}
		r.Answers = append(r.Answers, a)
	}
	return nil
}

func (b *builder) costOf(a *Answer, total float64) error {
	if a.Timed == 0 || float64(a.Timed) < minTimedShare*float64(a.Asked) {
		a.Each = Figure{Conf: b.opt.Confidence, NotEstimable: fmt.Sprintf("of %s, the beginning and end of %s on record",
			plural(a.Asked, "check", "checks"), plural(a.Timed, "one are", "are"))}
		return nil
	}
	mean := total / float64(a.Timed)
	a.Seconds = &mean
	// Whoever was asked spent the mean; an episode may ask twice, so decisions
	// cannot be more than questions.
	e, err := metrics.CostPerEvent(mean*float64(a.Asked), min(a.Decided, a.Asked), a.Asked, b.opt.Confidence)
	a.Each = figure(e)
	return err
}

// decidedBy counts for each finding the episodes whose advice its answer
// decided.
func decidedBy(rows []queries.FlagPatternsRow, meta queries.Meta) []int64 {
	out := make([]int64, len(meta.Findings))
	for _, x := range rows {
		if x.Level <= homeCare {
			continue // nothing demands home care
		}
		var demanding []queries.Flag
		for _, flag := range x.Fired {
			if f := meta.Flags[flag]; f.Level >= x.Level {
				demanding = append(demanding, f)
			}
		}
		if len(demanding) == 0 {
			continue
		}
		for i, f := range meta.Findings {
			if !slices.ContainsFunc(demanding, func(d queries.Flag) bool { return !slices.Contains(d.Findings, f.ID) }) {
				out[i] += x.N
			}
		}
	}
	return out
}
