package metrics

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

var testPace = Pace{PerEpisode: 0.05, EpisodesPerMonth: 2000}

// TestPlanAboveFloorByEnumeration adds up the binomial probability of every count
// whose limits clear the floor, for the planned number, the one before and many
// after.
func TestPlanAboveFloorByEnumeration(t *testing.T) {
	for _, m := range []struct {
		method Method
		f      func(x, n int64, conf float64) (Estimate, error)
	}{{MethodWilson, Wilson}, {MethodClopperPearson, ClopperPearson}} {
		for _, c := range [][3]float64{{0.95, 0.85, 0.8}, {0.9, 0.6, 0.9}, {0.99, 0.9, 0.8}, {1, 0.9, 0.8}} {
			chance := func(n int64) float64 {
				b := distuv.Binomial{N: float64(n), P: c[0]}
				var sum float64
				for x := int64(0); x <= n; x++ {
					if e, _ := m.f(x, n, 0.95); e.Low > c[1] {
						if c[0] == 1 {
							if x == n {
								sum++
							}
							continue
						}
						sum += b.Prob(float64(x))
					}
				}
				return sum
			}
			p, err := PlanAboveFloor(c[0], c[1], 0.95, c[2], m.method, testPace)
			if err != nil {
				t.Fatal(err)
			}
			if got := chance(p.Animals); math.Abs(got-p.Power) > 1e-9 || got < c[2] {
				t.Errorf("%s, %v: power %v at %d, by enumeration %v", m.method, c, p.Power, p.Animals, got)
			}
			if got := chance(p.Animals - 1); got >= c[2] {
				t.Errorf("%s, %v: %d animals would do (%v)", m.method, c, p.Animals-1, got)
			}
			for n := p.Animals; n < 2*p.Animals+100; n += 1 + p.Animals/40 {
				if got := chance(n); got < c[2] {
					t.Errorf("%s, %v: power falls to %v at %d", m.method, c, got, n)
				}
			}
			if p.Episodes != math.Ceil(float64(p.Animals)/0.05) || math.Abs(p.Months-p.Episodes/2000) > 1e-12 {
				t.Errorf("pace: %+v", p)
			}
		}
	}
}

// By hand: 29 of 29 is the first count whose exact two-sided lower limit,
// 0.025^(1/n), exceeds 0.88; with a perfect test the plan needs just that.
func TestPlanAboveFloorPerfectTest(t *testing.T) {
	p, err := PlanAboveFloor(1, 0.88, 0.95, 0.8, MethodClopperPearson, testPace)
	if err != nil || p.Animals != 29 || p.Power != 1 {
		t.Errorf("%+v, %v", p, err)
	}
}

// By hand from Wilson's formula at p = 1/2: half-width^2 = z^2/(4(n+z^2)), so
// n = z^2 (1/(4 w^2) - 1) = 380.3 for w = 0.05.
func TestPlanHalfWidth(t *testing.T) {
	p, err := PlanHalfWidth(0.5, 0.05, 0.95, MethodWilson, testPace)
	if err != nil || p.Animals != 381 || p.HalfWidth > 0.05 {
		t.Errorf("%+v, %v", p, err)
	}
	for _, m := range []Method{MethodWilson, MethodClopperPearson} {
		for _, expected := range []float64{0, 0.3, 0.9, 0.97, 1} {
			p, err := PlanHalfWidth(expected, 0.04, 0.95, m, testPace)
			if err != nil {
				t.Fatal(err)
			}
			wider, _ := PlanHalfWidth(expected, 0.06, 0.95, m, testPace)
			if wider.Animals >= p.Animals {
				t.Errorf("%s at %v: half-width 0.06 needs %d, 0.04 needs %d", m, expected, wider.Animals, p.Animals)
			}
			if exact, _ := PlanHalfWidth(expected, 0.04, 0.95, MethodClopperPearson, testPace); exact.Animals < p.Animals {
				t.Errorf("at %v the exact limits need %d, Wilson %d", expected, exact.Animals, p.Animals)
			}
		}
	}
	if p, _ := PlanHalfWidth(0.5, 1e-5, 0.95, MethodWilson, testPace); p.NotReachable == "" || p.Animals != 0 {
		t.Errorf("unreachable: %+v", p)
	}
}

// TestPairedPowerByEnumeration walks over every pair of discordant counts.
func TestPairedPowerByEnumeration(t *testing.T) {
	for _, c := range []struct {
		n    int64
		a, b float64
	}{{12, 0.5, 0.1}, {40, 0.2, 0.05}, {60, 0.3, 0.1}, {25, 0.7, 0.3}, {30, 0.2, 0}} {
		got, err := PairedPower(c.n, c.a, c.b, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		var want float64
		logFactorial := func(x float64) float64 { v, _ := math.Lgamma(x + 1); return v }
		term := func(k, p float64) float64 {
			if k == 0 {
				return 0
			}
			return k * math.Log(p)
		}
		for x := int64(0); x <= c.n; x++ {
			for y := int64(0); x+y <= c.n; y++ {
				rest := float64(c.n - x - y)
				if x > 0 && c.a == 0 || y > 0 && c.b == 0 || rest > 0 && c.a+c.b >= 1 {
					continue
				}
				low := min(x, y)
				p := math.Min(1, 2*(1-binomialAtLeast(float64(low+1), float64(x+y), 0.5)))
				if p <= 0.05 {
					want += math.Exp(logFactorial(float64(c.n)) - logFactorial(float64(x)) - logFactorial(float64(y)) - logFactorial(rest) +
						term(float64(x), c.a) + term(float64(y), c.b) + term(rest, 1-c.a-c.b))
				}
			}
		}
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%+v: power %v, by enumeration %v", c, got, want)
		}
	}
}

