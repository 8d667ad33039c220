package metrics

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func TestCusumPublished(t *testing.T) {
	c := checkByID(t, "charts", "CC-05")
	var in struct {
		X                   []float64
		Target, Sigma, K, H float64
	}
	c.input(t, &in)
	points, err := Cusum(in.X, in.Target, in.K*in.Sigma, in.H*in.Sigma, 0)
	if err != nil {
		t.Fatal(err)
	}
	var upper, lower []float64
	first, anyLower := 0, false
	for i, p := range points {
		upper, lower = append(upper, p.Upper), append(lower, p.Lower)
		if p.UpperSignal && first == 0 {
			first = i + 1
		}
		anyLower = anyLower || p.LowerSignal
	}
	c.nearAll(t, "upper", upper)
	c.nearAll(t, "lower", lower)
	c.near(t, "first_upper_signal", float64(first))
	if c.raw(t, "first_lower_signal") != nil || anyLower {
		t.Error("the lower sum signals")
	}
	c.allRead(t)
}

func TestEWMAPublished(t *testing.T) {
	c := checkByID(t, "charts", "CC-06")
	var in struct {
		X                        []float64
		Target, Sigma, Lambda, L float64
	}
	c.input(t, &in)
	var points []MeasuredPoint
	for _, x := range in.X {
		points = append(points, MeasuredPoint{x, in.Sigma})
	}
	got, err := EWMA(points, in.Target, in.Lambda, in.L)
	if err != nil {
		t.Fatal(err)
	}
	var z, low, high []float64
	signal := false
	for _, p := range got {
		z, low, high = append(z, p.Value), append(low, p.Low), append(high, p.High)
		signal = signal || p.Signal
	}
	c.nearAll(t, "z", z)
	c.nearAll(t, "lcl", low)
	c.nearAll(t, "ucl", high)
	if c.raw(t, "first_signal") != nil || signal {
		t.Error("the average signals")
	}
	// After many more points the limits stand still.
	long, err := EWMA(append(points, make100(in.Sigma, in.Target)...), in.Target, in.Lambda, in.L)
	if err != nil {
		t.Fatal(err)
	}
	last := long[len(long)-1]
	c.near(t, "ucl_asymptotic", last.High)
	c.near(t, "lcl_asymptotic", last.Low)
	c.allRead(t)
}

func make100(sigma, value float64) []MeasuredPoint {
	points := make([]MeasuredPoint, 100)
	for i := range points {
		points[i] = MeasuredPoint{value, sigma}
	}
	return points
}

func TestEWMAProportion(t *testing.T) {
	points := []ProportionPoint{{3, 30}, {0, 0}, {9, 30}, {0, 60}}
	got, err := EWMAProportion(points, 0.2, 0.25, 3)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: 0.25*0.1 + 0.75*0.2 = 0.175; 0.25*0.3 + 0.75*0.175 = 0.20625;
	// 0.75*0.20625 = 0.1546875. First limits 0.2 +- 3*0.25*sqrt(0.16/30).
	for i, want := range []float64{0.175, 0.175, 0.20625, 0.1546875} {
		if math.Abs(got[i].Value-want) > 1e-12 {
			t.Errorf("average %d is %v, want %v", i, got[i].Value, want)
		}
	}
	if want := 0.2 + 0.75*math.Sqrt(0.16/30); math.Abs(got[0].High-want) > 1e-12 {
		t.Errorf("first limit %v, want %v", got[0].High, want)
	}
	// Variances add: (0.75^2 + 1) * 0.0625 * 0.16 / 30 at the second group.
	if want := 0.2 + 3*math.Sqrt(1.5625*0.0625*0.16/30); math.Abs(got[2].High-want) > 1e-12 {
		t.Errorf("second limit %v, want %v", got[2].High, want)
	}
	jump, _ := EWMAProportion([]ProportionPoint{{30, 30}, {0, 0}}, 0.2, 0.25, 3)
	if !jump[0].Signal || jump[1].Signal {
		t.Errorf("a jump, then nothing: %+v", jump)
	}
}

