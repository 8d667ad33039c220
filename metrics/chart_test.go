package metrics

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// shewhartOnly are settings with the rule beyond the limits alone.
func shewhartOnly() ChartSettings {
	return ChartSettings{Limits: SigmaLimits, Rules: RunRules{Beyond: true}, MinForLimits: 20, MinForRuns: 12}
}

// signalled lists the points, counted from 1, at which a rule fires.
func signalled(c Chart, r Rule) []float64 {
	at := []float64{}
	for i, p := range c.Points {
		if slices.Contains(p.Signals, r) {
			at = append(at, float64(i+1))
		}
	}
	return at
}

// limitsOf lists the limits of all points.
func limitsOf(c Chart) (low, high []float64) {
	for _, p := range c.Points {
		low, high = append(low, p.Low), append(high, p.High)
	}
	return low, high
}

func TestPChartPublished(t *testing.T) {
	for _, id := range []string{"CC-01", "CC-02", "CC-03"} {
		c := checkByID(t, "charts", id)
		var constant struct {
			X []int64
			N int64
		}
		var varying struct{ X, N []int64 }
		var points []ProportionPoint
		if id == "CC-03" {
			c.input(t, &varying)
			for i, x := range varying.X {
				points = append(points, ProportionPoint{x, varying.N[i]})
			}
		} else {
			c.input(t, &constant)
			for _, x := range constant.X {
				points = append(points, ProportionPoint{x, constant.N})
			}
		}
		chart, err := PChart(points, nil, shewhartOnly())
		if err != nil {
			t.Fatal(err)
		}
		c.near(t, "pbar", chart.Phases[0].Centre)
		low, high := limitsOf(chart)
		if id == "CC-03" {
			c.nearAll(t, "lcl", low)
			c.nearAll(t, "ucl", high)
		} else {
			c.near(t, "lcl", low[0])
			c.near(t, "ucl", high[0])
		}
		c.nearAll(t, "signals", signalled(chart, RuleBeyond))
		c.allRead(t)
	}
}