func TestPlanPaired(t *testing.T) {
	p, err := PlanPaired(0.2, 0.1, 0.95, 0.8, testPace)
	if err != nil {
		t.Fatal(err)
	}
	// The normal approximation of Connett, Smith, McHugh (1987) Stat Med 6:537-544
	// gives 233.6; the exact test needs somewhat more.
	z, zp := twoSidedZ(0.95), distuv.UnitNormal.Quantile(0.8)
	rough := math.Pow(z*math.Sqrt(0.3)+zp*math.Sqrt(0.3-0.01), 2) / 0.01
	if float64(p.Animals) < rough || float64(p.Animals) > 1.15*rough {
		t.Errorf("%d pairs, normal approximation %v", p.Animals, rough)
	}
	before, _ := PairedPower(p.Animals-1, 0.2, 0.1, 0.95)
	if p.Power < 0.8 || before >= 0.8 {
		t.Errorf("power %v at %d, %v before", p.Power, p.Animals, before)
	}
	if swapped, _ := PlanPaired(0.1, 0.2, 0.95, 0.8, testPace); swapped.Animals != p.Animals {
		t.Errorf("swapped: %d, want %d", swapped.Animals, p.Animals)
	}
	if same, _ := PlanPaired(0.1, 0.1, 0.95, 0.8, testPace); same.NotReachable == "" {
		t.Errorf("equal: %+v", same)
	}
	if far, _ := PlanPaired(0.1, 0.1001, 0.95, 0.8, testPace); far.NotReachable == "" {
		t.Errorf("nearly equal: %+v", far)
	}
	if zero, err := PairedPower(0, 0.1, 0.2, 0.95); err != nil || zero != 0 {
		t.Errorf("no pairs: %v, %v", zero, err)
	}
	if all, _ := PairedPower(20, 1, 0, 0.95); math.Abs(all-1) > 1e-12 {
		t.Errorf("all pairs one way: power %v", all)
	}
}

func TestPlanAudit(t *testing.T) {
	// By hand: 381 answers of an endless number become 381/(1+380/1000) = 276.1.
	p, err := PlanAudit(1000, 0.5, 0.05, 0.7, 0.95)
	if err != nil || p.Answers != 277 || p.Calls != 396 {
		t.Errorf("%+v, %v", p, err)
	}
	if p, _ := PlanAudit(300, 0.5, 0.05, 0.4, 0.95); p.NotReachable == "" || p.Calls != 0 {
		t.Errorf("too few: %+v", p)
	}
	// The rule of three: 299 answers for a rate of 1 %.
	d, err := PlanAuditDetection(14400, 0.01, 0.95, 0.7)
	if err != nil || d.Answers != 299 || d.Calls != 428 || d.Chance < 0.95 {
		t.Errorf("%+v, %v", d, err)
	}
}

func TestPlanningRefuses(t *testing.T) {
	good := testPace
	for name, f := range map[string]func() error{
		"floor above expected": func() error { _, err := PlanAboveFloor(0.8, 0.9, 0.95, 0.8, MethodWilson, good); return err },
		"power":                func() error { _, err := PlanAboveFloor(0.9, 0.8, 0.95, 80, MethodWilson, good); return err },
		"method":               func() error { _, err := PlanAboveFloor(0.9, 0.8, 0.95, 0.8, MethodJeffreys, good); return err },
		"pace":                 func() error { _, err := PlanAboveFloor(0.9, 0.8, 0.95, 0.8, MethodWilson, Pace{}); return err },
		"half-width":           func() error { _, err := PlanHalfWidth(0.9, 0, 0.95, MethodWilson, good); return err },
		"expected NaN":         func() error { _, err := PlanHalfWidth(math.NaN(), 0.1, 0.95, MethodWilson, good); return err },
		"shares":               func() error { _, err := PlanPaired(0.6, 0.6, 0.95, 0.8, good); return err },
		"paired power":         func() error { _, err := PlanPaired(0.2, 0.1, 0.95, 1, good); return err },
		"paired confidence":    func() error { _, err := PairedPower(5, 0.2, 0.1, 1); return err },
		"eligible":             func() error { _, err := PlanAudit(0, 0.1, 0.1, 0.7, 0.95); return err },
		"response":             func() error { _, err := PlanAuditDetection(10, 0.1, 0.9, 0); return err },
		"rate":                 func() error { _, err := PlanAuditDetection(10, 0, 0.9, 0.7); return err },
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if p, err := PlanAboveFloor(0.9001, 0.9, 0.95, 0.8, MethodWilson, good); err != nil || p.NotReachable == "" {
		t.Errorf("too near the floor: %+v, %v", p, err)
	}
}
