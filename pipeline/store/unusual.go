package store

import (
	"cmp"
	"slices"
)

// Unusual counts the readings of one finding of one species that a load
// brought, and those outside the usual range of well animals. Nothing is done
// to them.
type Unusual struct {
	Finding  string `json:"finding"`
	Species  string `json:"species"`
	Readings int64  `json:"readings"`
	Below    int64  `json:"below"`
	Above    int64  `json:"above"`
}

// AddUnusual adds counts to a list in the order of finding and species.
func AddUnusual(list []Unusual, more ...Unusual) []Unusual {
	for _, u := range more {
		at, ok := slices.BinarySearchFunc(list, u, func(a, b Unusual) int {
			return cmp.Or(cmp.Compare(a.Finding, b.Finding), cmp.Compare(a.Species, b.Species))
		})
		if !ok {
			list = slices.Insert(list, at, Unusual{Finding: u.Finding, Species: u.Species})
		}
		list[at].Readings += u.Readings
		list[at].Below += u.Below
		list[at].Above += u.Above
	}
	return list
}
