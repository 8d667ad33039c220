package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// patternInput decodes terms and patterns (covariates, successes, trials).
func patternInput(t *testing.T, c *checkCase) (terms []string, patterns []Pattern) {
	t.Helper()
	var in struct {
		Terms    []string
		Patterns [][]float64
	}
	c.input(t, &in)
	for _, row := range in.Patterns {
		k := len(row) - 2
		if k != len(in.Terms) {
			t.Fatalf("%s: pattern %v for %d terms", c.ID, row, len(in.Terms))
		}
		patterns = append(patterns, Pattern{X: row[:k], Successes: int64(row[k]), Trials: int64(row[k+1])})
	}
	return in.Terms, patterns
}

// columns takes a table of coefficients apart.
func columns(table []Coefficient, of func(Coefficient) float64) []float64 {
	out := make([]float64, len(table))
	for i, c := range table {
		out[i] = of(c)
	}
	return out
}

func mustTable(t *testing.T, f func(float64) ([]Coefficient, error), conf float64) []Coefficient {
	t.Helper()
	table, err := f(conf)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range table {
		checkSane(t, c.Term, c.LogOdds, math.Inf(-1), math.Inf(1))
		checkSane(t, c.Term, c.OddsRatio, 0, math.Inf(1))
		if !(c.P >= 0 && c.P <= 1) || math.IsNaN(c.SE) {
			t.Errorf("%s: p %v, SE %v", c.Term, c.P, c.SE)
		}
	}
	return table
}

func TestLogisticPublished(t *testing.T) {
	for _, id := range []string{"rg-01", "co-logit"} {
		c := checkByID(t, "logistic", id)
		fit, err := FitLogistic(patternInput(t, c))
		if err != nil || fit.NotEstimable != "" {
			t.Fatalf("%+v, %v", fit, err)
		}
		c.nearAll(t, "coef", fit.Coef)
		c.nearAll(t, "se", fit.SE)
		wald := mustTable(t, fit.WaldLimits, 0.95)
		c.nearAll(t, "z", columns(wald, func(c Coefficient) float64 { return c.LogOdds.Value / c.SE }))
		c.nearAll(t, "p", columns(wald, func(c Coefficient) float64 { return c.P }))
		c.nearAll(t, "or", columns(wald, func(c Coefficient) float64 { return c.OddsRatio.Value }))
		c.nearAll(t, "or_wald_lower", columns(wald, func(c Coefficient) float64 { return c.OddsRatio.Low }))
		c.nearAll(t, "or_wald_upper", columns(wald, func(c Coefficient) float64 { return c.OddsRatio.High }))
		c.near(t, "loglik", fit.LogLik)
		c.near(t, "deviance", -2*fit.LogLik)
		c.near(t, "null_deviance", -2*fit.NullLogLik)
		c.near(t, "aic", fit.AIC())
		c.near(t, "n", float64(fit.Trials))
		if c.has("profile_lower") {
			profile := mustTable(t, fit.ProfileLimits, 0.95)
			c.nearAll(t, "profile_lower", columns(profile, func(c Coefficient) float64 { return c.LogOdds.Low }))
			c.nearAll(t, "profile_upper", columns(profile, func(c Coefficient) float64 { return c.LogOdds.High }))
		}
		c.allRead(t)
	}
}

