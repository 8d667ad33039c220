package review

import (
	"slices"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Levels is advice against the level that the outcome gives, mature episodes
// only. It holds what became known, so its rows are no sample of all calls.
type Levels struct {
	// Columns are the labels of the levels, the most urgent first.
	Columns []string   `json:"columns"`
	Rows    []LevelRow `json:"rows"`
	// Exact and WithinOne are shares of episodes with a level on both sides.
	Exact     Figure `json:"exact"`
	WithinOne Figure `json:"within_one"`
	// Kappa is agreement beyond chance with near misses half right; Weights says
	// how. It describes the verified only.
	Kappa   Figure `json:"weighted_kappa"`
	Weights string `json:"weights"`
	// Worst are the cells two or more levels short, worst first; Apart lists
	// their episodes, at most listed many of ApartTotal.
	Worst      []WorstCell `json:"worst_cells"`
	Apart      []Apart     `json:"apart"`
	ApartTotal int64       `json:"apart_total"`
}

// LevelRow is one advised level.
type LevelRow struct {
	Level string `json:"level"`
	Label string `json:"label"`
	// Seen counts episodes by the level of the outcome, the most urgent first.
	Seen []int64 `json:"seen"`
	// NotStated had an outcome without a level; NoOutcome had none.
	NotStated int64 `json:"not_stated"`
	NoOutcome int64 `json:"no_outcome"`
	Episodes  int64 `json:"episodes"`
}

func (b *builder) fillLevels(r *Review) error {
	rows, err := b.db.LevelOutcome(b.ctx, b.scope)
	if err != nil {
		return err
	}
	r.Levels = Levels{Rows: make([]LevelRow, emergency)}
	m := metrics.LevelMatrix{Counts: make([][]int64, emergency)}
	for i := range emergency {
		level := emergency - i
		r.Levels.Columns = append(r.Levels.Columns, levelLabels[level])
		m.Levels = append(m.Levels, levelWords[level])
		m.Counts[i] = make([]int64, emergency)
		r.Levels.Rows[i] = LevelRow{Level: levelWords[level], Label: levelLabels[level], Seen: m.Counts[i]}
	}
	for _, x := range rows {
		if !x.Mature || x.Level == 0 {
			continue
		}
		row := &r.Levels.Rows[emergency-x.Level]
		row.Episodes += x.N
		switch {
		case x.VetLevel > 0:
			row.Seen[emergency-x.VetLevel] += x.N
		case x.Route > 0:
			row.NotStated += x.N
		default:
			row.NoOutcome += x.N
		}
	}
	exact, err := metrics.ExactLevel(m, b.opt.Confidence)
	if err != nil {
		return err
	}
	within, err := metrics.WithinLevels(m, 1, b.opt.Confidence)
	if err != nil {
		return err
	}
	r.Levels.Exact, r.Levels.WithinOne = figure(exact), figure(within)
	return b.fillWorst(r, m)
}

// Finding says how often one home check was assessed, and why not.
type Finding struct {
	Finding  string `json:"finding"`
	Label    string `json:"label"`
	Episodes int64  `json:"episodes"`
	Assessed Figure `json:"assessed"`
	// Counts of episodes by why there is no reading.
	NotAsked     int64 `json:"not_asked"`
	StoppedEarly int64 `json:"stopped_early"`
	NotPossible  int64 `json:"not_possible"`
	Declined     int64 `json:"declined"`
	// AssessedEscalated and NotAssessedEscalated count episodes advised same
	// day or sooner among those with and without a reading.
	AssessedEscalated    int64 `json:"assessed_escalated"`
	NotAssessedEscalated int64 `json:"not_assessed_escalated"`
}

func (b *builder) fillFindings(r *Review) error {
	rows, err := b.db.FindingStates(b.ctx, b.scope)
	if err != nil {
		return err
	}
	meta := b.db.Meta()
	r.Findings = make([]Finding, len(meta.Findings))
	assessed := make([]int64, len(meta.Findings))
	for i, f := range meta.Findings {
		r.Findings[i] = Finding{Finding: f.ID, Label: f.Label}
	}
	for _, x := range rows {
		f := &r.Findings[x.Finding]
		f.Episodes += x.N
		assessed[x.Finding] += x.Assessed
		f.NotAsked += x.NotAsked
		f.StoppedEarly += x.StoppedEarly
		f.NotPossible += x.NotPossible
		f.Declined += x.Declined
		if sent(x.Level) {
			f.AssessedEscalated += x.Assessed
			f.NotAssessedEscalated += x.N - x.Assessed
		}
	}
	for i := range r.Findings {
		e, err := metrics.Wilson(assessed[i], r.Findings[i].Episodes, b.opt.Confidence)
		if err != nil {
			return err
		}
		r.Findings[i].Assessed = figure(e)
	}
	return nil
}

// Threshold says how many readings lie exactly on a number that the rules
// split at. Owners say "two seconds", so such a rule rests on rounding.
type Threshold struct {
	Finding string   `json:"finding"`
	Label   string   `json:"label"`
	Unit    string   `json:"unit"`
	Flags   []string `json:"flags"`
	// Threshold is as the rules file writes it.
	Threshold string `json:"threshold"`
	Readings  int64  `json:"readings"`
	Below     int64  `json:"below"`
	Above     int64  `json:"above"`
	// Exact is the share exactly on the threshold, Whole that of whole numbers.
	Exact Figure `json:"exact"`
	Whole Figure `json:"whole"`
}

func (b *builder) fillThresholds(r *Review) error {
	meta := b.db.Meta()
	r.Thresholds = []Threshold{}
	place := map[string]int{}
	for _, f := range meta.Flags {
		for _, x := range f.Thresholds {
			key := x.Finding + " " + x.Text
			if i, ok := place[key]; ok {
				if !slices.Contains(r.Thresholds[i].Flags, f.ID) {
					r.Thresholds[i].Flags = append(r.Thresholds[i].Flags, f.ID)
				}
				continue
			}
			at := slices.IndexFunc(meta.Findings, func(y queries.Finding) bool { return y.ID == x.Finding })
			if at < 0 {
				continue
			}
			t, err := b.threshold(meta.Findings[at], x)
			if err != nil {
				return err
			}
			t.Flags = []string{f.ID}
			place[key] = len(r.Thresholds)
			r.Thresholds = append(r.Thresholds, t)
		}
	}
	return nil
}

func (b *builder) threshold(f queries.Finding, x queries.Threshold) (Threshold, error) {
	t := Threshold{Finding: f.ID, Label: f.Label, Unit: f.Unit, Threshold: x.Text}
	rows, err := b.db.FindingHeaping(b.ctx, b.scope, f.ID, x.Stored, int(max(1, f.Scale)))
	if err != nil {
		return t, err
	}
	var exact, whole int64
	for _, row := range rows {
		t.Readings += row.Readings
		t.Below += row.Below
		t.Above += row.Above
		exact += row.Exact
		whole += row.Whole
	}
	e, err := metrics.Wilson(exact, t.Readings, b.opt.Confidence)
	if err != nil {
		return t, err
	}
	w, err := metrics.Wilson(whole, t.Readings, b.opt.Confidence)
	t.Exact, t.Whole = figure(e), figure(w)
	return t, err
}
