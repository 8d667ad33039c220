package review

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"hindcheck/datasets/demo"
	"hindcheck/metrics"
)

// Simulated years of the invented line, whose truth is known, judge what the
// review makes of the counts: the same strata, joining, correction and
// widening, without files and without a database.

// judgedCut are the tests of one cut: the advice first, then every flag.
type judgedCut [1 + 64]judgedTest

type judgedTest struct {
	cells [5][numSpecies][numSites][2][5][3]int32 // level, species, site, absent or present, route, need from -1
	// truth are all episodes by true need, that the test was assessed on and
	// that it marked.
	assessed, marked [2]int64
	animals, shifts  [2][]metrics.ClusterPattern // by need: animals, advisors
}

const (
	numSpecies = 4
	numSites   = 4
)

// seenEpisode is what the clusters need of a verified episode.
type seenEpisode struct {
	animal, advisor uint64
	marked, unknown uint64 // bit 0 the advice, bit i+1 flag i
	need            int
}

var cutsOfTest = []int{sameDay, emergency}

// world is a line to invent, with follow-up calls and audits left unheard if
// noFollowUp.
type world struct {
	demo.Options
	noFollowUp bool
}

// countYear draws one year and counts it once for each cut.
func countYear(t *testing.T, o world, flags int) []*judgedCut {
	t.Helper()
	out := []*judgedCut{{}, {}}
	seen := [2][]seenEpisode{}
	var species, sites []string
	place := func(list *[]string, s string) int {
		i := slices.Index(*list, s)
		if i < 0 {
			*list = append(*list, s)
			i = len(*list) - 1
		}
		return i
	}
	err := demo.Simulate(o.Options, func(e *demo.Episode) {
		sp, si := place(&species, e.Species), place(&sites, e.Site)
		for c, cut := range cutsOfTest {
			truth, found := e.NeedSameDay, e.FoundSameDay
			if cut == emergency {
				truth, found = e.NeedEmergency, e.FoundEmergency
			}
			need := -1
			if e.Verified && !(o.noFollowUp && e.Route >= demo.RouteCallBack) {
				need = number(found)
			}
			marked, unknown := e.Fired<<1, e.Unknown<<1
			if int(e.Level) >= cut {
				marked |= 1
			}
			for i := range flags + 1 {
				x := &out[c][i]
				if unknown>>i&1 == 1 {
					continue
				}
				side := int(marked >> i & 1)
				x.cells[e.Level][sp][si][side][e.Route][need+1]++
				x.assessed[number(truth)]++
				x.marked[number(truth)] += int64(side)
			}
			if need >= 0 {
				seen[c] = append(seen[c], seenEpisode{e.Animal, uint64(e.Advisor), marked, unknown, need})
			}
		}
	})
	if err != nil {
		t.Error(err)
	}
	for c := range seen {
		out[c].countClusters(seen[c], flags, func(e seenEpisode) uint64 { return e.animal }, func(x *judgedTest) *[2][]metrics.ClusterPattern { return &x.animals })
		out[c].countClusters(seen[c], flags, func(e seenEpisode) uint64 { return e.advisor }, func(x *judgedTest) *[2][]metrics.ClusterPattern { return &x.shifts })
	}
	return out
}