func TestFirthPublished(t *testing.T) {
	c := checkByID(t, "logistic", "rg-04")
	terms, patterns := patternInput(t, c)
	fit, err := FitFirth(terms, patterns)
	if err != nil || fit.NotEstimable != "" {
		t.Fatalf("%+v, %v", fit, err)
	}
	c.nearAll(t, "coef", fit.Coef)
	printedItems(t, c, "coef", fit.Coef)
	c.nearAll(t, "se_wald_brglm2", fit.SE)
	table := mustTable(t, fit.ProfileLimits, 0.95)
	low := columns(table, func(c Coefficient) float64 { return c.LogOdds.Low })
	high := columns(table, func(c Coefficient) float64 { return c.LogOdds.High })
	c.nearAll(t, "profile_lower", low)
	c.nearAll(t, "profile_upper", high)
	printedItems(t, c, "profile_lower", low)
	printedItems(t, c, "profile_upper", high)
	p := columns(table, func(c Coefficient) float64 { return c.P })
	c.nearAll(t, "profile_p", p)
	printedItems(t, c, "profile_p", p)
	c.allRead(t)

	// Ordinary likelihood has no answer here, and says which term is to blame.
	ml, err := FitLogistic(terms, patterns)
	if err != nil || ml.NotEstimable == "" || !slices.Equal(ml.Separated, []string{"NV"}) || ml.Coef != nil {
		t.Errorf("separated by %v: %q, %v", ml.Separated, ml.NotEstimable, err)
	}
	if !slices.Equal(fit.Separated, []string{"NV"}) {
		t.Errorf("Firth names %v", fit.Separated)
	}
	for _, f := range []func(float64) ([]Coefficient, error){ml.WaldLimits, ml.ProfileLimits, fit.WaldLimits} {
		if table := mustTable(t, f, 0.95); table[1].LogOdds.Estimable() || table[1].OddsRatio.Estimable() {
			t.Errorf("limits from nothing: %+v", table[1])
		}
	}
}

func TestFirthIsHalfACallForOneFlag(t *testing.T) {
	c := checkByID(t, "logistic", "rg-05")
	fit, err := FitFirth(patternInput(t, c))
	if err != nil {
		t.Fatal(err)
	}
	c.nearAll(t, "coef", fit.Coef)
	c.near(t, "log_or_plus_half", fit.Coef[1])
	c.allRead(t)

	r := rand.New(rand.NewPCG(23, 24))
	for range 100 {
		a, b, d, e := r.Int64N(6), r.Int64N(6), r.Int64N(6), r.Int64N(6)
		if a+b == 0 || d+e == 0 {
			continue
		}
		fit, err := FitFirth([]string{"flag"}, []Pattern{{[]float64{1}, a, a + b}, {[]float64{0}, d, d + e}})
		if err != nil || fit.NotEstimable != "" {
			t.Fatalf("%d %d %d %d: %q, %v", a, b, d, e, fit.NotEstimable, err)
		}
		want := math.Log((float64(a) + 0.5) * (float64(e) + 0.5) / (float64(b) + 0.5) / (float64(d) + 0.5))
		if math.Abs(fit.Coef[1]-want) > 1e-6 {
			t.Errorf("%d %d %d %d: %v, want %v", a, b, d, e, fit.Coef[1], want)
		}
		// The penalised likelihood itself, in the caller's units: the
		// determinant of the information of two groups is the product of n p (1-p).
		ll := 0.0
		for _, g := range [][2]float64{{float64(a), float64(b)}, {float64(d), float64(e)}} {
			p := (g[0] + 0.5) / (g[0] + g[1] + 1)
			ll += g[0]*math.Log(p) + g[1]*math.Log(1-p) + math.Log((g[0]+g[1])*p*(1-p))/2
		}
		if math.Abs(fit.LogLik-ll) > 1e-9 {
			t.Errorf("%d %d %d %d: penalised log-likelihood %v, want %v", a, b, d, e, fit.LogLik, ll)
		}
	}
}

