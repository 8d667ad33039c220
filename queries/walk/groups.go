package walk

import (
	"fmt"

	"hindcheck/pipeline/lanes"
)

// Group counts episodes by one of Properties and by what was advised and needed.
type Group struct {
	Property, Value                                      string
	Level, LaterLevel, NeedEmergency, NeedSameDay, Route int8
	Mature                                               bool
	N                                                    int64
}

// Properties of an episode that it is counted by, each by itself. Shift is the part of
// the week, and Hours the part of the day.
const (
	Species     = "species"
	Complaint   = "complaint"
	Site        = "site"
	Hours       = "hours"
	Week        = "week"
	Contact     = "contact"
	Sex         = "sex"
	Neutered    = "neutered"
	Shift       = "shift"
	Independent = "independent"
	Source      = "source"
)

// grouper counts episodes by properties.
type grouper struct {
	site, sex, neutered *lanes.Vocabulary
	counts              [11]counter // a property each, in the order below
}

var properties = [11]string{Species, Complaint, Site, Hours, Week, Contact, Sex, Neutered, Shift, Independent, Source}

// The values of the properties that are worked out.
var (
	hourValues        = []string{"", "day", "evening", "night"}
	weekValues        = []string{"", "weekday", "weekend"}
	contactValues     = []string{"one_contact", "several_contacts"}
	shiftValues       = []string{"", "weekday, 8 to 19 h", "weekday night", "weekend"}
	independentValues = []string{"unknown", "no", "yes"}
	sourceValues      = []string{"", "vet", "owner_follow_up", "panel"}
)

// routes are none, an advised visit, the owner's own decision, a call-back, an audit.
const routes = 5

// combinations of levels, needs, route and maturity.
const combinations = levels * levels * needs * needs * routes * 2

// groupRows are the further columns of a file.
type groupRows struct {
	site, sex, neutered                                 lanes.Words
	hour, weekday, contacts, later, independent, source *lanes.Lane[int32]
}

func (g *grouper) begin() {
	for _, v := range []**lanes.Vocabulary{&g.site, &g.sex, &g.neutered} {
		*v = lanes.NewVocabulary()
		(*v).Number("") // not recorded
	}
}

func (g *grouper) open(r *lanes.Reader) groupRows {
	word := func(name string, v *lanes.Vocabulary) lanes.Words { return lanes.ReadWords(r, name, v.Number) }
	return groupRows{site: word("site", g.site), sex: word("sex", g.sex), neutered: word("neutered", g.neutered), hour: lanes.Whole(r, "local_hour"), weekday: lanes.Whole(r, "weekday"),
		contacts: lanes.Whole(r, "contacts"), later: lanes.Whole(r, "later_level"), independent: lanes.Whole(r, "independent"), source: lanes.Whole(r, "outcome_source")}
}

// add counts row i, of which level and needs are known; needs are counted from 0.
func (g *grouper) add(r *caseRows, i int, species, complaint, level, emergency, sameDay, mature int32) error {
	later, route := r.later.Values[i], r.route.Values[i]
	if !r.later.Valid[i] || !r.route.Valid[i] || later < 0 || later >= levels || route < 0 || route >= routes {
		return fmt.Errorf("later level %d, route %d", later, route)
	}
	at := int(((((level*levels+later)*needs+emergency)*needs+sameDay)*routes+route)*2 + mature)
	for p, value := range [...]int32{species, complaint, max(r.site.At(i), 0), r.hourOf(i), r.weekOf(i), r.contactOf(i), max(r.sex.At(i), 0), max(r.neutered.At(i), 0),
		r.shiftOf(i), r.independentOf(i), r.sourceOf(i)} {
		place := int(value)*combinations + at
		if place >= len(g.counts[p]) {
			g.counts[p] = append(g.counts[p], make([]int64, (int(value)+1)*combinations-len(g.counts[p]))...)
		}
		g.counts[p][place]++
	}
	return nil
}

func (r *groupRows) hourOf(i int) int32 {
	switch h := r.hour.Values[i]; {
	case !r.hour.Valid[i]:
		return 0
	case h >= 8 && h <= 17:
		return 1
	case h >= 18 && h <= 22:
		return 2
	}
	return 3
}

func (r *groupRows) weekOf(i int) int32 {
	switch {
	case !r.weekday.Valid[i]:
		return 0
	case r.weekday.Values[i] >= 6:
		return 2
	}
	return 1
}

func (r *groupRows) contactOf(i int) int32 {
	return int32(bit(r.contacts.Valid[i] && r.contacts.Values[i] > 1))
}

func (r *groupRows) shiftOf(i int) int32 {
	switch h := r.hour.Values[i]; {
	case !r.hour.Valid[i]:
		return 0
	case r.weekOf(i) == 2:
		return 3
	case h >= 8 && h <= 18:
		return 1
	}
	return 2
}

func (r *groupRows) independentOf(i int) int32 {
	if v := r.independent.Values[i]; r.independent.Valid[i] && (v == 0 || v == 1) {
		return v + 1
	}
	return 0
}

func (r *groupRows) sourceOf(i int) int32 {
	if v := r.source.Values[i]; r.source.Valid[i] && v >= 1 && v <= 3 {
		return v
	}
	return 0
}

// rows lists what was counted.
func (g *grouper) rows(species, complaints *lanes.Vocabulary) (out []Group) {
	values := [...][]string{species.All, complaints.All, g.site.All, hourValues, weekValues, contactValues, g.sex.All, g.neutered.All, shiftValues, independentValues, sourceValues}
	for p, counts := range g.counts {
		for i, n := range counts {
			if n == 0 {
				continue
			}
			row := Group{Property: properties[p], Value: values[p][i/combinations], Mature: i%2 == 1, N: n}
			c := i % combinations / 2
			row.Route, c = int8(c%routes), c/routes
			row.NeedSameDay, c = int8(c%needs)-1, c/needs
			row.NeedEmergency, c = int8(c%needs)-1, c/needs
			row.LaterLevel, row.Level = int8(c%levels), int8(c/levels)
			out = append(out, row)
		}
	}
	return out
}
