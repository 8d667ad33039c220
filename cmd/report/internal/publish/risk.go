package publish

import (
	"context"
	"fmt"

	"hindcheck/cmd/report/internal/disclosure"
	"hindcheck/metrics"
	"hindcheck/queries"
	"hindcheck/queries/release"
)

// Risk is the risk report, as risk.json has it. It counts and names no row.
type Risk struct {
	Privacy string `json:"privacy"`
	Title   string `json:"title"`
	// K and L are the target.
	K int64 `json:"target_k"`
	L int64 `json:"target_l"`
	// Records and Persons published, Classes the combinations of published
	// values of the quasi-identifiers.
	Records int64 `json:"records"`
	Persons int64 `json:"persons"`
	Classes int64 `json:"classes"`
	// ReachedK is the fewest persons behind a combination, ReachedOwnerK the
	// fewest persons behind the combined rows of an owner key.
	ReachedK      int64 `json:"reached_k"`
	ReachedOwnerK int64 `json:"reached_owner_k"`
	// Uniques are records that stand alone in their combination; BeforeUniques
	// the same before anything was coarsened.
	Uniques       int64 `json:"unique_records"`
	BeforeUniques int64 `json:"unique_records_before"`
	BelowBefore   int64 `json:"records_below_k_before"`
	// Prosecutor is the greatest and the mean chance that somebody who knows
	// that a person is in the release picks the right record; Journalist the
	// greatest chance of somebody who holds a register of all these persons.
	Prosecutor     float64 `json:"prosecutor_risk"`
	ProsecutorMean float64 `json:"prosecutor_risk_mean"`
	Journalist     float64 `json:"journalist_risk"`
	// Sensitive are diversity and closeness by sensitive property.
	Sensitive []Diversity `json:"sensitive"`
	// Columns say what each quasi-identifier lost.
	Columns []ColumnRisk `json:"columns"`
	// Touched are records with any suppressed cell.
	Touched int64   `json:"records_with_suppressed_cells"`
	Loss    float64 `json:"information_loss"`
	// Searched and Lattice: nodes worked out, of how many; Exact is whether no
	// other node can be better.
	Searched int  `json:"nodes_worked_out"`
	Lattice  int  `json:"nodes"`
	Exact    bool `json:"exact"`
	// RepeatedEpisodes of an animal, and those that keep its key.
	RepeatedEpisodes int64 `json:"repeated_episodes"`
	KeptLinks        int64 `json:"repeated_episodes_linked"`
	// ContentUnique is the share of records that differ from all others in what
	// is not a quasi-identifier: readings, flags, outcome.
	ContentUnique float64 `json:"content_unique_share"`
	// Previous is what joining with an earlier release gives, where one was named.
	Previous *Joined `json:"previous,omitempty"`
}

// Diversity is what a combination gives away of one sensitive property.
type Diversity struct {
	Name string `json:"name"`
	// Distinct is the fewest different values in a combination, among those
	// that do not all say nothing; Entropy the same as entropy l.
	Distinct int64   `json:"distinct_l"`
	Entropy  float64 `json:"entropy_l"`
	// Closeness is the largest distance to all records, 0 to 1.
	Closeness float64 `json:"t_closeness"`
	// Silent are combinations in which every value says nothing.
	Silent int64 `json:"silent_classes"`
}

// ColumnRisk is what became of one quasi-identifier.
type ColumnRisk struct {
	Name       string  `json:"name"`
	Level      string  `json:"level"`
	Values     int     `json:"values"`
	Suppressed int64   `json:"suppressed"`
	Loss       float64 `json:"information_loss"`
}

// measure judges what was assigned, with persons counted exactly.
func measure(ctx context.Context, w *work, problem *disclosure.Problem, combos []disclosure.Combination) (Risk, error) {
	cfg, plan := w.opt.Config, w.plan
	r := Risk{Privacy: cfg.ID, Title: cfg.Title, K: cfg.K, L: cfg.L, Touched: plan.Touched, Loss: plan.Loss,
		Searched: plan.Tried, Lattice: plan.Lattice, Exact: plan.Exact, RepeatedEpisodes: w.links.Pairs, KeptLinks: w.links.PairsKept}
	classes, err := w.rel.Classes(ctx)
	if err != nil {
		return r, err
	}
	if err := r.rows(classes, cfg); err != nil {
		return r, err
	}
	if r.ReachedOwnerK, err = w.rel.SmallestGroup(ctx); err != nil {
		return r, err
	}
	if r.Journalist, err = metrics.JournalistRisk(problem.Register(plan)); err != nil {
		return r, err
	}
	var before []metrics.EquivalenceClass
	for _, c := range combos {
		r.Persons += c.Persons
		before = append(before, metrics.EquivalenceClass{Records: c.Records})
		if c.Records < cfg.K {
			r.BelowBefore += c.Records
		}
	}
	was, err := metrics.Anonymity(before)
	if err != nil {
		return r, err
	}
	r.BeforeUniques = was.Singletons
	for _, c := range plan.Columns {
		r.Columns = append(r.Columns, ColumnRisk{c.Name, c.Level, len(c.Values), c.Suppressed, c.Loss})
	}
	if r.ReachedK < cfg.K || r.ReachedOwnerK < cfg.K {
		return r, fmt.Errorf("publish: measured %d persons behind a combination and %d behind an owner's rows, expected %d: a fault of the program, nothing was published",
			r.ReachedK, r.ReachedOwnerK, cfg.K)
	}
	return r, nil
}

// rows measures the level of rows.
func (r *Risk) rows(classes []release.Class, cfg disclosure.Config) error {
	for i, name := range disclosure.Sensitive {
		of := func(c release.Class) []int64 { return [][]int64{c.Advice, c.Need}[i] }
		var telling []metrics.EquivalenceClass
		d := Diversity{Name: name}
		for _, c := range classes {
			if cfg.Silent(name, of(c)) {
				d.Silent++
				continue
			}
			telling = append(telling, metrics.EquivalenceClass{Records: c.Records, Units: c.Persons, Sensitive: of(c)})
		}
		a, err := metrics.Anonymity(telling)
		if err != nil {
			return err
		}
		d.Distinct, d.Entropy, d.Closeness = a.DistinctL, a.EntropyL, a.TEqual
		r.Sensitive = append(r.Sensitive, d)
	}
	all := make([]metrics.EquivalenceClass, len(classes))
	for i, c := range classes {
		all[i] = metrics.EquivalenceClass{Records: c.Records, Units: c.Persons}
	}
	a, err := metrics.Anonymity(all)
	r.Records, r.Classes, r.ReachedK, r.Uniques = a.Records, a.Classes, a.K, a.Singletons
	r.Prosecutor, r.ProsecutorMean = a.MaxRisk, a.MeanRisk
	return err
}

// contentUnique measures how many records differ from all others in what is
// not a quasi-identifier: whoever holds the same content from elsewhere, such
// as an earlier release, can find them again.
func (w *work) contentUnique(ctx context.Context, db *queries.DB) error {
	query := `SELECT coalesce(count(*) FILTER (n = 1) / sum(n), 0) FROM (SELECT count(*) AS n FROM published_episodes e
JOIN published_flags g USING (episode) JOIN published_findings f USING (episode) GROUP BY hash(` + w.contentColumns(w.published) + `))`
	if err := db.SQL().QueryRowContext(ctx, query).Scan(&w.risk.ContentUnique); err != nil {
		return fmt.Errorf("measure content: %w", err)
	}
	return nil
}