func TestSeparationIsNamed(t *testing.T) {
	x := func(v ...float64) []float64 { return v }
	for name, tc := range map[string]struct {
		terms    []string
		patterns []Pattern
		want     []string
	}{
		"overlap":             {[]string{"a"}, []Pattern{{x(0), 1, 3}, {x(1), 2, 3}}, nil},
		"overlap by a hair":   {[]string{"a"}, []Pattern{{x(0), 1, 1000}, {x(1), 999, 1000}}, nil},
		"flag never well":     {[]string{"a"}, []Pattern{{x(0), 1, 3}, {x(1), 3, 3}}, []string{"a"}},
		"flag never ill":      {[]string{"a"}, []Pattern{{x(0), 1, 3}, {x(1), 0, 3}}, []string{"a"}},
		"ill only when fired": {[]string{"a"}, []Pattern{{x(0), 0, 3}, {x(1), 1, 3}}, []string{interceptTerm, "a"}},
		"complete":            {[]string{"v"}, []Pattern{{x(1), 0, 2}, {x(2), 0, 1}, {x(3), 3, 3}}, []string{interceptTerm, "v"}},
		"only the second": {[]string{"a", "b"}, []Pattern{
			{x(0, 0), 1, 4}, {x(1, 0), 2, 4}, {x(0, 1), 4, 4}, {x(1, 1), 3, 3}}, []string{"b"}},
		"two flags each on its own": {[]string{"a", "b", "c"}, []Pattern{
			{x(0, 0, 0), 1, 4}, {x(0, 0, 1), 2, 4}, {x(1, 0, 0), 4, 4}, {x(0, 1, 1), 0, 3}}, []string{"a", "b"}},
		// b alone explains its rows; only then is a seen to separate the rest.
		"one after the other": {[]string{"a", "b"}, []Pattern{
			{x(0, 0), 1, 4}, {x(0, 1), 4, 4}, {x(1, 1), 3, 3}, {x(1, 0), 0, 4}}, []string{"a", "b"}},
		"numbers that overlap": {[]string{"kg"}, []Pattern{{x(3000), 0, 1}, {x(4100), 1, 1}, {x(5000), 0, 1}, {x(6000), 1, 1}}, nil},
	} {
		fit, err := FitLogistic(tc.terms, tc.patterns)
		if err != nil || !slices.Equal(fit.Separated, tc.want) || (fit.NotEstimable != "") != (tc.want != nil) {
			t.Errorf("%s: separated by %v (%q), want %v; %v", name, fit.Separated, fit.NotEstimable, tc.want, err)
		}
		firth, err := FitFirth(tc.terms, tc.patterns)
		if err != nil || firth.NotEstimable != "" {
			t.Errorf("%s: Firth: %q, %v", name, firth.NotEstimable, err)
			continue
		}
		for _, c := range mustTable(t, firth.ProfileLimits, 0.95) {
			if !c.LogOdds.Estimable() {
				t.Errorf("%s: Firth's %s: %s", name, c.Term, c.LogOdds.NotEstimable)
			}
		}
	}
}

// TestSeparationAgreesWithDivergence asks the likelihood itself: along a
// separating direction it keeps rising, so a climb without the check leaves
// every bound behind.
func TestSeparationAgreesWithDivergence(t *testing.T) {
	r := rand.New(rand.NewPCG(25, 26))
	separated := 0
	for range 300 {
		patterns := make([]Pattern, 3+r.IntN(4))
		for i := range patterns {
			n := 1 + r.Int64N(3)
			patterns[i] = Pattern{X: []float64{float64(r.IntN(2)), float64(r.IntN(3))}, Successes: r.Int64N(n + 1), Trials: n}
		}
		fit, err := FitLogistic([]string{"a", "b"}, patterns)
		if err != nil {
			t.Fatal(err)
		}
		if fit.design.aliased >= 0 || fit.Successes == 0 || fit.Successes == fit.Trials {
			continue
		}
		beta := make([]float64, 3)
		all := func(int) bool { return true }
		ll, ok := fit.design.maximise(beta, all, false)
		size := math.Abs(beta[0]) + math.Abs(beta[1]) + math.Abs(beta[2])
		if diverges := !ok || size > 11; diverges != (len(fit.Separated) > 0) {
			t.Errorf("%v: separated by %v but coefficients %v, log-likelihood %v", patterns, fit.Separated, beta, ll)
		}
		if len(fit.Separated) > 0 {
			separated++
		}
	}
	if separated < 50 {
		t.Errorf("only %d separated tables: the test asks nothing", separated)
	}
}

