package metrics

import "math"

// Rule is a pattern on a control chart that is unlikely by chance.
type Rule int

// The rules. Source gives where each was published.
const (
	RuleBeyond Rule = iota + 1
	RuleTwoOfThree
	RuleFourOfFive
	RuleLongRun
	RuleTrend
	RuleLongestRun
	RuleCrossings
)

// String describes the rule in words.
func (r Rule) String() string {
	switch r {
	case RuleBeyond:
		return "a point beyond a control limit"
	case RuleTwoOfThree:
		return "two of three points beyond 2 sigma on one side"
	case RuleFourOfFive:
		return "four of five points beyond 1 sigma on one side"
	case RuleLongRun:
		return "a long run of points on one side of the centre line"
	case RuleTrend:
		return "points steadily rising or falling"
	case RuleLongestRun:
		return "the longest run is longer than expected for the number of points"
	case RuleCrossings:
		return "the centre line is crossed less often than expected for the number of points"
	}
	return "unknown rule"
}

// Source is where the rule was published.
func (r Rule) Source() string {
	switch r {
	case RuleBeyond:
		return "Shewhart (1931) Economic Control of Quality of Manufactured Product"
	case RuleTwoOfThree, RuleFourOfFive:
		return "Western Electric (1956) Statistical Quality Control Handbook"
	case RuleLongRun:
		return "8 points: Western Electric (1956); 9 points: Nelson (1984) J Qual Technol 16:237-239"
	case RuleTrend:
		return "6 points: Nelson (1984) J Qual Technol 16:237-239; almost no power: Anhoj & Olesen (2014) PLoS One 9:e113825"
	case RuleLongestRun, RuleCrossings:
		return "Anhoj & Olesen (2014) PLoS One 9:e113825"
	}
	return ""
}

// RunRules are the rules in force on a chart. Every rule added adds false
// alarms: 0.27 % a point for points beyond 3 sigma alone.
type RunRules struct {
	Beyond, TwoOfThree, FourOfFive bool
	// LongRun is the number of consecutive points on one side that signals; 0
	// for none. 6, 7, 8 and 9 are all in use.
	LongRun int
	// Trend is the number of points, each above (or each below) the one
	// before, that signals; 0 for none. 6 is Nelson's.
	Trend int
	// LongestRun and Crossings judge a whole phase by its number of points.
	LongestRun, Crossings bool
}

func (r RunRules) check() error {
	if r.LongRun != 0 && r.LongRun < 3 {
		return argErr("long run of %d points, expected 0 (off) or 3 or more", r.LongRun)
	}
	if r.Trend != 0 && r.Trend < 3 {
		return argErr("trend of %d points, expected 0 (off) or 3 or more", r.Trend)
	}
	return nil
}

// Runs judges the runs of a phase. A run is a row of points on one side of the
// centre line; points on the line are dropped first, so that they neither break
// nor lengthen a run.
type Runs struct {
	// Useful is the number of points not on the centre line.
	Useful int
	// Longest is the length of the longest run. It signals when it exceeds
	// LongestLimit = round(log2 useful) + 3 (reaching it is no signal).
	Longest, LongestLimit int
	// Crossings counts changes of side. It signals when it is below
	// CrossingsLimit, the 5 % point of Binomial(useful - 1, 1/2).
	Crossings, CrossingsLimit int
	// LongestSignal and CrossingsSignal are false where NotJudged says why
	// nothing was judged, and where the rule is not in force.
	LongestSignal, CrossingsSignal bool
	NotJudged                      string
}

// judgeRuns counts runs in a row of sides (-1, 0, 1).
func judgeRuns(sides []int, rules RunRules, minimum int) Runs {
	var r Runs
	last, length := 0, 0
	for _, s := range sides {
		if s == 0 {
			continue
		}
		r.Useful++
		if s == last {
			length++
		} else {
			if last != 0 {
				r.Crossings++
			}
			last, length = s, 1
		}
		r.Longest = max(r.Longest, length)
	}
	if r.Useful > 0 {
		r.LongestLimit = int(math.Round(math.Log2(float64(r.Useful)))) + 3
		r.CrossingsLimit = int(binomialQuantile(0.05, int64(r.Useful-1), 0.5))
	}
	if r.Useful < minimum {
		r.NotJudged = "too few points off the centre line to judge runs"
		return r
	}
	r.LongestSignal = rules.LongestRun && r.Longest > r.LongestLimit
	r.CrossingsSignal = rules.Crossings && r.Crossings < r.CrossingsLimit
	return r
}

// judge applies the rules to every phase; windows never span two phases.
func (c *Chart) judge() {
	for i := range c.Phases {
		p := &c.Phases[i]
		if p.NotEstimable != "" {
			p.Runs.NotJudged = p.NotEstimable
			continue
		}
		at := c.plotted(i)
		value, z, side := make([]float64, len(at)), make([]float64, len(at)), make([]int, len(at))
		for j, k := range at {
			value[j], z[j], side[j] = c.Points[k].Value, c.Points[k].Z, c.Points[k].side
			if c.Settings.Rules.Beyond && (value[j] > c.Points[k].High || value[j] < c.Points[k].Low) {
				c.Points[k].Signals = append(c.Points[k].Signals, RuleBeyond)
			}
		}
		for j, signals := range patternSignals(value, z, side, c.Settings.Rules) {
			c.Points[at[j]].Signals = append(c.Points[at[j]].Signals, signals...)
		}
		p.Runs = judgeRuns(side, c.Settings.Rules, c.Settings.MinForRuns)
	}
}

// patternSignals finds the patterns of several points. The result has one
// entry a point, holding the rules whose pattern that point completes.
func patternSignals(value, z []float64, side []int, rules RunRules) [][]Rule {
	signals := make([][]Rule, len(z))
	mark := func(i int, r Rule, on bool) {
		if on {
			signals[i] = append(signals[i], r)
		}
	}
	last, run := 0, 0
	for i := range z {
		mark(i, RuleTwoOfThree, rules.TwoOfThree && zoneCount(z, i, 3, 2, 2))
		mark(i, RuleFourOfFive, rules.FourOfFive && zoneCount(z, i, 5, 4, 1))
		if s := side[i]; s != 0 {
			if s == last {
				run++
			} else {
				last, run = s, 1
			}
			mark(i, RuleLongRun, rules.LongRun > 0 && run >= rules.LongRun)
		}
		mark(i, RuleTrend, rules.Trend > 0 && steady(value, i, rules.Trend))
	}
	return signals
}

// zoneCount reports whether at least need of the window points that end at i
// lie beyond sigma on the same side. A point on the line does not count.
func zoneCount(z []float64, i, window, need int, sigma float64) bool {
	if i < window-1 {
		return false
	}
	up, down := 0, 0
	for _, v := range z[i-window+1 : i+1] {
		if v > sigma {
			up++
		}
		if v < -sigma {
			down++
		}
	}
	return up >= need || down >= need
}

// steady reports whether the n points that end at i all rise or all fall.
func steady(value []float64, i, n int) bool {
	if i < n-1 {
		return false
	}
	up, down := true, true
	for j := i - n + 2; j <= i; j++ {
		up = up && value[j] > value[j-1]
		down = down && value[j] < value[j-1]
	}
	return up || down
}
