package review

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// keyed gathers verification cells by level and stratum.
type keyed struct {
	order []string
	by    map[string]*metrics.KeyedStratum
}

// cell is the cell of one stratum and test result; it is made when first asked for.
func (k *keyed) cell(level int8, stratum []string, present bool) *metrics.VerificationCell {
	key := append([]string{word(levelWords, level)}, stratum...)
	name := ""
	for _, part := range key {
		name += part + "\x00"
	}
	if k.by == nil {
		k.by = map[string]*metrics.KeyedStratum{}
	}
	s := k.by[name]
	if s == nil {
		s = &metrics.KeyedStratum{Key: key}
		k.by[name] = s
		k.order = append(k.order, name)
	}
	if present {
		return &s.Present
	}
	return &s.Absent
}

// strata lists the gathered strata in the order of their first episode.
func (k *keyed) strata() []metrics.KeyedStratum {
	out := make([]metrics.KeyedStratum, 0, len(k.order))
	for _, name := range k.order {
		out = append(out, *k.by[name])
	}
	return out
}

// sent reports whether an animal advised this level was told to attend. What
// was verified of a sent stratum is a sample of it; in a kept stratum (soon,
// home care) a visit is a found case, because animals come in when they got
// worse, and only call-backs and audits sample the rest.
func sent(level int8) bool { return level >= sameDay }

// enter adds n episodes to a cell according to how their need became known.
func enter(c *metrics.VerificationCell, level, route, need int8, n int64) {
	found := !sent(level) && (route == 1 || route == 2)
	switch {
	case need < 0:
		c.Unverified += n
	case found && need == 1:
		c.FoundNeeded += n
	case found:
		c.FoundNotNeeded += n
	case need == 1:
		c.SampledNeeded += n
	default:
		c.SampledNotNeeded += n
	}
}

// corrector holds what joining strata and correcting need beside the counts.
type corrector struct {
	dimensions, order []string // of the strata file, without the level
	minVerified       int
	conf              float64
	draws             int
	rand              func() *rand.Rand
	// sharesOnly leaves numbers of episodes out, which nobody shows of a flag.
	sharesOnly bool
}

func (b *builder) corrector() corrector {
	meta := b.db.Meta()
	return corrector{dimensions: meta.Strata, order: meta.Collapse, minVerified: b.minVerified(), conf: b.opt.Confidence, draws: b.opt.Draws, rand: b.rand}
}

// shares corrects without the numbers of episodes.
func (b *builder) shares() corrector {
	x := b.corrector()
	x.sharesOnly = true
	return x
}

// corrected joins thin strata and corrects.
func (b *builder) corrected(k *keyed) (metrics.Correction, []metrics.VerificationStratum, StrataNote, error) {
	return b.corrector().corrected(k)
}

func (x corrector) corrected(k *keyed) (metrics.Correction, []metrics.VerificationStratum, StrataNote, error) {
	strata, note, err := x.collapse(k.strata())
	if err != nil {
		return metrics.Correction{}, nil, note, err
	}
	if len(strata) == 0 {
		strata = []metrics.VerificationStratum{{Name: "no episodes"}}
	}
	c, err := x.correct(strata, note.MinVerified)
	if err != nil {
		return c, nil, note, err
	}
	note.ThinUnverified, note.ThinShare = c.ThinUnverified, c.ThinShare
	sayThin(&c, note.MinVerified)
	if err := x.bothWays(&c, strata, &note); err != nil {
		return c, nil, note, err
	}
	return c, strata, note, nil
}

func (x corrector) correct(strata []metrics.VerificationStratum, minVerified int) (metrics.Correction, error) {
	return metrics.Corrected(strata, metrics.CorrectionOptions{
		Conf: x.conf, MinSampled: int64(minVerified), Draws: x.draws, Rand: x.rand(), SharesOnly: x.sharesOnly,
	})
}

// corrections are the figures of a correction: five shares, then three numbers.
func corrections(c *metrics.Correction) []*metrics.Estimate {
	return []*metrics.Estimate{&c.Sensitivity, &c.Specificity, &c.PPV, &c.NPV, &c.Prevalence, &c.Missed, &c.Caught, &c.Needed}
}

// thinSteps are the shares of unverified episodes in thin strata that a figure
// warns of. The exact share is in StrataNote; in steps, the figures of fifty
// flags share a few footnotes.
var thinSteps = []float64{0.5, 0.2, 0.05}

// sayThin puts the thin share of a correction into words.
func sayThin(c *metrics.Correction, minVerified int) {
	text := ""
	for _, step := range thinSteps {
		if c.ThinShare >= step {
			text = fmt.Sprintf("at least %.0f %% of the episodes without an outcome lie in strata with fewer than %d followed up", 100*step, minVerified)
			break
		}
	}
	for _, e := range corrections(c) {
		e.Warnings = slices.DeleteFunc(slices.Clone(e.Warnings), func(w string) bool { return strings.Contains(w, "of the unverified episodes are in") })
		if text != "" && e.Estimable() {
			e.Warnings = append(e.Warnings, text)
		}
	}
}

