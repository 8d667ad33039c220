package metrics

import (
	"slices"
	"strings"
)

// The values that stand in a key for joined ones.
const (
	// JoinedThin stands for the values whose strata were thin and joined.
	JoinedThin = "(joined)"
	// JoinedAll stands for all values of a dimension.
	JoinedAll = "(all)"
)

// KeyedStratum is a stratum known by a value in each dimension, such as level,
// species and complaint.
type KeyedStratum struct {
	Key             []string
	Present, Absent VerificationCell
}

// thin reports whether a populated remainder has fewer than k followed up.
func (s KeyedStratum) thin(k int64) bool {
	for _, c := range []VerificationCell{s.Present, s.Absent} {
		if c.Unverified > 0 && c.Sampled() < k {
			return true
		}
	}
	return false
}

// CollapseOptions says how strata may be joined.
type CollapseOptions struct {
	// Dimensions name the places of every key.
	Dimensions []string
	// Order lists the dimensions that may be given up, the first to go first. A
	// dimension that is not listed is never given up (the level always stays).
	Order []string
	// MinSampled is how many followed-up episodes each populated cell (stratum
	// and test result with something unverified) should hold; 10 is customary.
	MinSampled int64
}

// Collapsed is the result of CollapseStrata.
type Collapsed struct {
	// Strata are ready for Corrected, named "dimension=value, ...".
	Strata []VerificationStratum
	// Keys are the keys of Strata, with JoinedThin or JoinedAll where a
	// dimension was given up.
	Keys [][]string
	// Before is the number of distinct strata that came in.
	Before int
	// GivenUp says for each dimension of Order how many strata were joined when
	// it was given up.
	GivenUp []int
	// ThinUnverified is how many unverified episodes still sit in cells with
	// fewer than MinSampled followed up, ThinShare the same as a share of all
	// unverified (0 when there are none).
	ThinUnverified int64
	ThinShare      float64
}

// CollapseStrata joins strata until each populated cell holds at least MinSampled
// followed-up episodes, or until only dimensions that must stay are left.
//
// Dimensions are given up in the stated order. For each, strata that agree in all
// dimensions not yet given up form a family. If a family has thin members, these
// are joined with each other; if the joined stratum is still thin, the whole
// family is joined. Members that are rich enough keep their detail. Joining
// assumes that follow-up is unrelated to need across what is joined, which is why
// the order is stated beforehand and not chosen for its result. No episode is
// lost: the cells of all strata keep their sums. Strata with the same key are
// added first. The order of the input does not matter.
//
// Errors wrap ErrArgument: a key of the wrong length, an unknown or repeated
// dimension, a negative count or MinSampled.
func CollapseStrata(strata []KeyedStratum, opt CollapseOptions) (Collapsed, error) {
	order, err := opt.check(strata)
	if err != nil {
		return Collapsed{}, err
	}
	now := gatherStrata(strata)
	out := Collapsed{Before: len(now)}
	given := make([]bool, len(opt.Dimensions))
	for _, d := range order {
		given[d] = true
		before := len(now)
		now = joinFamilies(now, given, opt.MinSampled)
		out.GivenUp = append(out.GivenUp, before-len(now))
	}
	var unverified int64
	for _, s := range now {
		for _, c := range []VerificationCell{s.Present, s.Absent} {
			unverified += c.Unverified
			if c.Sampled() < opt.MinSampled {
				out.ThinUnverified += c.Unverified
			}
		}
		out.Keys = append(out.Keys, s.Key)
		out.Strata = append(out.Strata, VerificationStratum{Name: keyName(opt.Dimensions, s.Key), Present: s.Present, Absent: s.Absent})
	}
	if unverified > 0 {
		out.ThinShare = float64(out.ThinUnverified) / float64(unverified)
	}
	return out, nil
}

// check refuses options and strata that do not fit, and turns Order into places.
func (o CollapseOptions) check(strata []KeyedStratum) ([]int, error) {
	if o.MinSampled < 0 {
		return nil, argErr("MinSampled %d, expected 0 or more", o.MinSampled)
	}
	var order []int
	for _, name := range o.Order {
		d := slices.Index(o.Dimensions, name)
		if d < 0 {
			return nil, argErr("dimension %q is not among %q", name, o.Dimensions)
		}
		if slices.Contains(order, d) {
			return nil, argErr("dimension %q is listed twice", name)
		}
		order = append(order, d)
	}
	for _, s := range strata {
		if len(s.Key) != len(o.Dimensions) {
			return nil, argErr("key %q, expected %d values for %q", s.Key, len(o.Dimensions), o.Dimensions)
		}
		if err := checkStrata([]VerificationStratum{{Name: strings.Join(s.Key, ", "), Present: s.Present, Absent: s.Absent}}); err != nil {
			return nil, err
		}
	}
	return order, nil
}

// gatherStrata adds strata of the same key and sorts them by key.
func gatherStrata(strata []KeyedStratum) []KeyedStratum {
	var out []KeyedStratum
	for _, s := range strata {
		i, found := slices.BinarySearchFunc(out, s.Key, func(a KeyedStratum, key []string) int { return slices.Compare(a.Key, key) })
		if found {
			out[i].Present, out[i].Absent = out[i].Present.Add(s.Present), out[i].Absent.Add(s.Absent)
			continue
		}
		out = slices.Insert(out, i, KeyedStratum{Key: slices.Clone(s.Key), Present: s.Present, Absent: s.Absent})
	}
	return out
}

// joinFamilies joins thin strata within each family, the strata that agree in
// every dimension not given up.
func joinFamilies(strata []KeyedStratum, given []bool, minSampled int64) []KeyedStratum {
	families := map[string][]KeyedStratum{}
	var names []string
	for _, s := range strata {
		var kept []string
		for i, v := range s.Key {
			if !given[i] {
				kept = append(kept, v)
			}
		}
		name := strings.Join(kept, "\x00")
		if _, ok := families[name]; !ok {
			names = append(names, name)
		}
		families[name] = append(families[name], s)
	}
	var out []KeyedStratum
	for _, name := range names {
		out = append(out, joinFamily(families[name], given, minSampled)...)
	}
	return gatherStrata(out)
}

// joinFamily joins the thin members of one family, or all of it.
func joinFamily(family []KeyedStratum, given []bool, minSampled int64) []KeyedStratum {
	var thin, rich []KeyedStratum
	for _, s := range family {
		if s.thin(minSampled) {
			thin = append(thin, s)
		} else {
			rich = append(rich, s)
		}
	}
	if len(thin) == 0 || len(family) == 1 {
		return family
	}
	if joined := joinAll(thin, given, JoinedThin); len(thin) > 1 && !joined.thin(minSampled) {
		return append(rich, joined)
	}
	return []KeyedStratum{joinAll(family, given, JoinedAll)}
}

// joinAll adds strata and marks the dimensions in which they differ among those
// given up.
func joinAll(strata []KeyedStratum, given []bool, mark string) KeyedStratum {
	out := KeyedStratum{Key: slices.Clone(strata[0].Key), Present: strata[0].Present, Absent: strata[0].Absent}
	for _, s := range strata[1:] {
		out.Present, out.Absent = out.Present.Add(s.Present), out.Absent.Add(s.Absent)
		for i := range out.Key {
			if given[i] && s.Key[i] != out.Key[i] {
				out.Key[i] = mark
			}
		}
	}
	return out
}

// keyName writes a key for people.
func keyName(dimensions, key []string) string {
	var b strings.Builder
	for i, d := range dimensions {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(d + "=" + key[i])
	}
	return b.String()
}