func TestSumArguments(t *testing.T) {
	nan := math.NaN()
	design, err := DesignProportionCusum(0.1, 0.2, 3)
	if err != nil {
		t.Fatal(err)
	}
	for name, call := range map[string]func() error{
		"lambda":       func() error { _, err := EWMA(nil, 0, 0, 3); return err },
		"width":        func() error { _, err := EWMA(nil, 0, 0.2, nan); return err },
		"target":       func() error { _, err := EWMA(nil, nan, 0.2, 3); return err },
		"sigma":        func() error { _, err := EWMA([]MeasuredPoint{{1, 0}}, 0, 0.2, 3); return err },
		"value":        func() error { _, err := EWMA([]MeasuredPoint{{nan, 1}}, 0, 0.2, 3); return err },
		"proportion":   func() error { _, err := EWMAProportion([]ProportionPoint{{3, 2}}, 0.1, 0.2, 3); return err },
		"target of 0":  func() error { _, err := EWMAProportion(nil, 0, 0.2, 3); return err },
		"head":         func() error { _, err := Cusum(nil, 0, 0.5, 4, 4); return err },
		"limit":        func() error { _, err := Cusum(nil, 0, 0.5, 0, 0); return err },
		"cusum value":  func() error { _, err := Cusum([]float64{nan}, 0, 0.5, 4, 0); return err },
		"order":        func() error { _, err := DesignProportionCusum(0.2, 0.1, 3); return err },
		"limit of 0":   func() error { _, err := DesignProportionCusum(0.1, 0.2, 0); return err },
		"too close":    func() error { _, err := DesignProportionCusum(0.0001, 0.0002, 3); return err },
		"x above n":    func() error { _, err := design.Sum([]ProportionPoint{{3, 2}}); return err },
		"no design":    func() error { _, err := ProportionCusum{}.Sum(nil); return err },
		"no design, 2": func() error { _, err := ProportionCusum{}.RunLength(1, 0.1); return err },
		"group":        func() error { _, err := design.RunLength(0, 0.1); return err },
		"p":            func() error { _, err := design.RunLength(1, nan); return err },
		"groups":       func() error { _, err := ProportionCusumLimit(0.1, 0.2, 1, nan); return err },
		"no calls":     func() error { _, err := ProportionCusumLimit(0.1, 0.2, 0, 100); return err },
		"unreachable":  func() error { _, err := ProportionCusumLimit(0.01, 0.011, 100, 1e11); return err },
		"shewhart":     func() error { _, err := ShewhartRunLength(0, 0); return err },
		"shift":        func() error { _, err := ShewhartRunLength(3, nan); return err },
		"allowance":    func() error { _, err := CusumRunLength(0, 4, 0); return err },
		"cusum limit":  func() error { _, err := CusumRunLength(0.5, -1, 0); return err },
		"ewma lambda":  func() error { _, err := EWMARunLength(2, 3, 0); return err },
		"ewma width":   func() error { _, err := EWMARunLength(0.2, 0, 0); return err },
	} {
		if err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
}

func TestRunLengthsPublished(t *testing.T) {
	c := checkByID(t, "charts", "CC-10")
	var in struct {
		Cusum []struct{ K, H float64 }
		EWMA  struct{ Lambda, L float64 }
	}
	c.input(t, &in)
	must := func(r RunLength, err error) float64 {
		t.Helper()
		if err != nil || r.NotEstimable != "" {
			t.Fatal(r, err)
		}
		return r.Points
	}
	for i, h := range []string{"h4", "h5"} {
		d := in.Cusum[i]
		c.near(t, "cusum_"+h+"_shift0", must(CusumRunLength(d.K, d.H, 0)))
		c.near(t, "cusum_"+h+"_shift1", must(CusumRunLength(d.K, d.H, 1)))
	}
	c.near(t, "ewma_shift0", must(EWMARunLength(in.EWMA.Lambda, in.EWMA.L, 0)))
	c.near(t, "ewma_shift1", must(EWMARunLength(in.EWMA.Lambda, in.EWMA.L, 1)))
	c.near(t, "shewhart_3sigma_shift0", must(ShewhartRunLength(3, 0)))
	c.allRead(t)
	// An average that forgets at once is a Shewhart chart.
	if a, b := must(EWMARunLength(1, 3, 0.5)), must(ShewhartRunLength(3, 0.5)); math.Abs(a/b-1) > 1e-9 {
		t.Errorf("lambda 1: %v, want %v", a, b)
	}
	if r, err := ShewhartRunLength(9, 0); err != nil || r.NotEstimable == "" {
		t.Errorf("9 sigma: %+v, %v", r, err)
	}
}

// With an allowance of one half and a limit of one half, the sum signals at the
// second event in a row.
func TestProportionRunLengthByHand(t *testing.T) {
	c := checkByID(t, "charts", "BE-01")
	var in struct{ P []float64 }
	c.input(t, &in)
	sum := ProportionCusum{Events: 1, Calls: 2, Limit: 0.5}
	var got []float64
	for _, p := range in.P {
		r, err := sum.RunLength(1, p)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, r.Points)
	}
	c.nearAll(t, "run_length", got)
	c.allRead(t)
	if r, _ := sum.RunLength(1, 0); r.NotEstimable == "" {
		t.Errorf("without events: %+v", r)
	}
	if r, _ := sum.RunLength(1, 1); r.Points != 2 {
		t.Errorf("events only: %+v, want 2", r)
	}
}

