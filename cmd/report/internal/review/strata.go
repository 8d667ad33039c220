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

// corrected collapses thin strata in the stated order and corrects. The level
// goes last, and only within what was sent in or kept: otherwise three unseen
// episodes of a rare flag at one level would leave nothing to estimate.
func (b *builder) corrected(k *keyed) (metrics.Correction, []metrics.VerificationStratum, StrataNote, error) {
	dims := append([]string{"class", "level"}, b.db.Meta().Strata...)
	order := append(slices.Clone(b.db.Meta().Strata), "level")
	col, err := metrics.CollapseStrata(k.strata(), metrics.CollapseOptions{
		Dimensions: dims, Order: order, MinSampled: int64(b.opt.MinVerified),
	})
	if err != nil {
		return metrics.Correction{}, nil, StrataNote{}, err
	}
	strata := col.Strata
	if len(strata) == 0 {
		strata = []metrics.VerificationStratum{{Name: "no episodes"}}
	}
	note := StrataNote{
		Dimensions: dims, Order: order, Before: col.Before, After: len(col.Strata), MinVerified: b.opt.MinVerified,
		ThinUnverified: col.ThinUnverified, ThinShare: col.ThinShare,
	}
	c, err := metrics.Corrected(strata, metrics.CorrectionOptions{
		Conf: b.opt.Confidence, MinSampled: int64(b.opt.MinVerified), Draws: b.opt.Draws, Rand: b.rand(),
	})
	if c.ThinShare < worthSaying {
		for _, e := range []*metrics.Estimate{&c.Sensitivity, &c.Specificity, &c.PPV, &c.NPV, &c.Prevalence, &c.Missed, &c.Caught, &c.Needed} {
			e.Warnings = slices.DeleteFunc(slices.Clone(e.Warnings), func(w string) bool { return strings.Contains(w, "of the unverified episodes are in") })
		}
	}
	return c, strata, note, err
}

// worthSaying is the share of unverified episodes in thin strata below which
// a figure does not depend on them; the share itself is always in StrataNote.
const worthSaying = 0.005

// StrataNote says within what strata verification was taken to be ignorable.
type StrataNote struct {
	// Dimensions are the recorded properties: class is sent (told to attend)
	// or kept, and is never given up; the others are, in this Order.
	Dimensions []string `json:"dimensions"`
	Order      []string `json:"order"`
	// Before and After count strata before and after thin ones were joined
	// until each holds MinVerified followed up.
	Before      int `json:"before"`
	After       int `json:"after"`
	MinVerified int `json:"min_verified"`
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