func TestLogisticNotEstimable(t *testing.T) {
	x := func(v ...float64) []float64 { return v }
	for name, tc := range map[string]struct {
		patterns []Pattern
		firthToo bool
	}{
		"no patterns":          {nil, true},
		"no calls":             {[]Pattern{{x(1, 0), 0, 0}}, true},
		"no success":           {[]Pattern{{x(0, 0), 0, 3}, {x(1, 0), 0, 3}, {x(0, 1), 0, 3}}, false},
		"no failure":           {[]Pattern{{x(0, 0), 3, 3}, {x(1, 0), 3, 3}, {x(0, 1), 3, 3}}, false},
		"constant term":        {[]Pattern{{x(0, 1), 1, 3}, {x(1, 1), 2, 3}}, true},
		"terms that are equal": {[]Pattern{{x(0, 0), 1, 3}, {x(1, 1), 2, 3}}, true},
	} {
		terms := []string{"a", "b"}
		ml, err := FitLogistic(terms, tc.patterns)
		if err != nil || ml.NotEstimable == "" || ml.Coef != nil || ml.AIC() != 0 {
			t.Errorf("%s: %+v, %v", name, ml, err)
		}
		if _, err := ml.Predict(x(0, 0)); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: prediction: %v", name, err)
		}
		firth, err := FitFirth(terms, tc.patterns)
		if err != nil || (firth.NotEstimable != "") != tc.firthToo {
			t.Errorf("%s: Firth %q, %v", name, firth.NotEstimable, err)
		}
	}
}

func TestLogisticRefusesBadArguments(t *testing.T) {
	for name, p := range map[string]Pattern{
		"too few covariates": {[]float64{1}, 1, 2}, "more than all": {[]float64{1, 2}, 3, 2}, "negative": {[]float64{1, 2}, -1, 2},
		"negative trials": {[]float64{1, 2}, 0, -2}, "not a number": {[]float64{1, math.NaN()}, 1, 2}, "infinite": {[]float64{1, math.Inf(1)}, 1, 2},
	} {
		if _, err := FitLogistic([]string{"a", "b"}, []Pattern{p}); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := FitFirth([]string{"a", "b"}, []Pattern{p}); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: Firth: %v", name, err)
		}
	}
	fit, err := FitLogistic([]string{"a"}, []Pattern{{[]float64{0}, 1, 3}, {[]float64{1}, 2, 3}})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []func(float64) ([]Coefficient, error){fit.WaldLimits, fit.ProfileLimits} {
		if _, err := f(1); !errors.Is(err, ErrArgument) {
			t.Error(err)
		}
	}
	for _, x := range [][]float64{nil, {1, 2}, {math.NaN()}} {
		if _, err := fit.Predict(x); !errors.Is(err, ErrArgument) {
			t.Errorf("prediction at %v: %v", x, err)
		}
	}
	if p, err := fit.Predict([]float64{1}); err != nil || math.Abs(p-2.0/3) > 1e-9 {
		t.Errorf("prediction %v, %v, want 2/3", p, err)
	}
}

