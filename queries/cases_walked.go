package queries

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"hindcheck/pipeline/lanes"
	"hindcheck/queries/walk"
)

// walkedCases are the counts of the cases of some months, each month by itself.
type walkedCases struct {
	months []int
	counts []*walk.Cases
}

// casesOf names what is counted of cases, for the next question about it.
type casesOf struct {
	from, to int
	mature   time.Time
}

// walkCases counts the cases by one pass over the files of each month, kept for the
// next question; nil where the plain questions must be asked.
func (d *DB) walkCases(ctx context.Context, s Scope) (*walkedCases, error) {
	if !d.walks() || len(d.stored["cases"]) == 0 {
		return nil, nil
	}
	d.walkingCases.Lock()
	defer d.walkingCases.Unlock()
	of := casesOf{s.From, s.To, s.MatureBefore.UTC()}
	if w, ok := d.walkedCases[of]; ok {
		return w, nil
	}
	findings := d.walkedFindings()
	counts, err := eachMonth(s, func(s Scope) ([]*walk.Cases, error) {
		c, err := walk.WalkCases(ctx, d.pathsOf("cases", s.From, s.To), findings, len(d.meta.Flags), s.MatureBefore)
		return []*walk.Cases{c}, err
	})
	if err != nil && !errors.Is(err, lanes.ErrUnwalkable) {
		return nil, fmt.Errorf("walk over cases: %w", err)
	}
	var w *walkedCases
	if err == nil {
		w = &walkedCases{monthsOf(s), counts}
	}
	if d.walkedCases == nil {
		d.walkedCases = map[casesOf]*walkedCases{}
	}
	d.walkedCases[of] = w
	return w, nil
}

// walkedFindings are the findings as a walk takes them.
func (d *DB) walkedFindings() []walk.Finding {
	out := make([]walk.Finding, len(d.meta.Findings))
	for i, f := range d.meta.Findings {
		out[i] = walk.Finding{Column: "f_" + f.ID, Flags: make([]uint64, (len(d.meta.Flags)+63)/64)}
		for at, c := range f.Codes {
			if slices.Contains(f.Unreadable, c) {
				out[i].Unreadable = append(out[i].Unreadable, at+1)
			}
		}
	}
	for _, w := range d.flagWords() {
		for i, bits := range d.readers(w) {
			out[i].Flags[w.Word] = bits
		}
	}
	return out
}

// states adds up rows as FindingStates gives them.
func (w *walkedCases) states(findings int) []FindingStatesRow {
	sums := make([][5]FindingStatesRow, findings) // by level, home care to emergency behind none
	for _, m := range w.counts {
		for _, e := range m.Episodes {
			for f := range sums {
				sums[f][e.Level].N += e.N
			}
		}
		for _, v := range m.Values {
			row := &sums[v.Finding][v.Level]
			*[]*int64{&row.StoppedEarly, &row.Declined, &row.NotPossible, &row.NotAsked, &row.Assessed}[min(v.Number, 0)+4] += v.N
		}
	}
	out := []FindingStatesRow{}
	for f := range sums {
		for level, row := range sums[f] {
			if row.N > 0 {
				row.Finding, row.Level = f, int8(level)
				out = append(out, row)
			}
		}
	}
	return out
}

// notAssessed adds up rows as FlagNotAssessed gives them.
func (w *walkedCases) notAssessed() []FlagNotAssessedRow {
	all := []FlagNotAssessedRow{}
	for _, m := range w.counts {
		for _, u := range m.Unknown {
			all = append(all, FlagNotAssessedRow(u))
		}
	}
	return addUp(all, func(a, b FlagNotAssessedRow) int {
		number := map[bool]int{true: 1}
		return cmp.Or(cmp.Compare(a.Flag, b.Flag), cmp.Compare(a.State, b.State), cmp.Compare(a.Level, b.Level), cmp.Compare(a.NeedEmergency, b.NeedEmergency),
			cmp.Compare(a.NeedSameDay, b.NeedSameDay), cmp.Compare(number[a.Mature], number[b.Mature]))
	}, func(into *FlagNotAssessedRow, row FlagNotAssessedRow) { into.N += row.N })
}

