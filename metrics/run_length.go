package metrics

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// RunLength is how long a chart runs on average until it signals, if the true
// value stays what it is from the first point on.
type RunLength struct {
	// Points is the mean number of points.
	Points float64
	// NotEstimable is empty, or says why there is no finite number.
	NotEstimable string
}

func runLength(points float64) RunLength {
	if !(points >= 1) || points > 1e12 {
		return RunLength{NotEstimable: "the chart practically never signals"}
	}
	return RunLength{Points: points}
}

// ShewhartRunLength is the mean run length of a chart whose points signal
// beyond centre +- width standard deviations only, for a normal value that has
// shifted by shift standard deviations. Width must be above 0, both finite.
//
// Source: 1 / P(signal); 370 for 3 sigma without shift is common knowledge.
func ShewhartRunLength(width, shift float64) (RunLength, error) {
	if err := checkRunLength("width", width, shift); err != nil {
		return RunLength{}, err
	}
	z := distuv.UnitNormal
	return runLength(1 / (z.Survival(width-shift) + z.CDF(-width-shift))), nil
}

// CusumRunLength is the mean run length of Cusum in both directions for normal
// values: allowance and limit in standard deviations, shift of the mean in
// standard deviations. One side is solved as an integral equation at the nodes
// of a Gauss-Legendre rule; 1 / both = 1 / upper + 1 / lower, exact for an
// allowance above 0 without head start. Values out of range are ErrArgument.
//
// Source: Page (1954) Biometrika 41:100-115; van Dobben de Bruyn (1968)
// Cumulative Sum Tests.
func CusumRunLength(allowance, limit, shift float64) (RunLength, error) {
	if err := checkRunLength("limit", limit, shift); err != nil {
		return RunLength{}, err
	}
	if !(allowance > 0) || math.IsInf(allowance, 0) {
		return RunLength{}, argErr("allowance %v, expected a finite number above 0", allowance)
	}
	side := func(shift float64) float64 {
		z := distuv.UnitNormal
		nodes, weights := legendreNodes(0, limit)
		return solveRunLength(append([]float64{0}, nodes...), func(from, to int) float64 {
			s := append([]float64{0}, nodes...)[from]
			if to == 0 { // the atom at 0
				return z.CDF(allowance - s - shift)
			}
			return weights[to-1] * z.Prob(nodes[to-1]-s+allowance-shift)
		})[0]
	}
	up, down := side(shift), side(-shift)
	if !(up > 0 && down > 0) {
		return runLength(math.NaN()), nil
	}
	return runLength(1 / (1/up + 1/down)), nil
}

// EWMARunLength is the mean run length of EWMA for normal values, with the
// limits at their final width from the first point on: lambda in (0, 1], width
// in standard deviations of the average, shift in standard deviations of a
// value. Values out of range are ErrArgument.
//
// Source: Crowder (1987) Technometrics 29:401-407; Lucas & Saccucci (1990)
// Technometrics 32:1-12.
func EWMARunLength(lambda, width, shift float64) (RunLength, error) {
	if err := checkRunLength("width", width, shift); err != nil {
		return RunLength{}, err
	}
	if !(lambda > 0 && lambda <= 1) {
		return RunLength{}, argErr("lambda %v, expected a number above 0, at most 1", lambda)
	}
	half := width * math.Sqrt(lambda/(2-lambda))
	nodes, weights := legendreNodes(-half, half)
	z := distuv.UnitNormal
	step := func(from float64, to int) float64 {
		return weights[to] / lambda * z.Prob((nodes[to]-(1-lambda)*from)/lambda-shift)
	}
	at := solveRunLength(nodes, func(from, to int) float64 { return step(nodes[from], to) })
	sum := 1.0 // one more step of the equation gives the value at the target
	for to := range nodes {
		sum += step(0, to) * at[to]
	}
	return runLength(sum), nil
}

func checkRunLength(name string, width, shift float64) error {
	if !(width > 0) || math.IsInf(width, 0) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return argErr("%s %v and shift %v, expected finite numbers and %s above 0", name, width, shift, name)
	}
	return nil
}

// runLengthNodes is enough for 10 digits at the limits in use.
const runLengthNodes = 80

func legendreNodes(low, high float64) (nodes, weights []float64) {
	nodes, weights = make([]float64, runLengthNodes), make([]float64, runLengthNodes)
	quad.Legendre{}.FixedLocations(nodes, weights, low, high)
	return nodes, weights
}

// solveRunLength solves L = 1 + sum of move(from, to) L(to) over states.
func solveRunLength(states []float64, move func(from, to int) float64) []float64 {
	chain := mat.NewDense(len(states), len(states), nil)
	for from := range states {
		for to := range states {
			chain.Set(from, to, move(from, to))
		}
	}
	return stepsToLeave(chain)
}

// stepsToLeave is the mean number of steps until a chain leaves its states,
// from each of them; not a number where it never does.
func stepsToLeave(chain *mat.Dense) []float64 {
	n, _ := chain.Dims()
	system, ones := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		ones.SetVec(i, 1)
		for j := range n {
			v := -chain.At(i, j)
			if i == j {
				v++
			}
			system.Set(i, j, v)
		}
	}
	var steps mat.VecDense
	if err := steps.SolveVec(system, ones); err != nil {
		out := make([]float64, n)
		for i := range out {
			out[i] = math.NaN()
		}
		return out
	}
	return steps.RawVector().Data
}
