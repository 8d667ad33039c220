package review

import (
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
	class := "kept"
	if sent(level) {
		class = "sent"
	}
	key := append([]string{class, word(levelWords, level)}, stratum...)
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

// corrected joins thin strata and corrects.
func (b *builder) corrected(k *keyed) (metrics.Correction, []metrics.VerificationStratum, StrataNote, error) {
	strata, note, err := b.collapse(k.strata())
	if err != nil {
		return metrics.Correction{}, nil, note, err
	}
	if len(strata) == 0 {
		strata = []metrics.VerificationStratum{{Name: "no episodes"}}
	}
	c, err := metrics.Corrected(strata, metrics.CorrectionOptions{
		Conf: b.opt.Confidence, MinSampled: int64(note.MinVerified), Draws: b.opt.Draws, Rand: b.rand(),
	})
	if err != nil {
		return c, nil, note, err
	}
	note.ThinUnverified, note.ThinShare = c.ThinUnverified, c.ThinShare
	for _, e := range []*metrics.Estimate{&c.Sensitivity, &c.Specificity, &c.PPV, &c.NPV, &c.Prevalence, &c.Missed, &c.Caught, &c.Needed} {
		e.Warnings = slices.Clone(e.Warnings)
		if c.ThinShare < worthSaying {
			e.Warnings = slices.DeleteFunc(e.Warnings, func(w string) bool { return strings.Contains(w, "of the unverified episodes are in") })
		}
		if note.LevelsJoined > 0 && e.Estimable() {
			e.Warnings = append(e.Warnings, levelsJoined)
		}
	}
	return c, strata, note, nil
}

// worthSaying is the share of unverified episodes in thin strata below which
// a figure does not depend on them; the share itself is always in StrataNote.
const worthSaying = 0.005

const levelsJoined = "at some level none of the episodes without an outcome was followed up; they are taken to resemble those at the other level that was sent in, or kept"

// collapse joins thin strata in the order of the strata file. Episodes with and
// without the mark are joined apart, because a rare mark is thin where its
// absence is not. The level stays, except where nothing at all was followed up
// at a level: that cell alone joins the other level of its class, since three
// unseen episodes of a rare flag would else leave nothing to estimate.
func (b *builder) collapse(strata []metrics.KeyedStratum) ([]metrics.VerificationStratum, StrataNote, error) {
	meta := b.db.Meta()
	dims := append([]string{"class", "level"}, meta.Strata...)
	note := StrataNote{Dimensions: dims, Order: meta.Collapse, MinVerified: b.minVerified(), Before: len(strata)}
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
		first, err := metrics.CollapseStrata(side, metrics.CollapseOptions{Dimensions: dims, Order: meta.Collapse, MinSampled: int64(note.MinVerified)})
		if err != nil {
			return nil, note, err
		}
		last, err := metrics.CollapseStrata(again(first), metrics.CollapseOptions{
			Dimensions: dims, Order: append(slices.Clone(meta.Collapse), "level"), MinSampled: 1,
		})
		if err != nil {
			return nil, note, err
		}
		if n := len(last.GivenUp); n > 0 {
			note.LevelsJoined += last.GivenUp[n-1]
		}
		note.After += len(last.Strata)
		out = append(out, last.Strata...)
	}
	return out, note, nil
}

// again makes the result of joining the input of another.
func again(c metrics.Collapsed) []metrics.KeyedStratum {
	out := make([]metrics.KeyedStratum, len(c.Strata))
	for i, s := range c.Strata {
		out[i] = metrics.KeyedStratum{Key: c.Keys[i], Present: s.Present, Absent: s.Absent}
	}
	return out
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
	// Dimensions are the recorded properties: class is sent (told to attend)
	// or kept, and is never given up; Order lists those that are, first to go
	// first, where a stratum holds fewer than MinVerified followed up.
	Dimensions  []string `json:"dimensions"`
	Order       []string `json:"order"`
	MinVerified int      `json:"min_verified"`
	// Before counts recorded strata; After counts what is left, episodes with
	// and without the mark apart.
	Before int `json:"before"`
	After  int `json:"after"`
	// LevelsJoined counts cells without any follow-up that had to join the
	// other level of their class.
	LevelsJoined int `json:"levels_joined"`
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
}

func cluster(kind, of string, p []metrics.ClusterPattern, conf float64) (Cluster, error) {
	e, err := metrics.ClusterRobust(p, conf)
	if err != nil {
		return Cluster{}, err
	}
	c := Cluster{Kind: kind, Of: of, Clusters: e.Clusters, Figure: figure(e.Estimate)}
	if e.DesignEffectKnown {
		c.DesignEffect = &e.DesignEffect
	}
	return c, nil
}

// widen widens the corrected sensitivity and specificity by the largest design
// effect that any kind of cluster shows; c is changed in place.
func widen(c *metrics.Correction, clusters []Cluster) error {
	for _, x := range []struct {
		of string
		e  *metrics.Estimate
	}{{"sensitivity", &c.Sensitivity}, {"specificity", &c.Specificity}} {
		largest := 1.0
		for _, cl := range clusters {
			if cl.Of == x.of && cl.DesignEffect != nil {
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
		for _, x := range []struct {
			of string
			p  []metrics.ClusterPattern
		}{{"sensitivity", sens}, {"specificity", spec}} {
			c, err := cluster(kind, x.of, x.p, b.opt.Confidence)
			if err != nil {
				return nil, err
			}
			out = append(out, c)
		}
	}
	return out, nil
}
