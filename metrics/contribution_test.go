package metrics

import (
	"errors"
	"math/rand/v2"
	"testing"
)

func TestLeaveOneFlagOutByHand(t *testing.T) {
	// Flags 0, 1, 2. Ten in need: 3 by flag 0 alone, 2 by 0 and 1, 4 by flag 1
	// alone, 1 by none. Twenty not in need: 5 by flag 0 alone, 1 by all three,
	// 2 by flag 2 alone, 12 by none.
	res, err := LeaveOneFlagOut(map[uint64]NeedCount{
		0b000: {1, 12}, 0b001: {3, 5}, 0b011: {2, 0}, 0b010: {4, 0}, 0b111: {0, 1}, 0b100: {0, 2},
	}, 3, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if want := (TwoByTwo{TP: 9, FP: 8, FN: 1, TN: 12}); res.Table != want {
		t.Errorf("table %+v, want %+v", res.Table, want)
	}
	for i, want := range []struct {
		fired, alone                    NeedCount
		lost, gained, without, specWout [2]float64
		ppv                             [2]float64
	}{
		{NeedCount{5, 6}, NeedCount{3, 5}, [2]float64{3, 10}, [2]float64{5, 20}, [2]float64{6, 10}, [2]float64{17, 20}, [2]float64{3, 8}},
		{NeedCount{6, 1}, NeedCount{4, 0}, [2]float64{4, 10}, [2]float64{0, 20}, [2]float64{5, 10}, [2]float64{12, 20}, [2]float64{4, 4}},
		{NeedCount{0, 3}, NeedCount{0, 2}, [2]float64{0, 10}, [2]float64{2, 20}, [2]float64{9, 10}, [2]float64{14, 20}, [2]float64{0, 2}},
	} {
		f := res.Flags[i]
		if f.Flag != i || f.Fired != want.fired || f.Alone != want.alone {
			t.Errorf("flag %d: %+v", i, f)
		}
		for name, pair := range map[string]struct {
			e    Estimate
			want [2]float64
		}{
			"lost": {f.SensitivityLost, want.lost}, "gained": {f.SpecificityGained, want.gained}, "alone": {f.AlonePPV, want.ppv},
			"without": {f.SensitivityWithout, want.without}, "specificity without": {f.SpecificityWithout, want.specWout},
		} {
			checkSane(t, name, pair.e, 0, 1)
			if [2]float64{pair.e.Numerator, pair.e.Denominator} != pair.want {
				t.Errorf("flag %d, %s: %v of %v, want %v", i, name, pair.e.Numerator, pair.e.Denominator, pair.want)
			}
			if len(pair.e.Warnings) != 1 || pair.e.Warnings[0] != GivenOrderAsked {
				t.Errorf("flag %d, %s: warnings %q", i, name, pair.e.Warnings)
			}
		}
	}
}

// TestLeaveOneFlagOutAgainstEpisodes replays the removal episode by episode.
func TestLeaveOneFlagOutAgainstEpisodes(t *testing.T) {
	r := rand.New(rand.NewPCG(35, 36))
	for range 100 {
		flags := 1 + r.IntN(5)
		type episode struct {
			bits uint64
			need bool
		}
		var episodes []episode
		patterns := map[uint64]NeedCount{}
		for range r.IntN(40) {
			e := episode{r.Uint64N(1<<flags) & r.Uint64N(1<<flags), r.IntN(3) == 0}
			episodes = append(episodes, e)
			n := patterns[e.bits]
			if e.need {
				n.Needed++
			} else {
				n.NotNeeded++
			}
			patterns[e.bits] = n
		}
		res, err := LeaveOneFlagOut(patterns, flags, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		for i, f := range res.Flags {
			var without TwoByTwo
			for _, e := range episodes {
				switch marked := e.bits&^(1<<i) != 0; {
				case marked && e.need:
					without.TP++
				case marked:
					without.FP++
				case e.need:
					without.FN++
				default:
					without.TN++
				}
			}
			sens, _ := Sensitivity(without, 0.9)
			spec, _ := Specificity(without, 0.9)
			if f.SensitivityWithout.Value != sens.Value || f.SensitivityWithout.Estimable() != sens.Estimable() ||
				f.SpecificityWithout.Value != spec.Value || f.SpecificityWithout.Low != spec.Low {
				t.Errorf("%v without %d: %+v and %+v, want %+v and %+v", patterns, i, f.SensitivityWithout, f.SpecificityWithout, sens, spec)
			}
			if f.Fired.Needed < f.Alone.Needed || f.AlonePPV.Estimable() != (f.Alone != NeedCount{}) {
				t.Errorf("%v: flag %d: %+v", patterns, i, f)
			}
		}
	}
}

func TestLeaveOneFlagOutRefusesBadArguments(t *testing.T) {
	ok := map[uint64]NeedCount{1: {2, 3}}
	for name, call := range map[string]func() (RuleSetContribution, error){
		"no flags":       func() (RuleSetContribution, error) { return LeaveOneFlagOut(ok, 0, 0.95) },
		"65 flags":       func() (RuleSetContribution, error) { return LeaveOneFlagOut(ok, 65, 0.95) },
		"bit beyond":     func() (RuleSetContribution, error) { return LeaveOneFlagOut(map[uint64]NeedCount{4: {1, 1}}, 2, 0.95) },
		"negative count": func() (RuleSetContribution, error) { return LeaveOneFlagOut(map[uint64]NeedCount{1: {-1, 1}}, 2, 0.95) },
		"conf of 0":      func() (RuleSetContribution, error) { return LeaveOneFlagOut(ok, 1, 0) },
	} {
		if _, err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// All 64 bits are usable.
	res, err := LeaveOneFlagOut(map[uint64]NeedCount{1 << 63: {2, 1}, 0: {1, 1}}, 64, 0.95)
	if err != nil || res.Flags[63].Alone != (NeedCount{2, 1}) {
		t.Errorf("bit 63: %+v, %v", res.Flags[63], err)
	}
}