// narrow is how far a share (or a number, relative to all in need) may move
// between the extremes of the cells that nobody followed up before it counts
// as not estimable.
const narrow = 0.05

// bothWays serves figures that are not estimable only because a few episodes
// lie in cells of which nobody was followed up, such as three with a rare flag
// at one level. Once they are all taken to have needed care, once none; if the
// figure hardly moves, it stands midway and its limits cover both.
func (x corrector) bothWays(c *metrics.Correction, strata []metrics.VerificationStratum, note *StrataNote) error {
	needed, well := slices.Clone(strata), slices.Clone(strata)
	for i := range strata {
		for _, side := range []func(*metrics.VerificationStratum) *metrics.VerificationCell{
			func(s *metrics.VerificationStratum) *metrics.VerificationCell { return &s.Present },
			func(s *metrics.VerificationStratum) *metrics.VerificationCell { return &s.Absent },
		} {
			n, w := side(&needed[i]), side(&well[i])
			if u := n.Unverified; u > 0 && n.Sampled() == 0 {
				note.NobodyFollowed += u
				n.FoundNeeded, n.Unverified = n.FoundNeeded+u, 0
				w.FoundNotNeeded, w.Unverified = w.FoundNotNeeded+u, 0
			}
		}
	}
	if note.NobodyFollowed == 0 {
		return nil
	}
	high, err := x.correct(needed, note.MinVerified)
	if err != nil {
		return err
	}
	low, err := x.correct(well, note.MinVerified)
	if err != nil {
		return err
	}
	sayThin(&low, note.MinVerified)
	all, one, other := corrections(c), corrections(&high), corrections(&low)
	for i, e := range all {
		hi, lo := one[i], other[i]
		if e.Estimable() || !hi.Estimable() || !lo.Estimable() {
			continue
		}
		room := narrow
		if i >= 5 {
			room *= max(1, high.Needed.Value)
		}
		if math.Abs(hi.Value-lo.Value) > room {
			continue
		}
		*e = metrics.Estimate{
			Value: (hi.Value + lo.Value) / 2, Low: min(hi.Low, lo.Low), High: max(hi.High, lo.High), Conf: hi.Conf,
			Method: hi.Method + ", both extremes of the cells without follow-up", Numerator: (hi.Numerator + lo.Numerator) / 2, Denominator: (hi.Denominator + lo.Denominator) / 2,
			Warnings: append(slices.Clone(lo.Warnings), "a few episodes without an outcome lie where nobody was followed up; the limits cover both that all of them needed care and that none did"),
		}
	}
	return nil
}

// collapse joins thin strata in the order of the strata file; the level stays.
// Episodes with and without the mark are joined apart, because a rare mark is
// thin where its absence is not.
func (x corrector) collapse(strata []metrics.KeyedStratum) ([]metrics.VerificationStratum, StrataNote, error) {
	dims := append([]string{"level"}, x.dimensions...)
	note := StrataNote{Dimensions: dims, Order: x.order, MinVerified: x.minVerified, Before: len(strata)}
	var out []metrics.VerificationStratum
	for _, present := range []bool{true, false} {
		var side []metrics.KeyedStratum
		for _, s := range strata {
			one := metrics.KeyedStratum{Key: s.Key, Absent: s.Absent}
			if present {
				one = metrics.KeyedStratum{Key: s.Key, Present: s.Present}
			}
			if one.Present.Total()+one.Absent.Total() > 0 {
				side = append(side, one)
			}
		}
		joined, err := metrics.CollapseStrata(side, metrics.CollapseOptions{Dimensions: dims, Order: x.order, MinSampled: int64(note.MinVerified)})
		if err != nil {
			return nil, note, err
		}
		note.After += len(joined.Strata)
		out = append(out, joined.Strata...)
	}
	return out, note, nil
}

// minVerified is the setting, or what the strata file says.
func (b *builder) minVerified() int {
	if b.opt.MinVerified > 0 {
		return b.opt.MinVerified
	}
	return b.db.Meta().MinVerified
}

// StrataNote says within what strata verification was taken to be ignorable.
type StrataNote struct {
	// Dimensions are the recorded properties. The level is never given up;
	// Order lists those that are, first to go first, where a stratum holds
	// fewer than MinVerified followed up.
	Dimensions  []string `json:"dimensions"`
	Order       []string `json:"order"`
	MinVerified int      `json:"min_verified"`
	// Before counts recorded strata; After counts what is left, episodes with
	// and without the mark apart.
	Before int `json:"before"`
	After  int `json:"after"`
	// NobodyFollowed is how many unverified episodes lie in cells of which
	// nobody was followed up.
	NobodyFollowed int64 `json:"nobody_followed"`
	// ThinUnverified is how many unverified episodes still lie in thinner
	// cells, ThinShare the same as a share of all unverified.
	ThinUnverified int64   `json:"thin_unverified"`
	ThinShare      float64 `json:"thin_share"`
}