// TestLogisticProperties: gathering, order and units do not matter, swapping the
// outcome turns the sign, and ten times the calls narrow the limits.
func TestLogisticProperties(t *testing.T) {
	c := checkByID(t, "logistic", "co-logit")
	terms, patterns := patternInput(t, c)
	base, _ := FitLogistic(terms, patterns)
	firth, _ := FitFirth(terms, patterns)
	var single, swapped, scaled, tenfold []Pattern
	for _, p := range patterns {
		for i := range p.Trials {
			s := int64(0)
			if i < p.Successes {
				s = 1
			}
			single = append(single, Pattern{p.X, s, 1})
		}
		swapped = append(swapped, Pattern{p.X, p.Trials - p.Successes, p.Trials})
		scaled = append(scaled, Pattern{[]float64{p.X[0] * 1000, p.X[1] - 40, p.X[2]}, p.Successes, p.Trials})
		tenfold = append(tenfold, Pattern{p.X, 10 * p.Successes, 10 * p.Trials})
	}
	rand.New(rand.NewPCG(27, 28)).Shuffle(len(single), func(i, j int) { single[i], single[j] = single[j], single[i] })
	for _, tc := range []struct {
		name     string
		patterns []Pattern
		want     func(coef []float64, j int) float64
	}{
		{"single calls, shuffled", single, func(b []float64, j int) float64 { return b[j] }},
		{"outcome swapped", swapped, func(b []float64, j int) float64 { return -b[j] }},
		{"pulse in other units, haematocrit from 40", scaled, func(b []float64, j int) float64 {
			return []float64{b[0] + 40*b[2], b[1] / 1000, b[2], b[3]}[j]
		}},
	} {
		ml, err := FitLogistic(terms, tc.patterns)
		if err != nil {
			t.Fatal(err)
		}
		pen, err := FitFirth(terms, tc.patterns)
		if err != nil {
			t.Fatal(err)
		}
		for j := range ml.Coef {
			if want := tc.want(base.Coef, j); math.Abs(ml.Coef[j]-want) > 1e-7*math.Max(math.Abs(want), 1e-2) {
				t.Errorf("%s: %s %v, want %v", tc.name, ml.Terms[j], ml.Coef[j], want)
			}
			if want := tc.want(firth.Coef, j); math.Abs(pen.Coef[j]-want) > 1e-5*math.Max(math.Abs(want), 1e-2) {
				t.Errorf("%s: Firth's %s %v, want %v", tc.name, ml.Terms[j], pen.Coef[j], want)
			}
		}
	}
	ten, _ := FitLogistic(terms, tenfold)
	wide, narrow := mustTable(t, base.ProfileLimits, 0.95), mustTable(t, ten.ProfileLimits, 0.95)
	for j := range wide {
		if narrow[j].LogOdds.Low <= wide[j].LogOdds.Low || narrow[j].LogOdds.High >= wide[j].LogOdds.High {
			t.Errorf("%s: ten times the calls: %+v inside %+v expected", wide[j].Term, narrow[j].LogOdds, wide[j].LogOdds)
		}
	}
}

// TestLogisticOnHostileTables: few patterns, huge counts, covariates from
// thousandths to thousands. Every answer is a figure or a reason, and flags with
// ages, as an advice line has them, always get their fit.
func TestLogisticOnHostileTables(t *testing.T) {
	tables := 600
	if testing.Short() {
		tables = 150
	}
	r := rand.New(rand.NewPCG(53, 54))
	lost, asked := 0, 0
	for i := range tables {
		hostile := i%2 == 0
		k := 1 + r.IntN(4)
		patterns := make([]Pattern, 2+r.IntN(10))
		for j := range patterns {
			p := Pattern{X: make([]float64, k), Trials: r.Int64N(1 + int64(math.Pow(10, float64(r.IntN(3)))))}
			if hostile {
				p.Trials *= 1000
			}
			for c := range p.X {
				switch {
				case hostile && r.IntN(3) == 0:
					p.X[c] = r.NormFloat64() * math.Pow(10, float64(r.IntN(7)-3))
				case c == 0:
					p.X[c] = float64(r.IntN(20))
				default:
					p.X[c] = float64(r.IntN(2))
				}
			}
			p.Successes = int64(float64(p.Trials) * math.Min(1, r.ExpFloat64()/2))
			patterns[j] = p
		}
		terms := []string{"age", "a", "b", "c"}[:k]
		ml, err1 := FitLogistic(terms, patterns)
		firth, err2 := FitFirth(terms, patterns)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		for _, fit := range []LogisticFit{ml, firth} {
			if !hostile && strings.Contains(fit.NotEstimable, "did not settle") {
				t.Errorf("%v: penalised %v: %s", patterns, fit.Penalised, fit.NotEstimable)
			}
			for _, c := range mustTable(t, fit.ProfileLimits, 0.95) {
				if fit.NotEstimable == "" && !hostile {
					asked++
					if !c.LogOdds.Estimable() {
						lost++
					}
				}
			}
		}
		mustTable(t, ml.WaldLimits, 0.95)
	}
	t.Logf("%d of %d profiles without a clear peak", lost, asked)
	if asked < tables/2 || 50*lost > asked {
		t.Errorf("%d of %d profiles of ordinary tables could not be followed", lost, asked)
	}
}

