package privacy

import (
	"hindcheck/pipeline/strict"
)

// Coarsening says how coarsely ages, weights and times are kept. The zero value
// keeps them as the exports have them.
type Coarsening struct {
	// ID names the file, for a reader who must know what was coarsened.
	ID string
	// AgeMonths is the step of ages: 12 keeps completed years.
	AgeMonths int
	// WeightKg is the width of the bands of weights; the middle of the band is kept.
	WeightKg float64
	// Minutes is the step of all times, cut downwards: it divides 60, so that
	// windows of hours move by less than one step and what came first stays first.
	Minutes int
}

// ParseCoarsening reads a privacy file; file is its name in messages:
//
//	privacy: our_line_1
//	age_months: 12
//	weight_kg: 5
//	minutes: 60
//
// Each step may be left out. The error is strict.Problems with every mistake.
func ParseCoarsening(file string, data []byte) (Coarsening, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("privacy", "age_months", "weight_kg", "minutes")
	c := Coarsening{ID: m.Need("privacy").ID()}
	if n := m.Get("age_months"); n.Exists() {
		c.AgeMonths = n.Int(1, 60)
	}
	if n := m.Get("weight_kg"); n.Exists() {
		if kg, text := n.Number(); text != "" && (kg <= 0 || kg > 100) {
			n.Fail("a width of bands above 0 and up to 100 kg", text, "write one such as 5")
		} else {
			c.WeightKg = kg
		}
	}
	if n := m.Get("minutes"); n.Exists() {
		c.Minutes = n.Int(1, 60)
		if c.Minutes > 0 && 60%c.Minutes != 0 {
			n.Fail("a step that divides an hour, up to 60", "another", "write 5, 10, 15, 20, 30 or 60; whole days would undo the windows in which contacts form an episode")
		}
	}
	if err := doc.Err(); err != nil {
		return Coarsening{}, err
	}
	return c, nil
}
