package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func TestMarginalHomogeneity(t *testing.T) {
	c := checkByID(t, "levels", "TL-02")
	var in struct{ Table [][]int64 }
	c.input(t, &in)
	bowker, err := Bowker(in.Table)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "bowker.chisq", bowker.Statistic)
	c.near(t, "bowker.df_nonempty_pairs", float64(bowker.DF))
	c.near(t, "bowker.p_nonempty_pairs", bowker.P)
	c.near(t, "bowker.df", float64(bowker.DF))
	c.near(t, "bowker.p", bowker.P)
	sm, err := StuartMaxwell(in.Table)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "stuart_maxwell.chisq", sm.Statistic)
	c.near(t, "stuart_maxwell.df", float64(sm.DF))
	c.near(t, "stuart_maxwell.p", sm.P)
	for name, w := range map[string][][]float64{
		"kappa": IdentityWeights(4), "kappa_linear": LinearWeights(4), "kappa_quadratic": QuadraticWeights(4),
	} {
		nearKappa(t, c, name, in.Table, w)
	}
	c.allRead(t)

	c = checkByID(t, "levels", "TL-06")
	b, err := Bhapkar(in.Table)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "bhapkar.chisq", b.Statistic)
	c.near(t, "bhapkar.df", float64(b.DF))
	c.allRead(t)
}

// quadraticForm is d' V^-1 d over the first k-1 levels, with V the sample
// covariance of the differences, about their mean (bhapkar) or about zero.
func quadraticForm(table [][]int64, bhapkar bool) float64 {
	k := len(table) - 1
	n := 0.0
	d := mat.NewVecDense(k, nil)
	v := mat.NewDense(k, k, nil)
	// One call at a time: +1 at its row, -1 at its column.
	for i, row := range table {
		for j, c := range row {
			n += float64(c)
			step := mat.NewVecDense(k, nil)
			if i < k {
				step.SetVec(i, step.AtVec(i)+1)
			}
			if j < k {
				step.SetVec(j, step.AtVec(j)-1)
			}
			d.AddScaledVec(d, float64(c), step)
			var outer mat.Dense
			outer.Outer(float64(c), step, step)
			v.Add(v, &outer)
		}
	}
	if bhapkar {
		var outer mat.Dense
		outer.Outer(-1/n, d, d)
		v.Add(v, &outer)
	}
	var x mat.VecDense
	if err := x.SolveVec(v, d); err != nil {
		return math.NaN()
	}
	return mat.Dot(d, &x)
}

func TestMarginsAgainstRows(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 1))
	for range 60 {
		table := squareOf(r, 2+r.IntN(4), 150)
		sm, err := StuartMaxwell(table)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Bhapkar(table)
		if err != nil {
			t.Fatal(err)
		}
		if want := quadraticForm(table, false); math.Abs(sm.Statistic-want) > 1e-9*(1+want) {
			t.Errorf("%v: Stuart-Maxwell %v, row by row %v", table, sm.Statistic, want)
		}
		if want := quadraticForm(table, true); math.Abs(b.Statistic-want) > 1e-8*(1+want) {
			t.Errorf("%v: Bhapkar %v, row by row %v", table, b.Statistic, want)
		}
		if b.Statistic < sm.Statistic {
			t.Errorf("%v: Bhapkar %v below Stuart-Maxwell %v", table, b.Statistic, sm.Statistic)
		}
	}
}

// For two levels both tests of symmetry are McNemar's: (b-c)^2 / (b+c).
func TestMarginsOfTwoLevels(t *testing.T) {
	table := [][]int64{{30, 12}, {5, 53}}
	want := 49.0 / 17
	sm, _ := StuartMaxwell(table)
	bowker, _ := Bowker(table)
	for name, got := range map[string]ChiSquare{"Stuart-Maxwell": sm, "Bowker": bowker} {
		if math.Abs(got.Statistic-want) > 1e-12 || got.DF != 1 {
			t.Errorf("%s: %+v, want %v on 1", name, got, want)
		}
	}
}

// Two groups of levels that are never confused with each other: the statistics
// add, one degree of freedom for each pair. An unused level changes nothing.
func TestMarginsOfSeparateGroups(t *testing.T) {
	table := [][]int64{
		{9, 6, 0, 0, 0},
		{1, 9, 0, 0, 0},
		{0, 0, 0, 0, 0},
		{0, 0, 0, 9, 8},
		{0, 0, 0, 2, 9},
	}
	sm, err := StuartMaxwell(table)
	if err != nil {
		t.Fatal(err)
	}
	if want := 25.0/7 + 36.0/10; sm.DF != 2 || math.Abs(sm.Statistic-want) > 1e-12 {
		t.Errorf("got %+v, want %v on 2", sm, want)
	}
	bowker, _ := Bowker(table)
	if bowker.DF != 2 {
		t.Errorf("Bowker counts %d pairs, want 2", bowker.DF)
	}
}

func TestMarginsEdges(t *testing.T) {
	never := [][]int64{{5, 0}, {0, 7}}
	for name, f := range map[string]func([][]int64) (ChiSquare, error){
		"Stuart-Maxwell": StuartMaxwell, "Bhapkar": Bhapkar, "Bowker": Bowker,
	} {
		if got, err := f(never); err != nil || got.NotEstimable == "" {
			t.Errorf("%s without disagreement: %+v, %v", name, got, err)
		}
		if _, err := f([][]int64{{1, 2}}); !errors.Is(err, ErrArgument) {
			t.Errorf("%s of a ragged table: %v, want ErrArgument", name, err)
		}
	}
	if got, err := Bhapkar([][]int64{{0, 7}, {0, 0}}); err != nil || got.NotEstimable == "" {
		t.Errorf("all moved one way: %+v, %v", got, err)
	}
}

// Under homogeneity the tests reject about as often as they say.
func TestMarginsSize(t *testing.T) {
	runs := 4000
	if testing.Short() {
		runs = 800
	}
	r := rand.New(rand.NewPCG(13, 1))
	rejected := map[string]int{}
	for range runs {
		table := make([][]int64, 3)
		for i := range table {
			table[i] = make([]int64, 3)
		}
		// Symmetric confusion: the true margins are equal.
		for range 200 {
			i, j := r.IntN(3), r.IntN(3)
			table[i][j]++
		}
		sm, _ := StuartMaxwell(table)
		b, _ := Bhapkar(table)
		bowker, _ := Bowker(table)
		for name, c := range map[string]ChiSquare{"Stuart-Maxwell": sm, "Bhapkar": b, "Bowker": bowker} {
			if c.P < 0.05 {
				rejected[name]++
			}
		}
	}
	for _, name := range []string{"Stuart-Maxwell", "Bhapkar", "Bowker"} {
		if share := float64(rejected[name]) / float64(runs); share < 0.03 || share > 0.07 {
			t.Errorf("%s rejects %.3f of homogeneous tables at 0.05", name, share)
		}
	}
}