// The chain against a general linear solver, and against the sum itself run on
// random calls.
func TestProportionRunLengthAgainstRows(t *testing.T) {
	runs := 4000
	if testing.Short() {
		runs = 1000
	}
	r := rand.New(rand.NewPCG(51, 1))
	for _, tc := range []struct {
		acceptable, poor, limit, p float64
		n                          int64
	}{
		{0.05, 0.15, 2, 0.05, 1}, {0.05, 0.15, 2, 0.15, 1}, {0.1, 0.2, 3.5, 0.15, 20}, {0.02, 0.06, 2.5, 0.04, 50},
	} {
		c, err := DesignProportionCusum(tc.acceptable, tc.poor, tc.limit)
		if err != nil {
			t.Fatal(err)
		}
		want, err := c.RunLength(tc.n, tc.p)
		if err != nil || want.NotEstimable != "" {
			t.Fatal(want, err)
		}
		if dense := denseRunLength(c, tc.n, tc.p); math.Abs(dense/want.Points-1) > 1e-8 {
			t.Errorf("%+v: %v, by a general solver %v", tc, want.Points, dense)
		}
		var sum, square float64
		for range runs {
			steps, s := 0, 0.0
			for s <= c.Limit+1e-9 {
				x := 0
				for range tc.n {
					if r.Float64() < tc.p {
						x++
					}
				}
				s = math.Max(0, s+float64(x)-c.Allowed()*float64(tc.n))
				steps++
			}
			sum += float64(steps)
			square += float64(steps * steps)
		}
		mean := sum / float64(runs)
		se := math.Sqrt((square/float64(runs) - mean*mean) / float64(runs))
		if math.Abs(mean-want.Points) > 4*se {
			t.Errorf("%+v: %v, simulated %v +- %v", tc, want.Points, mean, se)
		}
	}
}

// denseRunLength solves the chain on every multiple of 1 / Calls.
func denseRunLength(c ProportionCusum, n int64, p float64) float64 {
	states := make([]float64, c.limitSteps()+1)
	return solveRunLength(states, func(from, to int) float64 {
		sum := 0.0
		for x := int64(0); x <= n; x++ {
			if max(0, int64(from)+x*c.Calls-n*c.Events) == int64(to) {
				sum += binomialCDF(x, n, p) - binomialCDF(x-1, n, p)
			}
		}
		return sum
	})[0]
}

func TestProportionCusumDesign(t *testing.T) {
	for _, tc := range [][2]float64{{0.05, 0.1}, {0.01, 0.03}, {0.2, 0.4}, {0.5, 0.9}} {
		c, err := DesignProportionCusum(tc[0], tc[1], 4)
		if err != nil {
			t.Fatal(err)
		}
		// At the allowance both proportions explain the calls equally well.
		g := c.Allowed()
		ratio := g*math.Log(tc[1]/tc[0]) + (1-g)*math.Log((1-tc[1])/(1-tc[0]))
		if math.Abs(ratio) > 0.02*(tc[1]-tc[0]) || g <= tc[0] || g >= tc[1] {
			t.Errorf("%v: allowance %v", tc, g)
		}
	}
	c, err := ProportionCusumLimit(0.05, 0.15, 40, 100)
	if err != nil {
		t.Fatal(err)
	}
	good, _ := c.RunLength(40, 0.05)
	poor, _ := c.RunLength(40, 0.15)
	if good.Points < 100 || poor.Points > 6 {
		t.Errorf("design %+v runs %v groups at 5 %% and %v at 15 %%", c, good.Points, poor.Points)
	}
	if far, err := ProportionCusumLimit(0.5, 0.55, 10, 10000); err != nil || far.Limit <= 20.5 {
		t.Errorf("a long run length: %+v, %v; want a limit above 20.5 events", far, err)
	}
	lower := c
	lower.Limit -= 0.5
	if r, _ := lower.RunLength(40, 0.05); r.Points >= 100 {
		t.Errorf("half an event less gives %v groups too", r.Points)
	}
}

