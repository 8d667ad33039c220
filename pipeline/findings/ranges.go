package findings

import (
	"maps"
	"slices"
)

// SpeciesRange is a range of one numeric finding for one species, or for
// AnySpecies.
type SpeciesRange struct {
	Finding *Finding
	Species string
	Range
}

// UsualRanges lists the ranges of well animals, in the order of the findings
// and species.
func (d *Dictionary) UsualRanges() []SpeciesRange {
	return d.ranges(func(f *Finding) map[string]Range { return f.Usual })
}

// HardRanges lists the ranges outside which a reading is set aside.
func (d *Dictionary) HardRanges() []SpeciesRange {
	return d.ranges(func(f *Finding) map[string]Range { return f.Hard })
}

func (d *Dictionary) ranges(of func(*Finding) map[string]Range) (out []SpeciesRange) {
	for i := range d.Findings {
		f := &d.Findings[i]
		by := of(f)
		for _, species := range slices.Sorted(maps.Keys(by)) {
			out = append(out, SpeciesRange{f, species, by[species]})
		}
	}
	return out
}