func number(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// countClusters gathers, for every test, how many of each cluster's verified
// episodes were judged rightly.
func (j *judgedCut) countClusters(seen []seenEpisode, flags int, name func(seenEpisode) uint64, of func(*judgedTest) *[2][]metrics.ClusterPattern) {
	slices.SortFunc(seen, func(a, b seenEpisode) int { return cmp.Compare(name(a), name(b)) })
	for len(seen) > 0 {
		n := 1
		for n < len(seen) && name(seen[n]) == name(seen[0]) {
			n++
		}
		for i := range flags + 1 {
			var total, right [2]int64
			for _, e := range seen[:n] {
				if e.unknown>>i&1 == 1 {
					continue
				}
				total[e.need]++
				if int(e.marked>>i&1) == e.need {
					right[e.need]++
				}
			}
			p := of(&j[i])
			for need := range total {
				if total[need] > 0 {
					p[need] = append(p[need], metrics.ClusterPattern{Needed: total[need], Caught: right[need], Times: 1})
				}
			}
		}
		seen = seen[n:]
	}
}

// correct does with one test's counts what the review does.
func (x *judgedTest) correct(t *testing.T, draws int) metrics.Correction {
	t.Helper()
	var k keyed
	for level := range x.cells {
		for sp := range numSpecies {
			for si := range numSites {
				for side := range 2 {
					for route := range 5 {
						for need := range 3 {
							n := x.cells[level][sp][si][side][route][need]
							if n > 0 {
								cell := k.cell(int8(level), []string{fmt.Sprint(sp), fmt.Sprint(si)}, side == 1)
								enter(cell, int8(level), int8(route), int8(need-1), int64(n))
							}
						}
					}
				}
			}
		}
	}
	with := corrector{
		dimensions: []string{"species", "site"}, order: []string{"site", "species"}, minVerified: 10, conf: 0.95, draws: draws,
		rand: func() *rand.Rand { return rand.New(rand.NewPCG(1, 0x68696e64)) },
	}
	c, _, _, err := with.corrected(&k)
	if err != nil {
		t.Error(err)
	}
	var clusters []Cluster
	for need, of := range []string{"specificity", "sensitivity"} {
		for kind, p := range map[string][]metrics.ClusterPattern{"animal": x.animals[need], "advisor": x.shifts[need]} {
			cl, err := cluster(kind, of, p, 0.95)
			if err != nil {
				t.Error(err)
			}
			clusters = append(clusters, cl)
		}
	}
	if err := widen(&c, clusters); err != nil {
		t.Error(err)
	}
	return c
}

// yearResult is one year's corrections, by cut and test, and the truth counts.
type yearResult struct {
	corrected        [2][]metrics.Correction
	assessed, marked [2][][2]int64
}

// simulateYears judges years of one world, several at a time. tests is how
// many of advice and flags are judged.
func simulateYears(t *testing.T, o world, years, tests, draws int) []yearResult {
	t.Helper()
	out := make([]yearResult, years)
	next := make(chan int)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for y := range next {
				o := o
				o.Seed = uint64(1000 + y)
				for c, j := range countYear(t, o, tests-1) {
					for i := range tests {
						out[y].corrected[c] = append(out[y].corrected[c], j[i].correct(t, draws))
						out[y].assessed[c] = append(out[y].assessed[c], j[i].assessed)
						out[y].marked[c] = append(out[y].marked[c], j[i].marked)
					}
				}
			}
		})
	}
	for y := range years {
		next <- y
	}
	close(next)
	workers.Wait()
	return out
}

// held is how often the limits of one figure held the truth.
type held struct {
	truth, naive, value      float64 // means of estimable years
	judged, in, above, below int
	widths                   []float64
	reasons                  map[string]int
}

func (h *held) add(e, naive metrics.Estimate) {
	if !e.Estimable() {
		if h.reasons == nil {
			h.reasons = map[string]int{}
		}
		h.reasons[e.NotEstimable]++
		return
	}
	h.judged++
	h.naive += naive.Value
	h.value += e.Value
	h.widths = append(h.widths, e.High-e.Low)
	switch {
	case h.truth < e.Low:
		h.above++
	case h.truth > e.High:
		h.below++
	default:
		h.in++
	}
}

func (h *held) share() float64 { return float64(h.in) / float64(h.judged) }

func (h *held) String() string {
	if h.judged == 0 {
		return fmt.Sprintf("truth %.4f, never estimable", h.truth)
	}
	slices.Sort(h.widths)
	n := float64(h.judged)
	return fmt.Sprintf("truth %.4f, naive %.4f, corrected %.4f, held in %.3f of %d (too low %d, too high %d), median width %.4f",
		h.truth, h.naive/n, h.value/n, h.share(), h.judged, h.below, h.above, h.widths[len(h.widths)/2])
}

// judgeYears compares one test of one cut with the truth of all years.
func judgeYears(years []yearResult, cut, test int) (sens, spec held) {
	var assessed, marked [2]int64
	for _, y := range years {
		for need := range 2 {
			assessed[need] += y.assessed[cut][test][need]
			marked[need] += y.marked[cut][test][need]
		}
	}
	sens.truth = float64(marked[1]) / float64(max(assessed[1], 1))
	spec.truth = 1 - float64(marked[0])/float64(max(assessed[0], 1))
	for _, y := range years {
		c := y.corrected[cut][test]
		sens.add(c.Sensitivity, c.Naive.Sensitivity)
		spec.add(c.Specificity, c.Naive.Specificity)
	}
	return sens, spec
}

// draws of a posterior: fewer than a review takes, which makes limits less
// repeatable and changes how often they hold the truth by less than chance does
// here.
const drawsOfTest = 300