// A sum exactly at the limit does not signal; a head start carries over.
func TestCusumAtLimit(t *testing.T) {
	points, err := Cusum([]float64{3, 1, -5, -5}, 0, 1, 2, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []CusumPoint{{Upper: 2}, {Upper: 2}, {Lower: 4, LowerSignal: true}, {Lower: 8, LowerSignal: true}} {
		if points[i] != want {
			t.Errorf("point %d: %+v, want %+v", i, points[i], want)
		}
	}
	headed, _ := Cusum([]float64{1.5}, 0, 1, 2, 1)
	if want := (CusumPoint{Upper: 1.5}); headed[0] != want {
		t.Errorf("head start: %+v, want %+v", headed[0], want)
	}
}

func TestProportionCusumSum(t *testing.T) {
	c := ProportionCusum{Acceptable: 0.05, Poor: 0.2, Events: 1, Calls: 10, Limit: 2}
	got, err := c.Sum([]ProportionPoint{{1, 20}, {4, 20}, {2, 20}, {3, 20}, {0, 0}, {0, 50}})
	if err != nil {
		t.Fatal(err)
	}
	// By hand: -1 -> 0, 2, 2, 3, 3, -2 -> 0; exactly at the limit is no signal.
	uneven := ProportionCusum{Acceptable: 0.1, Poor: 0.2, Events: 3, Calls: 20, Limit: 2}
	if got, _ := uneven.Sum([]ProportionPoint{{2, 10}, {5, 20}}); got[0].Upper != 0.5 || got[1].Upper != 2.5 || !got[1].UpperSignal {
		t.Errorf("3 in 20 allowed: %+v, want 0.5 and 2.5", got)
	}
	for i, want := range []float64{0, 2, 2, 3, 3, 0} {
		if got[i].Upper != want || got[i].UpperSignal != (want > 2) {
			t.Errorf("point %d: %+v, want %v", i, got[i], want)
		}
	}
}

func TestFunnelLimitsPublished(t *testing.T) {
	c := checkByID(t, "charts", "CC-09")
	var in struct {
		Target float64
		N      []int64
		Levels []float64
	}
	c.input(t, &in)
	limits := func(prob float64, m FunnelMethod) []float64 {
		var out []float64
		for _, n := range in.N {
			v, err := FunnelLimit(in.Target, n, prob, m)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, v)
		}
		return out
	}
	for i, key := range []string{"lower95", "upper95", "lower998", "upper998"} {
		c.nearAll(t, "interpolated_"+key, limits(in.Levels[i], FunnelInterpolated))
		if i < 2 {
			c.nearAll(t, "plain_quantile_"+key, limits(in.Levels[i], FunnelExact))
			c.nearAll(t, "normal_"+key, limits(in.Levels[i], FunnelNormal))
		}
	}
	c.allRead(t)
}

