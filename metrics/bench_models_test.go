package metrics

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// BenchmarkLeaveOneFlagOut counts on patterns, so its cost does not depend on
// how many episodes stand behind them.
func BenchmarkLeaveOneFlagOut(b *testing.B) {
	for _, n := range []int{100, 10_000} {
		b.Run(fmt.Sprintf("patterns=%d/flags=40", n), func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 1))
			patterns := map[uint64]NeedCount{}
			for len(patterns) < n {
				patterns[r.Uint64N(1<<40)&r.Uint64N(1<<40)&r.Uint64N(1<<40)] = NeedCount{r.Int64N(9), r.Int64N(90)}
			}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := LeaveOneFlagOut(patterns, 40, 0.95); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkFitLogistic fits ten flags to patterns.
func BenchmarkFitLogistic(b *testing.B) {
	for _, firth := range []bool{false, true} {
		b.Run(fmt.Sprintf("patterns=1000/terms=10/firth=%v", firth), func(b *testing.B) {
			r := rand.New(rand.NewPCG(2, 2))
			patterns := make([]Pattern, 1000)
			terms := make([]string, 10)
			for i := range patterns {
				x := make([]float64, len(terms))
				eta := -1.0
				for j := range x {
					x[j] = float64(r.IntN(2))
					eta += 0.2 * x[j]
				}
				p := Pattern{X: x, Trials: 1 + r.Int64N(50)}
				for range p.Trials {
					if r.Float64() < logistic(eta) {
						p.Successes++
					}
				}
				patterns[i] = p
			}
			fit := FitLogistic
			if firth {
				fit = FitFirth
			}
			b.ReportAllocs()
			for b.Loop() {
				if f, err := fit(terms, patterns); err != nil || f.NotEstimable != "" {
					b.Fatal(f.NotEstimable, err)
				}
			}
		})
	}
}

// BenchmarkPool pools twenty lines by each model.
func BenchmarkPool(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	tables := make([]TwoByTwo, 20)
	for i := range tables {
		tables[i] = TwoByTwo{TP: 20 + r.Int64N(60), FP: 10 + r.Int64N(50), FN: r.Int64N(12), TN: 80 + r.Int64N(200)}
	}
	lines := lineCounts(tables, true)
	for _, m := range []struct {
		name string
		run  func() error
	}{
		{"reml", func() error {
			e, err := LogitEffects(lines, HalfWhereEmpty)
			if err != nil {
				return err
			}
			_, err = PoolREML(e, 0.95)
			return err
		}},
		{"binomial-normal", func() error { _, err := PoolBinomialNormal(lines, 0.95); return err }},
		{"bivariate", func() error { _, err := PoolBivariate(tables, 0.95); return err }},
		{"bivariate-binomial", func() error { _, err := PoolBivariateBinomial(tables, 0.95); return err }},
	} {
		b.Run("lines=20/model="+m.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := m.run(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
