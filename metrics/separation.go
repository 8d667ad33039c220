package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// separatedTerms names the terms whose ordinary estimates are infinite, or
// nothing where the outcomes overlap.
//
// Write z for a pattern's row, negated for its failures. By Stiemke's theorem
// the outcomes overlap exactly when positive weights make the z add up to 0;
// otherwise some direction has z.b >= 0 for all rows and > 0 for one, and the
// likelihood rises along it for ever. With weights 1 + mu the question is
// whether sum mu z = -sum z has a solution mu >= 0: non-negative least squares,
// whose remainder is such a direction when there is none. Rows that a direction
// separates strictly are then dropped and the rest asked again, as further
// terms may separate among them.
//
// Source: Albert & Anderson (1984) Biometrika 71:1-10; Clarkson & Jennrich
// (1991) J R Stat Soc B 53:417-426 for repeating the question.
func (d *logitDesign) separatedTerms(terms []string) []string {
	var rows [][]float64
	for i, row := range d.x {
		if d.s[i] > 0 {
			rows = append(rows, row)
		}
		if d.s[i] < d.n[i] {
			neg := make([]float64, len(row))
			floats.ScaleTo(neg, -1, row)
			rows = append(rows, neg)
		}
	}
	infinite := make([]bool, len(terms))
	for range terms { // each round settles at least one dimension
		dir := separatingDirection(rows)
		if dir == nil {
			break
		}
		largest := floats.Norm(dir, math.Inf(1))
		for j, v := range dir {
			if math.Abs(v) > 1e-6*largest {
				infinite[j] = true
			}
		}
		var rest [][]float64
		for _, row := range rows {
			if floats.Dot(row, dir) <= 1e-7*largest {
				rest = append(rest, row)
			}
		}
		rows = rest
	}
	var names []string
	for j, yes := range infinite {
		if yes {
			names = append(names, terms[j])
		}
	}
	return names
}

// separatingDirection returns b with row.b >= 0 for all rows and > 0 for some,
// or nil.
func separatingDirection(rows [][]float64) []float64 {
	if len(rows) == 0 {
		return nil
	}
	target := make([]float64, len(rows[0]))
	size := 0.0
	for _, row := range rows {
		floats.Sub(target, row)
		size += floats.Norm(row, 2)
	}
	rest := nonNegativeRemainder(rows, target)
	if floats.Norm(rest, 2) <= 1e-9*size {
		return nil
	}
	floats.Scale(-1, rest)
	return rest
}

// nonNegativeRemainder returns what is left of target after the best fit by
// non-negative multiples of the rows.
//
// Source: Lawson & Hanson, Solving Least Squares Problems, 1974, chapter 23.
func nonNegativeRemainder(rows [][]float64, target []float64) []float64 {
	mu := make([]float64, len(rows))
	var active []int
	rest := append([]float64(nil), target...)
	for range 3 * (len(rows) + 10) {
		next, gain := -1, 1e-10*floats.Norm(target, 2)
		for i, row := range rows {
			if mu[i] == 0 && !slices.Contains(active, i) {
				if g := floats.Dot(row, rest); g > gain {
					next, gain = i, g
				}
			}
		}
		if next < 0 {
			return rest
		}
		active = append(active, next)
		active = settleActive(rows, target, mu, active)
		copy(rest, target)
		for _, i := range active {
			floats.AddScaled(rest, -mu[i], rows[i])
		}
	}
	return rest
}

// settleActive solves for the weights of the active rows and drops rows whose
// weight would turn negative on the way there.
func settleActive(rows [][]float64, target, mu []float64, active []int) []int {
	for len(active) > 0 {
		w, ok := activeWeights(rows, target, active)
		if !ok {
			// The newest row depends on the others; leave it out.
			mu[active[len(active)-1]] = 0
			return active[:len(active)-1]
		}
		step := 1.0
		for i, at := range active {
			if w[i] <= 0 {
				step = math.Min(step, mu[at]/(mu[at]-w[i]))
			}
		}
		var kept []int
		for i, at := range active {
			mu[at] += step * (w[i] - mu[at])
			if mu[at] > 1e-14 || step == 1 {
				kept = append(kept, at)
			} else {
				mu[at] = 0
			}
		}
		active = kept
		if step == 1 {
			break
		}
	}
	return active
}

// activeWeights is the least-squares fit of target by the active rows.
func activeWeights(rows [][]float64, target []float64, active []int) ([]float64, bool) {
	a := mat.NewDense(len(target), len(active), nil)
	for j, at := range active {
		a.SetCol(j, rows[at])
	}
	if len(active) > len(target) {
		return nil, false
	}
	var qr mat.QR
	qr.Factorize(a)
	var w mat.VecDense
	if err := qr.SolveVecTo(&w, false, mat.NewVecDense(len(target), append([]float64(nil), target...))); err != nil {
		return nil, false
	}
	return w.RawVector().Data, true
}
