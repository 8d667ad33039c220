package metrics

import "math"

// EquivalenceClass is the records of a table that agree in every
// quasi-identifier: what an outsider may know beforehand cannot tell them apart.
type EquivalenceClass struct {
	// Records in the class, 1 or more.
	Records int64
	// Units are the distinct persons, animals or other protected units among
	// them; 0 means that every record is a unit of its own.
	Units int64
	// Sensitive counts the records by the value of a sensitive property, in
	// one fixed order for all classes; nil leaves diversity unmeasured.
	Sensitive []int64
}

// units is how many protected units stand behind the class.
func (c EquivalenceClass) units() int64 {
	if c.Units > 0 {
		return c.Units
	}
	return c.Records
}

// AnonymityRisk says how far the records of a table can be told apart.
type AnonymityRisk struct {
	Records, Classes int64
	// K is the number of units in the smallest class; 0 if there are no records.
	K int64
	// Singletons are the records of classes with one unit only.
	Singletons int64
	// MaxRisk is 1/K: the chance that somebody who knows that a person is in
	// the table, and the person's quasi-identifiers, picks the right record of
	// the smallest class (prosecutor risk). MeanRisk is the same averaged over
	// the records: with one record a unit, classes / records.
	MaxRisk, MeanRisk float64
	// DistinctL is the fewest sensitive values in a class; EntropyL is exp of
	// the smallest entropy (natural logarithm) of a class, at most DistinctL.
	// Both are 0 where no class gives sensitive counts.
	DistinctL int64
	EntropyL  float64
	// TEqual is the largest total variation distance, 0 to 1, between the
	// sensitive values of a class and those of the table, all values being
	// equally far from each other.
	TEqual float64
}

// Anonymity measures k-anonymity, l-diversity and t-closeness and the risk of
// re-identification, from counts by equivalence class. A table without records
// has no risk: all is 0. It returns ErrArgument for a class without records,
// more units than records, or sensitive counts that are negative, of different
// length or do not sum to the records.
//
// Source: Sweeney (2002) Int J Uncertain Fuzz 10:557-570 (k); Machanavajjhala
// et al. (2007) ACM Trans Knowl Discov Data 1:3 (distinct and entropy l); Li et
// al. (2007) IEEE ICDE 106-115 (t); El Emam and Dankar (2008) J Am Med Inform
// Assoc 15:627-637 (prosecutor risk).
func Anonymity(classes []EquivalenceClass) (AnonymityRisk, error) {
	var r AnonymityRisk
	overall, err := sensitiveTotals(classes)
	if err != nil || len(classes) == 0 {
		return r, err
	}
	r.Classes, r.K = int64(len(classes)), math.MaxInt64
	weighted := 0.0
	for _, c := range classes {
		r.Records += c.Records
		r.K = min(r.K, c.units())
		if c.units() == 1 {
			r.Singletons += c.Records
		}
		weighted += float64(c.Records) / float64(c.units())
	}
	r.MaxRisk, r.MeanRisk = 1/float64(r.K), weighted/float64(r.Records)
	if len(overall) == 0 {
		return r, nil
	}
	r.DistinctL = math.MaxInt64
	entropy := math.Inf(1)
	for _, c := range classes {
		distinct, h := diversity(c)
		r.DistinctL, entropy = min(r.DistinctL, distinct), min(entropy, h)
		r.TEqual = max(r.TEqual, totalVariation(c.Sensitive, overall, r.Records))
	}
	r.EntropyL = math.Exp(entropy)
	return r, nil
}

// RecordsBelow counts the records of classes with fewer than k units.
func RecordsBelow(classes []EquivalenceClass, k int64) int64 {
	n := int64(0)
	for _, c := range classes {
		if c.units() < k {
			n += c.Records
		}
	}
	return n
}

// sensitiveTotals checks the classes and sums their sensitive values.
func sensitiveTotals(classes []EquivalenceClass) ([]int64, error) {
	var total []int64
	for i, c := range classes {
		if c.Records <= 0 || c.Units < 0 || c.Units > c.Records {
			return nil, argErr("class %d: expected 1 record or more and at most as many units, found %d and %d", i, c.Records, c.Units)
		}
		if i == 0 {
			total = make([]int64, len(c.Sensitive))
		}
		if len(c.Sensitive) != len(total) {
			return nil, argErr("class %d: expected %d sensitive counts, found %d", i, len(total), len(c.Sensitive))
		}
		sum := int64(0)
		for j, n := range c.Sensitive {
			if n < 0 {
				return nil, argErr("class %d: a sensitive count is negative (%d)", i, n)
			}
			total[j] += n
			sum += n
		}
		if len(total) > 0 && sum != c.Records {
			return nil, argErr("class %d: sensitive counts sum to %d, expected its %d records", i, sum, c.Records)
		}
	}
	return total, nil
}

// diversity is the number of sensitive values of a class and their entropy.
func diversity(c EquivalenceClass) (distinct int64, entropy float64) {
	for _, n := range c.Sensitive {
		if n > 0 {
			distinct++
			p := float64(n) / float64(c.Records)
			entropy -= p * math.Log(p)
		}
	}
	return distinct, max(entropy, 0)
}

func totalVariation(class, all []int64, records int64) float64 {
	n := int64(0)
	for _, x := range class {
		n += x
	}
	d := 0.0
	for i, x := range class {
		d += math.Abs(float64(x)/float64(n) - float64(all[i])/float64(records))
	}
	return d / 2
}

// OrderedDistance is the earth mover's distance, 0 to 1, between the values of
// a class and those of all records, where the values are ordered and
// neighbours are 1/(m-1) apart: t-closeness of an ordered property such as a
// level. class and all count records by value, in order. With one value there
// is no distance. It returns ErrArgument for lists of different length, a
// negative count, or a list that sums to 0.
//
// Source: Li et al. (2007) IEEE ICDE 106-115, equation for the ordered distance.
func OrderedDistance(class, all []int64) (float64, error) {
	if len(class) != len(all) {
		return 0, argErr("expected as many values in the class as in all, found %d and %d", len(class), len(all))
	}
	var n, total int64
	for i := range class {
		if class[i] < 0 || all[i] < 0 {
			return 0, argErr("value %d: a count is negative", i)
		}
		n, total = n+class[i], total+all[i]
	}
	if n == 0 || total == 0 {
		return 0, argErr("expected records in the class and in all, found %d and %d", n, total)
	}
	if len(class) == 1 {
		return 0, nil
	}
	moved, carried := 0.0, 0.0
	for i := range class {
		carried += float64(class[i])/float64(n) - float64(all[i])/float64(total)
		moved += math.Abs(carried)
	}
	return moved / float64(len(class)-1), nil
}

// JournalistRisk is the greatest chance that somebody who holds a register of
// everybody, but does not know who of them is in the table, picks the right
// record: 1 over the smallest number of people in the register who fit a class.
// register counts them, one number a class of the table, each at least 1. No
// classes have no risk.
//
// Source: El Emam and Dankar (2008) J Am Med Inform Assoc 15:627-637.
func JournalistRisk(register []int64) (float64, error) {
	risk := 0.0
	for i, n := range register {
		if n < 1 {
			return 0, argErr("class %d: expected 1 or more people in the register, found %d", i, n)
		}
		risk = max(risk, 1/float64(n))
	}
	return risk, nil
}
