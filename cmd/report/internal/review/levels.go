package review

import (
	"fmt"
	"time"

	"hindcheck/metrics"
)

// Apart is an episode whose advice lay two or more levels below what the vet
// saw. All identifiers are pseudonyms.
type Apart struct {
	Call        string    `json:"call"`
	StartedAt   time.Time `json:"started_at"`
	Site        string    `json:"site"`
	Species     string    `json:"species"`
	Complaint   string    `json:"complaint"`
	Advised     string    `json:"advised"`
	Seen        string    `json:"seen"`
	Route       string    `json:"route"`
	Disposition string    `json:"disposition"`
	Died        bool      `json:"died"`
}

// linearWeights says how near misses count in the weighted kappa.
const linearWeights = "linear: full credit on the same level, two thirds one level apart, one third two apart, none three apart"

// fillWorst adds to the table of levels what is left to chance and what went
// furthest wrong.
func (b *builder) fillWorst(r *Review, m metrics.LevelMatrix) error {
	k, err := metrics.WeightedKappa(m.Counts, metrics.LinearWeights(len(m.Levels)), b.opt.Confidence)
	if err != nil {
		return err
	}
	l := &r.Levels
	l.Kappa, l.Weights, l.Worst, l.Apart = figure(k.Estimate), linearWeights, []WorstCell{}, []Apart{}
	cells, err := metrics.WorstUnderTriage(m, 2)
	if err != nil {
		return err
	}
	for _, c := range cells {
		if c.Count > 0 {
			l.Worst = append(l.Worst, WorstCell{levelLabels[emergency-c.Advised], levelLabels[emergency-c.Needed], c.Count})
			l.ApartTotal += c.Count
		}
	}
	rows, err := b.db.LevelsApart(b.ctx, b.scope)
	if err != nil {
		return err
	}
	if int64(len(rows)) != l.ApartTotal {
		return fmt.Errorf("%d episodes two levels apart, and %d in the table of levels: expected the same", len(rows), l.ApartTotal)
	}
	for i, x := range rows {
		if i == listed {
			break
		}
		l.Apart = append(l.Apart, Apart{
			Call: x.Call, StartedAt: x.StartedAt.UTC(), Site: x.Site, Species: x.Species, Complaint: x.Complaint, Advised: word(levelLabels, x.Level),
			Seen: word(levelLabels, x.VetLevel), Route: word(routeLabels, x.Route), Disposition: x.Disposition, Died: x.Died,
		})
	}
	return nil
}

// WorstCell is a cell of the table of levels two or more levels short.
type WorstCell struct {
	Advised string `json:"advised"`
	Seen    string `json:"seen"`
	N       int64  `json:"n"`
}
