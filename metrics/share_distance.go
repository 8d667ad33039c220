package metrics

// ShareDistance says how far two sets of shares of the same categories lie
// apart, such as the complaints of two months.
type ShareDistance struct {
	// Distance is half the sum of (p - q)^2 / (p + q) over the categories: 0 for
	// equal shares, 1 where no category occurs in both.
	Distance float64
	// Test asks whether chance alone explains it (Pearson's test of
	// homogeneity). With thousands of calls it marks differences of no
	// importance, so read it with the distance.
	Test ChiSquare
	// Largest is the category whose share moved most, -1 if there is none.
	Largest int
	// Shift is how much that share moved, second minus first.
	Shift float64
	// SmallestExpected is the least count expected in any cell if nothing
	// differed; below 5 the test is rough.
	SmallestExpected float64
	// NotEstimable is empty, or says why there is no distance.
	NotEstimable string
}

// DistanceOfShares compares two rows of counts by category, the first the one
// compared with. Categories that occur in neither are left out of the test.
//
// A row without counts is reported in NotEstimable. Rows of unequal length or
// negative counts are ErrArgument.
//
// The distance is also called the triangular or symmetric chi-square distance.
// Source: Pearson (1900) Phil Mag 50:157-175 for the test; Le Cam, Asymptotic
// Methods in Statistical Decision Theory, 1986, for the distance (from memory).
func DistanceOfShares(first, second []int64) (ShareDistance, error) {
	out := ShareDistance{Largest: -1}
	if len(first) != len(second) {
		return out, argErr("%d and %d categories, expected the same", len(first), len(second))
	}
	var n1, n2 float64
	for i := range first {
		if first[i] < 0 || second[i] < 0 {
			return out, argErr("category %d: counts %d and %d, expected 0 or more", i, first[i], second[i])
		}
		n1, n2 = n1+float64(first[i]), n2+float64(second[i])
	}
	if n1 == 0 || n2 == 0 {
		out.NotEstimable = "there is nothing to compare: one of the two has no counts"
		return out, nil
	}
	statistic, df := 0.0, -1
	for i := range first {
		a, b := float64(first[i]), float64(second[i])
		if a+b == 0 {
			continue
		}
		p, q := a/n1, b/n2
		out.Distance += (p - q) * (p - q) / (p + q) / 2
		if d := q - p; out.Largest < 0 || d*d > out.Shift*out.Shift {
			out.Largest, out.Shift = i, d
		}
		e1, e2 := (a+b)*n1/(n1+n2), (a+b)*n2/(n1+n2)
		statistic += (a-e1)*(a-e1)/e1 + (b-e2)*(b-e2)/e2
		if least := min(e1, e2); df < 0 || least < out.SmallestExpected {
			out.SmallestExpected = least
		}
		df++
	}
	if df < 1 {
		out.Test.NotEstimable = "there is one category only"
		return out, nil
	}
	out.Test = chiSquare(statistic, df)
	return out, nil
}
