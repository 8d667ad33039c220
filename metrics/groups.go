package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// groupsWithTrials checks all groups and returns those with at least one trial.
func groupsWithTrials(groups []GroupCount) ([]GroupCount, error) {
	var used []GroupCount
	for i, g := range groups {
		if g.Trials < 0 || g.Successes < 0 || g.Successes > g.Trials {
			return nil, argErr("group %d: %d of %d, expected 0 to all of the trials", i+1, g.Successes, g.Trials)
		}
		if g.Trials > 0 {
			used = append(used, g)
		}
	}
	return used, nil
}

// commonProportion is the proportion of all groups taken together, 0 without
// any trial.
func commonProportion(groups []GroupCount) float64 {
	s, n := int64(0), int64(0)
	for _, g := range groups {
		s += g.Successes
		n += g.Trials
	}
	if n == 0 {
		return 0
	}
	return float64(s) / float64(n)
}

// OverdispersionTest is the answer of TaroneOverdispersion.
type OverdispersionTest struct {
	// Z is positive where the groups differ more than chance makes them and
	// negative where they differ less.
	Z float64
	// P is one-sided: the chance of a Z this large or larger if all groups
	// share one proportion.
	P float64
	// Groups counts the groups with at least one trial.
	Groups int
	// NotEstimable is empty, or the reason why there is no test.
	NotEstimable string
}

// TaroneOverdispersion tests whether groups that should share one proportion
// differ more than binomial chance explains, before anyone reads meaning into
// their differences. With p the common proportion and n the trials of a group,
//
//	Z = (sum (x - n p)^2 / (p (1 - p)) - sum n) / sqrt(2 sum n (n - 1)).
//
// Groups without trials are left out; groups of one trial add nothing. Fewer
// than two groups, no group of two trials, or a common proportion of 0 or 1 is
// reported in NotEstimable. Z is close to normal for many groups and only
// roughly for a few. It returns an error wrapping ErrArgument for a count outside 0..Trials.
//
// Also called the C(alpha) test of the beta-binomial. Source: Tarone (1979)
// Biometrika 66:585-590.
func TaroneOverdispersion(groups []GroupCount) (OverdispersionTest, error) {
	used, err := groupsWithTrials(groups)
	if err != nil {
		return OverdispersionTest{}, err
	}
	res := OverdispersionTest{Groups: len(used)}
	p := commonProportion(used)
	var scatter, trials, pairs float64
	for _, g := range used {
		n := float64(g.Trials)
		d := float64(g.Successes) - n*p
		scatter += d * d
		trials += n
		pairs += n * (n - 1)
	}
	switch {
	case len(used) < 2:
		res.NotEstimable = "fewer than 2 groups with calls"
	case p == 0 || p == 1:
		res.NotEstimable = "every group has the same proportion, none or all"
	case pairs == 0:
		res.NotEstimable = "no group has more than 1 call"
	default:
		res.Z = (scatter/(p*(1-p)) - trials) / math.Sqrt(2*pairs)
		res.P = distuv.UnitNormal.Survival(res.Z)
	}
	return res, nil
}