// usual adds up rows as UsualChecks gives them.
func (w *walkedCases) usual() []UsualChecksRow {
	all := []UsualChecksRow{}
	for _, m := range w.counts {
		for _, p := range m.Put {
			row := UsualChecksRow{Species: p.Species, Complaint: p.Complaint, Episodes: p.Episodes, Put: make([]int, len(p.Put))}
			for i, n := range p.Put {
				row.Put[i] = int(n)
			}
			all = append(all, row)
		}
	}
	return addUp(all, func(a, b UsualChecksRow) int {
		return cmp.Or(cmp.Compare(a.Species, b.Species), cmp.Compare(a.Complaint, b.Complaint))
	},
		func(into *UsualChecksRow, row UsualChecksRow) {
			into.Episodes += row.Episodes
			for i, n := range row.Put {
				into.Put[i] += n
			}
		})
}

// heaping adds up rows as FindingHeaping gives them.
func (w *walkedCases) heaping(finding int, threshold float64, scale int) []FindingHeapingRow {
	sums := map[string]*FindingHeapingRow{}
	for _, m := range w.counts {
		for _, v := range m.Values {
			if v.Finding != finding || v.Number < 0 {
				continue
			}
			row := sums[v.Species]
			if row == nil {
				row = &FindingHeapingRow{Species: v.Species}
				sums[v.Species] = row
			}
			row.Readings += v.N
			*[]*int64{&row.Below, &row.Exact, &row.Above}[cmp.Compare(float64(v.Number), threshold)+1] += v.N
			if int(v.Number)%scale == 0 {
				row.Whole += v.N
			}
		}
	}
	out := []FindingHeapingRow{}
	for _, row := range sums {
		out = append(out, *row)
	}
	slices.SortFunc(out, func(a, b FindingHeapingRow) int {
		return cmp.Or(cmp.Compare(b.Readings, a.Readings), cmp.Compare(a.Species, b.Species))
	})
	return out
}

// shares lists rows as CodeShares gives them.
func (w *walkedCases) shares(findings []Finding) []CodeSharesRow {
	out := []CodeSharesRow{}
	for i, m := range w.counts {
		add := func(column, code string, n int64) { out = append(out, CodeSharesRow{column, w.months[i], code, n}) }
		for _, e := range m.Episodes {
			add("complaint", e.Complaint, e.N)
			add("species", e.Species, e.N)
			add("level", strconv.Itoa(int(e.Level)), e.N)
		}
		for word, n := range m.Dispositions {
			add("disposition", word, n)
		}
		for _, v := range m.Values {
			if f := findings[v.Finding]; !f.Numeric() && v.Number > 0 {
				add(f.ID, strconv.Itoa(int(v.Number)), v.N)
			}
		}
	}
	return addUp(out, func(a, b CodeSharesRow) int {
		return cmp.Or(cmp.Compare(a.Column, b.Column), cmp.Compare(a.Month, b.Month), cmp.Compare(a.Code, b.Code))
	}, func(into *CodeSharesRow, row CodeSharesRow) { into.N += row.N })
}

// clusters puts the verified episodes together by one of ClusterColumns; nil for a
// kind that a walk does not read.
func (w *walkedCases) clusters(kind string) *walk.Clusters {
	months := make([]*walk.Verified, len(w.counts))
	for i, m := range w.counts {
		months[i] = &m.Verified
	}
	switch kind {
	case "animal":
		return walk.ByAnimal(months)
	case "advisor":
		return walk.ByAdvisor(months)
	case "practice":
		return walk.ByPractice(months)
	}
	return nil
}

// adviceClusters lists rows as AdviceClusters gives them.
func adviceClusters(c *walk.Clusters, cut int) []AdviceClustersRow {
	out := []AdviceClustersRow{}
	for t, n := range c.Advised(cut) {
		out = append(out, AdviceClustersRow{t.Need, t.Episodes, t.Count, n})
	}
	slices.SortFunc(out, func(a, b AdviceClustersRow) int {
		return cmp.Or(cmp.Compare(a.Need, b.Need), cmp.Compare(a.Episodes, b.Episodes), cmp.Compare(a.Escalated, b.Escalated))
	})
	return out
}

// flagClusters lists rows as FlagClusters gives them.
func flagClusters(c *walk.Clusters, cut, flags int) []FlagClustersRow {
	out := []FlagClustersRow{}
	for flag, totals := range c.Flagged(cut, flags) {
		for t, n := range totals {
			out = append(out, FlagClustersRow{flag, t.Need, t.Episodes, t.Count, n})
		}
	}
	slices.SortFunc(out, func(a, b FlagClustersRow) int {
		return cmp.Or(cmp.Compare(a.Flag, b.Flag), cmp.Compare(a.Need, b.Need), cmp.Compare(a.Episodes, b.Episodes), cmp.Compare(a.Present, b.Present))
	})
	return out
}