func TestFunnel(t *testing.T) {
	points := []ProportionPoint{{20, 100}, {40, 100}, {3, 9}, {1, 50}, {10, 50}, {44, 200}}
	s := CommonFunnelSettings()
	s.Target = 0.2
	f, err := Funnel(points, s)
	if err != nil {
		t.Fatal(err)
	}
	// By hand from the binomial with 0.2: 40 of 100 is far out; 1 of 50 has
	// P(X <= 1) = 0.0002; 9 calls are too few.
	var outside []int
	for _, p := range f.Points {
		outside = append(outside, p.Outside)
	}
	for i, want := range []int{0, 2, 0, -2, 0, 0} {
		if outside[i] != want {
			t.Errorf("unit %d: %d, want %d (%+v)", i, outside[i], want, f.Points[i])
		}
	}
	if f.Points[2].NotJudged == "" || f.Points[2].Value != 0 || !f.BeyondChance || len(f.Warnings) == 0 {
		t.Errorf("too few calls: %+v; beyond chance %v, warnings %v", f.Points[2], f.BeyondChance, f.Warnings)
	}
	if math.Abs(f.Points[1].Z-5) > 1e-12 {
		t.Errorf("40 of 100 against 0.2 has z %v, want 5", f.Points[1].Z)
	}
}

// Phi by hand: z of 0, 1, -1, 3, 7 with one of five winsorised at either end
// becomes 0, 1, 0, 3, 3 after -1 -> 0 and 7 -> 3: (0+1+0+9+9)/5 = 3.8.
func TestFunnelOverdispersion(t *testing.T) {
	// n = 100 at 0.5: one standard deviation is 5 animals.
	points := []ProportionPoint{{50, 100}, {55, 100}, {45, 100}, {65, 100}, {85, 100}}
	s := CommonFunnelSettings()
	s.Target, s.Winsorise, s.Allow = 0.5, 0.2, MultiplicativeOverdispersion
	f, err := Funnel(points, s)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(f.Phi-3.8) > 1e-12 || !f.BeyondChance {
		t.Errorf("phi %v, want 3.8, beyond chance", f.Phi)
	}
	if want := 0.5 + twoSidedZ(0.95)*math.Sqrt(3.8)*0.05; math.Abs(f.Points[0].InnerHigh-want) > 1e-12 {
		t.Errorf("limit %v, want %v", f.Points[0].InnerHigh, want)
	}
	if f.Points[3].Outside != 0 || f.Points[4].Outside != 2 {
		t.Errorf("3 and 7 deviations are %d and %d, want 0 and 2", f.Points[3].Outside, f.Points[4].Outside)
	}
	// Equal sizes: tau^2 = (5*3.8 - 4) / (w (5 - 1)) with w = 400.
	s.Allow = AdditiveOverdispersion
	f, _ = Funnel(points, s)
	if want := math.Sqrt(15.0 / 1600); math.Abs(f.Tau-want) > 1e-12 {
		t.Errorf("tau %v, want %v", f.Tau, want)
	}
	if want := 0.5 + twoSidedZ(0.998)*math.Sqrt(0.0025+15.0/1600); math.Abs(f.Points[0].OuterHigh-want) > 1e-12 {
		t.Errorf("limit %v, want %v", f.Points[0].OuterHigh, want)
	}
	// Without overdispersion the allowance changes nothing.
	quiet := []ProportionPoint{{50, 100}, {51, 100}, {49, 100}}
	s.Allow = MultiplicativeOverdispersion
	f, _ = Funnel(quiet, s)
	want, _ := FunnelLimit(0.5, 100, 0.975, FunnelInterpolated)
	if f.Points[0].InnerHigh != want {
		t.Errorf("limit %v without overdispersion, want %v", f.Points[0].InnerHigh, want)
	}
}

