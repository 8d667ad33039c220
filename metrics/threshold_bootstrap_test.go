package metrics

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// tenMillion is a finding with 200 distinct values in ten million episodes, 3 % of them
// in need; worse values are commoner among those.
func tenMillion() []ValueCount {
	counts := make([]ValueCount, 200)
	var pos, neg [200]float64
	sp, sn := 0.0, 0.0
	for i := range counts {
		x := float64(i) / 200
		pos[i] = math.Exp(-(x - 0.6) * (x - 0.6) / 0.05)
		neg[i] = math.Exp(-(x - 0.35) * (x - 0.35) / 0.04)
		sp, sn = sp+pos[i], sn+neg[i]
	}
	for i := range counts {
		counts[i] = ValueCount{Value: float64(i), Needed: int64(3e5 * pos[i] / sp), NotNeeded: int64(9.7e6 * neg[i] / sn)}
	}
	return counts
}

func TestBootstrapThreshold(t *testing.T) {
	counts := valueCounts([][3]float64{{10, 3, 60}, {20, 5, 40}, {30, 12, 25}, {40, 20, 12}, {50, 25, 5}, {60, 15, 1}})
	draw := func(seed uint64, d Direction) ThresholdBootstrap {
		b, err := BootstrapThreshold(counts, d, ByYouden(), 500, 0.02, 0.95, rand.New(rand.NewPCG(seed, 0)))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	b := draw(1, HighIsBad)
	if !reflect.DeepEqual(b, draw(1, HighIsBad)) {
		t.Error("the same seed gave another answer")
	}
	if b.Draws != 500 || b.Unmet != 0 {
		t.Errorf("%d draws, %d unmet", b.Draws, b.Unmet)
	}
	if b.Lower.Estimable() || !b.Upper.Estimable() {
		t.Errorf("lower %+v, upper %+v", b.Lower, b.Upper)
	}
	if b.Upper.Low < 30 || b.Upper.High > 50 {
		t.Errorf("threshold %v to %v, want within 30 to 50", b.Upper.Low, b.Upper.High)
	}
	total := 0.0
	for i, s := range b.Shares {
		total += s.Share
		if i > 0 && s.Share > b.Shares[i-1].Share {
			t.Error("shares are not in order")
		}
	}
	if math.Abs(total-1) > 1e-12 || b.Shares[0].Threshold != b.Choice.Threshold {
		t.Errorf("shares %v add up to %v, chosen %v", b.Shares, total, b.Choice.Threshold)
	}
	a := mustArea(t)(AUCDeLong(counts, HighIsBad, 0.95))
	if b.Area.Value != a.Value || math.Abs(b.Area.Low-a.Low) > 0.02 || math.Abs(b.Area.High-a.High) > 0.02 {
		t.Errorf("area %v to %v, DeLong %v to %v", b.Area.Low, b.Area.High, a.Low, a.High)
	}
	for name, o := range map[string]Optimism{"sensitivity": b.Sensitivity, "specificity": b.Specificity} {
		checkSane(t, name, o.Corrected, 0, 1)
	}
	if b.Score.Optimism <= 0 || math.Abs(b.Score.Corrected.Value-(b.Score.Apparent-b.Score.Optimism)) > 1e-12 {
		t.Errorf("score %+v: a choice by the score must flatter it", b.Score)
	}
}

// A finding that says nothing still finds a "best" threshold. The optimism must take
// about what it gained: the corrected index is near 0 on average, the apparent is not.
func TestBootstrapOptimismOfUselessFinding(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	apparent, corrected := 0.0, 0.0
	const trials = 60
	for range trials {
		counts := make([]ValueCount, 15)
		for i := range counts {
			counts[i].Value = float64(i)
		}
		for range 40 {
			counts[r.IntN(15)].Needed++
		}
		for range 60 {
			counts[r.IntN(15)].NotNeeded++
		}
		b, err := BootstrapThreshold(counts, HighIsBad, ByYouden(), 200, 0, 0.95, r)
		if err != nil {
			t.Fatal(err)
		}
		apparent += b.Score.Apparent / trials
		corrected += b.Score.Corrected.Value / trials
	}
	if apparent < 0.08 || math.Abs(corrected) > apparent/2 {
		t.Errorf("mean apparent index %.3f, corrected %.3f, truth 0", apparent, corrected)
	}
}

func TestBootstrapBothEnds(t *testing.T) {
	counts := valueCounts([][3]float64{{35, 20, 2}, {36, 15, 8}, {37, 4, 60}, {38, 3, 80}, {39, 5, 50}, {40, 18, 6}, {41, 12, 1}})
	b, err := BootstrapThreshold(counts, BothEndsAreBad, ByYouden(), 300, 0, 0.95, rand.New(rand.NewPCG(4, 4)))
	if err != nil {
		t.Fatal(err)
	}
	if b.Lower.Value != 36 || b.Upper.Value != 40 || b.Area.Estimable() {
		t.Errorf("lower %+v, upper %+v, area %+v", b.Lower, b.Upper, b.Area)
	}
	checkSane(t, "lower", b.Lower, 35, 41)
	checkSane(t, "upper", b.Upper, 35, 41)
}

func TestBootstrapCountsDrawsWithoutThreshold(t *testing.T) {
	counts := valueCounts([][3]float64{{1, 0, 50}, {2, 2, 5}})
	b, err := BootstrapThreshold(counts, HighIsBad, ByYouden(), 400, 0, 0.95, rand.New(rand.NewPCG(5, 5)))
	if err != nil {
		t.Fatal(err)
	}
	// No animal in need is drawn with chance (55/57)^57, about 0.13.
	if b.Unmet < 20 || b.Unmet > 100 || len(b.Warnings) == 0 {
		t.Errorf("%d of 400 resamples without an animal in need, warnings %v", b.Unmet, b.Warnings)
	}
}

func TestMultinomialDraws(t *testing.T) {
	r := rand.New(rand.NewPCG(30, 31))
	weight := []float64{0, 5, 15, 0, 80}
	dst := make([]float64, 5)
	sum := make([]float64, 5)
	square := make([]float64, 5)
	const trials = 4000
	for range trials {
		drawMultinomial(dst, weight, 100, 200, r)
		n := 0.0
		for i, x := range dst {
			n += x
			sum[i] += x
			square[i] += x * x
		}
		if n != 200 || dst[0] != 0 || dst[3] != 0 {
			t.Fatalf("drew %v", dst)
		}
	}
	for i, w := range weight {
		p := w / 100
		mean, variance := sum[i]/trials, square[i]/trials-sum[i]/trials*sum[i]/trials
		wantVar := 200 * p * (1 - p)
		if math.Abs(mean-200*p) > 4*math.Sqrt(wantVar/trials)+1e-9 || math.Abs(variance-wantVar) > 0.1*wantVar+1e-9 {
			t.Errorf("cell %d: mean %.2f (want %.2f), variance %.2f (want %.2f)", i, mean, 200*p, variance, wantVar)
		}
	}
}

func BenchmarkAUCDeLong(b *testing.B) {
	counts := tenMillion()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := AUCDeLong(counts, HighIsBad, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBootstrapThreshold(b *testing.B) {
	counts := tenMillion()
	for _, d := range []Direction{HighIsBad, BothEndsAreBad} {
		b.Run("draws=2000/direction="+map[Direction]string{HighIsBad: "high", BothEndsAreBad: "both"}[d], func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := BootstrapThreshold(counts, d, ByYouden(), 2000, 0.01, 0.95, rand.New(rand.NewPCG(1, 1))); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// By hand: of 39 draws 1 to 39 the limits at 95 % lie at positions 1 and 39, at 90 % at 2 and
// 38, and at 50 % at 10 and 30.
func TestPercentileLimits(t *testing.T) {
	draws := make([]float64, 39)
	for i := range draws {
		draws[38-i] = float64(i + 1)
	}
	for conf, want := range map[float64][2]float64{0.95: {1, 39}, 0.9: {2, 38}, 0.5: {10, 30}, 0.999: {1, 39}} {
		low, high := percentileLimits(draws, conf)
		if math.Abs(low-want[0]) > 1e-9 || math.Abs(high-want[1]) > 1e-9 {
			t.Errorf("conf %v: %v to %v, want %v", conf, low, high, want)
		}
	}
	e := percentileEstimate(45, draws, 0.9, MethodPercentileBootstrap)
	if math.Abs(e.Low-2) > 1e-9 || e.High != 45 {
		t.Errorf("an estimate outside its draws: %+v", e)
	}
}