// patterns turns a histogram of clusters into the shape of metrics.
func patterns[T any](rows []T, use func(T) (metrics.ClusterPattern, bool)) []metrics.ClusterPattern {
	var out []metrics.ClusterPattern
	for _, r := range rows {
		if p, ok := use(r); ok {
			out = append(out, p)
		}
	}
	return out
}

// clusterKinds are the clusters that are asked about.
var clusterKinds = []string{"animal", "advisor", "practice"}

// Cluster is a naive figure whose limits allow for episodes of one animal,
// advisor or practice resembling each other.
type Cluster struct {
	// Kind is animal, advisor or practice; Of is sensitivity or specificity.
	Kind string `json:"kind"`
	Of   string `json:"of"`
	// Clusters with at least one episode of the denominator.
	Clusters int64  `json:"clusters"`
	Figure   Figure `json:"figure"`
	// DesignEffect is how many times wider the variance is; left out where the
	// data do not show it. Episodes without the cluster's name are left out.
	DesignEffect *float64 `json:"design_effect,omitempty"`
	// Used is whether it may widen the corrected figure: there are enough
	// clusters, and the effect is larger than chance makes it in 19 of 20 lines
	// whose clusters do not matter.
	Used bool `json:"used"`
}

// enoughClusters are needed to trust a design effect. With fewer (a handful of
// practices, each with its own way into the data) it measures who was verified
// rather than how episodes resemble each other.
const enoughClusters = 10

// beyondChance is how many standard deviations above 1 a design effect has to
// lie. The largest of several noisy effects is above 1 in nearly every line,
// also where clusters do not matter: in 200 simulated years that made the limits
// of the advice's sensitivity a sixth wider, and 95 % limits held the truth in
// 98.5 % of them at one cut and 99.5 % at the other.
const beyondChance = 1.645

// clusters judges both figures of one test under one kind of cluster.
func clusters(kind string, sens, spec []metrics.ClusterPattern, conf float64) ([]Cluster, error) {
	var out []Cluster
	for _, x := range []struct {
		of string
		p  []metrics.ClusterPattern
	}{{"sensitivity", sens}, {"specificity", spec}} {
		c, err := cluster(kind, x.of, x.p, conf)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

func cluster(kind, of string, p []metrics.ClusterPattern, conf float64) (Cluster, error) {
	e, err := metrics.ClusterRobust(p, conf)
	if err != nil {
		return Cluster{}, err
	}
	c := Cluster{Kind: kind, Of: of, Clusters: e.Clusters, Figure: figure(e.Estimate)}
	if e.DesignEffectKnown {
		c.DesignEffect, c.Used = &e.DesignEffect, e.Clusters >= enoughClusters && e.DesignEffect > 1+beyondChance*e.DesignEffectSpread
	}
	return c, nil
}

// widen widens the corrected sensitivity and specificity by the largest design
// effect that enough clusters show; c is changed in place.
func widen(c *metrics.Correction, clusters []Cluster) error {
	for _, x := range []struct {
		of string
		e  *metrics.Estimate
	}{{"sensitivity", &c.Sensitivity}, {"specificity", &c.Specificity}} {
		largest := 1.0
		for _, cl := range clusters {
			if cl.Of == x.of && cl.Used {
				largest = max(largest, *cl.DesignEffect)
			}
		}
		wider, err := metrics.WidenByDesignEffect(*x.e, largest)
		if err != nil {
			return err
		}
		*x.e = wider
	}
	return nil
}

// adviceClusters gives cluster-robust sensitivity and specificity of the advice.
func (b *builder) adviceClusters(cut int) ([]Cluster, error) {
	var out []Cluster
	for _, kind := range clusterKinds {
		rows, err := b.db.AdviceClusters(b.ctx, b.scope, cut, kind)
		if err != nil {
			return nil, err
		}
		sens := patterns(rows, func(r queries.AdviceClustersRow) (metrics.ClusterPattern, bool) {
			return metrics.ClusterPattern{Needed: r.Episodes, Caught: r.Escalated, Times: r.Clusters}, r.Need == 1
		})
		spec := patterns(rows, func(r queries.AdviceClustersRow) (metrics.ClusterPattern, bool) {
			return metrics.ClusterPattern{Needed: r.Episodes, Caught: r.Episodes - r.Escalated, Times: r.Clusters}, r.Need == 0
		})
		both, err := clusters(kind, sens, spec, b.opt.Confidence)
		if err != nil {
			return nil, err
		}
		out = append(out, both...)
	}
	return out, nil
}