func TestFunnelEdges(t *testing.T) {
	s := CommonFunnelSettings()
	for name, points := range map[string][]ProportionPoint{
		"no units": nil, "too small": {{1, 9}}, "no events": {{0, 50}, {0, 40}}, "only events": {{50, 50}},
	} {
		f, err := Funnel(points, s)
		if err != nil || f.NotEstimable == "" {
			t.Errorf("%s: %+v, %v; want no funnel", name, f, err)
		}
	}
	change := func(f func(s *FunnelSettings)) FunnelSettings { s := CommonFunnelSettings(); f(&s); return s }
	for name, s := range map[string]FunnelSettings{
		"target":    change(func(s *FunnelSettings) { s.Target = 1 }),
		"method":    change(func(s *FunnelSettings) { s.Method = 0 }),
		"limits":    change(func(s *FunnelSettings) { s.Inner = 0.999 }),
		"calls":     change(func(s *FunnelSettings) { s.MinN = 0 }),
		"allow":     change(func(s *FunnelSettings) { s.Allow = 0 }),
		"winsorise": change(func(s *FunnelSettings) { s.Winsorise = 0.5 }),
	} {
		if _, err := Funnel([]ProportionPoint{{10, 50}}, s); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
	if _, err := Funnel([]ProportionPoint{{10, 5}}, s); !errors.Is(err, ErrArgument) {
		t.Errorf("x above n: %v", err)
	}
	for name, call := range map[string]func() error{
		"target": func() error { _, err := FunnelLimit(0, 10, 0.9, FunnelExact); return err },
		"n":      func() error { _, err := FunnelLimit(0.5, 0, 0.9, FunnelExact); return err },
		"prob":   func() error { _, err := FunnelLimit(0.5, 10, 1, FunnelExact); return err },
		"method": func() error { _, err := FunnelLimit(0.5, 10, 0.9, 9); return err },
	} {
		if err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
}

// Units that share the target lie outside as rarely as stated, at any size.
func TestFunnelShareInside(t *testing.T) {
	units := 8000
	if testing.Short() {
		units = 2000
	}
	r := rand.New(rand.NewPCG(52, 1))
	points := make([]ProportionPoint, units)
	for i := range points {
		points[i].N = 20 + r.Int64N(200)
		for range points[i].N {
			if r.Float64() < 0.15 {
				points[i].X++
			}
		}
	}
	for _, m := range []FunnelMethod{FunnelInterpolated, FunnelExact, FunnelNormal} {
		s := CommonFunnelSettings()
		s.Target, s.Method = 0.15, m
		f, err := Funnel(points, s)
		if err != nil {
			t.Fatal(err)
		}
		inner, outer := 0, 0
		for _, p := range f.Points {
			if p.Outside != 0 {
				inner++
			}
			if p.Outside == 2 || p.Outside == -2 {
				outer++
			}
			if !(p.OuterLow <= p.InnerLow && p.InnerLow <= 0.15 && 0.15 <= p.InnerHigh && p.InnerHigh <= p.OuterHigh) {
				t.Errorf("limits out of order: %+v", p)
			}
		}
		in, out := float64(inner)/float64(units), float64(outer)/float64(units)
		if in > 0.06 || in < 0.02 || out > 0.007 {
			t.Errorf("method %d: %.4f beyond the inner limits, %.4f beyond the outer", m, in, out)
		}
		if math.Abs(f.Phi-1) > 0.35 { // winsorised z vary a little less than 1
			t.Errorf("phi %v of units that differ by chance", f.Phi)
		}
	}
}

// The quantiles against adding up probabilities one by one.
func TestDiscreteQuantiles(t *testing.T) {
	for _, n := range []int64{1, 2, 7, 30} {
		for _, p := range []float64{0.02, 0.3, 0.5, 0.97} {
			for _, prob := range []float64{0.00135, 0.05, 0.5, 0.975, 0.99865} {
				total, r, term := 0.0, int64(-1), math.Pow(1-p, float64(n))
				for total < prob*(1-1e-12) {
					r++
					total += term
					term *= float64(n-r) / float64(r+1) * p / (1 - p)
				}
				if got := binomialQuantile(prob, n, p); got != r {
					t.Errorf("binomial %d, %v at %v: %d, want %d", n, p, prob, got, r)
				}
				mean := p * float64(n)
				total, r, term = 0, -1, math.Exp(-mean)
				for total < prob*(1-1e-12) {
					r++
					total += term
					term *= mean / float64(r+1)
				}
				if got := poissonQuantile(prob, mean); got != r {
					t.Errorf("Poisson %v at %v: %d, want %d", mean, prob, got, r)
				}
			}
		}
	}
	// Exactly one half: the median of two tosses of a coin is 1, not 2.
	if got := binomialQuantile(0.75, 2, 0.5); got != 1 {
		t.Errorf("P(X <= 1) = 0.75 exactly, got %d", got)
	}
}

// One run length costs the states of its chain, not the calls behind it.
func BenchmarkProportionRunLength(b *testing.B) {
	c, err := DesignProportionCusum(0.01, 0.03, 4)
	if err != nil {
		b.Fatal(err)
	}
	for _, n := range []int64{1, 100, 1000} {
		b.Run(fmt.Sprintf("group=%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := c.RunLength(n, 0.01); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