// TestLogisticSteepTables: hand-picked from hostile draws.
func TestLogisticSteepTables(t *testing.T) {
	// The curvature underflows on the way; only a ridge leads back.
	steep := []Pattern{
		{[]float64{0.004101667690282439, -59.665057580640514}, 2, 4}, {[]float64{1, 0.822651831061084}, 14338, 17181},
		{[]float64{1, -0.0011347694609189502}, 25, 82}, {[]float64{3.6018018066867823, 0}, 0, 1},
		{[]float64{-1.4249034849016087, -12.880562336873426}, 0, 7}, {[]float64{1, 1}, 2798, 25942}, {[]float64{0, 0}, 1, 1},
	}
	fit, err := FitLogistic([]string{"a", "b"}, steep)
	if err != nil || fit.NotEstimable != "" {
		t.Errorf("steep: %q, %v", fit.NotEstimable, err)
	}
	// The penalised likelihood has a second, higher peak far from the first; a
	// limit there would not be a limit of this coefficient.
	peaks := []Pattern{
		{[]float64{30, 0, 1}, 0, 1}, {[]float64{27, 1, 1}, 4, 4}, {[]float64{2, 1, 0}, 2, 12},
		{[]float64{25, 0, 1}, 2, 6}, {[]float64{38, 0, 0}, 0, 1}, {[]float64{28, 1, 1}, 8, 40},
	}
	firth, err := FitFirth([]string{"age", "b", "c"}, peaks)
	if err != nil || firth.NotEstimable != "" {
		t.Fatalf("peaks: %q, %v", firth.NotEstimable, err)
	}
	if age := mustTable(t, firth.ProfileLimits, 0.95)[1]; age.LogOdds.Estimable() || !strings.Contains(age.LogOdds.NotEstimable, "peak") {
		t.Errorf("two peaks: %+v", age)
	}
}

// TestLogisticCoverage draws two flags of known effect on 150 calls.
func TestLogisticCoverage(t *testing.T) {
	draws := 700
	if testing.Short() {
		draws = 200
	}
	truth := []float64{-1, 0.9, -0.4}
	r := rand.New(rand.NewPCG(29, 30))
	held := map[string]int{}
	asked := 0
	for range draws {
		var patterns []Pattern
		for _, x := range [][]float64{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
			p := logistic(truth[0] + truth[1]*x[0] + truth[2]*x[1])
			pat := Pattern{X: x, Trials: 40}
			for range pat.Trials {
				if r.Float64() < p {
					pat.Successes++
				}
			}
			patterns = append(patterns, pat)
		}
		ml, err := FitLogistic([]string{"a", "b"}, patterns)
		if err != nil || ml.NotEstimable != "" {
			t.Fatalf("%v: %q, %v", patterns, ml.NotEstimable, err)
		}
		firth, _ := FitFirth([]string{"a", "b"}, patterns)
		asked++
		for name, f := range map[string]func(float64) ([]Coefficient, error){
			"Wald": ml.WaldLimits, "profile": ml.ProfileLimits, "Firth": firth.ProfileLimits} {
			table, err := f(0.95)
			if err != nil {
				t.Fatal(err)
			}
			if e := table[1].LogOdds; e.Low <= truth[1] && truth[1] <= e.High {
				held[name]++
			}
		}
	}
	for name, n := range held {
		coverage := float64(n) / float64(asked)
		t.Logf("%s: %.3f", name, coverage)
		coverageNear95(t, name, coverage)
	}
}