// Leaving two points out with a cause gives the limits of the chart without
// them, and leaves them on the chart, signalling.
func TestPChartExclusion(t *testing.T) {
	c := checkByID(t, "charts", "CC-01")
	revised := checkByID(t, "charts", "CC-02")
	var in struct {
		X []int64
		N int64
	}
	c.input(t, &in)
	var points []ProportionPoint
	for _, x := range in.X {
		points = append(points, ProportionPoint{x, in.N})
	}
	chart, err := PChart(points, []Phase{{Exclude: map[int]string{14: "new raw material", 22: "untrained operator"}}}, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	revised.near(t, "pbar", chart.Phases[0].Centre)
	revised.near(t, "ucl", chart.Points[0].High)
	revised.near(t, "lcl", chart.Points[0].Low)
	if got := signalled(chart, RuleBeyond); !slices.Equal(got, []float64{15, 21, 23}) {
		t.Errorf("signals at %v, want 15, 21 and 23", got)
	}
	if p := chart.Phases[0]; p.BaselinePoints != 28 || p.Provisional {
		t.Errorf("baseline of %d points, provisional %v; want 28, false", p.BaselinePoints, p.Provisional)
	}
}

func TestUChartPublished(t *testing.T) {
	c := checkByID(t, "charts", "CC-04")
	var in struct {
		X []int64
		N []float64
	}
	c.input(t, &in)
	var points []RatePoint
	for i, x := range in.X {
		points = append(points, RatePoint{x, in.N[i]})
	}
	chart, err := UChart(points, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	var u []float64
	for _, p := range chart.Points {
		u = append(u, p.Value)
	}
	low, high := limitsOf(chart)
	c.near(t, "ubar", chart.Phases[0].Centre)
	c.nearAll(t, "u", u)
	c.nearAll(t, "lcl", low)
	c.nearAll(t, "ucl", high)
	c.nearAll(t, "signals", signalled(chart, RuleBeyond))
	c.allRead(t)
	if !chart.Phases[0].Provisional {
		t.Error("10 points give limits that are not called provisional")
	}
}

func TestLaneyChartPublished(t *testing.T) {
	c := checkByID(t, "charts", "CC-07")
	var in struct{ X, N []int64 }
	c.input(t, &in)
	var points []ProportionPoint
	for i, x := range in.X {
		points = append(points, ProportionPoint{x, in.N[i]})
	}
	laney, err := LaneyPChart(points, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	plain, err := PChart(points, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	var z []float64
	for _, p := range plain.Points {
		z = append(z, p.Z)
	}
	c.near(t, "pbar", laney.Phases[0].Centre)
	c.nearAll(t, "z", z)
	c.near(t, "sigma_z", laney.Phases[0].Dispersion)
	low, high := limitsOf(laney)
	c.nearAll(t, "lcl", low)
	c.nearAll(t, "ucl", high)
	low, high = limitsOf(plain)
	c.nearAll(t, "plain_p_lcl", low)
	c.nearAll(t, "plain_p_ucl", high)
	c.nearAll(t, "plain_p_signals", signalled(plain, RuleBeyond))
	c.nearAll(t, "laney_signals", signalled(laney, RuleBeyond))
	c.allRead(t)
}

// Rates of rare events: a Laney u' chart is close to a p' chart of the same.
func TestLaneyUAgainstP(t *testing.T) {
	var rates []RatePoint
	var shares []ProportionPoint
	for i := range 24 {
		x := int64(40 + 13*(i%5) - 7*(i%3))
		rates = append(rates, RatePoint{x, 1e6})
		shares = append(shares, ProportionPoint{x, 1e6})
	}
	u, err := LaneyUChart(rates, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	p, err := LaneyPChart(shares, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	if a, b := u.Phases[0].Dispersion, p.Phases[0].Dispersion; math.Abs(a/b-1) > 1e-4 {
		t.Errorf("dispersion %v of rates, %v of proportions", a, b)
	}
	if a, b := u.Points[3].High, p.Points[3].High; math.Abs(a/b-1) > 1e-4 {
		t.Errorf("limit %v of rates, %v of proportions", a, b)
	}
}

func TestPhases(t *testing.T) {
	points := make([]ProportionPoint, 30)
	for i := range points {
		points[i] = ProportionPoint{X: 10 + int64(i%3), N: 100}
		if i >= 20 {
			points[i].X = 30 + int64(i%3)
		}
	}
	points[25].N, points[25].X = 0, 0
	cause := Phase{Start: 20, Cause: "rules version 4", Date: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}
	s := CommonChartSettings()
	s.Rules.LongRun = 8
	one, err := PChart(points, []Phase{{BaselineEnd: 20}}, s)
	if err != nil {
		t.Fatal(err)
	}
	if got := one.Phases[0]; math.Abs(got.Centre-0.1095) > 1e-12 || got.BaselinePoints != 20 || got.Provisional {
		t.Errorf("baseline of the first 20 points: %+v", got)
	}
	if got := signalled(one, RuleBeyond); len(got) != 9 {
		t.Errorf("after the change points %v signal, want the 9 that have calls", got)
	}
	// Point 20 is above the centre already; the gap at 26 breaks nothing.
	if got := signalled(one, RuleLongRun); !slices.Equal(got, []float64{28, 29, 30}) {
		t.Errorf("long run at %v; want 28, 29 and 30", got)
	}
	two, err := PChart(points, []Phase{{}, cause}, s)
	if err != nil {
		t.Fatal(err)
	}
	if got := signalled(two, RuleBeyond); len(got) != 0 {
		t.Errorf("with a phase of their own points %v signal", got)
	}
	if first, second := two.Phases[0], two.Phases[1]; first.End != 20 || second.Cause != cause.Cause ||
		second.BaselinePoints != 9 || !second.Provisional || second.Runs.NotJudged == "" {
		t.Errorf("phases: %+v and %+v", first, second)
	}
	if two.Points[3].High != one.Points[3].High || two.Points[25].HasLimits || two.Points[25].Missing == "" {
		t.Errorf("old limits %v, want %v; the gap: %+v", two.Points[3].High, one.Points[3].High, two.Points[25])
	}
	bad := func(name string, phases ...Phase) {
		t.Helper()
		if _, err := PChart(points, phases, s); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
	noDate, noCause, late := cause, cause, cause
	noDate.Date, noCause.Cause, late.Start = time.Time{}, "", 30
	bad("no date", Phase{}, noDate)
	bad("no cause", Phase{}, noCause)
	bad("beyond the points", Phase{}, late)
	bad("not from 0", cause)
	bad("twice the same start", Phase{}, cause, cause)
	bad("baseline too long", Phase{BaselineEnd: 21}, cause)
	bad("baseline before its phase", Phase{}, Phase{Start: 20, BaselineEnd: 20, Cause: "x", Date: cause.Date})
	bad("left out beyond the baseline", Phase{BaselineEnd: 9, Exclude: map[int]string{9: "x"}})
	bad("left out without cause", Phase{Exclude: map[int]string{9: ""}})
}

func TestChartWithoutLimits(t *testing.T) {
	s := CommonChartSettings()
	for name, points := range map[string][]ProportionPoint{
		"no event":     {{0, 10}, {0, 12}},
		"only events":  {{10, 10}, {12, 12}},
		"no calls":     {{0, 0}, {0, 0}},
		"no points":    nil,
		"one, missing": {{0, 0}},
	} {
		c, err := PChart(points, nil, s)
		if err != nil || c.Phases[0].NotEstimable == "" {
			t.Errorf("%s: %+v, %v; want no limits", name, c, err)
		}
		for _, p := range c.Points {
			if p.HasLimits || len(p.Signals) > 0 {
				t.Errorf("%s: %+v has limits", name, p)
			}
		}
	}
	if c, err := LaneyPChart([]ProportionPoint{{3, 10}, {3, 10}}, nil, s); err != nil || c.Phases[0].NotEstimable == "" {
		t.Errorf("Laney without variation: %+v, %v", c, err)
	}
	if c, err := LaneyPChart([]ProportionPoint{{3, 10}}, nil, s); err != nil || c.Phases[0].NotEstimable == "" {
		t.Errorf("Laney of one point: %+v, %v", c, err)
	}
}

func TestChartArguments(t *testing.T) {
	good := CommonChartSettings()
	exact := good
	exact.Limits = ExactLimits
	change := func(f func(s *ChartSettings)) ChartSettings { s := good; f(&s); return s }
	for name, call := range map[string]func() error{
		"x above n":     func() error { _, err := PChart([]ProportionPoint{{3, 2}}, nil, good); return err },
		"negative":      func() error { _, err := UChart([]RatePoint{{-1, 2}}, nil, good); return err },
		"size":          func() error { _, err := UChart([]RatePoint{{1, math.NaN()}}, nil, good); return err },
		"infinite size": func() error { _, err := UChart([]RatePoint{{1, math.Inf(1)}}, nil, good); return err },
		"in nothing":    func() error { _, err := UChart([]RatePoint{{1, 0}}, nil, good); return err },
		"gap":           func() error { _, err := GChart([]int64{-1}, nil, good); return err },
		"time":          func() error { _, err := TChart([]float64{math.NaN()}, nil, good); return err },
		"Laney exact":   func() error { _, err := LaneyUChart([]RatePoint{{1, 1}}, nil, exact); return err },
		"t exact":       func() error { _, err := TChart([]float64{1, 2}, nil, exact); return err },
		"limits":        func() error { _, err := PChart(nil, nil, change(func(s *ChartSettings) { s.Limits = 0 })); return err },
		"minimum": func() error {
			_, err := PChart(nil, nil, change(func(s *ChartSettings) { s.MinForLimits = 1 }))
			return err
		},
		"long run": func() error {
			_, err := PChart(nil, nil, change(func(s *ChartSettings) { s.Rules.LongRun = 1 }))
			return err
		},
		"trend": func() error {
			_, err := PChart(nil, nil, change(func(s *ChartSettings) { s.Rules.Trend = -6 }))
			return err
		},
	} {
		if err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
}

func TestRunRulesPublished(t *testing.T) {
	c := checkByID(t, "charts", "CC-08")
	var in struct{ Z []float64 }
	c.input(t, &in)
	side := make([]int, len(in.Z))
	for i, z := range in.Z {
		side[i] = int(math.Copysign(1, z))
	}
	signals := patternSignals(in.Z, in.Z, side, RunRules{TwoOfThree: true, FourOfFive: true, LongRun: 8, Trend: 6})
	at := func(r Rule) []float64 {
		out := []float64{}
		for i, s := range signals {
			if slices.Contains(s, r) {
				out = append(out, float64(i+1))
			}
		}
		return out
	}
	c.nearAll(t, "rule2_two_of_three_beyond_2sigma", at(RuleTwoOfThree))
	c.nearAll(t, "rule3_four_of_five_beyond_1sigma", at(RuleFourOfFive))
	c.nearAll(t, "rule4_eight_on_one_side", at(RuleLongRun))
	c.nearAll(t, "trend6_steadily_up_or_down", at(RuleTrend))

	// The rule beyond the limits, on a chart whose points stand at these z.
	chart, err := newChart(ChartP, len(in.Z), nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	for i, z := range in.Z {
		chart.Points[i].Value = z
		chart.Points[i].setLimits(0, -3, 3, z, -9, 9)
	}
	chart.judge()
	c.nearAll(t, "rule1_beyond_3sigma", signalled(*chart, RuleBeyond))
	c.allRead(t)
}

// The third point of two of three may lie anywhere, also last; a point on the
// line counts for neither side.
func TestZoneWindows(t *testing.T) {
	z := []float64{0, 2.1, 2.3, 0.4, -2.2, 2.5, -2.1, 2, 2.6, 1}
	side := make([]int, len(z))
	signals := patternSignals(z, z, side, RunRules{TwoOfThree: true})
	var got []int
	for i, s := range signals {
		if len(s) > 0 {
			got = append(got, i)
		}
	}
	if !slices.Equal(got, []int{2, 3, 6}) {
		t.Errorf("two of three at %v, want 2, 3 and 6", got)
	}
}

func TestRunsByNumberOfPoints(t *testing.T) {
	c := checkByID(t, "charts", "RN-01")
	var in struct{ Useful []int }
	c.input(t, &in)
	var longest, crossings []float64
	for _, n := range in.Useful {
		sides := make([]int, n)
		for i := range sides {
			sides[i] = 1
		}
		r := judgeRuns(sides, RunRules{}, 2)
		longest, crossings = append(longest, float64(r.LongestLimit)), append(crossings, float64(r.CrossingsLimit))
	}
	c.nearAll(t, "longest", longest)
	c.nearAll(t, "crossings", crossings)
	c.allRead(t)
}

func TestJudgeRuns(t *testing.T) {
	both := RunRules{LongestRun: true, Crossings: true}
	for name, tc := range map[string]struct {
		sides string
		want  Runs
	}{
		"reaches the longest run": {"+++++++-+-+-+", Runs{Useful: 13, Longest: 7, LongestLimit: 7, Crossings: 6, CrossingsLimit: 3}},
		"exceeds it":              {"++++++++-+-+-", Runs{Useful: 13, Longest: 8, LongestLimit: 7, Crossings: 5, CrossingsLimit: 3, LongestSignal: true}},
		"crosses just enough":     {"++++---+++---", Runs{Useful: 13, Longest: 4, LongestLimit: 7, Crossings: 3, CrossingsLimit: 3}},
		"crosses too seldom":      {"++++++------+", Runs{Useful: 13, Longest: 6, LongestLimit: 7, Crossings: 2, CrossingsLimit: 3, CrossingsSignal: true}},
		"points on the line":      {"0++0+++++++-0+-+-+0", Runs{Useful: 15, Longest: 9, LongestLimit: 7, Crossings: 6, CrossingsLimit: 4, LongestSignal: true}},
		"too few":                 {"+++++++++++", Runs{Useful: 11, Longest: 11, LongestLimit: 6, CrossingsLimit: 2, NotJudged: "too few points off the centre line to judge runs"}},
		"nothing useful":          {"000", Runs{NotJudged: "too few points off the centre line to judge runs"}},
	} {
		var sides []int
		for _, r := range tc.sides {
			sides = append(sides, map[rune]int{'+': 1, '-': -1, '0': 0}[r])
		}
		if diff := cmp.Diff(tc.want, judgeRuns(sides, both, 12)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
		if off := judgeRuns(sides, RunRules{}, 12); off.LongestSignal || off.CrossingsSignal {
			t.Errorf("%s: rules that are off signal", name)
		}
	}
}

func TestRulesNamed(t *testing.T) {
	seen := map[string]bool{}
	for r := RuleBeyond; r <= RuleCrossings; r++ {
		if r.Source() == "" || r.String() == "unknown rule" || seen[r.String()] {
			t.Errorf("rule %d: %q, %q", int(r), r, r.Source())
		}
		seen[r.String()] = true
	}
}

// Two runs of random sides: the chance of a signal by longest run or crossings
// stays near 5 to 10 %, as the authors intend, whatever the number of points.
func TestRunsFalseAlarms(t *testing.T) {
	runs := 4000
	if testing.Short() {
		runs = 800
	}
	r := rand.New(rand.NewPCG(41, 1))
	for _, n := range []int{12, 24, 36} {
		alarms := 0
		for range runs {
			sides := make([]int, n)
			for i := range sides {
				sides[i] = 2*r.IntN(2) - 1
			}
			j := judgeRuns(sides, RunRules{LongestRun: true, Crossings: true}, 12)
			if j.LongestSignal || j.CrossingsSignal {
				alarms++
			}
		}
		if share := float64(alarms) / float64(runs); share > 0.1 || share < 0.01 {
			t.Errorf("%d points: %.3f false alarms", n, share)
		}
	}
}

// Points drawn at the centre lie inside the limits in the right share: 99.73 %
// for sigma limits at large n, never less for exact limits at small n.
func TestChartShareInside(t *testing.T) {
	points := 20000
	if testing.Short() {
		points = 5000
	}
	r := rand.New(rand.NewPCG(42, 1))
	exact := shewhartOnly()
	exact.Limits = ExactLimits
	for name, tc := range map[string]struct {
		p        float64
		n        int64
		s        ChartSettings
		low, top float64
	}{
		"sigma, 30 of 300": {0.1, 300, shewhartOnly(), 0.9945, 0.9990},
		"exact, 30 of 300": {0.1, 300, exact, 0.9965, 1},
		"exact, 1 of 50":   {0.02, 50, exact, 0.9965, 1},
	} {
		draws := make([]ProportionPoint, points)
		for i := range draws {
			draws[i].N = tc.n
			for range tc.n {
				if r.Float64() < tc.p {
					draws[i].X++
				}
			}
		}
		c, err := PChart(draws, nil, tc.s)
		if err != nil {
			t.Fatal(err)
		}
		inside := 1 - float64(len(signalled(c, RuleBeyond)))/float64(points)
		if inside < tc.low || inside > tc.top {
			t.Errorf("%s: %.4f inside, want %v to %v", name, inside, tc.low, tc.top)
		}
	}
}

func TestGChart(t *testing.T) {
	// Mean 9: stay = 0.9. By hand: median, smallest g with 0.9^(g+1) <= 0.5, is
	// 6; sigma limits 9 + 3 sqrt(90); exact upper limit, smallest g with
	// 0.9^(g+1) <= 0.00135, is 62; lower 0.
	gaps := []int64{9, 0, 18, 12, 6, 9}
	c, err := GChart(gaps, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	p := c.Phases[0]
	if p.Mean != 9 || p.Centre != 6 || c.Points[0].Low != 0 || math.Abs(c.Points[0].High-(9+3*math.Sqrt(90))) > 1e-9 {
		t.Errorf("phase %+v, point %+v", p, c.Points[0])
	}
	if got := []int{c.Points[0].side, c.Points[1].side, c.Points[4].side}; !slices.Equal(got, []int{1, -1, 0}) {
		t.Errorf("sides %v, want above, below, on the median", got)
	}
	s := shewhartOnly()
	s.Limits = ExactLimits
	c, err = GChart(append(gaps, 63, 62), []Phase{{BaselineEnd: 6}}, s)
	if err != nil {
		t.Fatal(err)
	}
	if c.Points[0].High != 62 || c.Points[0].Low != 0 {
		t.Errorf("exact limits %v to %v, want 0 to 62", c.Points[0].Low, c.Points[0].High)
	}
	if got := signalled(c, RuleBeyond); !slices.Equal(got, []float64{7}) {
		t.Errorf("signals at %v, want 7", got)
	}
	if c.Points[6].Z < 2.9 || c.Points[1].Z > -1 {
		t.Errorf("normal scores %v and %v", c.Points[6].Z, c.Points[1].Z)
	}
	for name, gaps := range map[string][]int64{"one gap": {3}, "zeros": {0, 0, 0}, "none": nil} {
		if c, err := GChart(gaps, nil, s); err != nil || c.Phases[0].NotEstimable == "" {
			t.Errorf("%s: %+v, %v", name, c, err)
		}
	}
}

func TestTChart(t *testing.T) {
	// By hand: times 0 and 1 give powers 0 and 1, mean 1/2, mean range 1.
	c, err := TChart([]float64{0, 1}, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	centre, high := math.Pow(0.5, 3.6), math.Pow(0.5+3/1.128, 3.6)
	if p := c.Points[1]; math.Abs(p.Centre-centre) > 1e-12 || math.Abs(p.High-high) > 1e-9 || p.Low != 0 || c.Phases[0].Mean != 0.5 {
		t.Errorf("got %+v, want centre %v and upper limit %v", p, centre, high)
	}
	// A change of unit changes nothing but the unit.
	days := []float64{3, 11, 0.5, 7, 30, 2, 16, 9, 1, 5, 22, 4}
	hours := make([]float64, len(days))
	for i, d := range days {
		hours[i] = 24 * d
	}
	a, _ := TChart(days, nil, shewhartOnly())
	b, _ := TChart(hours, nil, shewhartOnly())
	for i := range days {
		if math.Abs(24*a.Points[i].High-b.Points[i].High) > 1e-8 || math.Abs(a.Points[i].Z-b.Points[i].Z) > 1e-10 {
			t.Errorf("point %d: %+v in days, %+v in hours", i, a.Points[i], b.Points[i])
		}
	}
	for name, gaps := range map[string][]float64{"one gap": {3}, "all equal": {2, 2, 2}, "none": nil} {
		if c, err := TChart(gaps, nil, shewhartOnly()); err != nil || c.Phases[0].NotEstimable == "" {
			t.Errorf("%s: %+v, %v", name, c, err)
		}
	}
}

// Exponential times and geometric gaps fall evenly on both sides of the centre
// line, and beyond the limits about as rarely as they should.
func TestBetweenChartsShareInside(t *testing.T) {
	n := 20000
	if testing.Short() {
		n = 6000
	}
	r := rand.New(rand.NewPCG(43, 1))
	times, gaps := make([]float64, n), make([]int64, n)
	for i := range times {
		times[i] = 20 * r.ExpFloat64()
		gaps[i] = int64(200 * r.ExpFloat64())
	}
	exact := shewhartOnly()
	exact.Limits = ExactLimits
	tc, err := TChart(times, nil, shewhartOnly())
	if err != nil {
		t.Fatal(err)
	}
	gc, err := GChart(gaps, nil, exact)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]Chart{"t": tc, "g": gc} {
		above := 0
		for _, p := range c.Points {
			if p.side > 0 {
				above++
			}
		}
		if share := float64(above) / float64(n); math.Abs(share-0.5) > 0.02 {
			t.Errorf("%s chart: %.3f above the centre line", name, share)
		}
		if share := float64(len(signalled(c, RuleBeyond))) / float64(n); share > 0.005 {
			t.Errorf("%s chart: %.4f beyond the limits", name, share)
		}
	}
}

// Any counts give finite figures, limits in order and inside what is possible.
func TestChartsSane(t *testing.T) {
	r := rand.New(rand.NewPCG(44, 1))
	for round := range 200 {
		n := 1 + r.IntN(40)
		shares, rates := make([]ProportionPoint, n), make([]RatePoint, n)
		gaps, times := make([]int64, n), make([]float64, n)
		for i := range n {
			size := r.Int64N(30)
			shares[i].N = size
			if size > 0 {
				shares[i].X = r.Int64N(size+1) * r.Int64N(2)
				rates[i] = RatePoint{r.Int64N(4), 0.5 + r.Float64()}
			}
			gaps[i], times[i] = r.Int64N(20)*r.Int64N(2), r.ExpFloat64()*float64(r.IntN(2))
		}
		s := CommonChartSettings()
		s.Rules = RunRules{Beyond: true, TwoOfThree: true, FourOfFive: true, LongRun: 7, Trend: 6, LongestRun: true, Crossings: true}
		if round%2 == 0 {
			s.Limits = ExactLimits
		}
		charts := map[string]Chart{}
		var err error
		keep := func(name string, c Chart, e error) {
			charts[name] = c
			if e != nil {
				err = e
			}
		}
		p, e := PChart(shares, nil, s)
		keep("p", p, e)
		u, e := UChart(rates, nil, s)
		keep("u", u, e)
		g, e := GChart(gaps, nil, s)
		keep("g", g, e)
		s.Limits = SigmaLimits
		pp, e := LaneyPChart(shares, nil, s)
		keep("p'", pp, e)
		tt, e := TChart(times, nil, s)
		keep("t", tt, e)
		if err != nil {
			t.Fatal(err)
		}
		for name, c := range charts {
			chartSane(t, fmt.Sprintf("%s chart, round %d", name, round), c)
		}
	}
}

func chartSane(t *testing.T, name string, c Chart) {
	t.Helper()
	for i, p := range c.Points {
		for _, v := range []float64{p.Value, p.Centre, p.Low, p.High, p.Z} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s: point %d is not finite: %+v", name, i, p)
			}
		}
		if p.HasLimits && (p.Low > p.Centre || p.Centre > p.High || p.Low < 0) {
			t.Errorf("%s: limits of point %d out of order: %+v", name, i, p)
		}
		if p.HasLimits && (p.Missing != "" || c.Phases[p.Phase].NotEstimable != "") {
			t.Errorf("%s: point %d has limits without reason: %+v", name, i, p)
		}
		if !p.HasLimits && len(p.Signals) > 0 {
			t.Errorf("%s: point %d signals without limits: %+v", name, i, p)
		}
	}
}