// The advice at both cuts. Of 200 years, chance alone lets true 95 % limits hold
// the truth in 91.5 to 98.5 % (2.3 standard deviations of 1.5 % either way). Only
// the lower end fails the test: sensitivity rests on a handful of missed cases,
// and limits on so few are wide on purpose. How wide is logged.
func TestAdviceTruthIsHeld(t *testing.T) {
	years, lowest := 200, 0.915
	if testing.Short() {
		years, lowest = 40, 0.85
	}
	for name, o := range map[string]world{
		"ignorable":                     {Options: demo.Options{World: demo.WorldIgnorable}},
		"self-presenting":               {Options: demo.Options{World: demo.WorldSelfPresenting}},
		"self-presenting, no audit":     {Options: demo.Options{World: demo.WorldSelfPresenting, NoAudit: true}},
		"self-presenting, no follow-up": {Options: demo.Options{World: demo.WorldSelfPresenting, NoAudit: true}, noFollowUp: true},
	} {
		result := simulateYears(t, o, years, 1, drawsOfTest)
		for cut, level := range cutsOfTest {
			sens, spec := judgeYears(result, cut, 0)
			t.Logf("%s, %s: sensitivity %v", name, levelWords[level], &sens)
			t.Logf("%s, %s: specificity %v", name, levelWords[level], &spec)
			if o.noFollowUp {
				// Nobody rang those who were told to wait: what is known of them
				// is only who came in.
				if sens.judged != 0 || spec.judged != 0 || len(sens.reasons) == 0 {
					t.Errorf("%s, %s: estimable in %d and %d years, want none", name, levelWords[level], sens.judged, spec.judged)
				}
				continue
			}
			if sens.judged != years || sens.share() < lowest || spec.share() < lowest {
				t.Errorf("%s, %s: held in %.3f and %.3f of %d, want at least %v", name, levelWords[level], sens.share(), spec.share(), sens.judged, lowest)
			}
			if naive := sens.naive / float64(years); naive <= sens.truth {
				t.Errorf("%s, %s: naive sensitivity %.4f, truth %.4f: want it overstated", name, levelWords[level], naive, sens.truth)
			}
			if mean := sens.value / float64(years); math.Abs(mean-sens.truth) > 0.01 {
				t.Errorf("%s, %s: corrected sensitivity %.4f on average, truth %.4f", name, levelWords[level], mean, sens.truth)
			}
		}
	}
}

// tooRare judges single flags: among some two hundred figures, chance alone lets
// one fall so far below 95 % in one run of fifty.
const tooRare = 1e-4

// Every flag in the world where follow-up is ignorable. Fewer years than for the
// advice, because each judges 48 flags twice; pooled they are thousands. Rare
// flags rest on a few cases and their limits are wide, so the parts may lie a
// little above 97 %.
func TestFlagTruthIsHeld(t *testing.T) {
	years, low, high := 50, 0.93, 0.97
	if testing.Short() {
		years, low, high = 10, 0.92, 0.985
	}
	ids := append([]string{"advice"}, demo.FlagIDs()...)
	result := simulateYears(t, world{}, years, len(ids), drawsOfTest)
	in, judged := 0, 0
	for cut, level := range cutsOfTest {
		var widths [2][]float64
		for i, id := range ids[1:] {
			sens, spec := judgeYears(result, cut, i+1)
			for k, h := range []*held{&sens, &spec} {
				in, judged = in+h.in, judged+h.judged
				if p := (distuv.Binomial{N: float64(h.judged), P: 0.95}).CDF(float64(h.in)); h.judged > 0 && p < tooRare {
					t.Errorf("%s, %s, %d: %v; limits that hold in 95 %% would do as badly once in %.0f", levelWords[level], id, k, h, 1/p)
				}
				widths[k] = append(widths[k], h.widths...)
				if of := []string{"sensitivity", "specificity"}[k]; h.judged < years {
					t.Logf("%s, %s: %s estimable in %d of %d years; otherwise, for example: %s", levelWords[level], id, of, h.judged, years, h.reason())
				}
			}
		}
		for k, of := range []string{"sensitivity", "specificity"} {
			slices.Sort(widths[k])
			t.Logf("%s: median width of the limits of %s %.4f", levelWords[level], of, widths[k][len(widths[k])/2])
		}
	}
	share := float64(in) / float64(judged)
	t.Logf("limits held the truth in %.4f of %d figures", share, judged)
	if share < low || share > high {
		t.Errorf("limits held the truth in %.4f of %d figures, want %v to %v", share, judged, low, high)
	}
	if judged < years*len(ids) {
		t.Errorf("only %d figures were estimable", judged)
	}
}

// reason is the most frequent reason for not being estimable.
func (h *held) reason() (most string) {
	for r, n := range h.reasons {
		if m := h.reasons[most]; n > m || n == m && r < most {
			most = r
		}
	}
	return most
}
