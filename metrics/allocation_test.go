package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// TestAuditAllocationIsTheBest tries every division of a few calls.
func TestAuditAllocationIsTheBest(t *testing.T) {
	r := rand.New(rand.NewPCG(35, 36))
	for range 200 {
		var strata []AllocationStratum
		for range 3 {
			strata = append(strata, AllocationStratum{Eligible: 3 + r.Int64N(40), Rate: 0.01 + 0.4*r.Float64(), Response: 0.3 + 0.7*r.Float64()})
		}
		calls, minCalls := 6+r.Int64N(12), 1+r.Int64N(2)
		got, err := AuditAllocation(strata, calls, minCalls, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		var sum int64
		for _, n := range got.Calls {
			sum += n
		}
		// The plan's variance without the finite-population term, which does not
		// depend on the division.
		variance := func(n [3]int64) float64 {
			var v float64
			for i, s := range strata {
				v += float64(s.Eligible) * float64(s.Eligible) * s.Rate * (1 - s.Rate) / (float64(n[i]) * s.Response)
			}
			return v
		}
		best := math.Inf(1)
		for a := minCalls; a <= min(calls, strata[0].Eligible); a++ {
			for b := minCalls; a+b <= calls && b <= strata[1].Eligible; b++ {
				if c := calls - a - b; c >= minCalls && c <= strata[2].Eligible {
					best = math.Min(best, variance([3]int64{a, b, c}))
				}
			}
		}
		if math.IsInf(best, 1) {
			continue // fewer episodes than calls
		}
		if mine := variance([3]int64(got.Calls)); sum != calls || mine > best*(1+1e-12) {
			t.Errorf("%+v: %v of %d calls has variance %v, best %v", strata, got.Calls, calls, mine, best)
		}
	}
}

func TestAuditAllocation(t *testing.T) {
	strata := []AllocationStratum{
		{Name: "common", Eligible: 10000, Rate: 0.01, Response: 0.7},
		{Name: "risky", Eligible: 2500, Rate: 0.16, Response: 0.7},
	}
	got, err := AuditAllocation(strata, 500, 10, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	// 10000*sqrt(0.01*0.99) : 2500*sqrt(0.16*0.84) = 994.99 : 916.52.
	if got.Calls[0] != 260 || got.Calls[1] != 240 {
		t.Errorf("calls %v, want 260 and 240", got.Calls)
	}
	more, _ := AuditAllocation(strata, 1000, 10, 0.95)
	if more.HalfWidth >= got.HalfWidth {
		t.Errorf("twice the calls: half-width %v, before %v", more.HalfWidth, got.HalfWidth)
	}
	all, _ := AuditAllocation([]AllocationStratum{{Eligible: 5, Rate: 0.1, Response: 1}}, 50, 1, 0.95)
	if all.Calls[0] != 5 || all.HalfWidth != 0 {
		t.Errorf("everybody called: %+v", all)
	}
	for name, f := range map[string]func() (Allocation, error){
		"too few calls": func() (Allocation, error) { return AuditAllocation(strata, 15, 10, 0.95) },
		"rate 0": func() (Allocation, error) {
			return AuditAllocation([]AllocationStratum{{Eligible: 5, Response: 1}}, 5, 1, 0.95)
		},
		"no strata":  func() (Allocation, error) { return AuditAllocation(nil, 5, 1, 0.95) },
		"minimum 0":  func() (Allocation, error) { return AuditAllocation(strata, 500, 0, 0.95) },
		"confidence": func() (Allocation, error) { return AuditAllocation(strata, 500, 1, 95) },
	} {
		if _, err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
