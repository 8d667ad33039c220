package queries

import (
	"cmp"
	"slices"

	"hindcheck/queries/walk"
)

// adviceGroups adds up rows as AdviceGroups gives them.
func (w *walkedCases) adviceGroups() []AdviceGroupsRow {
	sums := map[AdviceGroupsRow]int64{}
	for _, m := range w.counts {
		for _, g := range m.Groups {
			switch g.Property {
			case walk.Species, walk.Complaint, walk.Site, walk.Hours, walk.Week, walk.Contact:
				if g.Mature {
					sums[AdviceGroupsRow{g.Property, g.Value, g.Level, g.LaterLevel, g.NeedEmergency, g.NeedSameDay, g.Route, 0}] += g.N
				}
			}
		}
	}
	out := make([]AdviceGroupsRow, 0, len(sums))
	for row, n := range sums {
		row.N = n
		out = append(out, row)
	}
	slices.SortFunc(out, func(a, b AdviceGroupsRow) int {
		return cmp.Or(cmp.Compare(a.Property, b.Property), cmp.Compare(a.Value, b.Value), cmp.Compare(a.Level, b.Level), cmp.Compare(a.LaterLevel, b.LaterLevel),
			cmp.Compare(a.NeedEmergency, b.NeedEmergency), cmp.Compare(a.NeedSameDay, b.NeedSameDay), cmp.Compare(a.Route, b.Route))
	})
	return out
}

// subgroups adds up rows as Subgroups gives them.
func (w *walkedCases) subgroups() []SubgroupsRow {
	sums := map[[2]string]SubgroupsRow{}
	for _, m := range w.counts {
		for _, g := range m.Groups {
			name := g.Property
			switch name {
			case walk.Hours, walk.Week, walk.Contact:
				continue
			case walk.Shift:
				name = "hours" // as readers know it
			}
			row := sums[[2]string{name, g.Value}]
			row.Property, row.Value, row.N = name, g.Value, row.N+g.N
			if g.Level >= 3 {
				row.Escalated += g.N
			}
			sums[[2]string{name, g.Value}] = row
		}
	}
	out := make([]SubgroupsRow, 0, len(sums))
	for _, row := range sums {
		out = append(out, row)
	}
	slices.SortFunc(out, func(a, b SubgroupsRow) int {
		return cmp.Or(cmp.Compare(a.Property, b.Property), cmp.Compare(b.N, a.N), cmp.Compare(a.Value, b.Value))
	})
	return out
}
