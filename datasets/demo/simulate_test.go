package demo

import (
	"context"
	"math"
	"runtime"
	"testing"
)

// shares are what the line should look like, over the episodes of one seed.
type shares struct {
	n, need, emergency, caught, caughtEmergency, escalated float64
	verified, wrongSameDay, wrongEmergency                 float64
	ruleCaught, audited, responded, checks, early          float64
	mouthStress, mouthStressNeed                           float64
	catNeed, catN                                          [3]float64 // breaths below 40, 40 to 59, 60 and more
	drift, driftN, before, beforeN                         float64
}

func simulate(t *testing.T, o Options) shares {
	t.Helper()
	var s shares
	one := func(x *float64, is bool) {
		if is {
			*x++
		}
	}
	stress := flagBit("mouth_breathing_after_stress")
	err := Simulate(o, func(e *Episode) {
		s.n++
		one(&s.need, e.NeedSameDay)
		one(&s.emergency, e.NeedEmergency)
		one(&s.caught, e.NeedSameDay && e.Level >= SameDay)
		one(&s.ruleCaught, e.NeedSameDay && e.RuleLevel >= SameDay)
		one(&s.caughtEmergency, e.NeedEmergency && e.Level == Emergency)
		one(&s.escalated, e.Level >= SameDay)
		one(&s.verified, e.Verified)
		one(&s.wrongSameDay, e.Verified && e.FoundSameDay != e.NeedSameDay)
		one(&s.wrongEmergency, e.Verified && e.FoundEmergency != e.NeedEmergency)
		one(&s.audited, e.AuditSelected)
		one(&s.responded, e.AuditResponded)
		one(&s.mouthStress, e.Fired&stress != 0)
		one(&s.mouthStressNeed, e.Fired&stress != 0 && e.NeedEmergency)
		if e.Site == SiteIDs[brillowfen] && e.NeedSameDay {
			if e.Month >= driftMonth {
				s.driftN++
				one(&s.drift, e.Level >= SameDay)
			} else {
				s.beforeN++
				one(&s.before, e.Level >= SameDay)
			}
		}
		if r := e.Readings[BreathingRate]; e.Species == "cat" && r.State == Done {
			band := 0
			switch {
			case r.Recorded >= 60:
				band = 2
			case r.Recorded >= 40:
				band = 1
			}
			s.catN[band]++
			one(&s.catNeed[band], e.NeedSameDay)
		}
		for _, r := range e.Readings {
			one(&s.checks, r.State != NotOnForm)
			one(&s.early, r.StoppedEarly)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSharesStayWithinStatedBounds(t *testing.T) {
	for _, world := range []World{WorldIgnorable, WorldSelfPresenting} {
		for seed := range uint64(4) {
			s := simulate(t, Options{Seed: seed, Calls: 60000, World: world})
			for _, b := range []struct {
				name           string
				got, low, high float64
			}{
				{"need of care the same day or faster", s.need / s.n, 0.10, 0.14},
				{"need of emergency care", s.emergency / s.n, 0.03, 0.05},
				{"sensitivity of the advice at same_day", s.caught / s.need, 0.93, 0.96},
				{"sensitivity of the rules at same_day", s.ruleCaught / s.need, 0.78, 0.90},
				{"sensitivity of the advice at emergency", s.caughtEmergency / s.emergency, 0.82, 0.95},
				{"share told same_day or faster", s.escalated / s.n, 0.18, 0.32},
				{"share verified", s.verified / s.n, 0.25, 0.40},
				{"outcomes that contradict the truth, same_day", s.wrongSameDay / s.verified, 0, 0.003},
				{"outcomes that contradict the truth, emergency", s.wrongEmergency / s.verified, 0, 0.003},
				{"audited", s.audited / s.n, 0.032, 0.048},
				{"audited and reached", s.responded / s.audited, 0.65, 0.75},
				{"checks an episode", s.checks / s.n, 4, 8},
				{"need where the too cautious flag fires", s.mouthStressNeed / s.mouthStress, 0.002, 0.09},
				{"need in cats below 40 breaths", s.catNeed[0] / s.catN[0], 0, 0.15},
				{"need in cats at 40 to 59 breaths", s.catNeed[1] / s.catN[1], 0.45, 0.90},
				{"need in cats from 60 breaths", s.catNeed[2] / s.catN[2], 0.85, 1},
				{"sensitivity of Brillowfen before the drift", s.before / s.beforeN, 0.93, 0.99},
				{"sensitivity of Brillowfen in the drift", s.drift / s.driftN, 0.78, 0.90},
			} {
				if !(b.got >= b.low && b.got <= b.high) {
					t.Errorf("world %d seed %d: %s is %.4f, want %.3f to %.3f", world, seed, b.name, b.got, b.low, b.high)
				}
			}
		}
	}
}

// The world and the audit change who gets an outcome, nothing that came before.
func TestWorldsShareTheTruth(t *testing.T) {
	type key struct {
		call                        int64
		line                        int
		level, rule, need           Level
		fired                       uint64
		visited, audited, responded bool
	}
	draw := func(o Options) (out []key) {
		if err := Simulate(o, func(e *Episode) {
			out = append(out, key{e.Call, e.Line, e.Level, e.RuleLevel, e.Need, e.Fired, e.Attended, e.AuditSelected, e.AuditResponded})
		}); err != nil {
			t.Fatal(err)
		}
		return out
	}
	a := draw(Options{Seed: 5, Calls: 20000})
	b := draw(Options{Seed: 5, Calls: 20000, World: WorldSelfPresenting})
	c := draw(Options{Seed: 5, Calls: 20000, NoAudit: true})
	if len(a) != len(b) || len(a) != len(c) {
		t.Fatalf("%d, %d and %d episodes, want the same", len(a), len(b), len(c))
	}
	selfPresented := 0
	for i := range a {
		x, y, z := a[i], b[i], c[i]
		if y.visited != x.visited {
			if x.need < SameDay || x.level >= SameDay || !y.visited {
				t.Fatalf("call %d: the visit differs between the worlds though the animal was not missed", x.call)
			}
			selfPresented++
		}
		if z.audited {
			t.Fatalf("call %d is audited though the audit is off", z.call)
		}
		for _, k := range []*key{&x, &y, &z} {
			k.visited, k.audited, k.responded = false, false, false
		}
		if x != y || x != z {
			t.Fatalf("call %d differs between worlds: %+v, %+v, %+v", x.call, x, y, z)
		}
	}
	if selfPresented == 0 {
		t.Error("no missed animal presented itself")
	}
}

// The score compares verified animals in need with those expected by advice and
// site (as Mantel and Haenszel 1959 do, J Natl Cancer Inst 22:719-748).
// In WorldIgnorable the share verified does not depend on need within advice
// and site; in WorldSelfPresenting it does where animals were kept at home.
func TestVerificationAndNeed(t *testing.T) {
	z := func(world World, escalated bool) float64 {
		var n, v [numSites][5][2]float64
		if err := Simulate(Options{Seed: 9, Calls: 200000, World: world}, func(e *Episode) {
			if e.Month >= 15 {
				return // bad news is written down first: young months are not ignorable
			}
			site := 0
			for i, id := range SiteIDs {
				if id == e.Site {
					site = i
				}
			}
			k := 0
			if e.NeedSameDay {
				k = 1
			}
			n[site][e.Level][k]++
			if e.Verified {
				v[site][e.Level][k]++
			}
		}); err != nil {
			t.Fatal(err)
		}
		diff, variance := 0.0, 0.0
		for s := range n {
			for l := range n[s] {
				if (Level(l) >= SameDay) != escalated || n[s][l][1] < 20 {
					continue
				}
				p := (v[s][l][0] + v[s][l][1]) / (n[s][l][0] + n[s][l][1])
				diff += v[s][l][1] - n[s][l][1]*p
				variance += n[s][l][1] * p * (1 - p) * n[s][l][0] / (n[s][l][0] + n[s][l][1])
			}
		}
		return diff / math.Sqrt(variance)
	}
	if got := z(WorldIgnorable, true); math.Abs(got) > 3.5 {
		t.Errorf("ignorable world, escalated: verified and need are related (z = %.1f)", got)
	}
	if got := z(WorldIgnorable, false); math.Abs(got) > 3.5 {
		t.Errorf("ignorable world, kept: verified and need are related (z = %.1f)", got)
	}
	if got := z(WorldSelfPresenting, false); got < 8 {
		t.Errorf("self-presenting world, kept: z = %.1f, expected a strong relation", got)
	}
}

// corrected is the sensitivity of the advice at the same_day cut, by a plain
// reading of the design: of escalated animals the verified stand for the rest;
// of animals kept at home the visits are known cases and the followed-up stand
// for the rest. naive counts verified animals only.
func corrected(t *testing.T, o Options) (estimate, naive, truth float64) {
	t.Helper()
	var sentN, sentV, sentNeed [5]float64 // by level
	var keptN, found, foundNeed, sample, sampleNeed float64
	var need, caught float64
	if err := Simulate(o, func(e *Episode) {
		if e.Month >= 15 {
			return // not mature
		}
		ill := 0.0
		if e.Verified && e.FoundSameDay {
			ill = 1
		}
		if e.NeedSameDay {
			need++
		}
		if e.Level >= SameDay {
			sentN[e.Level]++
			if e.NeedSameDay {
				caught++
			}
			if e.Verified {
				sentV[e.Level]++
				sentNeed[e.Level] += ill
			}
			return
		}
		keptN++
		switch e.Route {
		case RouteAdvisedVisit, RouteOwnDecision:
			if !e.Verified {
				return // found, and nothing known: left to the rest
			}
			found++
			foundNeed += ill
		case RouteCallBack, RouteAudit:
			sample++
			sampleNeed += ill
		}
	}); err != nil {
		t.Fatal(err)
	}
	tp, sent := 0.0, 0.0
	for l := SameDay; l <= Emergency; l++ {
		tp += sentN[l] * sentNeed[l] / sentV[l]
		sent += sentNeed[l]
	}
	fn := foundNeed + (keptN-found)*sampleNeed/sample
	return tp / (tp + fn), sent / (sent + foundNeed + sampleNeed), caught / need
}

// The line can be judged: with the audit, the design recovers the sensitivity
// in both worlds, while verified animals alone mislead.
func TestTheDesignRecoversTheTruth(t *testing.T) {
	const seeds = 20
	for _, world := range []World{WorldIgnorable, WorldSelfPresenting} {
		var bias, naiveBias, square float64
		for seed := range uint64(seeds) {
			est, naive, truth := corrected(t, Options{Seed: 5000 + seed, World: world})
			bias += (est - truth) / seeds
			square += (est - truth) * (est - truth) / seeds
			naiveBias += (naive - truth) / seeds
		}
		se := math.Sqrt(square/seeds) + 0.0005
		t.Logf("world %d: bias %+.4f (standard error %.4f), naive %+.4f", world, bias, se, naiveBias)
		if math.Abs(bias) > 3*se {
			t.Errorf("world %d: the corrected sensitivity is off by %+.4f on average, more than chance", world, bias)
		}
		if world == WorldIgnorable && naiveBias < 0.01 {
			t.Errorf("world %d: verified animals alone are off by %+.4f, expected too high by 0.01 and more", world, naiveBias)
		}
	}
}

func TestMemoryDoesNotGrowWithCalls(t *testing.T) {
	allocated := func(calls int) uint64 {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		if _, err := Generate(context.Background(), Options{Seed: 1, Calls: calls, Create: Discard}); err != nil {
			t.Fatal(err)
		}
		runtime.ReadMemStats(&after)
		return after.Mallocs - before.Mallocs
	}
	few, many := allocated(20000), allocated(120000)
	if extra := float64(many) - float64(few); extra/100000 > 0.02 {
		t.Errorf("%.3f allocations a call, want none that grow with the calls", extra/100000)
	}
}

func BenchmarkGenerate(b *testing.B) {
	const calls = 100000
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Generate(context.Background(), Options{Seed: 1, Calls: calls, Create: Discard}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(calls)*float64(b.N)/b.Elapsed().Seconds(), "calls/s")
}

func BenchmarkSimulate(b *testing.B) {
	const calls = 24000
	n := 0
	for b.Loop() {
		if err := Simulate(Options{Seed: 1, Calls: calls}, func(*Episode) { n++ }); err != nil {
			b.Fatal(err)
		}
	}
}
